//! The result of judging one check.

use serde::{Deserialize, Serialize};

use super::{Diagnosis, FlightBands, RiserRotation, TrimState};
use crate::check::sheet::LineOnSide;
use crate::check::{Stage, Verdict};
use crate::stats::NORMAL_95;
use crate::wing::{Row, Side};

/// A value with its 95 % interval or band, in the unit its field names. `None` where it cannot be said.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Interval {
    /// Best value.
    pub value: Option<f64>,
    /// Lower end.
    pub lower: Option<f64>,
    /// Upper end.
    pub upper: Option<f64>,
}

impl Interval {
    /// A value with the 95 % interval of a normal distribution: `value ± 1.96 se`.
    pub(crate) fn normal(value: f64, se: f64) -> Self {
        let half = NORMAL_95 * se;
        Self { value: Some(value), lower: Some(value - half), upper: Some(value + half) }
    }
}

impl RowTrim {
    /// The mean less a common offset (mm) with its 95 % interval, mm. 0 gives the mean itself.
    #[must_use]
    pub fn mean_interval_mm(&self, common_mm: f64) -> Interval {
        Interval::normal(self.mean_mm - common_mm, self.se_mm)
    }
}

impl RowDifference {
    /// The difference with its 95 % interval, mm.
    #[must_use]
    pub fn interval_mm(&self) -> Interval {
        Interval::normal(self.difference_mm, self.se_mm)
    }
}

/// One line of a judged check.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LineVerdict {
    /// Side of the wing.
    pub side: Side,
    /// Line name.
    pub line: String,
    /// Row.
    pub row: Row,
    /// Deviation from nominal, mm, that of its riser included where the riser was measured.
    pub deviation_mm: f64,
    /// The part of `deviation_mm` that is the riser's: measured less nominal, 0 where either is unknown, mm.
    #[serde(default)]
    pub riser_mm: f64,
    /// Deviation less the check's common offset, mm.
    pub relative_mm: f64,
    /// Expanded uncertainty (95 %) that the verdict uses, mm.
    pub uncertainty_mm: f64,
    /// Tolerance that the verdict uses, mm.
    pub tolerance_mm: f64,
    /// Position along the half span, 0 … 1.
    pub span: f64,
    /// The verdict; `None` for a doubted reading.
    pub verdict: Option<Verdict>,
    /// Chance that the line truly is outside, 0 … 1, see [`crate::check::chance_outside`].
    pub chance_outside: f64,
    /// Whether that chance lies between 5 and 95 %.
    pub near: bool,
    /// Whether the reading is doubted: then nothing rests on it.
    pub doubted: bool,
}

impl LineVerdict {
    /// Whether the line is outside its tolerance.
    #[must_use]
    pub fn is_outside(&self) -> bool {
        self.verdict == Some(Verdict::Outside)
    }
}

/// Trim of one row, one side or both.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RowTrim {
    /// Row.
    pub row: Row,
    /// `left`, `right` or `both`.
    pub side: String,
    /// Plain mean of the raw deviations, mm.
    pub mean_mm: f64,
    /// Span-weighted mean of the raw deviations, mm (`None` for rows outside A–D).
    pub effective_mm: Option<f64>,
    /// Standard error of `effective_mm`, common parts left out, mm.
    #[serde(default)]
    pub effective_se_mm: Option<f64>,
    /// Standard error of the mean, common parts left out, mm.
    pub se_mm: f64,
    /// Lines it is the mean of.
    pub lines: usize,
}

/// Difference of the plain means of two rows of A–D; a common offset cancels.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RowDifference {
    /// The row in front.
    pub front: Row,
    /// The row behind, taken away from it.
    pub rear: Row,
    /// `left`, `right` or `both`.
    pub side: String,
    /// Mean of the front row less mean of the rear row, mm.
    pub difference_mm: f64,
    /// Its standard error, mm.
    pub se_mm: f64,
}

/// Left less right of a row, of a main in it, or of one line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SideDifference {
    /// Row.
    pub row: Row,
    /// The main, where it is about one.
    #[serde(default)]
    pub main: Option<String>,
    /// The line, where it is about one.
    #[serde(default)]
    pub line: Option<String>,
    /// Mean of the left side less mean of the right side, mm.
    pub difference_mm: f64,
    /// Its standard error, mm.
    pub se_mm: f64,
    /// Lower end of its 95 % interval, mm.
    #[serde(default)]
    pub lower_mm: f64,
    /// Upper end of the same, mm.
    #[serde(default)]
    pub upper_mm: f64,
}

/// The lines of one main on one side.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MainTrim {
    /// Main: the segment at the riser, or the name that the line table gives.
    pub main: String,
    /// Row of its first line.
    pub row: Row,
    /// Side.
    pub side: Side,
    /// Plain mean of the raw deviations, mm.
    pub mean_mm: f64,
    /// Its standard error, common parts left out, mm.
    pub se_mm: f64,
    /// Lines it is the mean of.
    pub lines: usize,
}

