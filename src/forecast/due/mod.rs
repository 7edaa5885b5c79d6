//! When each wing must be checked next: the paths, the interval, the day, and how that is said.

mod calendar;
mod fan;
mod fan_measured;
pub(in crate::forecast) mod path_source;
mod row;
mod run;
pub(in crate::forecast) mod spec;
mod table;
mod urgency;
mod words;

pub use calendar::MonthLoad;
pub use fan::{FanStation, ForecastFan, RiskStation, WatchedPath, WatchedUnit};
pub use fan_measured::FanPoint;
pub use row::{Basis, CrossingHours, DueRow, Reason};
pub use run::PreparedDue;
pub use spec::{DueDetail, DueSpec, LinePaths, WhyNone, WingDue};
pub use table::{DueDocument, DueTable, WingFailure};
