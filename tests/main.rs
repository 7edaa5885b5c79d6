//! The one integration-test binary.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::float_cmp, missing_docs)]
mod trim_flight;
mod trim_run;
mod trim_theory;
mod trim_values;
