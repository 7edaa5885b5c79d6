//! First crossing of a limit by a straight Gaussian path.

use crate::forecast::ForecastError;
use crate::forecast::error::positive;
use crate::stats::normal_tail::{density, ln_upper, upper, upper_quantile};

/// A straight path `a + b·t` whose start `a` and slope `b` are jointly Gaussian; the closed form beside the draws.
///
/// The path is straight, so it has crossed by `t` exactly when it is over at 0 or at `t`. With the slope given, the start
/// is Gaussian, so the chance is `∫ φ(b)·P(a over by t | b) db`, of which every piece has the form
/// `∫ φ(z)·Φ̄(α + βz) dz`; all pieces are positive, so deep tails keep their digits. With a fixed start it is elementary.
/// Source: Meeker and Escobar 1998, chapter 13 (random slope), the rest derived.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GaussianPath {
    start_mean: f64,
    start_sd: f64,
    slope_mean: f64,
    slope_sd: f64,
    correlation: f64,
}

impl GaussianPath {
    /// A path with this mean start and mean slope, without spread.
    ///
    /// # Errors
    /// [`ForecastError::Parameter`] when one is not finite.
    pub fn new(start_mean: f64, slope_mean: f64) -> Result<Self, ForecastError> {
        for (what, value) in [("start_mean", start_mean), ("slope_mean", slope_mean)] {
            if !value.is_finite() {
                return Err(ForecastError::Parameter { what, value, expected: "a finite number" });
            }
        }
        Ok(Self { start_mean, start_sd: 0.0, slope_mean, slope_sd: 0.0, correlation: 0.0 })
    }

    /// The same path with these spreads of start and slope and their correlation.
    ///
    /// # Errors
    /// [`ForecastError::Parameter`] when a spread is negative or not finite, or the correlation is outside −1 … 1.
    pub fn spread(mut self, start_sd: f64, slope_sd: f64, correlation: f64) -> Result<Self, ForecastError> {
        for (what, value) in [("start_sd", start_sd), ("slope_sd", slope_sd)] {
            if !(value.is_finite() && value >= 0.0) {
                return Err(ForecastError::Parameter { what, value, expected: "a finite number of at least 0" });
            }
        }
        if !(-1.0..=1.0).contains(&correlation) {
            return Err(ForecastError::Parameter {
                what: "correlation",
                value: correlation,
                expected: "a number from -1 to 1",
            });
        }
        self.start_sd = start_sd;
        self.slope_sd = slope_sd;
        self.correlation = correlation;
        Ok(self)
    }

    /// The same path seen from `time` on: its start is where it is then.
    #[must_use]
    pub fn from(&self, time: f64) -> Self {
        let moved = self.slope_sd * time;
        let covariance = self.correlation * self.start_sd * self.slope_sd + moved * self.slope_sd;
        let along = self.start_sd + self.correlation * moved;
        let across = moved * (1.0 - self.correlation * self.correlation).max(0.0).sqrt();
        let start_sd = along.hypot(across);
        let product = start_sd * self.slope_sd;
        Self {
            start_mean: self.start_mean + self.slope_mean * time,
            start_sd,
            correlation: if product > 0.0 { (covariance / product).clamp(-1.0, 1.0) } else { 0.0 },
            ..*self
        }
    }

    /// Chance that the path has been at or above `limit` by `time` (at least 0), from time 0 on.
    #[must_use]
    pub fn crossed_above(&self, limit: f64, time: f64) -> f64 {
        let time = time.max(0.0);
        let gap = limit - self.start_mean;
        if time == 0.0 || self.slope_sd == 0.0 {
            return self.start_reaches(gap - (self.slope_mean * time).max(0.0));
        }
        let flat = -self.slope_mean / self.slope_sd; // z of a slope of zero
        // falling: over only at the start; rising: over at the end
        (self.start_over(gap, 0.0, f64::NEG_INFINITY, flat) + self.start_over(gap, time, flat, f64::INFINITY))
            .min(1.0)
    }

    /// Chance that `|path|` has been at or above `limit` (above 0) by `time` (at least 0), from time 0 on.
    ///
    /// # Errors
    /// [`ForecastError::NotPositive`] when the limit is not above zero.
    pub fn crossed_either_way(&self, limit: f64, time: f64) -> Result<f64, ForecastError> {
        positive("limit", limit)?;
        let time = time.max(0.0);
        let mirror = Self { start_mean: -self.start_mean, slope_mean: -self.slope_mean, ..*self };
        if time == 0.0 || self.slope_sd == 0.0 {
            // without a spread of slope the two ways exclude each other until they cover everything
            let one = self.crossed_above(limit, time) + mirror.crossed_above(limit, time);
            return Ok(one.min(1.0));
        }
        Ok((self.rising_out(limit, time) + mirror.rising_out(limit, time)).min(1.0))
    }

