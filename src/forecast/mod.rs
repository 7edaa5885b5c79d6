//! When to look again: first crossing of a limit, and the next check due.
//!
//! [`CrossingSpec`] takes joint draws of a wing's line paths and finds where each first crosses one of the [`Limits`].
//! [`DueSpec`] turns that and the interval into the hours and the day of the next check, with [`UsageSpec`] for how much a
//! wing flies; [`DueSpec::fan`] gives the paths behind the answer for one wing, to be drawn. [`GaussianPath`], [`SlopePassage`] and [`WienerPassage`] are the closed forms for a single limit.

mod backtest;
mod crossing;
mod due;
mod error;
mod limits;
mod usage;
mod value;

pub use crate::trim::Limits;
pub use backtest::{
    Backtest, BacktestDocument, BacktestSpec, BinomialBand, Conclusion, CoverageEntry, CoverageRow, CrpsByMethod,
    CrpsEntry, ForecastScore, ForecastVerdict, GroupScore, Method, Origins, PitBin, SkippedCheck, crps_of_draws,
};
pub use crossing::{
    Cause, CauseShare, CrossingDraw, CrossingSpec, FirstCrossing, GaussianPath, RiskHours, SlopePassage,
    WienerPassage, incidence_weights, left_right_weights, mean_chord_mm, twist_weights,
};
pub use due::{
    Basis, CrossingHours, DueDetail, DueDocument, DueRow, DueSpec, DueTable, EventRule, FanPoint, FanStation,
    ForecastFan, IntervalSource, LinePaths, MonthLoad, OverLimit, OwnInterval, PlanWithDue, PreparedDue, Reason,
    RiskStation, ServiceInterval, ServiceRules, WatchedPath, WatchedUnit, WhyNone, WingDue, WingFailure,
};
pub use error::ForecastError;
pub use limits::{LimitsError, LimitsTable};
pub use usage::{ExpectedDay, FleetUsage, UsageRate, UsageSource, UsageSpec};
pub use value::{CheckValue, CheckValueSpec, DifferenceKnowledge, ShortCheck, ShortCheckSpec, ShortLine};
