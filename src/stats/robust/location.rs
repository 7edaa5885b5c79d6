//! Huber's M-estimates of location, with the scale given or estimated along.

use serde::{Deserialize, Serialize};
use statrs::distribution::{Continuous, ContinuousCDF, Normal};

use super::{mad, median};

/// Huber's constant at which the estimate is 95 % efficient for normal values.
pub const HUBER_K: f64 = 1.344_997_508_512_043;

/// Most iterations of an estimate.
const MOST_STEPS: usize = 500;
/// Relative change at which the iteration stops.
const CONVERGED: f64 = 1e-12;

/// A robust location with the scale it used.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Huber {
    /// Location, in the values' unit.
    pub location: f64,
    /// Scale (a standard deviation for normal values), in the values' unit.
    pub scale: f64,
}

/// Huber's location with the scale fixed at the MAD: the root μ of `Σ ψ((x − μ)/s) = 0`, `ψ(u) = max(−k, min(k, u))`.
/// Where the MAD is zero the median is returned. `None` of nothing or of a `k` that is not positive.
///
/// Source: Huber, Robust Statistics, 1981, chapter 3 (from memory).
#[must_use]
pub fn huber(values: &[f64], k: f64) -> Option<Huber> {
    if !(k > 0.0) {
        return None;
    }
    let (mut location, scale) = (median(values)?, mad(values)?);
    if scale > 0.0 {
        for _ in 0..MOST_STEPS {
            let (mut sum, mut count) = (0.0, 0.0);
            for value in values.iter().filter(|value| value.is_finite()) {
                sum += value.clamp(location - k * scale, location + k * scale);
                count += 1.0;
            }
            let next = sum / count;
            let step = (next - location).abs();
            location = next;
            if step <= CONVERGED * scale {
                break;
            }
        }
    }
    Some(Huber { location, scale })
}

/// Huber's proposal 2: location and scale together, `Σ ψ(u) = 0` and `Σ ψ²(u) = (n − 1) β`, with `β = E ψ²` at the normal:
/// `β = 2[Φ(k) − ½ − k φ(k) + k²(1 − Φ(k))]`. `None` of fewer than two values, of a `k` that is not positive, and where
/// more than half of the values are equal (no scale).
///
/// Source: Huber 1981, chapter 6 (from memory).
#[must_use]
pub fn huber_proposal2(values: &[f64], k: f64) -> Option<Huber> {
    let start = huber(values, k)?;
    let finite: Vec<f64> = values.iter().copied().filter(|value| value.is_finite()).collect();
    let beta = second_moment(k)?;
    let freedom = finite.len() as f64 - 1.0;
    let (mut location, mut scale) = (median(values)?, start.scale);
    if !(scale > 0.0 && freedom > 0.0) {
        return None;
    }
    for _ in 0..MOST_STEPS {
        let clamped: Vec<f64> =
            finite.iter().map(|value| value.clamp(location - k * scale, location + k * scale)).collect();
        let next = clamped.iter().sum::<f64>() / finite.len() as f64;
        let squares: f64 = clamped.iter().map(|value| (value - next).powi(2)).sum();
        let next_scale = (squares / (freedom * beta)).sqrt();
        let step = (next - location).abs() + (next_scale - scale).abs();
        (location, scale) = (next, next_scale);
        if step <= CONVERGED * scale {
            break;
        }
    }
    (scale > 0.0).then_some(Huber { location, scale })
}

/// `E ψ²` at the normal.
fn second_moment(k: f64) -> Option<f64> {
    let normal = Normal::new(0.0, 1.0).ok()?;
    let upper = normal.sf(k);
    Some(2.0 * (0.5 - upper - k * normal.pdf(k) + k * k * upper))
}

#[cfg(test)]
mod tests {
    use super::second_moment;

    /// Quadrature, known: derived (tests/data/robust/constants.json).
    #[test]
    fn second_moments() {
        assert!((second_moment(1.345).unwrap() - 0.710_164_548_269_048_5).abs() < 1e-8);
        assert!((second_moment(1.5).unwrap() - 0.778_465_216_174_47).abs() < 1e-8);
    }
}
