//! What changed between two checks of one wing, such as as found and as left.

use std::collections::HashMap;

use serde::{Deserialize, Serialize};

use super::{Interval, Trim, TrimError, Verdict};
use crate::wing::{Row, Side};

/// One line at both checks.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LineChange {
    /// Side of the wing.
    pub side: Side,
    /// Line name.
    pub line: String,
    /// Row.
    pub row: Row,
    /// Relative deviation before, mm.
    pub before_mm: f64,
    /// Relative deviation after, mm.
    pub after_mm: f64,
    /// Change of the raw deviation, after less before, mm.
    pub change_mm: f64,
    /// Verdict before; `None` for a doubted reading.
    pub before: Option<Verdict>,
    /// Verdict after; `None` for a doubted reading.
    pub after: Option<Verdict>,
}

/// One row at both checks.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RowChange {
    /// Row.
    pub row: Row,
    /// `left`, `right` or `both`.
    pub side: String,
    /// Plain mean before, mm.
    pub before_mm: f64,
    /// Plain mean after, mm.
    pub after_mm: f64,
    /// After less before, mm.
    pub change_mm: f64,
    /// Standard error of the change, parts common to a check left out, mm.
    pub se_mm: f64,
}

/// One main at both checks.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MainChange {
    /// Main.
    pub main: String,
    /// Row of its first line.
    pub row: Row,
    /// Side.
    pub side: Side,
    /// Plain mean before, mm.
    pub before_mm: f64,
    /// Plain mean after, mm.
    pub after_mm: f64,
    /// After less before, mm.
    pub change_mm: f64,
    /// Standard error of the change, parts common to a check left out, mm.
    pub se_mm: f64,
}

/// A line that only one of the two checks has.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct UnmatchedLine {
    /// Side of the wing.
    pub side: Side,
    /// Line name.
    pub line: String,
    /// Id of the check that has it.
    pub check: String,
}

/// What changed between two checks of one wing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TrimChange {
    /// Wing id.
    pub wing: String,
    /// Id of the check before.
    pub before: String,
    /// Id of the check after.
    pub after: String,
    /// Change of the common offset, mm.
    pub common_mm: Option<f64>,
    /// Lines that both checks have.
    pub lines: Vec<LineChange>,
    /// Lines that only one has.
    pub unmatched: Vec<UnmatchedLine>,
    /// Rows that both checks have, per side and both.
    pub rows: Vec<RowChange>,
    /// Mains that both checks have.
    #[serde(default)]
    pub mains: Vec<MainChange>,
    /// Change of the effective incidence, degrees nose-up.
    pub incidence_deg: Interval,
    /// Change of the asymmetry, degrees.
    pub asymmetry_deg: Interval,
}

/// Difference of two intervals of independent checks: the half widths add in squares.
fn difference(before: Interval, after: Interval) -> Interval {
    let (Some(a), Some(b)) = (before.value, after.value) else { return Interval::default() };
    let half = |interval: Interval| Some((interval.upper? - interval.lower?) / 2.0);
    let value = b - a;
    let reach = half(before).zip(half(after)).map(|(one, two)| one.hypot(two));
    Interval { value: Some(value), lower: reach.map(|r| value - r), upper: reach.map(|r| value + r) }
}

/// Compares two judged checks of one wing, `before` first. Their errors are taken as independent.
///
/// # Errors
/// [`TrimError::OtherWing`] when they are of two wings.
pub fn compare(before: &Trim, after: &Trim) -> Result<TrimChange, TrimError> {
    if before.wing != after.wing {
        return Err(TrimError::OtherWing {
            before: before.wing.clone(),
            before_check: before.check.clone(),
            after: after.wing.clone(),
            after_check: after.check.clone(),
        });
    }
    let mut earlier: HashMap<(Side, &str), usize> =
        before.lines.iter().enumerate().map(|(at, line)| ((line.side, line.line.as_str()), at)).collect();
    let (mut lines, mut unmatched) = (Vec::new(), Vec::new());
    for now in &after.lines {
        let Some(then) = earlier.remove(&(now.side, now.line.as_str())).and_then(|at| before.lines.get(at)) else {
            unmatched.push(UnmatchedLine { side: now.side, line: now.line.clone(), check: after.check.clone() });
            continue;
        };
        lines.push(LineChange {
            side: now.side,
            line: now.line.clone(),
            row: now.row,
            before_mm: then.relative_mm,
            after_mm: now.relative_mm,
            change_mm: now.deviation_mm - then.deviation_mm,
            before: then.verdict,
            after: now.verdict,
        });
    }
    let gone = before.lines.iter().filter(|line| earlier.contains_key(&(line.side, line.line.as_str())));
    unmatched.extend(gone.map(|line| UnmatchedLine {
        side: line.side,
        line: line.line.clone(),
        check: before.check.clone(),
    }));
    let rows = after.rows.iter().filter_map(|now| {
        let then = before.rows.iter().find(|then| then.row == now.row && then.side == now.side)?;
        Some(RowChange {
            row: now.row,
            side: now.side.clone(),
            before_mm: then.mean_mm,
            after_mm: now.mean_mm,
            change_mm: now.mean_mm - then.mean_mm,
            se_mm: then.se_mm.hypot(now.se_mm),
        })
    });
    let mains = after.mains.iter().filter_map(|now| {
        let then = before.mains.iter().find(|then| then.main == now.main && then.side == now.side)?;
        Some(MainChange {
            main: now.main.clone(),
            row: now.row,
            side: now.side,
            before_mm: then.mean_mm,
            after_mm: now.mean_mm,
            change_mm: now.mean_mm - then.mean_mm,
            se_mm: then.se_mm.hypot(now.se_mm),
        })
    });
    Ok(TrimChange {
        wing: after.wing.clone(),
        before: before.check.clone(),
        after: after.check.clone(),
        common_mm: before.common_mm.zip(after.common_mm).map(|(then, now)| now - then),
        lines,
        unmatched,
        rows: rows.collect(),
        mains: mains.collect(),
        incidence_deg: difference(before.incidence_change_deg, after.incidence_change_deg),
        asymmetry_deg: difference(before.asymmetry_deg, after.asymmetry_deg),
    })
}
