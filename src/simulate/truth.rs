//! What made a simulated fleet.

use serde::{Deserialize, Serialize};

use super::{FleetSpec, Misreading};
use crate::check::Fleet;
use crate::wear::{LineKey, Shape};
use crate::wing::{LineSet, Row, Side};

/// A simulated fleet and what made it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Simulated {
    /// The fleet as recorded.
    pub fleet: Fleet,
    /// What made it.
    pub truth: Truth,
}

/// Everything that made a simulated fleet.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Truth {
    /// The settings: rates, spreads, time shape and the rest.
    pub spec: FleetSpec,
    /// What models add to the rates; empty where they do not differ.
    #[serde(default)]
    pub model_rates: Vec<ModelRate>,
    /// One entry per wing, by wing id.
    pub wings: Vec<WingTruth>,
    /// Readings that were spoilt on purpose, by wing and check.
    pub misreadings: Vec<Misreading>,
}

/// True rate of one material in one row.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Rate {
    /// Material name.
    pub material: String,
    /// Row.
    pub row: Row,
    /// Change over the first 100 h, mm per metre of this material in the line's path (negative shrinks).
    pub mm_per_m: f64,
}

/// What one model adds to the rate of one material in one row.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ModelRate {
    /// Model name.
    pub model: String,
    /// Material name.
    pub material: String,
    /// Row.
    pub row: Row,
    /// Change over the first 100 h, mm per metre of this material in the line's path.
    pub mm_per_m: f64,
}

/// What a model adds to the rate of a material in a row, mm per metre in the first 100 h.
pub(super) fn model_rate(rates: &[ModelRate], model: &str, material: &str, row: Row) -> f64 {
    let known = |rate: &&ModelRate| rate.model == model && rate.row == row && rate.material == material;
    rates.iter().find(known).map_or(0.0, |rate| rate.mm_per_m)
}

/// A material with a time shape of its own.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MaterialTimeShape {
    /// Material name.
    pub material: String,
    /// Its time shape.
    pub shape: Shape,
}

/// True change of the rate along the span in one row: it multiplies `(η² − 1/3)·L·g(h)`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SpanRate {
    /// Row.
    pub row: Row,
    /// Coefficient over the first 100 h, mm per metre of line.
    pub mm_per_m: f64,
}

/// What one wing's row does beyond the fleet and its wing.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RowRate {
    /// Row.
    pub row: Row,
    /// Change over the first 100 h, mm per metre of line.
    pub mm_per_m: f64,
}

/// One line as the wing was built: its true offset, and its own rate.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LineTruth {
    /// Side of the wing.
    pub side: Side,
    /// Line name.
    pub line: String,
    /// Offset from what its wing has in common, mm.
    pub offset_mm: f64,
    /// Change over the first 100 h beyond what its wing and row do, mm per metre of line.
    #[serde(default)]
    pub rate_mm_per_m: f64,
}

/// True offset of one check.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CheckTruth {
    /// Check id.
    pub check: String,
    /// Offset of the whole check, mm.
    pub offset_mm: f64,
}

/// New true offset of one line after an adjustment.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Restart {
    /// The `as_left` check from which it holds.
    pub check: String,
    /// Hours flown since new at that check, h.
    pub hours_h: f64,
    /// Side of the wing.
    pub side: Side,
    /// Line name.
    pub line: String,
    /// The line's offset from then on, in place of the one before, mm.
    pub offset_mm: f64,
}

/// What made one wing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WingTruth {
    /// Wing id.
    pub wing: String,
    /// Offset of the whole wing, mm.
    pub offset_mm: f64,
    /// Rate of the wing beyond the fleet's, mm per metre of line in the first 100 h.
    pub rate_mm_per_m: f64,
    /// Rates of its rows beyond that, front to rear.
    pub row_rates: Vec<RowRate>,
    /// Offsets of its lines as built, left before right.
    pub lines: Vec<LineTruth>,
    /// Offsets of its checks, in the order taken.
    pub checks: Vec<CheckTruth>,
    /// Offsets that adjustments gave its lines, in the order done.
    pub restarts: Vec<Restart>,
}

impl Truth {
    /// What made the wing of that id.
    #[must_use]
    pub fn wing(&self, wing: &str) -> Option<&WingTruth> {
        self.wings.iter().find(|known| known.wing == wing)
    }

    /// True deviation of a line at some hours, mm, without check offset and reading error. At the very hours of an
    /// adjustment it is what was left, not what was found.
    ///
    /// `set` is the wing's line set and `line` an index in it. `None` when wing, line or side is not there.
    #[must_use]
    pub fn deviation_mm(&self, set: &LineSet, wing: &str, side: Side, line: usize, hours_h: f64) -> Option<f64> {
        let made = self.wing(wing)?;
        let name = &set.lines().get(line)?.name;
        let restarted = made
            .restarts
            .iter()
            .rfind(|restart| restart.side == side && restart.line == *name && restart.hours_h <= hours_h);
        let own_mm = match restarted {
            Some(restart) => restart.offset_mm,
            None => made.lines.iter().find(|known| known.side == side && known.line == *name)?.offset_mm,
        };
        let drift_mm = self.drift_mm(set, made, LineKey { side, line }, hours_h)?;
        Some(self.spec.common_offset_mm() + made.offset_mm + own_mm + drift_mm)
    }

    /// True wear of a line since new, mm: everything in the deviation that grows with the hours.
    fn drift_mm(&self, set: &LineSet, made: &WingTruth, key: LineKey, hours_h: f64) -> Option<f64> {
        let LineKey { side, line } = key;
        let data = set.lines().get(line)?;
        let row = made.row_rates.iter().find(|known| known.row == data.row).map_or(0.0, |known| known.mm_per_m);
        let own = made.lines.iter().find(|known| known.side == side && known.line == data.name);
        let rate = made.rate_mm_per_m + row + own.map_or(0.0, |own| own.rate_mm_per_m);
        let own = |material: &str| rate + model_rate(&self.model_rates, set.model(), material, data.row);
        Some(self.spec.fleet_drift_mm(set, line, hours_h)? + self.spec.worn_mm(set, line, hours_h, own))
    }
}
