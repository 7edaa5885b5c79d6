//! From chosen steps to the plan with everything that it predicts.

use statrs::distribution::{ContinuousCDF, Normal};

use super::case::{Case, KnownLine};
use super::forest::UNITS;
use super::notes::notes;
use super::outcome::STEP_COVERAGE;
use super::places::micrometres;
use super::{
    CurvePoint, Objective, Plan, PlanError, PlannedAction, PlannedLine, PlannedState, Remeasure, RemeasureReason,
    Step,
};
use crate::check::{Check, DecisionRule};
use crate::trim::{Interval, Trim};
use crate::wing::{Row, Side};

/// A step at a place (`place` none: everything on the side).
#[derive(Debug, Clone, Copy)]
pub(super) struct Placed {
    pub(super) side: Side,
    pub(super) place: Option<usize>,
    pub(super) step: Step,
}

/// How the steps were found.
#[derive(Debug, Clone, Copy)]
pub(super) struct Found {
    pub(super) target_mm: f64,
    /// By how much the cost of a better plan could be lower; none where that is not known.
    pub(super) gap: Option<f64>,
    pub(super) states: usize,
}

/// Whether a step moves a line.
fn moves(case: &Case<'_>, placed: &Placed, side: Side, line: usize) -> bool {
    placed.side == side && placed.place.is_none_or(|place| case.moves(place, line))
}

/// Sum of the changes that move a line, mm.
fn correction_mm(case: &Case<'_>, steps: &[Placed], side: Side, line: usize) -> f64 {
    steps.iter().filter(|placed| moves(case, placed, side, line)).map(|placed| placed.step.change_mm).sum::<f64>()
        + 0.0
}

/// Whether a step undoes part of what is done below it.
fn undoes(case: &Case<'_>, placed: &Placed, steps: &[Placed]) -> bool {
    let Some(at) = placed.place else { return false };
    let below = |other: &&Placed| {
        other.side == placed.side && other.place.is_some_and(|other| other != at && case.map.is_below(other, at))
    };
    let below_um: i64 = steps.iter().filter(below).map(|other| micrometres(other.step.change_mm)).sum();
    below_um.signum() * micrometres(placed.step.change_mm).signum() < 0
}

/// The order of work: one side after the other, from the riser outwards, front row first, centre first.
fn in_order(case: &Case<'_>, steps: &[Placed]) -> Vec<Placed> {
    let first_line = |placed: &Placed| {
        (0..case.set.lines().len())
            .filter(|&line| case.set.has(line, placed.side) && moves(case, placed, placed.side, line))
            .filter_map(|line| case.set.lines().get(line))
            .map(|line| (line.row, line.rank))
            .min()
            .unwrap_or((Row::Brake, u32::MAX))
    };
    let level = |placed: &Placed| placed.place.map_or(0, |place| case.map.get(place).level);
    let mut ordered = steps.to_vec();
    ordered.sort_by_cached_key(|placed| {
        (placed.side, level(placed), first_line(placed), placed.place, placed.step.kind)
    });
    ordered
}

fn planned_action(case: &Case<'_>, placed: &Placed) -> PlannedAction {
    let lines = (0..case.set.lines().len())
        .filter(|&line| case.set.has(line, placed.side) && moves(case, placed, placed.side, line))
        .filter_map(|line| Some(case.set.lines().get(line)?.name.clone()))
        .collect();
    let place = placed.place.map(|at| case.map.get(at));
    let segments = place.map_or(&[][..], |place| &place.segments);
    PlannedAction {
        side: placed.side,
        segment: place.map(|place| place.name.clone()),
        segments: segments.to_vec(),
        level: place.map_or(0, |place| place.level),
        kind: placed.step.kind,
        turns: placed.step.turns,
        change_mm: placed.step.change_mm,
        standard_mm: placed.step.standard_mm,
        lines,
    }
}

/// Chance that a normal value lies within ± a tolerance, 0 … 1.
fn chance_within(centre_mm: f64, standard_mm: f64, tolerance_mm: f64) -> f64 {
    match Normal::new(centre_mm, standard_mm) {
        Ok(normal) if standard_mm > 0.0 => (normal.cdf(tolerance_mm) - normal.cdf(-tolerance_mm)).clamp(0.0, 1.0),
        _ => f64::from(u8::from(centre_mm.abs() <= tolerance_mm)),
    }
}

