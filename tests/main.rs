//! The one integration-test binary.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::float_cmp, missing_docs, unreachable_pub)]

mod architecture;
mod mixed_published;
mod reference_fleet;
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::float_cmp, missing_docs)]
mod report_page;
mod simulate_truth;
mod support;
mod wear_lme4;
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::float_cmp, missing_docs)]
mod trim_run;
mod trim_values;
mod forecast_passage;
