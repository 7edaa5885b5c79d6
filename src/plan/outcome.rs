//! The plan and its parts.

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use super::Aim;
use crate::check::{Action, ActionKind, Fitting, History, Verdict};
use crate::trim::{Interval, Trim};
use crate::wing::{Row, Side};

/// Coverage factor of the steps' part in an interval (95 %).
pub(super) const STEP_COVERAGE: f64 = 2.0;

/// A line with an open finding: its reading is doubtful, so no plan rests on it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Finding {
    /// Side of the wing.
    pub side: Side,
    /// Line name.
    pub line: String,
}

impl Finding {
    /// A finding on a line.
    #[must_use]
    pub fn new(side: Side, line: &str) -> Self {
        Self { side, line: line.to_owned() }
    }
}

/// Why a line is to be measured again.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum RemeasureReason {
    /// It has an open finding.
    Finding,
    /// It is further from the common offset than a line drifts.
    FarOff,
    /// It is too close to its tolerance to tell, and an action hangs on it.
    Near,
}

/// A line to measure again before anything rests on it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Remeasure {
    /// Side of the wing.
    pub side: Side,
    /// Line name.
    pub line: String,
    /// Why.
    pub reason: RemeasureReason,
    /// By how much the plan's actions move it all the same, mm.
    pub moved_mm: f64,
}

impl Remeasure {
    pub(super) fn new(side: Side, line: &str, reason: RemeasureReason) -> Self {
        Self { side, line: line.to_owned(), reason, moved_mm: 0.0 }
    }
}

/// One thing to do.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlannedAction {
    /// Side of the wing.
    pub side: Side,
    /// Name of the segment or main; those at a brake handle or riser joined by `+` (`None`: everything on the side; only in
    /// given actions).
    pub segment: Option<String>,
    /// Indices in the line set of the segments that it moves as a whole: that one, or all that hang on a brake handle, on a
    /// riser, or on a main of a set without cascade.
    pub segments: Vec<usize>,
    /// Segments between this place and the riser.
    pub level: u32,
    /// Kind.
    pub kind: ActionKind,
    /// Turns laid on (positive) or taken off (negative); 0 for other kinds.
    pub turns: i32,
    /// Change of length, mm (negative shortens).
    pub change_mm: f64,
    /// Standard uncertainty of the change, mm.
    pub standard_mm: f64,
    /// Names of the lines that it moves.
    pub lines: Vec<String>,
}

impl PlannedAction {
    /// The change with its 95 % interval, mm: twice the standard uncertainty to either side.
    #[must_use]
    pub fn change_interval_mm(&self) -> Interval {
        let half = STEP_COVERAGE * self.standard_mm;
        Interval {
            value: Some(self.change_mm),
            lower: Some(self.change_mm - half),
            upper: Some(self.change_mm + half),
        }
    }
}

/// One line before and after.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlannedLine {
    /// Side of the wing.
    pub side: Side,
    /// Line name.
    pub line: String,
    /// Index of the line in the line set.
    pub index: usize,
    /// Row.
    pub row: Row,
    /// Distance from the target before, mm.
    pub before_mm: f64,
    /// Distance from the target to expect after, mm.
    pub after_mm: f64,
    /// Tolerance, mm.
    pub tolerance_mm: f64,
    /// Deviation from nominal to expect after, the riser's included, mm.
    pub deviation_after_mm: f64,
    /// Value to expect on the instrument after, with the datum, load and temperature of the check, mm.
    pub expected_reading_mm: f64,
    /// Expanded uncertainty (95 %) of `before_mm`, from the measurement, mm.
    pub uncertainty_before_mm: f64,
    /// Expanded uncertainty (95 %) of `after_mm`, from measurement and steps, mm.
    pub uncertainty_after_mm: f64,
    /// Chance that the line is within tolerance of the target before, 0 … 1.
    pub chance_before: f64,
    /// Chance that the line ends within tolerance of the target, 0 … 1.
    pub chance_after: f64,
    /// Verdict to expect after, by distance from the target.
    pub verdict_after: Verdict,
}

/// The wing before or after.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlannedState {
    /// Lines outside their tolerance: before, as the trim counts them; after, further than it from the target.
    pub outside: usize,
    /// Distance from the target of the line furthest from it, signed, mm.
    pub worst_mm: f64,
    /// Effective incidence change, degrees nose-up; after, the uncertainty of the steps is in its interval.
    pub incidence_change_deg: Interval,
    /// Left minus right effective incidence change, degrees; after, the uncertainty of the steps is in its interval.
    pub asymmetry_deg: Interval,
    /// The check judged: as read, or as it is predicted to be read after. Intervals in it are those of the measurement alone.
    pub trim: Trim,
}

impl PlannedState {
    /// What calls for work though every line is in, as a sentence.
    #[must_use]
    pub fn past_a_limit(&self) -> Option<&str> {
        let in_tolerance = self.outside == 0 && self.trim.counts().outside == 0;
        self.trim.summary.strip_prefix("Adjust: ").filter(|_| in_tolerance)
    }
}

