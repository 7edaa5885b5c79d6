//! Step sizes learnt from a whole fleet's recorded work.

use serde::{Deserialize, Serialize};

use super::places::{feet, link_at, steps};
use super::recorded::as_left_of;
use super::{Finding, LearnSpec, LearntSteps, PlanError, PlanSpec, StepPair};
use crate::check::doubt::DoubtSpec;
use crate::check::{ActionKind, Check, Fitting, Fleet, History, Stage};
use crate::wing::{LineSet, Side};

/// Step sizes learnt, with what they were learnt from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LearntFleet {
    /// The steps: achieved over what the formula gives for the place. Turns taken out count as turns.
    pub steps: LearntSteps,
    /// The pairs, planned by the formula.
    pub pairs: Vec<StepPair>,
}

/// Doubtful lines of a check.
fn findings(set: &LineSet, history: &History, check: &Check) -> Vec<Finding> {
    let Some(at) = history.checks.iter().position(|known| known.id == check.id) else { return Vec::new() };
    let Ok(doubts) = DoubtSpec::default().run(set, history, at, None) else { return Vec::new() };
    let mut found: Vec<Finding> = Vec::new();
    for finding in doubts.findings() {
        let one = Finding::new(finding.side, &finding.line);
        if !found.contains(&one) {
            found.push(one);
        }
    }
    found
}

impl LearnSpec {
    /// Learns step sizes from all work of a fleet that was recorded between an `as_found` check and the `as_left` check
    /// that followed. Lines that are doubtful at either check take no part. Turns and lark's heads are compared with the
    /// formula for their place, so that what was learnt before does not count twice.
    ///
    /// # Errors
    /// As [`LearnSpec::fit`].
    pub fn fit_fleet(&self, spec: &PlanSpec, fleet: &Fleet) -> Result<LearntFleet, PlanError> {
        let mut pairs = Vec::new();
        for history in fleet.histories() {
            let set = fleet.line_set(history);
            for check in history.checks.iter().filter(|check| check.stage == Stage::AsFound) {
                let Some(as_left) = as_left_of(history, check) else { continue };
                let mut doubtful = findings(set, history, check);
                doubtful.extend(findings(set, history, as_left));
                let Ok(reached) = spec.reached(set, history, check, as_left, &doubtful) else { continue };
                for (action, planned) in reached.achieved.actions.iter().zip(&reached.plan.actions) {
                    let (Some(achieved_mm), &[segment]) = (action.achieved_mm, planned.segments.as_slice()) else {
                        continue;
                    };
                    let kind = if action.kind == ActionKind::RemoveLoop { ActionKind::Turn } else { action.kind };
                    let by_formula = formula_mm(spec, set, history, action.side, segment, action.kind, action.turns);
                    let planned_mm = by_formula.unwrap_or(action.planned_mm);
                    if planned_mm != 0.0 {
                        pairs.push(StepPair { wing: history.wing.id.clone(), kind, planned_mm, achieved_mm });
                    }
                }
            }
        }
        Ok(LearntFleet { steps: self.fit(&pairs)?, pairs })
    }
}

/// Change that the formula gives, mm; `None` for steps that have none.
fn formula_mm(
    spec: &PlanSpec,
    set: &LineSet,
    history: &History,
    side: Side,
    segment: usize,
    kind: ActionKind,
    turns: i32,
) -> Option<f64> {
    let fitting = history.fittings.iter().find(|fitting| fitting.side == side && fitting.segment == segment);
    let bare = fitting.map(|fitting| Fitting { step_mm: None, ..fitting.clone() });
    let link = link_at(spec, set.segments().get(segment)?, bare.as_ref());
    match kind {
        ActionKind::Turn | ActionKind::RemoveLoop => Some(-f64::from(turns) * link.turn_mm()),
        ActionKind::LarksHead => Some(-link.larks_head_mm()),
        _ => None,
    }
}

impl LearntFleet {
    /// What hangs on a wing's links, each place where a turn may be laid or taken out with the step learnt for it, mm to two
    /// decimals. A wing that is not among the pairs keeps its fittings as they are: it has no step of its own.
    #[must_use]
    pub fn fittings(&self, spec: &PlanSpec, set: &LineSet, history: &History) -> Vec<Fitting> {
        let mut fittings = history.fittings.clone();
        let own = |pair: &StepPair| pair.wing == history.wing.id && pair.kind == ActionKind::Turn;
        if !self.pairs.iter().any(own) {
            return fittings;
        }
        let feet = feet(set);
        for side in Side::BOTH {
            for (at, (segment, foot)) in set.segments().iter().zip(&feet).enumerate() {
                let carries = |line: usize| set.has(line, side) && set.path_indices(line).any(|on| on == at);
                let known = fittings.iter().position(|fitting| fitting.side == side && fitting.segment == at);
                let here = known.and_then(|known| fittings.get(known)).cloned();
                let turns = |kind| matches!(kind, ActionKind::Turn | ActionKind::RemoveLoop);
                let possible = steps(spec, segment, *foot, here.as_ref(), None).iter().any(|step| turns(step.kind));
                if !possible || !(0..set.lines().len()).any(carries) {
                    continue;
                }
                let formula = formula_mm(spec, set, history, side, at, ActionKind::Turn, -1).unwrap_or(0.0);
                let learnt = self.steps.step_mm(&history.wing.id, ActionKind::Turn, formula);
                let Some(step_mm) = learnt.filter(|step| *step > 0.0 && *step <= 200.0) else { continue };
                let step_mm = Some((step_mm * 100.0).round() / 100.0);
                match known.and_then(|known| fittings.get_mut(known)) {
                    Some(fitting) => fitting.step_mm = step_mm,
                    None => fittings.push(Fitting {
                        side,
                        segment: at,
                        turns: None,
                        spare_mm: None,
                        can_loop: None,
                        link_diameter_mm: None,
                        step_mm,
                    }),
                }
            }
        }
        fittings
    }
}
