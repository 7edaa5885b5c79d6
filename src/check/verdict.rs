//! The verdict on one line: by value, or by a rule with a guard band.

use std::fmt;

use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Normal};

/// Chances of being outside between which a line is near its tolerance.
const NEAR: std::ops::RangeInclusive<f64> = 0.05..=0.95;

/// How a deviation is held against its tolerance.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum DecisionRule {
    /// Outside when `|d| > T`, else within: the rule of makers and workshops (practice).
    #[default]
    Value,
    /// Within when `|d| + U ≤ T`, outside when `|d| − U > T`, else undecided: guard bands of one expanded uncertainty, the rule
    /// of ISO 14253-1 (from memory).
    Guarded,
}

impl DecisionRule {
    /// Judges a deviation `d` with expanded uncertainty `U` against a tolerance `T`, all mm. Anything that is not a finite
    /// number is outside by value, undecided by the guarded rule.
    ///
    /// ```
    /// use linedrift::check::{DecisionRule, Verdict};
    /// assert_eq!(DecisionRule::Value.judge(-9.0, 3.0, 10.0), Verdict::Within);
    /// assert_eq!(DecisionRule::Value.judge(-10.5, 3.0, 10.0), Verdict::Outside);
    /// assert_eq!(DecisionRule::Guarded.judge(-9.0, 3.0, 10.0), Verdict::Undecided);
    /// assert_eq!(DecisionRule::Guarded.judge(-14.0, 3.0, 10.0), Verdict::Outside);
    /// ```
    #[must_use]
    pub fn judge(self, deviation_mm: f64, expanded_mm: f64, tolerance_mm: f64) -> Verdict {
        let away = deviation_mm.abs();
        match self {
            DecisionRule::Value if away <= tolerance_mm => Verdict::Within,
            DecisionRule::Value => Verdict::Outside,
            DecisionRule::Guarded if away + expanded_mm <= tolerance_mm => Verdict::Within,
            DecisionRule::Guarded if away - expanded_mm > tolerance_mm => Verdict::Outside,
            DecisionRule::Guarded => Verdict::Undecided,
        }
    }
}

/// Verdict on one line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// Inside its tolerance.
    Within,
    /// Outside its tolerance.
    Outside,
    /// The uncertainty reaches across the tolerance; by [`DecisionRule::Guarded`] only.
    Undecided,
}

impl Verdict {
    /// `within`, `outside` or `undecided`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Verdict::Within => "within",
            Verdict::Outside => "outside",
            Verdict::Undecided => "undecided",
        }
    }
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// Chance that the true deviation lies outside its tolerance, 0 … 1: `1 − Φ((T − d)/u) + Φ((−T − d)/u)` with the standard
/// uncertainty `u = U/2`, with nothing known of the line beforehand. Without uncertainty it is 0 or 1.
///
/// Source: specific risk of JCGM 106:2012 (from memory).
#[must_use]
pub fn chance_outside(deviation_mm: f64, expanded_mm: f64, tolerance_mm: f64) -> f64 {
    let by_value = f64::from(u8::from(!(deviation_mm.abs() <= tolerance_mm)));
    let normal = Normal::new(deviation_mm, 0.5 * expanded_mm).ok().filter(|_| expanded_mm > 0.0);
    let chance = normal.map_or(by_value, |normal| normal.sf(tolerance_mm) + normal.cdf(-tolerance_mm));
    if chance.is_finite() { chance.clamp(0.0, 1.0) } else { by_value }
}

/// Whether a line is near its tolerance: its chance of being outside lies between 5 and 95 %.
#[must_use]
pub fn is_near(chance_outside: f64) -> bool {
    NEAR.contains(&chance_outside)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Φ(−2) and its like from tables of the normal distribution (from memory), to the digits printed.
    #[test]
    fn the_chance_is_that_of_the_normal_tail() {
        let chance = |d: f64, u: f64| chance_outside(d, u, 10.0);
        approx::assert_abs_diff_eq!(chance(7.0, 3.0), 0.02275, epsilon = 1e-5);
        approx::assert_abs_diff_eq!(chance(-13.0, 3.0), 0.97725, epsilon = 1e-5);
        approx::assert_abs_diff_eq!(chance(10.0, 3.0), 0.5, epsilon = 1e-9);
        approx::assert_abs_diff_eq!(chance(0.0, 10.0), 0.0455, epsilon = 1e-4);
        assert!(chance(0.0, 3.0) < 1e-9);
        assert_eq!((chance(9.0, 0.0), chance(-11.0, 0.0)), (0.0, 1.0));
        assert_eq!(chance(f64::NAN, 3.0), 1.0);
        for at in -400..400 {
            let d = 0.05 * f64::from(at);
            approx::assert_abs_diff_eq!(chance(d, 3.0), chance(-d, 3.0), epsilon = 1e-12);
            assert_eq!(
                chance(d, 3.0) > 0.5 + 1e-9,
                DecisionRule::Value.judge(d, 3.0, 10.0) == Verdict::Outside,
                "{d}"
            );
        }
    }

    #[test]
    fn near_is_within_a_guard_of_1_64_standard_uncertainties() {
        let near = |d: f64| is_near(chance_outside(d, 3.0, 10.0));
        assert!(near(7.6) && near(10.0) && near(-12.4));
        assert!(!near(7.5) && !near(12.5));
    }
}