/// What the plan was judged by: first `outside`, then `misfit + price + left_over`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Objective {
    /// Lines further from the target than their tolerance.
    pub outside: usize,
    /// `Σ w·(distance from target/tolerance)²`.
    pub misfit: f64,
    /// Sum of the prices of the actions, as the aim weighs them.
    pub price: f64,
    /// Price of the incidence and asymmetry that are left, past what cannot be told from none.
    pub left_over: f64,
}

impl Objective {
    /// `misfit + price + left_over`.
    #[must_use]
    pub fn cost(&self) -> f64 {
        self.misfit + self.price + self.left_over
    }
}

/// The best plan for one aim, in short.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct AimResult {
    /// The aim.
    pub aim: Aim,
    /// Actions, both sides counted.
    pub actions: usize,
    /// Lines further from the target than their tolerance after it.
    pub outside: usize,
    /// Incidence change after it, degrees nose-up.
    pub incidence_change_deg: Option<f64>,
    /// Left minus right incidence change after it, degrees.
    pub asymmetry_deg: Option<f64>,
}

/// A remark on a plan: a stable code and a sentence that says what to do.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PlanNote {
    /// Stable code, such as `no_cascade`.
    pub code: String,
    /// The sentence.
    pub message: String,
}

/// What to adjust, and what it should leave.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Plan {
    /// Check id.
    pub check: String,
    /// Wing id.
    pub wing: String,
    /// What it is to reach.
    pub aim: Aim,
    /// The best plans for the other aims, in short.
    pub alternatives: Vec<AimResult>,
    /// Name of the target: `common`, `maker`, `free` or `rows`.
    pub target: String,
    /// Common deviation aimed at, mm.
    pub target_mm: f64,
    /// Lines to measure again first.
    pub remeasure: Vec<Remeasure>,
    /// What to do, in the order of work.
    pub actions: Vec<PlannedAction>,
    /// The wing as it was read.
    pub before: PlannedState,
    /// The wing as it should be after.
    pub after: PlannedState,
    /// Every line that the plan rests on.
    pub lines: Vec<PlannedLine>,
    /// What the plan was judged by.
    pub objective: Objective,
    /// Whether no better plan exists among the steps that are possible.
    pub optimal: bool,
    /// By how much the cost of a better plan could be lower at most; 0 for an optimal one, `None` where that is not known.
    #[serde(default)]
    pub gap: Option<f64>,
    /// States of the search.
    pub states: usize,
    /// Remarks.
    pub notes: Vec<PlanNote>,
}

impl Plan {
    /// The rows of the `actions` table that record the plan as done. `check_id` names the `as_left` check, if one is taken.
    #[must_use]
    pub fn actions(&self, date: Date, hours_h: f64, check_id: Option<&str>) -> Vec<Action> {
        let row = |planned: &PlannedAction, segment: Option<usize>| Action {
            date,
            hours_h,
            side: planned.side,
            segment,
            kind: planned.kind,
            change_mm: planned.change_mm,
            turns: (planned.turns != 0).then(|| f64::from(planned.turns)),
            check: check_id.map(str::to_owned),
        };
        // one row for each segment, so that the table says which lines were moved
        let rows = |planned: &PlannedAction| -> Vec<Action> {
            match planned.segments.as_slice() {
                [] => vec![row(planned, None)],
                segments => segments.iter().map(|at| row(planned, Some(*at))).collect(),
            }
        };
        self.actions.iter().flat_map(rows).collect()
    }

    /// The plan for one aim in short, to stand beside others.
    #[must_use]
    pub fn in_short(&self) -> AimResult {
        AimResult {
            aim: self.aim,
            actions: self.actions.len(),
            outside: self.after.outside,
            incidence_change_deg: self.after.incidence_change_deg.value,
            asymmetry_deg: self.after.asymmetry_deg.value,
        }
    }

    /// What hangs on the wing's links once the plan is done: its fittings with turns and spare loop length kept up to
    /// date, and new ones where turns were laid. A lark's head counts as one turn: it is a turn and the strand that holds it
    /// down, it takes its length of the spare, and it can be taken out again.
    #[must_use]
    pub fn fittings(&self, history: &History) -> Vec<Fitting> {
        let mut fittings = history.fittings.clone();
        for action in &self.actions {
            let turns = f64::from(if action.kind == ActionKind::LarksHead { 1 } else { action.turns });
            let [segment] = action.segments[..] else { continue };
            if turns == 0.0 {
                continue;
            }
            match fittings.iter_mut().find(|known| known.side == action.side && known.segment == segment) {
                Some(known) => {
                    known.turns = Some((known.turns.unwrap_or(0.0) + turns).max(0.0));
                    // a loop laid takes its own length of the spare, a loop taken out gives it back
                    known.spare_mm = known.spare_mm.map(|spare| (spare + action.change_mm).max(0.0));
                }
                None => fittings.push(Fitting {
                    side: action.side,
                    segment,
                    turns: Some(turns.max(0.0)),
                    spare_mm: None,
                    can_loop: None,
                    link_diameter_mm: None,
                    step_mm: None,
                }),
            }
        }
        fittings
    }
}

/// The best plan with at most so many actions.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CurvePoint {
    /// The most actions allowed.
    pub most_actions: usize,
    /// What to do.
    pub actions: Vec<PlannedAction>,
    /// What it was judged by.
    pub objective: Objective,
    /// Distance from the target of the line furthest from it after, signed, mm.
    pub worst_mm: f64,
}
