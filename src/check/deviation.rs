//! From readings to deviations.

use serde::{Deserialize, Serialize};

use super::{Check, Reading};
use crate::wing::{LineSet, Row, Side, stretch_mm_per_n, thermal_mm_per_k};

/// Load at which nominal lengths hold, N (common practice: 5 kg hung up).
const REFERENCE_LOAD_N: f64 = 50.0;
/// Temperature at which nominal lengths hold, °C.
const REFERENCE_TEMPERATURE_C: f64 = 20.0;

/// Mean deviation of one line at one check.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LineDeviation {
    /// Side of the wing.
    pub side: Side,
    /// Index of the line in its line set.
    pub line: usize,
    /// Mean over repeats of `reading − datum − nominal`, with load and temperature corrections, mm.
    pub deviation_mm: f64,
    /// How many readings it is the mean of.
    pub repeats: u32,
}

/// Deviation of one reading, mm:
/// `d = reading − datum − nominal + k_F·(50 − load) − k_T·(T − 20)`, with `k_F` the elastic stretch of the whole line
/// per newton and `k_T` its thermal change per kelvin. At 50 N and 20 °C nothing is corrected.
///
/// Returns `None` when the reading's line is not in the set.
#[must_use]
pub fn reading_deviation_mm(set: &LineSet, check: &Check, reading: &Reading) -> Option<f64> {
    let line = set.lines().get(reading.line)?;
    let datum_mm = check.datum_mm(reading.side, line.row);
    Some(reading.reading_mm - datum_mm - line.nominal_mm + correction_mm(set, check, reading.line))
}

/// Load and temperature correction of a line's deviation at a check, mm: zero at 50 N and 20 °C.
pub(crate) fn correction_mm(set: &LineSet, check: &Check, line: usize) -> f64 {
    corrected_mm(check, || stretch_mm_per_n(set, line), || thermal_mm_per_k(set, line))
}

/// The correction from a line's stretch and thermal change, which are asked for only where they count.
fn corrected_mm(
    check: &Check,
    stretch_mm_per_n: impl FnOnce() -> f64,
    thermal_mm_per_k: impl FnOnce() -> f64,
) -> f64 {
    let mut correction = 0.0;
    let load = REFERENCE_LOAD_N - check.load_n;
    if load != 0.0 {
        correction += stretch_mm_per_n() * load;
    }
    let warmth = check.temperature_c - REFERENCE_TEMPERATURE_C;
    if warmth != 0.0 {
        correction -= thermal_mm_per_k() * warmth;
    }
    correction
}

/// What the deviations of one line set's readings are reckoned with, for many readings.
#[cfg(feature = "frames")]
#[derive(Debug, Clone)]
pub(crate) struct DeviationTable {
    /// By line.
    nominal_mm: Vec<f64>,
    rows: Vec<Row>,
    stretch_mm_per_n: Vec<f64>,
    thermal_mm_per_k: Vec<f64>,
}

#[cfg(feature = "frames")]
impl DeviationTable {
    pub(crate) fn new(set: &LineSet) -> Self {
        let lines = 0..set.lines().len();
        Self {
            nominal_mm: set.lines().iter().map(|line| line.nominal_mm).collect(),
            rows: set.lines().iter().map(|line| line.row).collect(),
            stretch_mm_per_n: lines.clone().map(|line| stretch_mm_per_n(set, line)).collect(),
            thermal_mm_per_k: lines.map(|line| thermal_mm_per_k(set, line)).collect(),
        }
    }

    /// The same as [`reading_deviation_mm`], to the bit; `None` when the line is not in the set.
    pub(crate) fn deviation_mm(&self, check: &Check, side: Side, line: usize, reading_mm: f64) -> Option<f64> {
        let datum_mm = check.datum_mm(side, *self.rows.get(line)?);
        let (stretch, thermal) = (*self.stretch_mm_per_n.get(line)?, *self.thermal_mm_per_k.get(line)?);
        Some(reading_mm - datum_mm - self.nominal_mm.get(line)? + corrected_mm(check, || stretch, || thermal))
    }
}

/// One mean deviation per line and side that was read, left before right, in the order of the line set.
#[must_use]
pub fn deviations(set: &LineSet, check: &Check) -> Vec<LineDeviation> {
    let lines = set.lines().len();
    let mut sums = vec![(0.0, 0u32); 2 * lines];
    for reading in &check.readings {
        if let Some(deviation) = reading_deviation_mm(set, check, reading) {
            let cell = &mut sums[reading.side.index() * lines + reading.line];
            cell.0 += deviation;
            cell.1 += 1;
        }
    }
    Side::BOTH
        .into_iter()
        .flat_map(|side| (0..lines).map(move |line| (side, line)))
        .zip(sums)
        .filter(|(_, (_, repeats))| *repeats > 0)
        .map(|((side, line), (sum, repeats))| LineDeviation {
            side,
            line,
            deviation_mm: sum / f64::from(repeats),
            repeats,
        })
        .collect()
}

/// Deviations of the risers of a check: measured less nominal where both are known, else 0.
#[derive(Debug, Clone, Copy)]
pub(crate) struct RiserDeviations([[f64; Row::ALL.len()]; 2]);

impl RiserDeviations {
    pub(crate) fn of(set: &LineSet, check: &Check) -> Self {
        let mut all = [[0.0; Row::ALL.len()]; 2];
        for riser in &check.risers {
            let nominal = set.row(riser.row).and_then(|data| data.riser_mm);
            if let (Some(measured), Some(nominal)) = (riser.riser_mm, nominal) {
                all[riser.side.index()][riser.row.index()] = measured - nominal;
            }
        }
        Self(all)
    }

    pub(crate) fn of_row_mm(&self, side: Side, row: Row) -> f64 {
        self.0[side.index()][row.index()]
    }
}

/// Common offset of a check, mm: the median deviation of its lines in rows A–D, both sides (`None` when none was read).
#[must_use]
pub fn common_offset_mm(set: &LineSet, deviations: &[LineDeviation]) -> Option<f64> {
    let mut trim: Vec<f64> = deviations
        .iter()
        .filter(|deviation| set.lines().get(deviation.line).is_some_and(|line| line.row.is_trim()))
        .map(|deviation| deviation.deviation_mm)
        .collect();
    trim.sort_by(f64::total_cmp);
    let n = trim.len();
    match n {
        0 => None,
        _ if n % 2 == 1 => Some(trim[n / 2]),
        _ => Some(f64::midpoint(trim[n / 2 - 1], trim[n / 2])),
    }
}