fn planned_line(case: &Case<'_>, line: &KnownLine, at: usize, steps: &[Placed], target_mm: f64) -> PlannedLine {
    let before_mm = case.off_mm(line, target_mm);
    let moved_mm = correction_mm(case, steps, line.side, line.line);
    let after_mm = before_mm + moved_mm;
    let measured = case.mean_uncertainty(&[at]);
    let variance: f64 = steps
        .iter()
        .filter(|placed| moves(case, placed, line.side, line.line))
        .map(|placed| placed.step.standard_mm.powi(2))
        .sum();
    let standard_mm = (measured.standard.powi(2) + variance).sqrt();
    let uncertainty_after_mm = measured.coverage() * standard_mm;
    PlannedLine {
        side: line.side,
        line: case.set.lines().get(line.line).map(|line| line.name.clone()).unwrap_or_default(),
        index: line.line,
        row: line.row,
        before_mm,
        after_mm,
        tolerance_mm: line.tolerance_mm,
        deviation_after_mm: line.deviation_mm + moved_mm,
        expected_reading_mm: line.reading_mm + moved_mm,
        uncertainty_before_mm: measured.expanded(),
        uncertainty_after_mm,
        chance_before: chance_within(before_mm, measured.standard, line.tolerance_mm),
        chance_after: chance_within(after_mm, standard_mm, line.tolerance_mm),
        verdict_after: DecisionRule::Value.judge(after_mm, uncertainty_after_mm, line.tolerance_mm),
    }
}

fn objective(case: &Case<'_>, steps: &[Placed], lines: impl Iterator<Item = f64>) -> Objective {
    let (mut outside, mut misfit) = (0, 0.0);
    for (off_mm, line) in lines.zip(&case.lines) {
        outside += usize::from(off_mm.abs() > line.tolerance_mm);
        misfit += line.weight * (off_mm / line.tolerance_mm).powi(2);
    }
    // a sum with zero turns the minus zero of an empty sum into zero
    let of_step = |placed: &Placed| {
        let undoing = if undoes(case, placed, steps) { case.undoing(placed.place) } else { 0.0 };
        case.weights.price * (case.price(placed.place, &placed.step) + undoing)
    };
    let price = steps.iter().map(of_step).sum::<f64>() + 0.0;
    let (mut incidence, mut asymmetry) = (0, 0);
    for placed in steps {
        let shift = case.shift_of(placed);
        incidence += shift.incidence;
        asymmetry += shift.asymmetry;
    }
    let after = |before: Interval, moved: i64| before.value.unwrap_or(0.0) + moved as f64 / UNITS;
    let left_over =
        case.left_over(after(case.trim.incidence_change_deg, incidence), after(case.trim.asymmetry_deg, asymmetry));
    Objective { outside, misfit, price, left_over }
}

fn worst(offs: impl Iterator<Item = f64>) -> f64 {
    offs.fold(0.0, |worst: f64, off| if off.abs() > worst.abs() { off } else { worst })
}

/// The check as it should be read after the steps.
fn predicted(case: &Case<'_>, steps: &[Placed]) -> Check {
    let mut check = case.check.clone();
    for reading in &mut check.readings {
        reading.reading_mm += correction_mm(case, steps, reading.side, reading.line);
    }
    check
}

/// The interval after, widened by the steps: each step's standard uncertainty times what its change does per millimetre.
fn widened(after: Interval, variance: f64) -> Interval {
    let (Some(value), Some(upper)) = (after.value, after.upper) else { return after };
    // intervals are symmetric, so the half width stands for the measurement's expanded uncertainty
    let reach = ((upper - value).powi(2) + STEP_COVERAGE.powi(2) * variance).sqrt();
    Interval { value: Some(value), lower: Some(value - reach), upper: Some(value + reach) }
}

struct After {
    trim: Trim,
    incidence: Interval,
    asymmetry: Interval,
}

fn after(case: &Case<'_>, steps: &[Placed]) -> Result<After, PlanError> {
    let trim = case.model.run(&case.history.wing, &predicted(case, steps))?;
    let shares = case.model.incidence_shares(&case.check);
    let (mut incidence, mut asymmetry) = (0.0, 0.0);
    for placed in steps {
        let moved = case.lines.iter().zip(&shares).filter(|(line, _)| moves(case, placed, line.side, line.line));
        let (mut wing, mut sides) = (0.0, 0.0);
        for (_, share) in moved {
            wing += share.wing_deg_per_mm;
            sides += share.asymmetry_deg_per_mm;
        }
        incidence += (wing * placed.step.standard_mm).powi(2);
        asymmetry += (sides * placed.step.standard_mm).powi(2);
    }
    Ok(After {
        incidence: widened(trim.incidence_change_deg, incidence),
        asymmetry: widened(trim.asymmetry_deg, asymmetry),
        trim,
    })
}

