//! The one integration-test binary.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::float_cmp, missing_docs, unreachable_pub)]

mod forecast_crossing;
mod forecast_due;
mod forecast_passage;
mod forecast_support;
mod mixed_published;
mod support;
