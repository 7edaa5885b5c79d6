//! The one integration-test binary.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::float_cmp,
    clippy::print_stderr,
    clippy::print_stdout,
    clippy::assigning_clones,
    missing_docs,
    unreachable_pub
)]

mod architecture;
#[cfg(feature = "cli")]
mod cli_check;
#[cfg(feature = "cli")]
mod cli_damaged;
#[cfg(feature = "cli")]
mod cli_forecast;
#[cfg(all(feature = "cli", unix))]
mod cli_outputs;
#[cfg(feature = "cli")]
mod cli_plan;
#[cfg(feature = "cli")]
mod cli_reduce;
#[cfg(feature = "cli")]
mod cli_research;
#[cfg(feature = "cli")]
mod cli_run;
#[cfg(feature = "cli")]
mod cli_terminal;
#[cfg(feature = "cli")]
mod cli_trust;
#[cfg(feature = "cli")]
mod cli_wear;
#[cfg(feature = "frames")]
#[path = "damaged/mod.rs"]
mod damaged;
mod documents;
mod documents_checked;
mod doubt_cases;
mod doubt_simulated;
#[cfg(feature = "frames")]
mod fleet_batch;
#[cfg(feature = "frames")]
mod fleet_damaged;
#[cfg(feature = "frames")]
mod fleet_frames;
#[cfg(feature = "frames")]
mod fleet_read;
#[cfg(feature = "frames")]
mod fleet_scan;
#[cfg(feature = "frames")]
mod fleet_work;
mod forecast_backtest;
mod forecast_calibration;
mod forecast_crossing;
mod forecast_due;
mod forecast_first_season;
mod forecast_limits;
mod forecast_passage;
mod forecast_present;
mod forecast_run;
mod forecast_saved;
mod forecast_support;
mod forecast_value;
mod forecast_worlds;
mod fuzz_corpus;
mod gauge_studies;
#[cfg(feature = "cli")]
mod hostile_names;
#[cfg(feature = "cli")]
mod kill_writes;
mod mixed_further;
mod mixed_models;
mod mixed_nist;
mod mixed_profile;
mod mixed_published;
#[cfg(feature = "cli")]
mod output_gate;
mod plan_after;
mod plan_fleet;
mod plan_patterns;
mod plan_planted;
mod plan_referee;
mod plan_search;
mod plan_work;
mod plan_workshop;
mod planted;
mod planted_cases;
mod planted_facts;
mod planted_stories;
mod planted_story;
mod planted_wing;
#[cfg(feature = "frames")]
mod record_folder;
#[cfg(feature = "cli")]
mod record_live;
#[cfg(feature = "cli")]
mod record_run;
mod reference_fleet;
mod report_criticism;
mod report_figures;
mod report_forecast;
mod report_made;
mod report_marks;
mod report_markup;
mod report_page;
mod report_protocol;
mod report_readme;
mod report_sheet;
mod report_text;
mod robust_values;
mod round_steps;
mod saved_checksum;
mod sheet_text;
mod simulate_coverage;
mod simulate_policy;
mod simulate_power;
mod simulate_truth;
#[cfg(feature = "frames")]
mod spreadsheets;
mod statistical;
mod stats_student;
mod supply_chain;
mod support;
mod torture;
mod trade_values;
mod trim_bands;
mod trim_flight;
mod trim_run;
mod trim_theory;
mod trim_values;
#[cfg(feature = "cli")]
mod walkthrough;
#[cfg(feature = "cli")]
mod watchdog;
mod wear_contrasts;
mod wear_coverage;
mod wear_drift;
mod wear_hard;
mod wear_inference;
mod wear_lme4;
mod wear_merge;
mod wear_misfit;
mod wear_part;
mod wear_paths;
mod wear_robust;
mod wear_worlds;
mod words;
