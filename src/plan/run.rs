//! Making plans.

use std::cmp::Ordering;

use super::case::Case;
use super::coupled::{Coupling, Solved};
use super::forest::{Forest, Key, UNITS};
use super::map::{PlaceKind, PlaceMap};
use super::places::{Places, micrometres};
use super::search::{Best, Search};
use super::settle::{Found, Placed, curve_point, settle};
use super::step::standard_of;
use super::{Aim, CurvePoint, Finding, Groups, Plan, PlanError, PlanNote, PlanSpec, Step, Target};
use crate::check::{Action, ActionKind, Check, History};
use crate::trim::TrimState;
use crate::wing::LineSet;

/// What may be left of incidence, and between the sides, without more work being worth it, degrees.
const LEFT_DEG: f64 = 0.15;

/// The search made ready, and its result.
struct Searched {
    search: Search,
    coupling: Coupling,
    best: Best,
    target_mm: f64,
    /// By how much a better plan could cost less, in millionths; none where choices were left out.
    gap: Option<i64>,
}

impl Searched {
    fn objective(&self) -> Key {
        self.best.key.dearer_by(self.coupling.left_over(self.best.shift))
    }

    fn steps(&self, best: &Best) -> Vec<Placed> {
        let nodes = &self.search.forest.nodes;
        best.picks.iter().flat_map(|pick| nodes[pick.node].choices[pick.choice].steps.iter().copied()).collect()
    }
}

fn search_at(case: &Case<'_>, target_mm: f64, groups: Groups) -> Searched {
    let mut forest = Forest::of(case, target_mm, groups);
    let mut limit = forest.most_choices().max(1);
    let mut all = true;
    let search = loop {
        // with one choice everywhere there is one state a node, whatever was asked for
        let most = if limit == 1 { usize::MAX } else { case.spec.most_states };
        match Search::of(forest, most) {
            Ok(search) => break search,
            Err(back) => forest = back,
        }
        all = false;
        limit = (3 * limit / 4).max(1);
        forest.thin(limit);
    };
    let coupling = if case.shares.is_empty() || case.target.name() == "rows" {
        Coupling::none()
    } else {
        Coupling::of(case.weights, case.incidence_free_deg(), case.asymmetry_free_deg())
    };
    let mut solved = coupling.solve(&search);
    if let Some(most) = case.spec.most_actions.filter(|most| solved.best.key.actions as usize > *most) {
        solved = coupling.solve_by_actions(&search, most).pop().unwrap_or(solved);
    }
    let Solved { best, gap } = solved;
    Searched { search, coupling, best, target_mm, gap: all.then_some(gap) }
}

/// The best at a target: whole groups alike, unless each place for itself leaves fewer lines outside.
fn search_by_groups(case: &Case<'_>, target_mm: f64) -> Searched {
    let found = search_at(case, target_mm, case.spec.groups);
    if found.best.key.outside == 0 || case.spec.groups == Groups::Each {
        return found;
    }
    let each = search_at(case, target_mm, Groups::Each);
    if each.best.key.outside < found.best.key.outside { each } else { found }
}

fn search(case: &Case<'_>) -> Searched {
    let limit_mm = case.spec.offset_limit_mm();
    match case.target {
        Target::Maker => search_by_groups(case, 0.0),
        Target::Common | Target::Rows(_) => search_by_groups(case, case.common_mm.clamp(-limit_mm, limit_mm)),
        Target::Free => {
            let distance = |target_mm: f64| (target_mm - case.common_mm).abs();
            let whole = limit_mm.floor();
            let mut chosen = search_by_groups(case, -whole);
            let mut gap = chosen.gap;
            let mut target_mm = -whole + 1.0;
            while target_mm <= whole {
                let found = search_by_groups(case, target_mm);
                gap = gap.zip(found.gap).map(|(one, other)| one.max(other));
                let nearer = distance(found.target_mm) < distance(chosen.target_mm);
                let (one, other) = (found.objective(), chosen.objective());
                if one < other || (one == other && nearer) {
                    chosen = found;
                }
                target_mm += 1.0;
            }
            chosen.gap = gap;
            chosen
        }
    }
}

/// The best plan for a case's aim.
fn plan_for(case: &Case<'_>) -> Result<Plan, PlanError> {
    let found = search(case);
    let gap = found.gap.map(|gap| gap as f64 / UNITS);
    let how = Found { target_mm: found.target_mm, gap, states: found.search.states.count };
    settle(case, &found.steps(&found.best), how)
}

/// The plan that leaves everything as it is.
fn nothing(case: &Case<'_>) -> Result<Plan, PlanError> {
    settle(&case.aimed(Aim::Work), &[], Found { target_mm: case.common_mm, gap: Some(0.0), states: 0 })
}