    /// Chance that the slope is positive and the path leaves `±limit` by `time`.
    fn rising_out(&self, limit: f64, time: f64) -> f64 {
        let flat = -self.slope_mean / self.slope_sd;
        // from this slope on the whole width is crossed, wherever the path starts
        let steep = flat + 2.0 * limit / (time * self.slope_sd);
        let mirror = Self { start_mean: -self.start_mean, correlation: -self.correlation, ..*self };
        self.start_over(limit - self.start_mean, time, flat, steep)
            + mirror.start_over(limit - mirror.start_mean, 0.0, flat, steep)
            + upper(steep)
    }

    /// Chance that a fixed or Gaussian start, without regard to the slope, is at least `gap` above its mean.
    fn start_reaches(&self, gap: f64) -> f64 {
        if self.start_sd > 0.0 {
            upper(gap / self.start_sd)
        } else if gap <= 0.0 {
            1.0
        } else {
            0.0
        }
    }

    /// Chance that the slope's z is between `from` and `to` and start + slope·time is over by `gap` above the mean start.
    fn start_over(&self, gap: f64, time: f64, from: f64, to: f64) -> f64 {
        let left = self.start_sd * (1.0 - self.correlation * self.correlation).max(0.0).sqrt();
        // start given z: start_mean + ρ·start_sd·z; over when its own deviation ≥ gap − slope·time − ρ·start_sd·z
        let fixed = gap - self.slope_mean * time;
        let per_z = -(self.slope_sd * time + self.correlation * self.start_sd);
        if left > 0.0 {
            return tilted_tail(fixed / left, per_z / left, from, to);
        }
        // over when fixed + per_z·z ≤ 0
        if per_z == 0.0 {
            return if fixed <= 0.0 { between(from, to) } else { 0.0 };
        }
        let edge = -fixed / per_z;
        if per_z < 0.0 { between(from.max(edge), to) } else { between(from, to.min(edge)) }
    }
}

/// First crossing of a limit by a path with a fixed start and a Gaussian slope: `F(t) = Φ̄((D/t − m)/τ)` with `D` the
/// way from the start up to the limit. Source: Meeker and Escobar 1998, section 13.2 (read in the reference values).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SlopePassage {
    way: f64,
    slope_mean: f64,
    slope_sd: f64,
}

impl SlopePassage {
    /// Passage over `way` (above 0) with slopes of this mean and spread (above 0).
    ///
    /// # Errors
    /// [`ForecastError`] on a parameter out of range.
    pub fn new(way: f64, slope_mean: f64, slope_sd: f64) -> Result<Self, ForecastError> {
        positive("way", way)?;
        positive("slope_sd", slope_sd)?;
        if !slope_mean.is_finite() {
            return Err(ForecastError::Parameter {
                what: "slope_mean",
                value: slope_mean,
                expected: "a finite number",
            });
        }
        Ok(Self { way, slope_mean, slope_sd })
    }

    /// Logarithm of the chance to have crossed by `time` (`−∞` at 0 and before).
    #[must_use]
    pub fn ln_cdf(&self, time: f64) -> f64 {
        if time <= 0.0 { f64::NEG_INFINITY } else { ln_upper((self.way / time - self.slope_mean) / self.slope_sd) }
    }

    /// Chance to have crossed by `time`.
    #[must_use]
    pub fn cdf(&self, time: f64) -> f64 {
        if time <= 0.0 { 0.0 } else { upper((self.way / time - self.slope_mean) / self.slope_sd) }
    }

    /// Density of the time of crossing, per unit of time.
    #[must_use]
    pub fn pdf(&self, time: f64) -> f64 {
        if time <= 0.0 {
            return 0.0;
        }
        density((self.way / time - self.slope_mean) / self.slope_sd) * self.way / (time * time * self.slope_sd)
    }

    /// Chance never to cross: the slope is not positive.
    #[must_use]
    pub fn never(&self) -> f64 {
        upper(self.slope_mean / self.slope_sd)
    }

    /// Time by which a share `p` has crossed (`None` when fewer ever do, or `p` is outside 0 … 1).
    #[must_use]
    pub fn quantile(&self, p: f64) -> Option<f64> {
        if !(p > 0.0 && p < 1.0) {
            return None;
        }
        let slope = self.slope_mean + self.slope_sd * upper_quantile(p);
        (slope > 0.0).then(|| self.way / slope)
    }
}

/// `P(from < Z < to)`.
fn between(from: f64, to: f64) -> f64 {
    if from >= to {
        0.0
    } else if from > 0.0 {
        upper(from) - upper(to)
    } else if to < 0.0 {
        upper(-to) - upper(-from)
    } else {
        1.0 - upper(to) - upper(-from)
    }
}

