//! When to look again: first crossing of a limit, and the next check due.

mod outcome;

pub use outcome::{Basis, CrossingHours, DueRow, Reason};