/// How a plan ranks: fewest lines outside, then nothing else past its limit, then no more than [`LEFT_DEG`] left, else as
/// little as can be, then work.
fn rank(plan: &Plan) -> [f64; 4] {
    let left = |value: Option<f64>| value.map_or(0.0, f64::abs);
    let state = &plan.after;
    let most = left(state.incidence_change_deg.value).max(left(state.asymmetry_deg.value));
    let past = if most <= LEFT_DEG { 0.0 } else { (most * 20.0).floor() };
    let price = plan.objective.price / plan.aim.weights().price;
    [state.outside as f64, f64::from(u8::from(state.past_a_limit().is_some())), past, price]
}

impl PlanSpec {
    /// Why one of a wing's checks is not judged, beside its others; `None` where it is, or is none of the wing's.
    fn not_judged(&self, set: &LineSet, history: &History, check: &Check) -> Option<String> {
        let is_it = |known: &Check| known.id == check.id && known.readings == check.readings;
        let at = history.checks.iter().position(is_it)?;
        let trim = self.judge().judge(set, history, at).ok()?;
        (trim.state == TrimState::NotJudged).then_some(trim.summary)
    }

    /// Finds the best plan for a check of a wing: for the aim that was set, else for each aim, of which it gives the
    /// recommended one and the others in short. Recommended is the plan that leaves the fewest lines outside; of those one
    /// that leaves nothing past another limit, then no more than 0.15° of incidence and between the sides, else the least; of those the least work. A wing in
    /// trim is left alone unless an aim or a target is set, and nothing is planned on a check that cannot be judged.
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
    /// [`PlanError`] on a setting, fitting or diameter out of its range, a constraint that names no place or contradicts
    /// another, a check that cannot be judged or has no usable reading, or a finding on a line that is not there.
    pub fn run(
        &self,
        set: &LineSet,
        history: &History,
        check: &Check,
        findings: &[Finding],
    ) -> Result<Plan, PlanError> {
        let case = Case::new(self, set, history, check, findings).map_err(|error| {
            // all of a check may be doubted for one reason
            let why = || self.not_judged(set, history, check);
            match matches!(error, PlanError::NoReadings { .. }).then(why).flatten() {
                Some(why) => PlanError::NotJudged { check: check.id.clone(), why },
                None => error,
            }
        })?;
        let why = match case.trim.state {
            TrimState::NotJudged => Some(case.trim.summary.clone()),
            TrimState::InTrim => None,
            TrimState::Adjust | TrimState::MeasureAgain => self.not_judged(set, history, check),
        };
        if let Some(why) = why {
            let mut plan = nothing(&case)?;
            // the check as a whole is to be put right, not single lines of it
            plan.remeasure.clear();
            let message = format!("{why} Nothing is planned on such a check.");
            plan.notes = vec![PlanNote { code: "not_judged".to_owned(), message }];
            return Ok(plan);
        }
        let mut plans = Vec::new();
        for aim in self.aims() {
            plans.push(plan_for(&case.aimed(aim))?);
        }
        let asked = self.aim.is_some() || self.target != Target::Common;
        if case.trim.state == TrimState::InTrim
            && !asked
            && let Some(work) = plans.first_mut()
        {
            // what is in trim is left alone; the other aims say what more work would bring
            *work = nothing(&case)?;
        }
        let wanted = match self.aim {
            None if case.trim.state == TrimState::InTrim && !asked => Some(0),
            Some(aim) => plans.iter().position(|plan| plan.aim == aim),
            // the first of equals: the aims come in rising order of work
            None => (0..plans.len()).min_by(|one, other| {
                let (one, other) = (rank(&plans[*one]), rank(&plans[*other]));
                one.iter()
                    .zip(&other)
                    .map(|(one, other)| one.total_cmp(other))
                    .find(|way| way.is_ne())
                    .unwrap_or(Ordering::Equal)
            }),
        };
        let others = plans.iter().enumerate().filter(|(at, _)| Some(*at) != wanted);
        let alternatives = others.map(|(_, plan)| plan.in_short()).collect();
        let mut plan = plans.swap_remove(wanted.unwrap_or(0));
        plan.alternatives = alternatives;
        Ok(plan)
    }

    /// The aims that are compared. A row trim that is asked for is an aim of its own.
    fn aims(&self) -> Vec<Aim> {
        if matches!(self.target, Target::Rows(_)) { vec![Aim::Work] } else { Aim::ALL.to_vec() }
    }

