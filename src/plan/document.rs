//! The plan as one JSON document.

use serde::{Deserialize, Serialize};

use super::{Aim, AimResult, CurvePoint, Plan, PlannedAction, PlannedState};
use crate::wing::Side;

/// A line to measure again.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RemeasureRow {
    /// Side of the wing.
    pub side: Side,
    /// Line name.
    pub line: String,
    /// `finding`, `far_off` or `near`.
    pub reason: String,
}

/// One action.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ActionRow {
    /// Side of the wing.
    pub side: Side,
    /// Segment or main; those at a handle or riser joined by `+`; empty for everything on the side.
    pub segment: String,
    /// Kind, as in the `actions` table.
    pub action: String,
    /// Turns laid on (positive) or taken off (negative).
    pub turns: i32,
    /// Change of length, mm (negative shortens).
    pub change_mm: f64,
    /// Standard uncertainty of the change, mm.
    pub standard_mm: f64,
    /// Lines that it moves.
    pub lines: Vec<String>,
}

/// The wing before or after.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StateRow {
    /// Lines outside their tolerance: before, as the trim counts them; after, further than it from the target.
    pub outside: usize,
    /// Distance from the target of the line furthest from it, mm.
    pub worst_mm: f64,
    /// Effective incidence change, degrees nose-up.
    pub incidence_change_deg: Option<f64>,
    /// Its lower end (95 %).
    pub incidence_lower_deg: Option<f64>,
    /// Its upper end (95 %).
    pub incidence_upper_deg: Option<f64>,
    /// Left minus right effective incidence change, degrees.
    pub asymmetry_deg: Option<f64>,
}

/// One line before and after: distances from the target.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LineRow {
    /// Side of the wing.
    pub side: Side,
    /// Line name.
    pub line: String,
    /// Before, mm.
    pub before_mm: f64,
    /// After, mm.
    pub after_mm: f64,
    /// Expanded uncertainty (95 %) after, mm.
    pub uncertainty_mm: f64,
    /// Chance to end within tolerance, 0 … 1.
    pub chance_within: f64,
    /// Value to expect on the instrument after, mm.
    pub expected_reading_mm: f64,
}

/// The best plan with at most so many actions.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CurveRow {
    /// The most actions allowed.
    pub most_actions: usize,
    /// Lines further from the target than their tolerance after it.
    pub outside: usize,
    /// Distance from the target of the line furthest from it after, mm.
    pub worst_mm: f64,
    /// `Σ w·(distance from target/tolerance)²` after.
    pub misfit: f64,
    /// Sum of the prices.
    pub price: f64,
    /// What to do.
    pub actions: Vec<ActionRow>,
}

/// What was written into the fleet folder.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RecordedRow {
    /// Day of the work.
    pub date: jiff::civil::Date,
    /// The `as_left` check that followed.
    pub as_left: Option<String>,
    /// Rows added to `actions`.
    pub actions: usize,
    /// Rows of `fittings` changed.
    pub fittings_changed: usize,
    /// Rows added to `fittings`.
    pub fittings_new: usize,
}

/// The document `linedrift.plan/1`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlanDocument {
    /// `linedrift.plan/1`.
    pub schema: String,
    /// Present and true when the data is the bundled invented demo.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub demo: bool,
    /// Check id.
    pub check: String,
    /// Wing id.
    pub wing: String,
    /// What the plan is to reach: `work`, `trim` or `table`.
    pub aim: Aim,
    /// The best plans for the other aims, in short.
    pub alternatives: Vec<AimResult>,
    /// Name of the target.
    pub target: String,
    /// Common deviation aimed at, mm.
    pub target_mm: f64,
    /// Lines to measure again first.
    pub remeasure: Vec<RemeasureRow>,
    /// What to do, in the order of work.
    pub actions: Vec<ActionRow>,
    /// As read.
    pub before: StateRow,
    /// As it should be after.
    pub after: StateRow,
    /// Every line that the plan rests on.
    pub lines: Vec<LineRow>,
    /// Whether no better plan exists among the steps that are possible.
    pub optimal: bool,
    /// By how much the cost of a better plan could be lower at most (absent: not known).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gap: Option<f64>,
    /// Present and true when the actions were given, not searched for.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub given: bool,
    /// The best plans with at most 0, 1, 2, … actions, where they were asked for.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub curve: Vec<CurveRow>,
    /// What was written into the fleet folder, where something was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub recorded: Option<RecordedRow>,
    /// Remarks.
    pub notes: Vec<super::PlanNote>,
    /// What to heed.
    pub caution: String,
}

