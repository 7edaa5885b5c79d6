//! The verdict on one line, by a decision rule with a guard band.

use std::fmt;

use serde::{Deserialize, Serialize};

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
