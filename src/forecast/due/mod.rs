//! When each wing must be checked next: the paths, the interval, the day, and how that is said.

mod answer;
mod believed;
mod calendar;
mod fan;
mod fan_measured;
mod interval;
mod outlook;
pub(in crate::forecast) mod path_source;
mod present;
mod row;
mod run;
mod service;
mod spec;
mod table;
mod urgency;
mod words;

pub(in crate::forecast) use answer::last_check;
pub use answer::{DueDetail, WingDue};
pub use calendar::MonthLoad;
pub use fan::{FanStation, ForecastFan, RiskStation, WatchedPath, WatchedUnit};
pub use fan_measured::FanPoint;
pub use interval::IntervalSource;
pub use present::OverLimit;
pub use row::{Basis, CrossingHours, DueRow, Reason};
pub use run::PreparedDue;
pub use service::{EventRule, OwnInterval, ServiceInterval, ServiceRules};
pub use spec::{DueSpec, LinePaths, WhyNone};
pub use table::{DueDocument, DueTable, PlanWithDue, WingFailure};
