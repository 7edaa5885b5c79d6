//! Making plans.

use super::case::Case;
use super::forest::{Forest, Key};
use super::places::{Foot, micrometres};
use super::search::{Best, States, best};
use super::settle::{Found, Placed, alternative, settle};
use super::step::standard_of;
use super::tradeoff::Curves;
use super::{Alternative, Finding, Plan, PlanError, PlanSpec, Step, Target};
use crate::check::{Action, ActionKind, Check, History};
use crate::wing::LineSet;

/// The search made ready, and its result.
struct Searched {
    forest: Forest,
    states: States,
    best: Best,
    target_mm: f64,
    exhausted: bool,
}

fn search_at(case: &Case<'_>, target_mm: f64) -> Searched {
    let mut forest = Forest::of(case, target_mm);
    let mut limit = forest.most_choices().max(1);
    let mut exhausted = true;
    let states = loop {
        // with one choice everywhere there is one state a node, whatever was asked for
        let most = if limit == 1 { usize::MAX } else { case.spec.most_states };
        if let Some(states) = States::of(&forest, most) {
            break states;
        }
        exhausted = false;
        limit = (3 * limit / 4).max(1);
        forest.thin(limit);
    };
    let best = best(&forest, &states);
    Searched { forest, states, best, target_mm, exhausted }
}

fn search(case: &Case<'_>) -> Searched {
    let limit_mm = case.spec.common_limit_mm;
    match case.spec.target {
        Target::Maker => search_at(case, 0.0),
        Target::Common | Target::Rows(_) => search_at(case, case.common_mm.clamp(-limit_mm, limit_mm)),
        Target::Free => {
            let distance = |target_mm: f64| (target_mm - case.common_mm).abs();
            let order = |found: &Searched| -> Key { found.best.key };
            let whole = limit_mm.floor();
            let mut chosen = search_at(case, -whole);
            let mut exhausted = chosen.exhausted;
            let mut target_mm = -whole + 1.0;
            while target_mm <= whole {
                let found = search_at(case, target_mm);
                exhausted &= found.exhausted;
                let nearer = distance(found.target_mm) < distance(chosen.target_mm);
                if order(&found) < order(&chosen) || (order(&found) == order(&chosen) && nearer) {
                    chosen = found;
                }
                target_mm += 1.0;
            }
            chosen.exhausted = exhausted;
            chosen
        }
    }
}

fn placed(case: &Case<'_>, forest: &Forest, best: &Best) -> Vec<Placed> {
    let mut steps = Vec::new();
    for pick in &best.picks {
        let node = &forest.nodes[pick.node];
        for (&side, &at) in node.sides.iter().zip(&node.choices[pick.choice].at) {
            let Some(choice) = case.places.choices(side, node.segment).get(at) else { continue };
            steps.extend(choice.steps.iter().map(|&step| Placed { side, segment: Some(node.segment), step }));
        }
    }
    steps
}

impl PlanSpec {
    /// Finds the best plan for a check of a wing.
    ///
    /// `findings` are the lines with an open finding: they are left out of everything, listed under `remeasure`, and no
    /// action rests on them. The wing's fittings are taken from its history.
    ///
    /// ```
    /// use linedrift::{plan::PlanSpec, simulate::FleetSpec};
    /// let fleet = FleetSpec::default().wings(1).run()?.fleet;
    /// let history = &fleet.histories()[0];
    /// let plan = PlanSpec::default().run(fleet.line_set(history), history, &history.checks[0], &[])?;
    /// assert!(plan.optimal && plan.after.outside <= plan.before.outside);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    ///
    /// # Errors
    /// [`PlanError`] on a setting, fitting or diameter out of its range, a check that cannot be judged or has no usable
    /// reading, or a finding on a line that is not there.
    pub fn run(
        &self,
        set: &LineSet,
        history: &History,
        check: &Check,
        findings: &[Finding],
    ) -> Result<Plan, PlanError> {
        let case = Case::new(self, set, history, check, findings)?;
        let found = search(&case);
        let steps = placed(&case, &found.forest, &found.best);
        let how = Found { target_mm: found.target_mm, optimal: found.exhausted, states: found.states.count };
        let mut plan = settle(&case, &steps, how)?;
        if !found.exhausted {
            plan.notes.push(super::PlanNote {
                code: "not_exhausted".to_owned(),
                message: format!(
                    "More than {} states: some steps were left out of the search, so a better plan may exist. Offer fewer \
                     steps.",
                    self.most_states
                ),
            });
        }
        Ok(plan)
    }

