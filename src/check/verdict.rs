//! The verdict on one line, by a decision rule with a guard band.

use std::fmt;

use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Normal};

/// Verdict on one line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// Inside its tolerance, measurement uncertainty included.
    Within,
    /// Outside its tolerance, measurement uncertainty included.
    Outside,
    /// The uncertainty reaches across the tolerance: measure again.
    Undecided,
}

impl Verdict {
    /// Judges a deviation `d` with expanded uncertainty `U` against a tolerance `T`, all mm: within when `|d| + U ≤ T`,
    /// outside when `|d| − U > T`, otherwise undecided. Anything that is not a finite number is undecided.
    ///
    /// Source of the rule: guard bands of JCGM 106:2012 (from memory).
    ///
    /// ```
    /// use linedrift::check::Verdict;
    /// assert_eq!(Verdict::judge(-6.0, 3.0, 10.0), Verdict::Within);
    /// assert_eq!(Verdict::judge(-8.0, 3.0, 10.0), Verdict::Undecided);
    /// assert_eq!(Verdict::judge(-14.0, 3.0, 10.0), Verdict::Outside);
    /// ```
    #[must_use]
    pub fn judge(deviation_mm: f64, expanded_mm: f64, tolerance_mm: f64) -> Self {
        if deviation_mm.abs() + expanded_mm <= tolerance_mm {
            Verdict::Within
        } else if deviation_mm.abs() - expanded_mm > tolerance_mm {
            Verdict::Outside
        } else {
            Verdict::Undecided
        }
    }

    /// Probability that the verdict is wrong, 0 … 1: that the true deviation is on the other side of the tolerance, normal
    /// about `d` with the standard uncertainty `u = U/2`. With `p = 1 − Φ((T − d)/u) + Φ((−T − d)/u)`, the probability of being
    /// outside, it is `p` for `within` and `1 − p` for `outside`; at the edge of a guard band that is `Φ(−2) = 2.3 %`, and never
    /// more than `2·Φ(−2) = 4.6 %` (a tolerance no wider than the uncertainty). `None` for `undecided`, which decides nothing.
    ///
    /// Source: specific risk of JCGM 106:2012 (from memory), with nothing known of the line beforehand.
    #[must_use]
    pub fn wrong_probability(self, deviation_mm: f64, expanded_mm: f64, tolerance_mm: f64) -> Option<f64> {
        let outside = if expanded_mm > 0.0 {
            let normal = Normal::new(deviation_mm, 0.5 * expanded_mm).ok()?;
            normal.sf(tolerance_mm) + normal.cdf(-tolerance_mm)
        } else {
            f64::from(u8::from(deviation_mm.abs() > tolerance_mm))
        };
        match self {
            Verdict::Within => Some(outside),
            Verdict::Outside => Some((1.0 - outside).max(0.0)),
            Verdict::Undecided => None,
        }
        .filter(|risk| risk.is_finite())
    }

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

#[cfg(test)]
mod tests {
    use super::*;

    /// Φ(−2) and its like from tables of the normal distribution (memory), to the digits printed.
    #[test]
    fn the_risk_is_that_of_the_normal_tail() {
        let risk = |d: f64, u: f64, t: f64| Verdict::judge(d, u, t).wrong_probability(d, u, t);
        approx::assert_abs_diff_eq!(risk(7.0, 3.0, 10.0).unwrap(), 0.02275, epsilon = 1e-5);
        approx::assert_abs_diff_eq!(risk(-13.0 - 1e-9, 3.0, 10.0).unwrap(), 0.02275, epsilon = 1e-5);
        approx::assert_abs_diff_eq!(risk(0.0, 10.0, 10.0).unwrap(), 0.0455, epsilon = 1e-4);
        assert!(risk(0.0, 3.0, 10.0).unwrap() < 1e-9);
        assert_eq!(risk(9.0, 3.0, 10.0), None);
        assert_eq!(risk(9.0, 0.0, 10.0), Some(0.0));
        assert_eq!(risk(11.0, 0.0, 10.0), Some(0.0));
        assert_eq!(Verdict::Within.wrong_probability(f64::NAN, 3.0, 10.0), None);
        for at in -400..400 {
            let d = 0.05 * f64::from(at);
            let low = risk(d, 3.0, 10.0);
            assert_eq!(low, risk(-d, 3.0, 10.0), "{d}");
            assert!(low.is_none_or(|low| (0.0..0.0228).contains(&low)), "{d}: {low:?}");
        }
    }
}
