//! The one integration-test binary.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::float_cmp,
    clippy::print_stderr,
    clippy::assigning_clones,
    missing_docs,
    unreachable_pub
)]

mod architecture;
#[cfg(feature = "cli")]
mod cli_forecast;
#[cfg(feature = "cli")]
mod cli_run;
#[cfg(feature = "cli")]
mod cli_trust;
mod doubt_cases;
mod doubt_simulated;
#[cfg(feature = "frames")]
mod fleet_damaged;
#[cfg(feature = "frames")]
mod fleet_read;
mod forecast_backtest;
mod forecast_calibration;
mod forecast_crossing;
mod forecast_due;
mod forecast_limits;
mod forecast_passage;
mod forecast_run;
mod forecast_saved;
mod forecast_support;
mod forecast_value;
mod gauge_studies;
mod mixed_nist;
mod mixed_published;
mod plan_after;
mod plan_fleet;
mod plan_patterns;
mod plan_referee;
mod plan_search;
mod reference_fleet;
mod report_page;
mod report_readme;
mod robust_values;
mod sheet_text;
mod simulate_coverage;
mod simulate_policy;
mod simulate_truth;
mod support;
mod trim_flight;
mod trim_run;
mod trim_theory;
mod trim_values;
mod wear_coverage;
mod wear_lme4;
mod wear_merge;
mod wear_paths;
