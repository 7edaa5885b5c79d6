//! How well earlier checks would have foreseen the later ones.
//!
//! [`BacktestSpec`] hides checks, forecasts them from what was known before, and scores the forecasts against what was then
//! measured and against three baselines. What is forecast is each row's mean deviation less the check's common offset, as it
//! will be measured.

mod baseline;
mod conclusion;
mod cut;
mod document;
mod measured;
mod outcome;
mod predictive;
mod spec;

pub use conclusion::{Conclusion, ForecastVerdict};
pub use document::{BacktestDocument, CoverageEntry, CrpsEntry};
pub use outcome::{
    Backtest, BinomialBand, CoverageRow, CrpsByMethod, ForecastScore, GroupScore, Method, PitBin, SkippedCheck,
};
pub use predictive::crps_of_draws;
pub use spec::{BacktestSpec, Origins};
