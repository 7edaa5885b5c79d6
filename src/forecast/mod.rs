//! When to look again: first crossing of a limit, and the next check due.
//!
//! [`CrossingSpec`] takes joint draws of a wing's line paths and finds where each first crosses one of the [`Limits`].
//! [`DueSpec`] turns that and the interval into the hours and the day of the next check, with [`UsageSpec`] for how much a
//! wing flies; [`DueSpec::fan`] gives the paths behind the answer for one wing, to be drawn. [`GaussianPath`], [`SlopePassage`] and [`WienerPassage`] are the closed forms for a single limit.

mod backtest;
mod calendar;
mod crossing;
mod crossing_pass;
mod due;
mod due_table;
mod due_words;
mod error;
mod fan;
mod fan_measured;
mod first_crossing;
mod incidence;
mod knowledge;
mod limits;
mod limits_table;
mod middle_seeker;
mod normal_tail;
mod outcome;
mod passage;
mod path_source;
mod run;
mod urgency;
mod usage;
mod value;
mod wiener;

pub use backtest::{
    Backtest, BacktestDocument, BacktestSpec, BinomialBand, CoverageEntry, CoverageRow, CrpsByMethod, CrpsEntry,
    ForecastScore, GroupScore, Method, Origins, PitBin, SkippedCheck, crps_of_draws,
};
pub use calendar::MonthLoad;
pub use crossing::CrossingSpec;
pub use due::{DueDetail, DueSpec, LinePaths, WhyNone, WingDue};
pub use due_table::{DueDocument, DueTable, WingFailure};
pub use error::ForecastError;
pub use fan::{FanStation, ForecastFan, RiskStation, WatchedPath, WatchedUnit};
pub use fan_measured::FanPoint;
pub use first_crossing::{Cause, CauseShare, CrossingDraw, FirstCrossing, RiskHours};
pub use incidence::{incidence_weights, mean_chord_mm};
pub use limits::Limits;
pub use limits_table::{LimitsError, LimitsTable};
pub use outcome::{Basis, CrossingHours, DueRow, Reason};
pub use passage::{GaussianPath, SlopePassage};
pub use run::PreparedDue;
pub use usage::{ExpectedDay, FleetUsage, UsageRate, UsageSource, UsageSpec};
pub use value::{CheckValue, CheckValueSpec, DifferenceKnowledge, ShortCheck, ShortCheckSpec, ShortLine};
pub use wiener::WienerPassage;
