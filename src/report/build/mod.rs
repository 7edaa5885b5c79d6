//! What a report is made of.

mod data;
mod protocol;
#[cfg(feature = "frames")]
mod protocol_table;
#[cfg(feature = "frames")]
mod report;

pub(super) use data::Entry;
pub use data::{ReportData, WearSummary, WingPlan};
pub use protocol::{Conditions, PROTOCOL_STATEMENT, Protocol, ProtocolLine, ProtocolSpec};
#[cfg(feature = "frames")]
pub use report::{Calibration, Report, ReportRunError, ReportSpec};
