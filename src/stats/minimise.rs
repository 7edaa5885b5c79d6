//! Quasi-Newton minimisation with an analytic gradient.

use serde::{Deserialize, Serialize};

/// Why a minimisation ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum StopReason {
    /// The decrease still to be had is below rounding.
    Converged,
    /// No step lowered the objective although the gradient is not small.
    NoDecrease,
    /// The cap on evaluations was reached.
    EvaluationCap,
}

/// What a minimisation did.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Minimum {
    /// Where it started.
    pub start: Vec<f64>,
    /// Where it ended.
    pub end: Vec<f64>,
    /// The objective there.
    pub value: f64,
    /// Evaluations of objective and gradient.
    pub evaluations: usize,
    /// Why it ended.
    pub stop: StopReason,
}

/// Value and gradient at a point; `None` where the objective is not defined.
pub(crate) type Evaluation = Option<(f64, Vec<f64>)>;

/// So many steps in a row that lower the objective by less than the slack, and there is nothing more to be had: near an optimum
/// the gradient's last digits are settled in one or two such steps.
const STALLED: usize = 4;
/// A decrease to be had below this (plus a thousandth of it, of the objective) counts as convergence where no step lowers it.
const NEAR: f64 = 1e-6;
/// And below this, by a quasi-Newton step, the same without another search: a thirty-thousandth of a standard error.
const DONE: f64 = 1e-9;

/// A search ends when the decrease still to be had by a quasi-Newton step is below this (plus a thousandth of it, of the objective).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Precision {
    /// To rounding.
    Full,
    /// Enough to compare models, and to go on from.
    OnTheWay,
}

impl Precision {
    fn tolerance(self) -> f64 {
        match self {
            Precision::Full => 1e-13,
            Precision::OnTheWay => 1e-8,
        }
    }
}

/// A minimum, and the inverse Hessian as the search knows it there, row-major.
pub(crate) struct Descent {
    pub(crate) minimum: Minimum,
    pub(crate) inverse: Vec<f64>,
}

/// Minimises a smooth function by BFGS with a line search that satisfies the weak Wolfe conditions; decreases are judged
/// with a slack of a few units of rounding, so that the last digits of the minimiser are settled by the gradient.
///
/// Source: Nocedal and Wright, Numerical Optimization, 2nd ed., algorithm 6.1 and section 3.1 (from memory); the slack follows
/// the approximate Wolfe idea of Hager and Zhang 2005 (from memory). Where the objective's own rounding is larger than the slack, its
/// values end by telling nothing: a search gives up once the decrease it looks for is below the slack, and [`STALLED`] steps in
/// a row without a decrease end the minimisation.
pub(crate) fn minimise(start: &[f64], cap: usize, objective: impl FnMut(&[f64]) -> Evaluation) -> Option<Minimum> {
    minimise_from(start, None, cap, Precision::Full, objective).map(|found| found.minimum)
}

/// The same, with a first guess of the inverse Hessian (row-major, positive definite) where there is one.
pub(crate) fn minimise_from(
    start: &[f64],
    inverse: Option<Vec<f64>>,
    cap: usize,
    precision: Precision,
    mut objective: impl FnMut(&[f64]) -> Evaluation,
) -> Option<Descent> {
    let n = start.len();
    let mut evaluations = 1;
    let mut point = start.to_vec();
    let (mut value, mut gradient) = objective(&point)?;
    if n == 0 {
        let (start, end) = (Vec::new(), Vec::new());
        let minimum = Minimum { start, end, value, evaluations, stop: StopReason::Converged };
        return Some(Descent { minimum, inverse: Vec::new() });
    }
    let known = inverse.filter(|inverse| inverse.len() == n * n);
    let mut fresh = known.is_none();
    let mut inverse = known.unwrap_or_else(|| identity(n));
    let mut stalled = 0;
    let stop = loop {
        let mut direction = negative_product(&inverse, &gradient);
        let mut slope = dot(&direction, &gradient);
        if !(slope < 0.0) {
            inverse = identity(n);
            fresh = true;
            direction = gradient.iter().map(|g| -g).collect();
            slope = -dot(&gradient, &gradient);
        }
        let tolerance = precision.tolerance() * (1.0 + 1e-3 * value.abs());
        if -slope <= tolerance && !fresh || slope == 0.0 || dot(&gradient, &gradient).sqrt() <= 1e-10 {
            break StopReason::Converged;
        }
        if evaluations >= cap {
            break StopReason::EvaluationCap;
        }
        if fresh {
            // first step of unit length at most
            let length = dot(&direction, &direction).sqrt();
            let scale = (1.0 / length).min(1.0);
            direction.iter_mut().for_each(|d| *d *= scale);
            slope *= scale;
        }
        let slack = 1e-14 * (1.0 + value.abs());
        let (mut low, mut high, mut step) = (0.0, f64::INFINITY, 1.0);
        let mut found = None;
        for _ in 0..40 {
            if evaluations >= cap {
                break;
            }
            let trial: Vec<f64> = point.iter().zip(&direction).map(|(x, d)| x + step * d).collect();
            evaluations += 1;
            match objective(&trial) {
                Some((f, g)) if f <= value + 1e-4 * step * slope + slack => {
                    let new_slope = dot(&direction, &g);
                    let flat = new_slope >= 0.9 * slope;
                    found = Some((trial, f, g));
                    if flat {
                        break;
                    }
                    low = step;
                }
                _ => high = step,
            }
            step = if high.is_finite() { f64::midpoint(low, high) } else { 2.0 * step };
            // what is left between the two promises less than can be seen
            let left = if high.is_finite() { high - low } else { step };
            if left < 1e-14 * step || -slope * left < slack {
                break;
            }
        }
        stalled = if found.as_ref().is_some_and(|(_, f, _)| *f < value - slack) { 0 } else { stalled + 1 };
        let per = 1.0 + 1e-3 * value.abs();
        let no_decrease = if -slope <= NEAR * per { StopReason::Converged } else { StopReason::NoDecrease };
        let Some((next, next_value, next_gradient)) = found else {
            if fresh || stalled >= STALLED {
                break no_decrease;
            }
            // as good by the curvature as by the gradient alone: no need to look along the latter
            if -slope <= DONE * per && dot(&gradient, &gradient) <= NEAR * per {
                break StopReason::Converged;
            }
            inverse = identity(n);
            fresh = true;
            continue;
        };
        let moved: Vec<f64> = next.iter().zip(&point).map(|(a, b)| a - b).collect();
        let turned: Vec<f64> = next_gradient.iter().zip(&gradient).map(|(a, b)| a - b).collect();
        update(&mut inverse, &moved, &turned, fresh);
        fresh = false;
        point = next;
        value = next_value;
        gradient = next_gradient;
        if stalled >= STALLED {
            break no_decrease;
        }
    };
    let minimum = Minimum { start: start.to_vec(), end: point, value, evaluations, stop };
    Some(Descent { minimum, inverse })
}

