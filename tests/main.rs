//! The one integration-test binary.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::float_cmp, missing_docs)]
mod report_page;
mod simulate_truth;
mod trim_run;
mod trim_values;
