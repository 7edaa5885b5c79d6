//! Row means less the common offset, as measured.

use crate::check::{Check, LineDeviation, Stage, common_offset_mm, deviations};
use crate::wing::{LineSet, Row};
use jiff::civil::Date;

/// What a check says of the rows.
#[derive(Debug, Clone)]
pub(super) struct Measured {
    pub(super) date: Date,
    pub(super) hours_h: f64,
    pub(super) stage: Stage,
    /// Mean deviation of each row's lines less the common offset, mm; `None` where the row was not read or no line of A–D.
    pub(super) rows_mm: [Option<f64>; 6],
}

impl Measured {
    pub(super) fn of(set: &LineSet, check: &Check) -> Self {
        let read = deviations(set, check);
        Self {
            date: check.date,
            hours_h: check.hours_h,
            stage: check.stage,
            rows_mm: match common_offset_mm(set, &read) {
                Some(common_mm) => row_means_mm(set, &read).map(|mean| mean.map(|mean| mean - common_mm)),
                None => [None; 6],
            },
        }
    }
}

fn row_means_mm(set: &LineSet, read: &[LineDeviation]) -> [Option<f64>; 6] {
    let (mut sums, mut counts) = ([0.0; 6], [0.0; 6]);
    for one in read {
        if let Some(line) = set.lines().get(one.line) {
            sums[line.row.index()] += one.deviation_mm;
            counts[line.row.index()] += 1.0;
        }
    }
    std::array::from_fn(|row| (counts[row] > 0.0).then(|| sums[row] / counts[row]))
}

/// The material of which a row has most metres.
pub(super) fn material_of(set: &LineSet, row: Row) -> String {
    let mut metres: std::collections::BTreeMap<String, f64> = std::collections::BTreeMap::new();
    for (index, _) in set.lines().iter().enumerate().filter(|(_, line)| line.row == row) {
        for exposure in set.exposure_m(index) {
            *metres.entry(exposure.material.to_owned()).or_insert(0.0) += exposure.length_m;
        }
    }
    let most = metres.into_iter().max_by(|a, b| a.1.total_cmp(&b.1).then_with(|| b.0.cmp(&a.0)));
    most.map_or_else(String::new, |(material, _)| material)
}