// Nodes and weights of the 15-point Gauss–Legendre rule on −1 … 1, the half with x ≥ 0 (Abramowitz and Stegun 1964,
// table 25.4, memory; a test integrates polynomials up to degree 29).
const NODES: [f64; 8] = [
    0.0,
    0.201_194_093_997_434_52,
    0.394_151_347_077_563_4,
    0.570_972_172_608_538_8,
    0.724_417_731_360_170_1,
    0.848_206_583_410_427_2,
    0.937_273_392_400_706,
    0.987_992_518_020_485_4,
];
const WEIGHTS: [f64; 8] = [
    0.202_578_241_925_561_3,
    0.198_431_485_327_111_6,
    0.186_161_000_015_562_2,
    0.166_269_205_816_993_92,
    0.139_570_677_926_154_3,
    0.107_159_220_467_171_94,
    0.070_366_047_488_108_12,
    0.030_753_241_996_117_27,
];

/// `∫ φ(z)·Φ̄(α + βz) dz` from `from` to `to` (which may be infinite), to about 1e-13 of its value: the integrand is
/// log-concave, so its mode is found first and the range cut where it has fallen by `e^−50`; then adaptive Gauss–Legendre.
fn tilted_tail(alpha: f64, beta: f64, from: f64, to: f64) -> f64 {
    let (mut low, mut high) = (from.max(-45.0), to.min(45.0));
    if low >= high {
        return 0.0;
    }
    let ln_at = |z: f64| -0.5 * z * z + ln_upper(alpha + beta * z);
    let (mut left, mut right) = (low, high);
    for _ in 0..200 {
        let third = (right - left) / 3.0;
        if ln_at(left + third) < ln_at(right - third) { left += third } else { right -= third }
    }
    let mode = f64::midpoint(left, right);
    let peak = ln_at(mode);
    if peak < -800.0 {
        return 0.0;
    }
    let floor = peak - 50.0;
    let cut = |mut inside: f64, mut outside: f64| {
        if ln_at(outside) < floor {
            for _ in 0..60 {
                let middle = f64::midpoint(inside, outside);
                if ln_at(middle) < floor { outside = middle } else { inside = middle }
            }
        }
        outside
    };
    low = cut(mode, low);
    high = cut(mode, high);
    // scaled by the peak, so that the tolerance is relative
    let scaled = |z: f64| (ln_at(z) - peak).exp();
    // the tail falls from 1 to 0 within a few 1/|β| of −α/β: too narrow to be found by chance
    let mut edges = vec![low, mode, high];
    if beta != 0.0 {
        let steps = [-40.0, -8.0, -2.0, 0.0, 2.0, 8.0, 40.0];
        edges.extend(steps.map(|step| (step - alpha) / beta).iter().filter(|z| **z > low && **z < high));
    }
    edges.sort_by(f64::total_cmp);
    let sum: f64 = edges.windows(2).map(|pair| refine(&scaled, pair[0], pair[1], 40)).sum();
    sum * peak.exp() * density(0.0)
}

fn gauss(f: &impl Fn(f64) -> f64, low: f64, high: f64) -> f64 {
    let centre = f64::midpoint(low, high);
    let half = 0.5 * (high - low);
    let mut sum = WEIGHTS[0] * f(centre);
    for (node, weight) in NODES.iter().zip(WEIGHTS).skip(1) {
        sum += weight * (f(centre - half * node) + f(centre + half * node));
    }
    sum * half
}

fn refine(f: &impl Fn(f64) -> f64, low: f64, high: f64, depth: u32) -> f64 {
    let whole = gauss(f, low, high);
    refine_from(f, low, high, whole, whole, depth)
}

fn refine_from(f: &impl Fn(f64) -> f64, low: f64, high: f64, whole: f64, total: f64, depth: u32) -> f64 {
    let middle = f64::midpoint(low, high);
    let (left, right) = (gauss(f, low, middle), gauss(f, middle, high));
    let sum = left + right;
    let scale = total.max(sum);
    if depth == 0 || (sum - whole).abs() <= 1e-14 * scale {
        return sum;
    }
    refine_from(f, low, middle, left, scale, depth - 1) + refine_from(f, middle, high, right, scale, depth - 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_rule_integrates_polynomials_up_to_degree_29() {
        for degree in (0..=28).step_by(2) {
            let got = gauss(&|x: f64| x.powi(degree), -1.0, 1.0);
            let want = 2.0 / f64::from(degree + 1);
            assert!((got - want).abs() < 2e-15, "degree {degree}: {got} {want}");
        }
    }

    #[test]
    fn a_tilted_tail_over_everything_is_a_plain_tail() {
        // a sum of two normals is normal: ∫ φ(z) Φ̄(α + βz) dz = Φ̄(α/√(1+β²))
        for (alpha, beta) in [(0.3, 0.0), (2.0, -1.5), (30.0, -4.0), (-3.0, 1000.0), (60.0, 2.0), (0.0, -1e7)] {
            let got = tilted_tail(alpha, beta, f64::NEG_INFINITY, f64::INFINITY);
            let want = upper(alpha / f64::hypot(1.0, beta));
            assert!((got / want - 1.0).abs() < 1e-11, "{alpha} {beta}: {got:e} {want:e}");
        }
    }
}
