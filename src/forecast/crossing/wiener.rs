//! First passage of Wiener paths.

use std::f64::consts::{FRAC_1_SQRT_2, LN_2, PI};

use crate::forecast::ForecastError;
use crate::forecast::error::positive;
use crate::stats::normal_tail::{erfcx, ln_add, ln_upper, upper};

/// First passage of a Wiener path with drift through a level, where the drift may differ from unit to unit:
/// `X(t) = μt + σW(t)`, `X(0) = 0`, `μ ~ N(m, τ²)` (with `τ = 0` the inverse Gaussian distribution).
///
/// With `v = σ²t + τ²t²`, `z = (mt − D)/√v` and `w = (2τ²Dt/σ² + mt + D)/√v` the chance to have reached `D` by `t` is
/// `F(t) = Φ(z) + exp(2mD/σ² + 2τ²D²/σ⁴)·Φ(−w)`, and since `w² − z² = 4mD/σ² + 4τ²D²/σ⁴` the second term is
/// `½e^(−z²/2)·erfcx(w/√2)`, which neither overflows nor underflows early. Density `D/√(2πt²v)·exp(−(D − mt)²/(2v))`.
/// Source: Peng and Tseng 2009, IEEE Trans. Reliability 58 (from memory); both forms re-derived here and checked by quadrature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WienerPassage {
    level: f64,
    drift: f64,
    drift_sd: f64,
    sigma: f64,
}

impl WienerPassage {
    /// Passage through `level` (above 0) of paths with mean drift `drift` per unit of time, its spread `drift_sd` (0: every
    /// unit the same) and the diffusion `sigma` per root of the unit of time (above 0).
    ///
    /// # Errors
    /// [`ForecastError`] on a parameter out of range.
    pub fn new(level: f64, drift: f64, drift_sd: f64, sigma: f64) -> Result<Self, ForecastError> {
        positive("level", level)?;
        positive("sigma", sigma)?;
        if !drift.is_finite() {
            return Err(ForecastError::Parameter { what: "drift", value: drift, expected: "a finite number" });
        }
        if !(drift_sd.is_finite() && drift_sd >= 0.0) {
            return Err(ForecastError::Parameter {
                what: "drift_sd",
                value: drift_sd,
                expected: "a finite number of at least 0",
            });
        }
        Ok(Self { level, drift, drift_sd, sigma })
    }

    /// Logarithm of the chance to have reached the level by `time` (`−∞` at 0 and before).
    #[must_use]
    pub fn ln_cdf(&self, time: f64) -> f64 {
        if time <= 0.0 {
            return f64::NEG_INFINITY;
        }
        let Scores { z, w } = self.scores(time);
        ln_add(ln_upper(-z), self.ln_reflected(z, w))
    }

    /// Chance to have reached the level by `time`.
    #[must_use]
    pub fn cdf(&self, time: f64) -> f64 {
        self.ln_cdf(time).exp().min(1.0)
    }

    /// Chance not to have reached the level by `time`.
    #[must_use]
    pub fn survival(&self, time: f64) -> f64 {
        if time <= 0.0 {
            return 1.0;
        }
        let Scores { z, w } = self.scores(time);
        if z > 0.0 && w > 0.0 {
            // both terms share e^(−z²/2): nothing is lost in the difference
            let scaled = erfcx(z * FRAC_1_SQRT_2) - erfcx(w * FRAC_1_SQRT_2);
            return 0.5 * (-0.5 * z * z).exp() * scaled.max(0.0);
        }
        (upper(z) - self.ln_reflected(z, w).exp()).clamp(0.0, 1.0)
    }

    /// Density of the time of passage, per unit of time.
    #[must_use]
    pub fn pdf(&self, time: f64) -> f64 {
        if time <= 0.0 {
            return 0.0;
        }
        let variance = self.variance(time);
        let short = self.level - self.drift * time;
        (self.level.ln() - time.ln() - 0.5 * (2.0 * PI * variance).ln() - short * short / (2.0 * variance)).exp()
    }

    fn variance(&self, time: f64) -> f64 {
        self.sigma * self.sigma * time + self.drift_sd * self.drift_sd * time * time
    }

    fn scores(&self, time: f64) -> Scores {
        let root = self.variance(time).sqrt();
        let ratio = self.drift_sd / self.sigma;
        Scores {
            z: (self.drift * time - self.level) / root,
            w: (2.0 * ratio * ratio * self.level * time + self.drift * time + self.level) / root,
        }
    }

    fn ln_reflected(&self, z: f64, w: f64) -> f64 {
        if w >= 0.0 {
            -0.5 * z * z + erfcx(w * FRAC_1_SQRT_2).ln() - LN_2
        } else {
            let s2 = self.sigma * self.sigma;
            let t2 = self.drift_sd * self.drift_sd;
            2.0 * self.drift * self.level / s2 + 2.0 * t2 * self.level * self.level / (s2 * s2) + ln_upper(w)
        }
    }
}

/// Standardised distances of the level and of its mirror image.
struct Scores {
    z: f64,
    w: f64,
}
