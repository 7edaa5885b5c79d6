//! What is off about a wing, in the trade's words.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::check::sheet::LineOnSide;
use crate::wing::{Row, Side};

/// What is to be done about a judged check.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TrimState {
    /// Nothing: the wing is in trim.
    InTrim,
    /// Something is off past its tolerance or limit.
    Adjust,
    /// Doubted readings stand between this check and an answer.
    MeasureAgain,
    /// The check allows no judgement.
    NotJudged,
}

impl TrimState {
    /// The name used in documents, such as `in-trim`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            TrimState::InTrim => "in-trim",
            TrimState::Adjust => "adjust",
            TrimState::MeasureAgain => "measure-again",
            TrimState::NotJudged => "not-judged",
        }
    }
}

impl fmt::Display for TrimState {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// What a diagnosis is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DiagnosisCode {
    /// The datum of the readings is probably wrong, or another unit was meant.
    Datum,
    /// The lines were measured damp or wet, or read as if they were.
    Wet,
    /// Left and right in each other's place, or the check contradicts itself.
    Sides,
    /// A nominal length in the table is suspect.
    Table,
    /// A row, or rows next to each other, long or short against the others.
    Row,
    /// One side long or short against the other.
    Side,
    /// A main or middle line with all that hangs on it.
    Segment,
    /// The outermost lines of the rows.
    Tips,
    /// Neighbouring lines of a row that no segment carries together.
    Neighbours,
    /// One line, on one side or both.
    Line,
    /// The brake fan against the handle.
    Brakes,
    /// The stabilo lines.
    Stabilo,
    /// Incidence past its limit.
    Incidence,
    /// Left and right differ in incidence.
    Asymmetry,
    /// The tips have turned against the centre.
    Twist,
    /// The rows no longer lie on a straight line.
    Shape,
    /// The whole set uniformly long or short.
    WholeSet,
}

impl DiagnosisCode {
    /// Whether it is about how the check was taken, and asked about before anything is judged.
    #[must_use]
    pub const fn is_set_up(self) -> bool {
        matches!(self, DiagnosisCode::Datum | DiagnosisCode::Wet | DiagnosisCode::Sides | DiagnosisCode::Table)
    }

    /// Whether it is what other things that are off do to the wing in flight.
    #[must_use]
    pub(crate) const fn is_consequence(self) -> bool {
        matches!(
            self,
            DiagnosisCode::Incidence | DiagnosisCode::Asymmetry | DiagnosisCode::Twist | DiagnosisCode::Shape
        )
    }

    /// The name used in documents, such as `whole-set`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            DiagnosisCode::Datum => "datum",
            DiagnosisCode::Wet => "wet",
            DiagnosisCode::Sides => "sides",
            DiagnosisCode::Table => "table",
            DiagnosisCode::Row => "row",
            DiagnosisCode::Side => "side",
            DiagnosisCode::Segment => "segment",
            DiagnosisCode::Tips => "tips",
            DiagnosisCode::Neighbours => "neighbours",
            DiagnosisCode::Line => "line",
            DiagnosisCode::Brakes => "brakes",
            DiagnosisCode::Stabilo => "stabilo",
            DiagnosisCode::Incidence => "incidence",
            DiagnosisCode::Asymmetry => "asymmetry",
            DiagnosisCode::Twist => "twist",
            DiagnosisCode::Shape => "shape",
            DiagnosisCode::WholeSet => "whole-set",
        }
    }
}

impl fmt::Display for DiagnosisCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// One thing that is off.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Diagnosis {
    /// What it is about.
    pub code: DiagnosisCode,
    /// One sentence.
    pub text: String,
    /// By how much, in mm, where it is a length.
    pub value_mm: Option<f64>,
    /// Lower end of the 95 % interval, mm.
    pub lower_mm: Option<f64>,
    /// Upper end of the 95 % interval, mm.
    pub upper_mm: Option<f64>,
    /// Side; `None` for both, or where no side is meant.
    pub side: Option<Side>,
    /// Row, where it is about one.
    pub row: Option<Row>,
    /// Segment, or main where the line set has no segments.
    pub segment: Option<String>,
    /// Lines it is about, where they are not a whole row or side.
    pub lines: Vec<LineOnSide>,
}
