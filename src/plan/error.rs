//! Why there is no plan.

use thiserror::Error;

use crate::trim::TrimError;
use crate::wing::Side;

/// Why a plan cannot be made.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum PlanError {
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
    /// The check cannot be judged.
    #[error(transparent)]
    Trim(#[from] TrimError),
    /// Nothing was read that a plan could rest on.
    #[error(
        "check `{check}`: {got} lines were read and left without an open finding, of rows A to D {trim}: a plan needs at least one of those"
    )]
    NoReadings {
        /// The check.
        check: String,
        /// Lines that could be used.
        got: usize,
        /// Of these, lines of the rows A–D.
        trim: usize,
    },
    /// The check as a whole is to be put right first.
    #[error("check `{check}`: {why}")]
    NotJudged {
        /// The check.
        check: String,
        /// Why it is not judged, as a sentence.
        why: String,
    },
    /// A tolerance that is not a positive number.
    #[error("model `{model}`, line `{line}`: tolerance_mm is {value}, expected a positive number")]
    Tolerance {
        /// The model.
        model: String,
        /// The line.
        line: String,
        /// Its tolerance, mm.
        value: f64,
    },
    /// A diameter of a segment, or a figure of a fitting, out of its range.
    #[error("segment `{segment}` ({place}): {what} is {value}, expected {expected}")]
    Segment {
        /// The segment.
        segment: String,
        /// The table and side it comes from.
        place: String,
        /// Name of the figure.
        what: &'static str,
        /// Its value.
        value: f64,
        /// What would have been right.
        expected: &'static str,
    },
    /// Two fittings for one place.
    #[error("fittings: segment `{segment}` on the {side} appears twice: keep the one that holds now")]
    FittingTwice {
        /// The segment.
        segment: String,
        /// The side.
        side: Side,
    },
    /// An index that the line set does not have.
    #[error("{what} {index} on the {side} is not in the line set, of {count}")]
    NotThere {
        /// `segment` or `line`.
        what: &'static str,
        /// The index.
        index: usize,
        /// The side.
        side: Side,
        /// How many there are.
        count: usize,
    },
    /// A finding names a line that the wing does not have.
    #[error("an open finding names line `{line}` on the {side}, which model `{model}` does not have")]
    NoLine {
        /// The model.
        model: String,
        /// The line.
        line: String,
        /// The side.
        side: Side,
    },
    /// A given action names a segment that the model does not have.
    #[error("model `{model}` has no segment `{segment}`")]
    NoSegment {
        /// The model.
        model: String,
        /// The segment.
        segment: String,
    },
    /// A given action whose amount its kind cannot have.
    #[error(
        "segment `{segment}` on the {side}, `{kind}`: the amount is {}, expected {expected}",
        value.map_or_else(|| "missing".to_owned(), |v| v.to_string())
    )]
    Amount {
        /// The segment.
        segment: String,
        /// The side.
        side: Side,
        /// Kind of the action.
        kind: crate::check::ActionKind,
        /// The amount.
        value: Option<f64>,
        /// What would have been right.
        expected: &'static str,
    },
    /// A step that a workshop cannot offer so.
    #[error("offered step `{kind}`: {field} is {}, expected {expected}", value.map_or_else(|| "missing or wrong".to_owned(), |v| v.to_string()))]
    Offered {
        /// Kind of the step.
        kind: crate::check::ActionKind,
        /// The field.
        field: &'static str,
        /// Its value.
        value: Option<f64>,
        /// What would have been right.
        expected: &'static str,
    },
    /// A given action at a place that must be left alone.
    #[error("segment `{segment}` on the {side} is both to be worked on and to be left alone: keep one")]
    Forbidden {
        /// The segment.
        segment: String,
        /// The side.
        side: Side,
    },
    /// A given action that goes against what the call allows.
    #[error("segment `{segment}` on the {side}: `{kind}` of {value:+} mm goes against `{rule}`: keep one")]
    RuledOut {
        /// The segment.
        segment: String,
        /// The side.
        side: Side,
        /// The action.
        kind: crate::check::ActionKind,
        /// Its change, mm.
        value: f64,
        /// What the call allows.
        rule: &'static str,
    },
    /// An aim that a target rules out.
    #[error("the aim `{aim}` does not go with the target `{target}`: keep one")]
    AimAndTarget {
        /// The aim.
        aim: super::Aim,
        /// Name of the target.
        target: &'static str,
    },
    /// Given actions that undo each other.
    #[error(
        "segment `{segment}` on the {side} is to be made both shorter ({shorter_mm} mm) and longer ({longer_mm} mm): keep one"
    )]
    Contradiction {
        /// The segment.
        segment: String,
        /// The side.
        side: Side,
        /// The shortening, mm.
        shorter_mm: f64,
        /// The lengthening, mm.
        longer_mm: f64,
    },
    /// A given action whose change has the wrong sign for its kind, or is not a finite number.
    #[error(
        "segment `{segment}` on the {side}: a change of {value} mm by `{kind}` is not possible, expected {expected}"
    )]
    Change {
        /// The segment.
        segment: String,
        /// The side.
        side: Side,
        /// Kind of the action.
        kind: crate::check::ActionKind,
        /// The change, mm.
        value: f64,
        /// What would have been right.
        expected: &'static str,
    },
    /// The check after adjusting is not of the plan's wing, or shares no line with it.
    #[error(
        "check `{check}` shares {shared} lines with the plan for `{planned}`: expected at least one more than its {actions} actions"
    )]
    NotComparable {
        /// The check after adjusting.
        check: String,
        /// The plan's check.
        planned: String,
        /// Lines in both.
        shared: usize,
        /// Actions of the plan.
        actions: usize,
    },
    /// Step sizes cannot be learnt from what was given.
    #[error("step sizes cannot be learnt: {reason}")]
    Learning {
        /// Why.
        reason: String,
    },
}
