//! The one integration-test binary.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::float_cmp, missing_docs, unreachable_pub)]

mod architecture;
mod forecast_passage;
mod mixed_published;
mod plan_after;
mod plan_fleet;
mod plan_patterns;
mod plan_referee;
mod plan_search;
mod reference_fleet;
mod report_page;
mod simulate_truth;
mod support;
mod trim_run;
mod trim_values;
mod wear_lme4;
