//! What a report is made of.

mod data;

pub(super) use data::Entry;
pub use data::{ReportData, WearSummary, WingPlan};