    /// The best plans with at most 0, 1, 2, … actions, up to as many as the best plan of all has; each is exact. With a
    /// free target all aim at the best plan's.
    ///
    /// # Errors
    /// As [`PlanSpec::run`].
    pub fn alternatives(
        &self,
        set: &LineSet,
        history: &History,
        check: &Check,
        findings: &[Finding],
    ) -> Result<Vec<Alternative>, PlanError> {
        let case = Case::new(self, set, history, check, findings)?;
        let found = search(&case);
        let most = found.best.key.actions as usize;
        let curves = Curves::of(&found.forest, &found.states, most);
        let with = |k| alternative(&case, &placed(&case, &found.forest, &curves.best(k)), found.target_mm, k);
        Ok((0..=most).map(with).collect())
    }

    /// What given actions would leave, feasible or not; `optimal` is false. Nothing is searched for. With a free target
    /// the common offset is aimed at.
    ///
    /// # Errors
    /// As [`PlanSpec::run`], and when an action names a segment that is not there, has a change of the wrong sign for its
    /// kind, or is undone by another at the same place.
    pub fn what_if(
        &self,
        set: &LineSet,
        history: &History,
        check: &Check,
        findings: &[Finding],
        actions: &[Action],
    ) -> Result<Plan, PlanError> {
        let case = Case::new(self, set, history, check, findings)?;
        for action in actions {
            refuse_impossible(set, action, actions)?;
        }
        let step = |action: &Action| {
            let known = action.segment.and_then(|segment| {
                let possible = case.places.choices(action.side, segment).iter().flat_map(|choice| &choice.steps);
                possible.copied().find(|step| {
                    step.kind == action.kind && micrometres(step.change_mm) == micrometres(action.change_mm)
                })
            });
            known.unwrap_or_else(|| Step {
                kind: action.kind,
                turns: whole_turns(action),
                change_mm: action.change_mm,
                standard_mm: standard_of(action.kind, action.change_mm, self.formula_uncertainty_pct),
                price: None,
            })
        };
        let steps: Vec<Placed> = actions
            .iter()
            .filter(|action| action.change_mm != 0.0)
            .map(|action| Placed { side: action.side, segment: action.segment, step: step(action) })
            .collect();
        let limit_mm = self.common_limit_mm;
        let target_mm = if self.target == Target::Maker { 0.0 } else { case.common_mm.clamp(-limit_mm, limit_mm) };
        settle(&case, &steps, Found { target_mm, optimal: false, states: 0 })
    }

    /// The steps possible at a segment of a wing, one side, by its fittings: what the search chooses from.
    ///
    /// # Errors
    /// [`PlanError`] on a setting, fitting or diameter out of its range, or a segment that is not there.
    pub fn steps(
        &self,
        set: &LineSet,
        history: &History,
        side: crate::wing::Side,
        segment: usize,
    ) -> Result<Vec<Step>, PlanError> {
        self.validate()?;
        super::places::Places::of(self, set, &history.fittings)?;
        let count = set.segments().len();
        let here = set.segments().get(segment).ok_or(PlanError::NotThere {
            what: "segment",
            index: segment,
            side,
            count,
        })?;
        let fitting = history.fittings.iter().find(|fitting| fitting.side == side && fitting.segment == segment);
        let foot = super::places::feet(set).get(segment).copied().unwrap_or(Foot::Junction);
        Ok(super::places::steps(self, here, foot, fitting))
    }
}

/// Whole turns of a given action, laid on positive, taken off negative.
#[allow(clippy::cast_possible_truncation, reason = "a cast from a float saturates")]
fn whole_turns(action: &Action) -> i32 {
    let turns = action.turns.unwrap_or(0.0).round() as i32;
    if action.kind == ActionKind::RemoveLoop { -turns.abs() } else { turns }
}

fn refuse_impossible(set: &LineSet, action: &Action, all: &[Action]) -> Result<(), PlanError> {
    let (side, count) = (action.side, set.segments().len());
    let name = match action.segment {
        None => "(all)".to_owned(),
        Some(index) => match set.segments().get(index) {
            Some(segment) => segment.name.clone(),
            None => return Err(PlanError::NotThere { what: "segment", index, side, count }),
        },
    };
    let value = action.change_mm;
    let expected = match action.kind {
        ActionKind::Turn | ActionKind::LarksHead if !(value <= 0.0) => "a shortening",
        ActionKind::RemoveLoop | ActionKind::SmallLink if !(value >= 0.0) => "a lengthening",
        _ if !(value.abs() <= 10_000.0) => "at most 10000 either way",
        _ => "",
    };
    if !expected.is_empty() {
        return Err(PlanError::Change { segment: name, side, kind: action.kind, value, expected });
    }
    let here = |other: &&Action| other.side == side && other.segment == action.segment;
    match all.iter().filter(here).find(|other| other.change_mm * value < 0.0) {
        Some(other) => Err(PlanError::Contradiction {
            segment: name,
            side,
            shorter_mm: value.min(other.change_mm),
            longer_mm: value.max(other.change_mm),
        }),
        None => Ok(()),
    }
}
