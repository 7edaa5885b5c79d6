//! Why a check cannot be judged.

use thiserror::Error;

use crate::wing::Side;

/// Why a check cannot be judged.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum TrimError {
    /// A setting out of its range.
    #[error("{name} is {value}: expected {expected}")]
    Setting {
        /// Name of the setting.
        name: String,
        /// Its value.
        value: f64,
        /// What would have been right.
        expected: &'static str,
    },
    /// A figure of the line set that is not a finite number.
    #[error("model `{model}`, line `{line}`: {what} is {value}, which is not a finite number")]
    Line {
        /// The model.
        model: String,
        /// The line.
        line: String,
        /// Name of the figure.
        what: &'static str,
        /// Its value.
        value: f64,
    },
    /// The wing is of another model than the line set.
    #[error("wing `{wing}` is of model `{got}`, the line set is of `{expected}`")]
    Model {
        /// The wing.
        wing: String,
        /// Its model.
        got: String,
        /// The line set's model.
        expected: String,
    },
    /// A reading of a line that the set does not have on that side.
    #[error("check `{check}`: a reading names line {line} on the {side}, of {lines} lines")]
    NoLine {
        /// The check.
        check: String,
        /// Side of the reading.
        side: Side,
        /// Index of the line.
        line: usize,
        /// Lines in the set.
        lines: usize,
    },
    /// A figure of the check that is not a finite number.
    #[error("check `{check}`: {what} is {value}, which is not a finite number")]
    NotFinite {
        /// The check.
        check: String,
        /// Name of the figure.
        what: String,
        /// Its value.
        value: f64,
    },
    /// No such check.
    #[error("wing `{wing}` has {checks} checks, number {check} (from 0) was asked for")]
    NoCheck {
        /// The wing.
        wing: String,
        /// Index asked for.
        check: usize,
        /// How many there are.
        checks: usize,
    },
    /// A check that cannot be looked through for doubtful readings.
    #[error("check `{check}`: {message}")]
    Doubts {
        /// The check.
        check: String,
        /// Why not.
        message: String,
    },
    /// A planform that does not allow what was asked.
    #[error("the planform cannot be used: {what}")]
    Planform {
        /// What is wrong with it.
        what: &'static str,
    },
    /// Two results that are not of one wing.
    #[error(
        "check `{before_check}` is of wing `{before}`, check `{after_check}` of wing `{after}`: compare one wing's checks"
    )]
    OtherWing {
        /// Wing of the first.
        before: String,
        /// Check of the first.
        before_check: String,
        /// Wing of the second.
        after: String,
        /// Check of the second.
        after_check: String,
    },
}
