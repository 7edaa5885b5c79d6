//! Profile-likelihood intervals.

use std::borrow::Cow;

use serde::{Deserialize, Serialize};

use super::columns::kept_effects;
use super::curvature::Curvature;
use super::search::scaled;
use super::start::start_scale;
use super::{Block, Covariance, Criterion, MixedError, MixedFit, MixedSpec, Objective, Structure};
use crate::stats::minimise::{Minimum, Precision, StopReason, minimise_from};

/// Most evaluations of one constrained optimum.
const CAP: usize = 300;
/// How near to the wanted rise of the criterion an end must come.
const CLOSE: f64 = 1e-4;
/// What may be left between two neighbouring values, in the root of the rise, when there is no number between them.
const JUMP: f64 = 1e-2;

/// One figure of a mixed model.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Parameter {
    /// A fixed effect, by its place among the kept ones.
    Fixed(usize),
    /// Standard deviation of a reading.
    Reading,
    /// Standard deviation of the inner effects.
    Inner,
    /// Standard deviation of the inner slopes.
    InnerSlope,
    /// Standard deviation of a shared term's effects, by its place in the structure.
    Shared(usize),
    /// Standard deviation of one effect of an outer term.
    Outer {
        /// Place of the term in the structure.
        term: usize,
        /// Which of its effects, from 0.
        effect: usize,
    },
    /// Correlation of the two effects of an outer term of width 2.
    Correlation {
        /// Place of the term in the structure.
        term: usize,
    },
}

/// Ends of an interval; a standard deviation that the data cannot tell from zero has lower end 0, a correlation at its
/// bound ±1.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ProfileInterval {
    /// Lower end (`None`: the search did not reach it).
    pub lower: Option<f64>,
    /// Upper end (`None`: the search did not reach it).
    pub upper: Option<f64>,
}

/// One point of a profile.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ProfilePoint {
    /// Value at which the parameter is held.
    pub value: f64,
    /// How much the criterion rises above its minimum.
    pub rise: f64,
}

/// Finds profile-likelihood intervals of one fit.
#[derive(Debug)]
pub struct Profiler<'a> {
    fit: &'a MixedFit,
    blocks: Cow<'a, [Block]>,
    /// The fit by ML, for fixed effects.
    ml: MixedFit,
    scale: Vec<f64>,
    /// Inverse Hessian of the ML criterion, and of the fit's own.
    ml_metric: Option<Vec<f64>>,
    own_metric: Option<Vec<f64>>,
}

impl MixedFit {
    /// Gets ready to find profile-likelihood intervals; `blocks` are the ones of the fit.
    ///
    /// # Errors
    /// [`MixedError::Foreign`] when a block has another structure, others when the model cannot be fitted by ML.
    pub fn profiler<'a>(&'a self, blocks: &'a [Block]) -> Result<Profiler<'a>, MixedError> {
        let keep = kept_effects(&self.structure, &self.kept);
        let blocks: Cow<'a, [Block]> = if self.kept.iter().all(|keep| *keep) {
            Cow::Borrowed(blocks)
        } else {
            Cow::Owned(blocks.iter().map(|block| block.keeping(&keep)).collect())
        };
        Objective::new(&self.structure, &blocks, Criterion::Ml).check_blocks()?;
        let scale = start_scale(&self.structure, &blocks);
        let ml =
            MixedSpec::default().criterion(Criterion::Ml).fit_from(&self.structure, &blocks, &self.minimum().end)?;
        let all: Vec<usize> = (0..scale.len()).collect();
        let metric = |criterion, theta: &[f64]| {
            let objective = Objective::new(&self.structure, &blocks, criterion);
            let at: Vec<f64> = theta.iter().zip(&scale).map(|(t, s)| t / s).collect();
            Curvature::new(&objective, &at, &scale, None).map(|curvature| curvature.inverse(&all, 1.0, 1.0))
        };
        let (ml_metric, own_metric) = (metric(Criterion::Ml, &ml.theta), metric(self.criterion(), &self.theta));
        Ok(Profiler { fit: self, blocks, ml, scale, ml_metric, own_metric })
    }
}

