//! One check as a table: a cell per side and line.

use crate::check::{AGREEMENT_MM, Check, deviation::correction_mm};
use crate::stats::robust::median;
use crate::wing::{LineSet, Side};

/// Factors by which a whole check may have been written in another unit: cm, m, inches.
pub(super) const UNITS: [f64; 3] = [10.0, 1000.0, 25.4];
/// A check whose median is further off than this, mm, may have been written in another unit.
const UNIT_PAST_MM: f64 = 500.0;

/// The deviations of one check, median of the repeats, NaN where there is no reading.
pub(super) struct Cells {
    /// By side and line, mm.
    pub(super) deviation_mm: Vec<f64>,
    /// What the instrument would show of a line without deviation, by side and line, mm.
    pub(super) zero_mm: Vec<f64>,
    /// Whether most of a line's readings, two or more, agree with each other.
    pub(super) repeats_agree: Vec<bool>,
    /// Factor from what was written to mm.
    pub(super) unit: f64,
}

impl Cells {
    pub(super) fn new(set: &LineSet, check: &Check) -> Self {
        let lines = set.lines().len();
        let mut zero_mm = vec![f64::NAN; 2 * lines];
        for side in Side::BOTH {
            for (at, line) in set.lines().iter().enumerate().filter(|(at, _)| set.has(*at, side)) {
                zero_mm[side.index() * lines + at] =
                    line.nominal_mm + check.datum_mm(side, line.row) - correction_mm(set, check, at);
            }
        }
        let mut read: Vec<Vec<f64>> = vec![Vec::new(); 2 * lines];
        for reading in check.readings.iter().filter(|reading| reading.line < lines) {
            read[reading.side.index() * lines + reading.line].push(reading.reading_mm);
        }
        let written: Vec<f64> = read.iter().map(|values| median(values).unwrap_or(f64::NAN)).collect();
        let off = |unit: f64| {
            let away: Vec<f64> =
                written.iter().zip(&zero_mm).map(|(value, zero)| (value * unit - zero).abs()).collect();
            median(&away).unwrap_or(0.0)
        };
        let as_is = off(1.0);
        let mut unit = 1.0;
        if as_is > UNIT_PAST_MM {
            let mut best = as_is / 4.0;
            for factor in UNITS {
                let away = off(factor);
                if away < best {
                    (best, unit) = (away, factor);
                }
            }
        }
        let deviation_mm = written.iter().zip(&zero_mm).map(|(value, zero)| value * unit - zero).collect();
        let repeats_agree = read.iter().map(|values| most_agree(values)).collect();
        Self { deviation_mm, zero_mm, repeats_agree, unit }
    }

    /// Whether the whole check was written in another unit.
    pub(super) fn is_other_unit(&self) -> bool {
        self.unit > 1.0
    }

    /// What the instrument shows of a cell, mm.
    pub(super) fn shown_mm(&self, key: usize) -> f64 {
        self.zero_mm[key] + self.deviation_mm[key]
    }
}

/// Whether more than half of some readings, two or more, lie within what two readings may differ by of one of them.
fn most_agree(values: &[f64]) -> bool {
    let near = |value: &f64| values.iter().filter(|other| (**other - value).abs() <= AGREEMENT_MM).count();
    values.iter().map(near).max().is_some_and(|most| most > 1 && 2 * most > values.len())
}