fn identity(n: usize) -> Vec<f64> {
    (0..n * n).map(|k| if k % (n + 1) == 0 { 1.0 } else { 0.0 }).collect()
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

fn negative_product(matrix: &[f64], vector: &[f64]) -> Vec<f64> {
    matrix.chunks(vector.len()).map(|row| -dot(row, vector)).collect()
}

/// The BFGS update of the inverse Hessian; skipped when the curvature along the step is not positive.
fn update(inverse: &mut [f64], moved: &[f64], turned: &[f64], first: bool) {
    let n = moved.len();
    let curvature = dot(moved, turned);
    if !(curvature > 1e-14 * dot(moved, moved).sqrt() * dot(turned, turned).sqrt()) {
        return;
    }
    if first {
        let scale = curvature / dot(turned, turned);
        inverse.iter_mut().for_each(|h| *h *= scale);
    }
    let bent: Vec<f64> = inverse.chunks(n).map(|row| dot(row, turned)).collect();
    let factor = (1.0 + dot(turned, &bent) / curvature) / curvature;
    for i in 0..n {
        for j in 0..n {
            inverse[i * n + j] +=
                factor * moved[i] * moved[j] - (bent[i] * moved[j] + moved[i] * bent[j]) / curvature;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finds_the_bottom_of_rosenbrocks_valley() {
        let valley = |x: &[f64]| {
            let (a, b) = (1.0 - x[0], x[1] - x[0] * x[0]);
            Some((a * a + 100.0 * b * b, vec![-2.0 * a - 400.0 * x[0] * b, 200.0 * b]))
        };
        let minimum = minimise(&[-1.2, 1.0], 500, valley).unwrap();
        assert_eq!(minimum.stop, StopReason::Converged);
        assert!((minimum.end[0] - 1.0).abs() < 1e-6 && (minimum.end[1] - 1.0).abs() < 1e-6, "{minimum:?}");
    }

    #[test]
    fn rounding_larger_than_the_slack_does_not_keep_it_going() {
        // a value near 10,000 that is off by up to 3e-9 in a way that hangs on the last bits of the point; gradient by up to 1e-5
        let mut evaluations = 0;
        let rough = |x: &[f64]| {
            evaluations += 1;
            let bits = x.iter().fold(1u64, |bits, x| (bits ^ x.to_bits()).wrapping_mul(0x9E37_79B9_7F4A_7C15));
            let noise = |shift: u32| f64::from(u16::try_from((bits >> shift) & 0xFFFF).unwrap()) / 65536.0 - 0.5;
            let (a, b) = (1.0 - x[0], x[1] - x[0] * x[0]);
            let value = 1e4 + a * a + 100.0 * b * b + 6e-9 * noise(0);
            let slope = vec![-2.0 * a - 400.0 * x[0] * b + 2e-5 * noise(16), 200.0 * b + 2e-5 * noise(32)];
            Some((value, slope))
        };
        let minimum = minimise(&[-1.2, 1.0], 500, rough).unwrap();
        assert_eq!(minimum.stop, StopReason::Converged, "{minimum:?}");
        assert!(minimum.evaluations < 80 && minimum.evaluations == evaluations, "{minimum:?}");
        assert!((minimum.end[0] - 1.0).abs() < 1e-4 && (minimum.end[1] - 1.0).abs() < 1e-4, "{minimum:?}");
    }

    #[test]
    fn a_cap_is_a_cap_and_an_undefined_start_is_nothing() {
        let steep = |x: &[f64]| Some((x[0].exp(), vec![x[0].exp()]));
        let minimum = minimise(&[0.0], 7, steep).unwrap();
        assert!(minimum.evaluations <= 7);
        assert_eq!(minimum.stop, StopReason::EvaluationCap);
        assert!(minimise(&[0.0], 7, |_| None).is_none());
        let nothing = minimise(&[], 7, |_| Some((3.0, Vec::new()))).unwrap();
        assert_eq!((nothing.value, nothing.stop), (3.0, StopReason::Converged));
    }
}