/// The plans of a fleet's wings: the document `linedrift.plan-all/1`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlansDocument {
    schema: String,
    /// Wings with a check.
    wings: usize,
    /// Of the wings that are out of trim or have something to do.
    plans: Vec<PlanDocument>,
    /// Wings of which no line was read outside its tolerance, and nothing is to be done.
    nothing_to_do: Vec<String>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    failed: Vec<String>,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    demo: bool,
}

impl PlansDocument {
    /// Of plans, and of what could not be planned and why.
    #[must_use]
    pub fn new(plans: &[Plan], failed: &[String]) -> Self {
        let (quiet, busy): (Vec<&Plan>, Vec<&Plan>) = plans.iter().partition(|plan| plan.has_nothing_to_do());
        Self {
            schema: "linedrift.plan-all/1".to_owned(),
            wings: plans.len() + failed.len(),
            plans: busy.into_iter().map(Plan::document).collect(),
            nothing_to_do: quiet.into_iter().map(|plan| plan.wing.clone()).collect(),
            failed: failed.to_vec(),
            demo: false,
        }
    }

    /// Marked as made from the bundled invented demo, plan by plan.
    #[must_use]
    pub fn marked_demo(mut self) -> Self {
        self.plans.iter_mut().for_each(|plan| plan.demo = true);
        self.demo = true;
        self
    }
}

impl From<&PlannedAction> for ActionRow {
    fn from(action: &PlannedAction) -> Self {
        Self {
            side: action.side,
            segment: action.segment.clone().unwrap_or_default(),
            action: action.kind.name().to_owned(),
            turns: action.turns,
            change_mm: action.change_mm,
            standard_mm: action.standard_mm,
            lines: action.lines.clone(),
        }
    }
}

impl From<&CurvePoint> for CurveRow {
    fn from(point: &CurvePoint) -> Self {
        Self {
            most_actions: point.most_actions,
            outside: point.objective.outside,
            worst_mm: point.worst_mm,
            misfit: point.objective.misfit,
            price: point.objective.price,
            actions: point.actions.iter().map(ActionRow::from).collect(),
        }
    }
}

impl From<&PlannedState> for StateRow {
    fn from(state: &PlannedState) -> Self {
        Self {
            outside: state.outside,
            worst_mm: state.worst_mm,
            incidence_change_deg: state.incidence_change_deg.value,
            incidence_lower_deg: state.incidence_change_deg.lower,
            incidence_upper_deg: state.incidence_change_deg.upper,
            asymmetry_deg: state.asymmetry_deg.value,
        }
    }
}

impl Plan {
    /// Whether no line was read outside its tolerance, and nothing is to be done.
    #[must_use]
    pub fn has_nothing_to_do(&self) -> bool {
        self.before.outside == 0 && self.actions.is_empty()
    }

    /// The plan as the document `linedrift.plan/1`.
    #[must_use]
    pub fn document(&self) -> PlanDocument {
        let reason = |reason| match reason {
            super::RemeasureReason::Finding => "finding",
            super::RemeasureReason::FarOff => "far_off",
            super::RemeasureReason::Near => "near",
        };
        PlanDocument {
            schema: "linedrift.plan/1".to_owned(),
            demo: false,
            check: self.check.clone(),
            wing: self.wing.clone(),
            aim: self.aim,
            alternatives: self.alternatives.clone(),
            target: self.target.clone(),
            target_mm: self.target_mm,
            remeasure: self
                .remeasure
                .iter()
                .map(|line| RemeasureRow {
                    side: line.side,
                    line: line.line.clone(),
                    reason: reason(line.reason).to_owned(),
                })
                .collect(),
            actions: self.actions.iter().map(ActionRow::from).collect(),
            before: StateRow::from(&self.before),
            after: StateRow::from(&self.after),
            lines: self
                .lines
                .iter()
                .map(|line| LineRow {
                    side: line.side,
                    line: line.line.clone(),
                    before_mm: line.before_mm,
                    after_mm: line.after_mm,
                    uncertainty_mm: line.uncertainty_after_mm,
                    chance_within: line.chance_after,
                    expected_reading_mm: line.expected_reading_mm,
                })
                .collect(),
            optimal: self.optimal,
            gap: self.gap,
            given: false,
            curve: Vec::new(),
            recorded: None,
            notes: self.notes.clone(),
            caution: super::text::CAUTION.to_owned(),
        }
    }
}