/// The plan that consists of these steps.
pub(super) fn settle(case: &Case<'_>, steps: &[Placed], found: Found) -> Result<Plan, PlanError> {
    let steps = in_order(case, steps);
    let lines: Vec<PlannedLine> = case
        .lines
        .iter()
        .enumerate()
        .map(|(at, line)| planned_line(case, line, at, &steps, found.target_mm))
        .collect();
    let before = PlannedState {
        outside: case.trim.counts().outside + case.far_outside,
        worst_mm: worst(lines.iter().map(|line| line.before_mm)),
        incidence_change_deg: case.trim.incidence_change_deg,
        asymmetry_deg: case.trim.asymmetry_deg,
        trim: case.trim.clone(),
    };
    let result = after(case, &steps)?;
    let objective = objective(case, &steps, lines.iter().map(|line| line.after_mm));
    let after = PlannedState {
        outside: objective.outside + case.far_outside,
        worst_mm: worst(lines.iter().map(|line| line.after_mm)),
        incidence_change_deg: result.incidence,
        asymmetry_deg: result.asymmetry,
        trim: result.trim,
    };
    let mut remeasure = case.remeasure.clone();
    for again in &mut remeasure {
        if let Some(line) = case.set.find(&again.line, again.side) {
            again.moved_mm = correction_mm(case, &steps, again.side, line);
        }
    }
    for again in near(case, &steps, &lines).into_iter().chain(near_by_themselves(case)) {
        if !remeasure.iter().any(|known| known.side == again.side && known.line == again.line) {
            remeasure.push(again);
        }
    }
    let mut plan = Plan {
        check: case.check.id.clone(),
        wing: case.history.wing.id.clone(),
        aim: case.aim,
        alternatives: Vec::new(),
        target: case.target.name().to_owned(),
        target_mm: found.target_mm,
        remeasure,
        actions: steps.iter().map(|placed| planned_action(case, placed)).collect(),
        before,
        after,
        objective,
        lines,
        optimal: found.gap == Some(0.0),
        gap: found.gap,
        states: found.states,
        notes: Vec::new(),
    };
    plan.notes = notes(case, &plan);
    Ok(plan)
}

/// Lines that are outside by themselves and near their tolerance, as the trim has them.
fn near_by_themselves(case: &Case<'_>) -> impl Iterator<Item = Remeasure> {
    case.trim.again.iter().map(|on| Remeasure::new(on.side, &on.line, RemeasureReason::Near))
}

/// Lines too close to their tolerance to tell on which an action hangs: of the one or two lines that it moves, or that its
/// like moves on the other side, those that are outside are all so, and so is their mean.
fn near(case: &Case<'_>, steps: &[Placed], lines: &[PlannedLine]) -> Vec<Remeasure> {
    let mut found: Vec<Remeasure> = Vec::new();
    for placed in steps {
        let alike = steps.iter().filter(|other| other.place == placed.place && other.step.kind == placed.step.kind);
        let moved: Vec<usize> = alike
            .flat_map(|other| {
                let moved = |at: &usize| moves(case, other, case.lines[*at].side, case.lines[*at].line);
                (0..case.lines.len()).filter(moved).collect::<Vec<_>>()
            })
            .collect();
        if moved.len() > 2 {
            continue;
        }
        let of = |at: &usize| lines.get(*at);
        let outside: Vec<&PlannedLine> =
            moved.iter().filter_map(of).filter(|line| line.before_mm.abs() > line.tolerance_mm).collect();
        let is_near = |line: &&PlannedLine| (0.05..0.95).contains(&line.chance_before);
        let mean = moved.iter().filter_map(of).map(|line| line.before_mm).sum::<f64>() / moved.len().max(1) as f64;
        let least = mean.abs() - case.mean_uncertainty(&moved).expanded();
        let tolerance = outside.iter().map(|line| line.tolerance_mm).fold(f64::INFINITY, f64::min);
        if outside.is_empty() || !outside.iter().all(is_near) || least > tolerance {
            continue;
        }
        for line in outside {
            let known = found.iter().any(|known| known.side == line.side && known.line == line.line);
            if !known {
                found.push(Remeasure::new(line.side, &line.line, RemeasureReason::Near));
            }
        }
    }
    found
}

/// The same, only as far as a choice between plans needs it.
pub(super) fn curve_point(case: &Case<'_>, steps: &[Placed], target_mm: f64, most_actions: usize) -> CurvePoint {
    let steps = in_order(case, steps);
    let offs: Vec<f64> = case
        .lines
        .iter()
        .map(|line| case.off_mm(line, target_mm) + correction_mm(case, &steps, line.side, line.line))
        .collect();
    CurvePoint {
        most_actions,
        actions: steps.iter().map(|placed| planned_action(case, placed)).collect(),
        objective: objective(case, &steps, offs.iter().copied()),
        worst_mm: worst(offs.into_iter()),
    }
}