impl Profiler<'_> {
    /// The criterion of the fit by ML at its minimum.
    #[must_use]
    pub fn ml_deviance(&self) -> f64 {
        self.ml.deviance()
    }

    /// Profile-likelihood interval of one parameter: the values for which the criterion, minimised over everything else,
    /// is at most `rise` above its minimum (3.841 for 95 %). Fixed effects go by ML, a standard deviation or correlation
    /// by the fit's own criterion. Where one of two correlated effects might have no spread at all, any correlation will do. An
    /// end is given only where the criterion was seen to rise by so much, or at a bound.
    ///
    /// Source: the likelihood-ratio test inverted; Bates and others, J. Stat. Softw. 67(1), 2015, section 5.1 (from memory).
    ///
    /// # Errors
    /// [`MixedError::Parameter`] when the parameter is not in the model.
    pub fn interval(&self, parameter: Parameter, rise: f64) -> Result<ProfileInterval, MixedError> {
        self.along(parameter, rise, |course, excess| ProfileInterval {
            lower: course.lower(rise, excess).value(),
            upper: course.upper(rise, excess).value(),
        })
    }

    /// The profile itself: how much the criterion rises at `points` values, evenly from one end of [`Profiler::interval`] to the
    /// other. A value at which the search did not end is left out.
    ///
    /// # Errors
    /// As [`Profiler::interval`].
    pub fn curve(&self, parameter: Parameter, rise: f64, points: usize) -> Result<Vec<ProfilePoint>, MixedError> {
        self.along(parameter, rise, |course, excess| {
            let lower = course.lower(rise, excess).value().unwrap_or(course.centre + course.down);
            let upper = course.upper(rise, excess).value().unwrap_or(course.centre + course.up);
            let last = points.saturating_sub(1).max(1) as f64;
            let values = (0..points).map(|k| lower + (upper - lower) * k as f64 / last);
            values.filter_map(|value| excess(value).map(|rise| ProfilePoint { value, rise: rise.max(0.0) })).collect()
        })
    }

    fn along<R>(
        &self,
        parameter: Parameter,
        rise: f64,
        read: impl FnOnce(&Course, Excess<'_>) -> R,
    ) -> Result<R, MixedError> {
        match parameter {
            Parameter::Fixed(place) => self.along_fixed(place, rise, read),
            spread => self.along_spread(spread, read),
        }
    }

    fn along_fixed<R>(
        &self,
        place: usize,
        rise: f64,
        read: impl FnOnce(&Course, Excess<'_>) -> R,
    ) -> Result<R, MixedError> {
        let Some(effect) = self.ml.fixed().get(place) else { return Err(MixedError::Parameter) };
        let (centre, se) = (effect.estimate, effect.se);
        let mut names = self.fit.structure.fixed.clone();
        names.remove(place);
        let model = Structure { fixed: names, ..self.fit.structure.clone() };
        let mut start = self.ml.minimum().end.clone();
        let column = self.fit.structure.shared_columns() + place;
        let mut excess = |value: f64| {
            let fixed: Vec<Block> = self.blocks.iter().map(|block| block.with_effect_fixed(column, value)).collect();
            let objective = Objective::new(&model, &fixed, Criterion::Ml);
            let attempt = |from: &[f64]| {
                let search = scaled(&objective, &self.scale);
                minimise_from(from, self.ml_metric.clone(), CAP, Precision::Full, search).map(|found| found.minimum)
            };
            let found = lowest(&[&start, &self.ml.minimum().end], attempt)?;
            start.clone_from(&found.end);
            Some(found.value - self.ml.deviance())
        };
        let step = se * rise.sqrt();
        let course = Course { centre, down: -step, up: step, low: f64::NEG_INFINITY, high: f64::INFINITY };
        Ok(read(&course, &mut excess))
    }

    fn along_spread<R>(
        &self,
        parameter: Parameter,
        read: impl FnOnce(&Course, Excess<'_>) -> R,
    ) -> Result<R, MixedError> {
        let (fit, scale) = (self.fit, &self.scale);
        let constraint = Constraint::new(fit, parameter)?;
        let objective = Objective::new(&fit.structure, &self.blocks, fit.criterion());
        let n = scale.len();
        let mut start: Vec<f64> = fit.theta.iter().zip(scale).map(|(t, s)| t / s).collect();
        let metric = self.own_metric.as_ref().map(|inner| {
            let mut metric = vec![0.0; (n + 1) * (n + 1)];
            for i in 0..n {
                metric[i * (n + 1)..i * (n + 1) + n].copy_from_slice(&inner[i * n..(i + 1) * n]);
            }
            metric[n * (n + 1) + n] = 0.25 / objective.degrees();
            metric
        });
        start.push(fit.sigma().ln());
        let best = start.clone();
        let attempt = |constraint: &Constraint, value: f64, from: &[f64]| {
            let found = minimise_from(from, metric.clone(), CAP, Precision::Full, |x| {
                let mut theta: Vec<f64> = x.iter().zip(scale).map(|(x, s)| x * s).collect();
                let mut sigma = x[n].exp();
                constraint.impose(value, &mut theta, &mut sigma);
                let found = objective.evaluate_at(&theta, sigma)?;
                let mut gradient = found.gradient;
                gradient.push(found.log_sigma_gradient);
                constraint.pull_back(value, &theta, x, scale, sigma, &mut gradient);
                gradient.iter_mut().zip(scale).for_each(|(g, s)| *g *= s);
                Some((found.deviance, gradient))
            });
            found.map(|found| found.minimum)
        };
        // without a spread of one of the two effects every correlation is as good: the profile is never above that
        let mut ceiling = f64::INFINITY;
        if let Parameter::Correlation { term } = parameter {
            for effect in 0..2 {
                let none = Constraint::new(fit, Parameter::Outer { term, effect })?;
                if let Some(found) = lowest(&[&best], |from| attempt(&none, 0.0, from)) {
                    ceiling = ceiling.min(found.value);
                }
            }
        }
        let mut excess = |value: f64| {
            // where the criterion bends sharply, at no spread, a search may end before its bottom: the ceiling is there
            let found = lowest(&[&start, &best], |from| attempt(&constraint, value, from));
            if let Some(found) = &found {
                start.clone_from(&found.end);
            }
            let found = found.map_or(f64::INFINITY, |found| found.value).min(ceiling);
            found.is_finite().then(|| (found - fit.deviance()).max(0.0))
        };
        let centre = constraint.estimate;
        let (low, high) = constraint.bounds();
        let step = if centre == 0.0 { 0.1 * constraint.unit } else { 0.2 * constraint.unit };
        Ok(read(&Course { centre, down: -step, up: step, low, high }, &mut excess))
    }
}

/// The lowest of the searches from several starts; `None` when that one did not come to its bottom.
fn lowest(starts: &[&[f64]], mut attempt: impl FnMut(&[f64]) -> Option<Minimum>) -> Option<Minimum> {
    let found = starts.iter().filter_map(|start| attempt(start));
    found.min_by(|a, b| a.value.total_cmp(&b.value)).filter(|found| found.stop == StopReason::Converged)
}

/// The rise of the criterion with a parameter held at a value.
type Excess<'a> = &'a mut dyn FnMut(f64) -> Option<f64>;

/// Where a parameter may go: its estimate, first steps, bounds.
struct Course {
    centre: f64,
    down: f64,
    up: f64,
    low: f64,
    high: f64,
}

impl Course {
    fn lower(&self, rise: f64, excess: Excess<'_>) -> Crossing {
        if self.centre <= self.low {
            return Crossing::AtBound(self.low);
        }
        crossing(self.centre, self.down, self.low, rise, excess)
    }

    fn upper(&self, rise: f64, excess: Excess<'_>) -> Crossing {
        crossing(self.centre, self.up, self.high, rise, excess)
    }
}

/// Where a profile crosses the wanted rise.
enum Crossing {
    At(f64),
    AtBound(f64),
    NotReached,
}

impl Crossing {
    fn value(&self) -> Option<f64> {
        match self {
            Crossing::At(value) | Crossing::AtBound(value) => Some(*value),
            Crossing::NotReached => None,
        }
    }
}

/// Goes from the estimate in steps until the excess is past `rise`, then closes in on the crossing by the secant rule on
/// the square root of the excess, which is nearly a straight line.
fn crossing(centre: f64, step: f64, bound: f64, rise: f64, excess: Excess<'_>) -> Crossing {
    let wanted = rise.sqrt();
    let clip = |value: f64| if step < 0.0 { value.max(bound) } else { value.min(bound) };
    let (mut inside, mut inside_root) = (centre, 0.0);
    let mut width = step;
    let mut outside = None;
    for _ in 0..60 {
        let trial = clip(inside + width);
        let Some(root) = excess(trial).map(|e| e.max(0.0).sqrt()) else {
            // not defined there: a shorter step
            width *= 0.5;
            continue;
        };
        if root >= wanted {
            outside = Some((trial, root));
            break;
        }
        if (trial - bound).abs() <= 0.0 {
            return Crossing::AtBound(bound);
        }
        // as far as the root says, but at most three times the step
        let rate = (root - inside_root) / (trial - inside).abs();
        let ahead = if rate > 0.0 { 1.05 * (wanted - root) / rate } else { f64::INFINITY };
        width = step.signum() * ahead.min(3.0 * width.abs());
        (inside, inside_root) = (trial, root);
    }
    let Some((mut outside, mut outside_root)) = outside else { return Crossing::NotReached };
    for turn in 0..60 {
        if (outside_root - wanted).abs() < CLOSE {
            return Crossing::At(outside);
        }
        if wanted - inside_root < CLOSE {
            return Crossing::At(inside);
        }
        // the secant, and now and then the middle, so that both ends move
        let share = (wanted - inside_root) / (outside_root - inside_root);
        let share = if turn % 4 == 3 { 0.5 } else { share.clamp(0.02, 0.98) };
        let trial = inside + share * (outside - inside);
        if (trial - inside).abs() <= 0.0 || (trial - outside).abs() <= 0.0 {
            break;
        }
        match excess(trial).map(|e| e.max(0.0).sqrt()) {
            Some(root) if root < wanted => (inside, inside_root) = (trial, root),
            Some(root) => (outside, outside_root) = (trial, root),
            None => return Crossing::NotReached,
        }
    }
    // a profile that jumps past the wanted rise has no value there
    if outside_root - inside_root < JUMP {
        Crossing::At(f64::midpoint(inside, outside))
    } else {
        Crossing::NotReached
    }
}

/// One standard deviation or correlation held at a value while the others move.
struct Constraint {
    parameter: Parameter,
    estimate: f64,
    /// A natural unit of the parameter: its estimate, or what a reading's spread comes to.
    unit: f64,
    /// Places in θ of the row of Λ that it is about; that of a first row of two is right before those of the second.
    row: Vec<usize>,
}

impl Constraint {
    fn new(fit: &MixedFit, parameter: Parameter) -> Result<Self, MixedError> {
        let structure = &fit.structure;
        let mut row = Vec::new();
        let mut estimate = fit.sigma();
        let wrong = MixedError::Parameter;
        match parameter {
            Parameter::Fixed(_) => return Err(wrong),
            Parameter::Reading => {}
            Parameter::Inner => {
                estimate = fit.inner_sd().ok_or(wrong)?;
                row.push(0);
            }
            Parameter::InnerSlope => {
                estimate = fit.inner_slope_sd().ok_or(wrong)?;
                row.extend(structure.slope_place());
            }
            Parameter::Shared(term) => {
                estimate = fit.shared_sd().get(term).copied().ok_or(wrong)?;
                row.push(structure.parameters() - structure.shared.len() + term);
            }
            Parameter::Outer { term, .. } | Parameter::Correlation { term } => {
                let (effect, correlation) = match parameter {
                    Parameter::Outer { effect, .. } => (effect, false),
                    _ => (1, true),
                };
                let outer = structure.outer.get(term).ok_or(MixedError::Parameter)?;
                let wide = outer.width == 2 && outer.covariance == Covariance::Full;
                if effect >= outer.width || correlation && !wide {
                    return Err(wrong);
                }
                let before: usize = structure.outer.iter().take(term).map(super::OuterTerm::parameters).sum();
                let first = structure.first_outer() + before;
                row.extend(
                    outer
                        .places()
                        .enumerate()
                        .filter(|(_, place)| place / outer.width == effect)
                        .map(|(k, _)| first + k),
                );
                let spread = fit.outer().get(term).ok_or(MixedError::Parameter)?;
                let values = if correlation { &spread.correlation } else { &spread.sd };
                estimate = values.get(if correlation { 2 } else { effect }).copied().unwrap_or(0.0);
            }
        }
        let unit = match parameter {
            Parameter::Correlation { .. } => 1.0,
            _ if estimate > 0.0 => estimate,
            _ => fit.sigma(),
        };
        Ok(Self { parameter, estimate, unit, row })
    }

    fn bounds(&self) -> (f64, f64) {
        match self.parameter {
            Parameter::Correlation { .. } => (-1.0, 1.0),
            _ => (0.0, f64::INFINITY),
        }
    }

    /// Makes θ and σ obey.
    fn impose(&self, value: f64, theta: &mut [f64], sigma: &mut f64) {
        match (self.parameter, self.row.as_slice()) {
            (Parameter::Reading, _) => *sigma = value,
            (Parameter::Correlation { .. }, &[across, own]) => {
                // of the factors that give the same covariance, the one with both spreads above zero: the other way round the
                // correlation would be the mirror image of the value
                let (lead, length) = (across - 1, theta[own].abs());
                theta[lead] = theta[lead].abs();
                theta[across] = length * value;
                theta[own] = length * (1.0 - value * value).max(0.0).sqrt();
            }
            (_, &[only]) => theta[only] = value / *sigma,
            (_, row) => {
                let length = row.iter().map(|k| theta[*k] * theta[*k]).sum::<f64>().sqrt();
                if length > 0.0 {
                    row.iter().for_each(|k| theta[*k] *= value / *sigma / length);
                } else if let Some(own) = row.last() {
                    theta[*own] = value / *sigma;
                }
            }
        }
    }

    /// Turns the gradient at the imposed point into that of the free coordinates (`free`, over `scale`).
    fn pull_back(&self, value: f64, theta: &[f64], free: &[f64], scale: &[f64], sigma: f64, gradient: &mut [f64]) {
        let last = gradient.len() - 1;
        match (self.parameter, self.row.as_slice()) {
            (Parameter::Reading, _) => gradient[last] = 0.0,
            (Parameter::Correlation { .. }, &[across, own]) => {
                let along = gradient[across] * value + gradient[own] * (1.0 - value * value).max(0.0).sqrt();
                gradient[own] = along * free[own].signum();
                gradient[across - 1] *= free[across - 1].signum();
                gradient[across] = 0.0;
            }
            (_, &[only]) => {
                gradient[last] -= gradient[only] * theta[only];
                gradient[only] = 0.0;
            }
            (_, row) => {
                let along: f64 = row.iter().map(|k| gradient[*k] * theta[*k]).sum();
                gradient[last] -= along;
                let length = row.iter().map(|k| (free[*k] * scale[*k]).powi(2)).sum::<f64>().sqrt();
                let stretch = if length > 0.0 { value / sigma / length } else { 0.0 };
                let square = (value / sigma).powi(2);
                for k in row {
                    let across = if square > 0.0 { along * theta[*k] / square } else { 0.0 };
                    gradient[*k] = stretch * (gradient[*k] - across);
                }
            }
        }
    }
}
