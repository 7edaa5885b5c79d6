//! What was measured: checks and their readings, deviations, and the records kept around them.
//!
//! A [`Fleet`] holds line sets and one [`History`] per wing: its [`Check`]s in the order flown, the [`Action`]s done to
//! it, the [`Fitting`]s on it. [`deviations`] turns one check's readings into deviations (mm, positive when the line is
//! longer than nominal). [`doubt`] says which readings are doubtful and what they probably are,
//! [`repeatability`] how well readings agree,
//! [`sheet`] puts them on paper and back, and a [`Round`] takes them line by line.

mod action;
mod budget;
mod deviation;
pub mod doubt;
mod fleet;
mod reading;
pub mod repeatability;
mod round;
pub mod sheet;
mod verdict;

pub use action::{Action, ActionKind, Fitting};
pub use budget::{Budget, BudgetPart, Distribution, Repeats, SharedBy, Uncertainty, Weighted};
#[cfg(feature = "frames")]
pub(crate) use deviation::DeviationTable;
pub use deviation::{LineDeviation, common_offset_mm, deviations, reading_deviation_mm};
pub(crate) use deviation::{RiserDeviations, correction_mm};
pub use fleet::{DEMO_NOTE, Fleet, FleetError, History};
pub use reading::{Check, Condition, ConfirmedLine, Reading, RiserReading, Stage};
pub use round::{AGREEMENT_MM, Round, RoundAnswer, RoundError, RoundEvent, RoundPlace};
pub use verdict::{DecisionRule, Verdict, chance_outside, is_near};
