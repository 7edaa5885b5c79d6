//! How lines age: exposure by material and row, the wear model and its fit.

mod draws;
mod outcome;
mod shape;

pub use draws::{LineKey, PathDraws};
pub use outcome::{Diagnostic, SpreadRow, TermRow};
pub use shape::Shape;