    /// The best plans with at most 0, 1, 2, … actions, up to as many as the best plan of all has, for the same aim as that
    /// plan (the recommended, or the one set). With a free target all aim at the best plan's.
    ///
    /// # Errors
    /// As [`PlanSpec::run`].
    pub fn curve(
        &self,
        set: &LineSet,
        history: &History,
        check: &Check,
        findings: &[Finding],
    ) -> Result<Vec<CurvePoint>, PlanError> {
        let aim = match self.aim {
            Some(aim) => aim,
            None => self.run(set, history, check, findings)?.aim,
        };
        let case = Case::new(self, set, history, check, findings)?.aimed(aim);
        let found = search(&case);
        let most = found.best.key.actions as usize;
        let mut points: Vec<Best> =
            found.coupling.solve_by_actions(&found.search, most).into_iter().map(|s| s.best).collect();
        if let Some(last) = points.last_mut() {
            *last = found.best.clone();
        }
        let point = |(k, best): (usize, &Best)| curve_point(&case, &found.steps(best), found.target_mm, k);
        Ok(points.iter().enumerate().map(point).collect())
    }

    /// What given actions would leave, feasible or not; `optimal` is false. Nothing is searched for. With a free target
    /// the common offset is aimed at.
    ///
    /// # Errors
    /// As [`PlanSpec::run`], and when an action names a segment that is not there, has a change of the wrong sign for its
    /// kind, is undone by another at the same place, or is at a place that must be left alone.
    pub fn what_if(
        &self,
        set: &LineSet,
        history: &History,
        check: &Check,
        findings: &[Finding],
        actions: &[Action],
    ) -> Result<Plan, PlanError> {
        let case = Case::new(self, set, history, check, findings)?.aimed(self.aim.unwrap_or(Aim::Work));
        for action in actions {
            refuse_impossible(set, action, actions)?;
            if let Some(segment) = action.segment.filter(|at| case.is_forbidden(action.side, *at)) {
                let (segment, side) = (case.map.get(segment).name.clone(), action.side);
                return Err(PlanError::Forbidden { segment, side });
            }
            if let Some(rule) = self.rule_against(action) {
                let segment = action.segment.map_or("(all)".to_owned(), |at| case.map.get(at).name.clone());
                let (side, kind, value) = (action.side, action.kind, action.change_mm);
                return Err(PlanError::RuledOut { segment, side, kind, value, rule });
            }
        }
        let placed = |action: &Action| Placed {
            side: action.side,
            place: action.segment,
            step: Step {
                kind: action.kind,
                turns: whole_turns(action),
                change_mm: action.change_mm,
                standard_mm: standard_of(action.kind, action.change_mm, self.formula_uncertainty_pct),
                price: None,
            },
        };
        let given = actions.iter().filter(|action| action.change_mm != 0.0).map(placed).collect();
        let mut steps = gathered(&case.map, given);
        for one in &mut steps {
            // the place's own step where it is one, with its uncertainty and price
            let possible = one.place.map(|place| case.places.steps(&case.map, one.side, place)).unwrap_or_default();
            let same = |step: &Step| {
                step.kind == one.step.kind && micrometres(step.change_mm) == micrometres(one.step.change_mm)
            };
            if let Some(step) = possible.into_iter().find(same) {
                one.step = step;
            }
        }
        let limit_mm = self.offset_limit_mm();
        let target_mm = if case.target == Target::Maker { 0.0 } else { case.common_mm.clamp(-limit_mm, limit_mm) };
        settle(&case, &steps, Found { target_mm, gap: None, states: 0 })
    }

    /// The steps possible at a segment of a wing, one side, by its fittings: what the search chooses from, but for those
    /// whose size is what the lines need (the brake handle, a new line).
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
        let places = Places::of(self, set, history)?;
        let count = set.segments().len();
        if segment >= count {
            return Err(PlanError::NotThere { what: "segment", index: segment, side, count });
        }
        Ok(places.steps(&PlaceMap::of(self, set), side, segment))
    }
}

impl PlanSpec {
    /// What the call allows that an action goes against.
    fn rule_against(&self, action: &Action) -> Option<&'static str> {
        match self.only {
            _ if !self.allows(action.kind) => Some("without"),
            Some(only) if !only.allows(action.change_mm) => Some(only.name()),
            _ => None,
        }
    }
}

/// Actions recorded segment by segment at one place that moves them together are one.
fn gathered(map: &PlaceMap, mut steps: Vec<Placed>) -> Vec<Placed> {
    for place in (0..map.len()).filter(|at| map.get(*at).kind != PlaceKind::Segment) {
        let segments = &map.get(place).segments;
        let firsts: Vec<Placed> =
            steps.iter().filter(|one| one.place == segments.first().copied()).copied().collect();
        for first in firsts.into_iter().filter(|_| segments.len() > 1) {
            let same = |one: &Placed, segment: usize| {
                one.side == first.side && one.place == Some(segment) && one.step == first.step
            };
            if segments.iter().all(|segment| steps.iter().any(|one| same(one, *segment))) {
                steps.retain(|one| !segments.iter().any(|segment| same(one, *segment)));
                steps.push(Placed { place: Some(place), ..first });
            }
        }
    }
    steps
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
        ActionKind::RemoveLoop | ActionKind::Stretch if !(value >= 0.0) => "a lengthening",
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