/// Incidence change at one span station.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TwistStation {
    /// Position along the half span, 0 … 1.
    pub span: f64,
    /// Side.
    pub side: Side,
    /// Incidence change, degrees nose-up.
    pub incidence_deg: f64,
    /// Its standard error, degrees.
    #[serde(default)]
    pub se_deg: f64,
    /// Half width of its 95 % interval, degrees.
    #[serde(default)]
    pub reach_deg: f64,
}

/// What one millimetre on one line does to the wing's incidence.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct IncidenceShare {
    /// To the effective incidence change, degrees nose-up per mm.
    pub wing_deg_per_mm: f64,
    /// To left minus right effective incidence change, degrees per mm.
    pub asymmetry_deg_per_mm: f64,
}

/// What a straight line through the rows leaves, averaged over the span.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ShapeResidual {
    /// Row.
    pub row: Row,
    /// Residual, mm.
    pub mm: f64,
}

/// One brake line within its fan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BrakeLine {
    /// Line name.
    pub line: String,
    /// Position along the half span, 0 … 1.
    pub span: f64,
    /// Deviation less the mean of its fan, mm.
    pub shape_mm: f64,
}

/// The fan of brake lines on one side. It never enters incidence.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BrakeFan {
    /// Side.
    pub side: Side,
    /// Free length given at the handle, mm, where the check says it.
    pub setting_mm: Option<f64>,
    /// Mean deviation less the check's common offset, mm; stated only where the setting is known.
    pub mean_relative_mm: Option<f64>,
    /// Its standard error, mm.
    pub se_mm: Option<f64>,
    /// The lines relative to their fan, by span.
    pub lines: Vec<BrakeLine>,
}

/// A remark on a trim result: a stable code and a sentence that says what to do.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct TrimNote {
    /// Stable code, such as `no_chord`.
    pub code: String,
    /// The sentence.
    pub message: String,
}

/// One check, judged.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Trim {
    /// Check id.
    pub check: String,
    /// Wing id.
    pub wing: String,
    /// Hours flown since new, h.
    pub hours: f64,
    /// Stage.
    pub stage: Stage,
    /// Common offset, mm (`None` when no line of A–D was read).
    pub common_mm: Option<f64>,
    /// What is to be done, in a word.
    pub state: TrimState,
    /// The same in one plain sentence.
    pub summary: String,
    /// What is off, most important first.
    pub diagnosis: Vec<Diagnosis>,
    /// Lines that one more reading may bring within: outside by themselves, near their tolerance, read once and not confirmed.
    #[serde(default)]
    pub again: Vec<LineOnSide>,
    /// Every line read; nothing else rests on the doubted ones.
    pub lines: Vec<LineVerdict>,
    /// Rows, per side and both.
    pub rows: Vec<RowTrim>,
    /// Differences of the rows A–D, per side and both.
    #[serde(default)]
    pub row_differences: Vec<RowDifference>,
    /// Left less right of what was read on both sides: each row, each main, each line.
    #[serde(default)]
    pub side_differences: Vec<SideDifference>,
    /// Mains, side by side.
    #[serde(default)]
    pub mains: Vec<MainTrim>,
    /// Effective incidence change of the wing, degrees nose-up.
    pub incidence_change_deg: Interval,
    /// The same for a flexible section, whose mean line bends through the rows: beside the straight line's wherever there
    /// are three rows or more, degrees nose-up.
    #[serde(default)]
    pub flexible_incidence_change_deg: Interval,
    /// Effective incidence change of the left half, degrees nose-up.
    #[serde(default)]
    pub incidence_left_deg: Interval,
    /// Effective incidence change of the right half, degrees nose-up.
    #[serde(default)]
    pub incidence_right_deg: Interval,
    /// Change of the angle of attack at trim, degrees: a band.
    pub aoa_change_deg: Interval,
    /// Change of trim speed, per cent: a band.
    pub speed_change_pct: Interval,
    /// What the two bands rest on and their factors; `None` where they are not stated.
    #[serde(default)]
    pub bands: Option<FlightBands>,
    /// Incidence change along the span.
    pub twist: Vec<TwistStation>,
    /// Incidence change near the tip (0.9 of the half span) less at the centre, mean of the sides, degrees.
    #[serde(default)]
    pub tip_twist_deg: Interval,
    /// Rotation of the centre section by its foremost and rearmost row, exact and for small angles; `None` where the
    /// chord or the rows are not known.
    #[serde(default)]
    pub centre_rotation: Option<RiserRotation>,
    /// The brake fans.
    #[serde(default)]
    pub brakes: Vec<BrakeFan>,
    /// What a straight line through the rows leaves.
    pub shape_residual_mm: Vec<ShapeResidual>,
    /// Left minus right effective incidence change, degrees.
    pub asymmetry_deg: Interval,
    /// Remarks.
    pub notes: Vec<TrimNote>,
}
