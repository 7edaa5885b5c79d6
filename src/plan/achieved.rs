//! After adjusting: what was predicted against what was reached.

use nalgebra::{DMatrix, DVector};
use serde::{Deserialize, Serialize};

use super::{Plan, PlanError, PlanSpec, StepPair};
use crate::check::{Check, History};
use crate::wing::{LineSet, Side};

/// Singular values below this share of the largest count as zero.
const SINGULAR: f64 = 1e-9;

/// One line after adjusting.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AchievedLine {
    /// Side of the wing.
    pub side: Side,
    /// Line name.
    pub line: String,
    /// Deviation from nominal that the plan predicted, mm.
    pub predicted_mm: f64,
    /// Deviation from nominal read after adjusting, mm.
    pub achieved_mm: f64,
    /// Achieved less predicted, less what the whole check is off by (`shift_mm`), mm.
    pub difference_mm: f64,
    /// Distance from the plan's target after adjusting, less `shift_mm`, mm.
    pub off_mm: f64,
    /// Whether that is within the line's tolerance.
    pub within: bool,
}

/// One action and what it did.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AchievedAction {
    /// Side of the wing.
    pub side: Side,
    /// Segment name (`None`: everything on the side).
    pub segment: Option<String>,
    /// Kind.
    pub kind: crate::check::ActionKind,
    /// Turns laid on or taken off.
    pub turns: i32,
    /// Planned change, mm.
    pub planned_mm: f64,
    /// Change that the lines show, mm (`None`: not to be told from the other actions or from the shift of the check).
    pub achieved_mm: Option<f64>,
}

/// Predicted against achieved.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Achieved {
    /// Wing id.
    pub wing: String,
    /// The check that the plan was made for.
    pub planned_check: String,
    /// The check after adjusting.
    pub check: String,
    /// What the whole later check is off by against the earlier, as the lines that were not touched show, mm.
    pub shift_mm: f64,
    /// Root mean square of `difference_mm`, mm.
    pub rms_mm: f64,
    /// Lines outside tolerance of the target after adjusting.
    pub outside: usize,
    /// Every line in both checks.
    pub lines: Vec<AchievedLine>,
    /// Every action.
    pub actions: Vec<AchievedAction>,
}

impl Plan {
    /// Compares the plan with the check taken after it was done, judged as the plan was.
    ///
    /// The change of every line from the plan's check to this one is fitted as `shift + Σ change of the actions on its
    /// path` by least squares: so each action's own change comes out, and what the two checks differ by as a whole (datum,
    /// instrument, temperature) does not pass for an error of the work.
    ///
    /// # Errors
    /// [`PlanError::Trim`] when the check cannot be judged, [`PlanError::NotComparable`] when it shares too few lines with
    /// the plan.
    pub fn achieved(
        &self,
        spec: &PlanSpec,
        set: &LineSet,
        history: &History,
        as_left: &Check,
    ) -> Result<Achieved, PlanError> {
        let trim = spec.judge().run(set, &history.wing, as_left)?;
        let mut pairs = Vec::new();
        for line in &self.lines {
            if let Some(now) = trim.lines.iter().find(|now| now.side == line.side && now.line == line.line) {
                pairs.push((line, now.deviation_mm));
            }
        }
        let (rows, columns) = (pairs.len(), self.actions.len() + 1);
        if rows < columns {
            return Err(PlanError::NotComparable {
                check: as_left.id.clone(),
                planned: self.check.clone(),
                shared: rows,
                actions: self.actions.len(),
            });
        }
        let design = DMatrix::from_fn(rows, columns, |row, column| match column.checked_sub(1) {
            None => 1.0,
            Some(at) => {
                let (line, action) = (pairs[row].0, &self.actions[at]);
                f64::from(u8::from(action.side == line.side && action.lines.contains(&line.line)))
            }
        });
        let moved = |line: &super::PlannedLine| line.after_mm - line.before_mm;
        let changes = DVector::from_iterator(
            rows,
            pairs.iter().map(|(line, now)| now - (line.deviation_after_mm - moved(line))),
        );
        let estimates = least_squares(design, &changes);
        let own = |column: usize| estimates.get(column).copied().flatten();
        // where the shift is not to be told from the actions, all that is left is to take the plan at its word
        let shift_mm = own(0).unwrap_or(0.0);
        let lines: Vec<AchievedLine> = pairs
            .iter()
            .map(|(line, now)| {
                let difference_mm = now - line.deviation_after_mm - shift_mm;
                let off_mm = line.after_mm + difference_mm;
                AchievedLine {
                    side: line.side,
                    line: line.line.clone(),
                    predicted_mm: line.deviation_after_mm,
                    achieved_mm: *now,
                    difference_mm,
                    off_mm,
                    within: off_mm.abs() <= line.tolerance_mm,
                }
            })
            .collect();
        let squares: f64 = lines.iter().map(|line| line.difference_mm.powi(2)).sum();
        let actions = self.actions.iter().enumerate().map(|(at, action)| AchievedAction {
            side: action.side,
            segment: action.segment.clone(),
            kind: action.kind,
            turns: action.turns,
            planned_mm: action.change_mm,
            achieved_mm: own(at + 1),
        });
        Ok(Achieved {
            wing: self.wing.clone(),
            planned_check: self.check.clone(),
            check: as_left.id.clone(),
            shift_mm,
            rms_mm: (squares / rows as f64).sqrt(),
            outside: lines.iter().filter(|line| !line.within).count(),
            actions: actions.collect(),
            lines,
        })
    }
}

impl Achieved {
    /// The pairs of planned and achieved change to learn step sizes from.
    #[must_use]
    pub fn pairs(&self) -> Vec<StepPair> {
        let pair = |action: &AchievedAction| {
            Some(StepPair {
                wing: self.wing.clone(),
                kind: action.kind,
                planned_mm: action.planned_mm,
                achieved_mm: action.achieved_mm?,
            })
        };
        self.actions.iter().filter_map(pair).collect()
    }
}

/// Least-squares estimates; none where the design does not tell a column from the others.
fn least_squares(design: DMatrix<f64>, values: &DVector<f64>) -> Vec<Option<f64>> {
    let columns = design.ncols();
    let svd = design.svd(true, true);
    let (Some(u), Some(v_t)) = (&svd.u, &svd.v_t) else { return vec![None; columns] };
    let largest = svd.singular_values.iter().fold(0.0, |a: f64, b| a.max(*b));
    let mut estimates = vec![0.0; columns];
    let mut told = vec![0.0; columns];
    for (at, &singular) in svd.singular_values.iter().enumerate() {
        if singular > SINGULAR * largest {
            let along = u.column(at).dot(values) / singular;
            for column in 0..columns {
                estimates[column] += along * v_t[(at, column)];
                // the share of the column's own direction that the design sees
                told[column] += v_t[(at, column)].powi(2);
            }
        }
    }
    estimates.into_iter().zip(told).map(|(estimate, told)| (told > 1.0 - 1e-6).then_some(estimate)).collect()
}
