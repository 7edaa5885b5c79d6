//! The criterion as a search wants it.

use super::Objective;
use super::objective::Evaluated;
use crate::stats::minimise::Evaluation;

/// The last evaluation of a search, and where it was, in scaled parameters.
pub(super) type Last = Option<(Vec<f64>, Evaluated)>;

/// The criterion and its gradient in scaled parameters.
pub(super) fn scaled<'a>(objective: &'a Objective<'a>, scale: &'a [f64]) -> impl FnMut(&[f64]) -> Evaluation + 'a {
    let mut last = None;
    move |x: &[f64]| evaluate(objective, scale, x, &mut last)
}

/// The same, with its last evaluation kept in `last`: a search mostly ends where it looked last.
pub(super) fn remembering<'a>(
    objective: &'a Objective<'a>,
    scale: &'a [f64],
    last: &'a mut Last,
) -> impl FnMut(&[f64]) -> Evaluation + 'a {
    move |x: &[f64]| evaluate(objective, scale, x, last)
}

fn evaluate(objective: &Objective<'_>, scale: &[f64], x: &[f64], last: &mut Last) -> Evaluation {
    let theta: Vec<f64> = x.iter().zip(scale).map(|(x, s)| x * s).collect();
    *last = None;
    let found = objective.evaluate(&theta)?;
    let gradient = found.gradient.iter().zip(scale).map(|(g, s)| g * s).collect();
    let deviance = found.profile.deviance;
    *last = Some((x.to_vec(), found));
    Some((deviance, gradient))
}

/// What was evaluated last, where that was at `point`.
pub(super) fn evaluated_at(last: Last, point: &[f64]) -> Option<Evaluated> {
    last.filter(|(at, _)| at == point).map(|(_, found)| found)
}
