//! How lines age: exposure by material and row, the wear model and its fit.

mod outcome;

pub use outcome::{Diagnostic, Shape, SpreadRow, TermRow};
