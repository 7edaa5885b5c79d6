//! What was measured of a quantity that a forecast watches.

use serde::{Deserialize, Serialize};

use crate::check::{Check, History, LineDeviation, Stage, common_offset_mm, deviations};
use crate::forecast::{Cause, Limits, incidence_weights, left_right_weights, twist_weights};
use crate::stats::NORMAL_95;
use crate::trim::{Trim, TrimSpec};
use crate::wear::LineKey;
use crate::wing::{LineSet, Row, Side};

/// A watched quantity at one check, in the unit of its path.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FanPoint {
    /// Hours flown since new, h.
    pub hours_h: f64,
    /// As found or as left.
    pub stage: Stage,
    /// The value.
    pub value: f64,
    /// Half width of its 95 % interval from the measurement (`None`: not known).
    pub reach: Option<f64>,
}

/// The quantity at every check of a wing at which it was measured, by the forecast's own formula; its uncertainty is that of
/// the judged check.
pub(in crate::forecast) fn measured(
    cause: Cause,
    set: &LineSet,
    history: &History,
    limits: &Limits,
) -> Vec<FanPoint> {
    let spec = TrimSpec::default().limits(*limits);
    history
        .checks
        .iter()
        .filter(|check| !check.readings.is_empty())
        .filter_map(|check| {
            let value = value(cause, set, check)?;
            let trim = spec.run(set, &history.wing, check).ok();
            let reach = trim.and_then(|trim| reach(cause, set, &trim)).filter(|reach| reach.is_finite());
            Some(FanPoint { hours_h: check.hours_h, stage: check.stage, value, reach })
        })
        .filter(|point| point.value.is_finite())
        .collect()
}

fn value(cause: Cause, set: &LineSet, check: &Check) -> Option<f64> {
    let read = deviations(set, check);
    match cause {
        Cause::RowDifference { front, rear } => Some(row_mean(set, &read, front)? - row_mean(set, &read, rear)?),
        Cause::RowLeftRight(row) => {
            let [left, right] = Side::BOTH.map(|side| {
                let of_side: Vec<LineDeviation> = read.iter().filter(|one| one.side == side).copied().collect();
                row_mean(set, &of_side, row)
            });
            Some(left? - right?)
        }
        Cause::Incidence | Cause::LeftRight | Cause::Twist => {
            let lines: Vec<LineKey> = read.iter().map(|one| LineKey { side: one.side, line: one.line }).collect();
            let weights = match cause {
                Cause::LeftRight => left_right_weights(set, &lines)?,
                Cause::Twist => twist_weights(set, &lines)?,
                _ => incidence_weights(set, &lines)?,
            };
            Some(weights.iter().zip(&read).map(|(weight, one)| weight * one.deviation_mm).sum())
        }
        Cause::Offset => common_offset_mm(set, &read),
        Cause::Brake => Some(row_mean(set, &read, Row::Brake)? - common_offset_mm(set, &read)?),
        Cause::Line(key) => {
            let line = read.iter().find(|one| one.side == key.side && one.line == key.line)?;
            Some(line.deviation_mm - common_offset_mm(set, &read)?)
        }
    }
}

fn row_mean(set: &LineSet, read: &[LineDeviation], row: Row) -> Option<f64> {
    let of_row = |one: &&LineDeviation| set.lines().get(one.line).is_some_and(|line| line.row == row);
    let values: Vec<f64> = read.iter().filter(of_row).map(|one| one.deviation_mm).collect();
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

fn reach(cause: Cause, set: &LineSet, trim: &Trim) -> Option<f64> {
    match cause {
        Cause::RowDifference { front, rear } => {
            let of = |one: &&crate::trim::RowDifference| one.front == front && one.rear == rear && one.side == "both";
            trim.row_differences.iter().find(of).map(|one| NORMAL_95 * one.se_mm)
        }
        Cause::RowLeftRight(row) => {
            let of = |one: &&crate::trim::SideDifference| one.row == row && one.main.is_none() && one.line.is_none();
            trim.side_differences.iter().find(of).map(|one| NORMAL_95 * one.se_mm)
        }
        Cause::Incidence => Some((trim.incidence_change_deg.upper? - trim.incidence_change_deg.lower?) / 2.0),
        Cause::LeftRight => Some((trim.asymmetry_deg.upper? - trim.asymmetry_deg.lower?) / 2.0),
        Cause::Offset | Cause::Twist => None,
        Cause::Brake => {
            let of = |one: &&crate::trim::RowTrim| one.row == Row::Brake && one.side == "both";
            trim.rows.iter().find(of).map(|one| NORMAL_95 * one.se_mm)
        }
        Cause::Line(key) => {
            let name = &set.lines().get(key.line)?.name;
            let of = |one: &&crate::trim::LineVerdict| one.side == key.side && one.line == *name;
            trim.lines.iter().find(of).map(|one| one.uncertainty_mm)
        }
    }
}
