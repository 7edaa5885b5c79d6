//! The one integration-test binary.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::float_cmp, missing_docs)]
mod forecast_passage;
