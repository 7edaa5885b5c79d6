//! The one integration-test binary.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::float_cmp, missing_docs, unreachable_pub)]

mod architecture;
mod doubt_cases;
mod doubt_simulated;
mod forecast_passage;
mod gauge_studies;
mod mixed_published;
mod reference_fleet;
mod report_page;
mod robust_values;
mod sheet_text;
mod simulate_truth;
mod support;
mod trim_run;
mod trim_values;
mod wear_lme4;
