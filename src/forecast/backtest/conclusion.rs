//! What a backtest comes to.

use std::fmt;

use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Normal};

use super::Backtest;

/// The intervals that are judged: wide enough to be met often, narrow enough to be missed often.
const LEVEL: f64 = 0.8;
/// Chance below which forecasts are not taken as right (custom).
const UNLIKELY: f64 = 0.05;

/// How a fleet's forecasts were.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ForecastVerdict {
    /// Intervals hold what is measured about as often as they say.
    Right,
    /// They hold it less often: real limits will be crossed sooner than said.
    TooSure,
    /// They hold it more often: checks come sooner than need be.
    TooCareful,
}

/// What a backtest comes to, with the chance of it.
///
/// Of the 80 % intervals a share `p̂` held what was measured. Were they right, `z = (p̂ − 0.8)/√(0.8·0.2/n)` would be standard
/// normal, `n` the checks (rows of one check go together); `chance` is that of one at least so far from 0, either way. Below 5 %
/// the forecasts are called too sure or too careful.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Conclusion {
    /// How the forecasts were.
    pub verdict: ForecastVerdict,
    /// Level of the intervals judged, 0 … 1.
    pub level: f64,
    /// Share of them that held what was measured, 0 … 1.
    pub observed: f64,
    /// Checks.
    pub checks: usize,
    /// Chance of a share at least so far off, were the forecasts right.
    pub chance: f64,
}

impl Backtest {
    /// What it comes to: forecasts right, too sure or too careful.
    #[must_use]
    pub fn conclusion(&self) -> Conclusion {
        let checks = self.checks();
        let held = self.scores().iter().filter(|score| score.covered(LEVEL)).count();
        Conclusion::of(held as f64 / self.scores().len().max(1) as f64, checks)
    }
}

impl Conclusion {
    fn of(observed: f64, checks: usize) -> Self {
        let z = (observed - LEVEL) / (LEVEL * (1.0 - LEVEL) / checks.max(1) as f64).sqrt();
        let chance = 2.0 * Normal::standard().cdf(-z.abs());
        let verdict = match (chance < UNLIKELY, z < 0.0) {
            (false, _) => ForecastVerdict::Right,
            (true, true) => ForecastVerdict::TooSure,
            (true, false) => ForecastVerdict::TooCareful,
        };
        Self { verdict, level: LEVEL, observed, checks, chance }
    }
}

impl fmt::Display for Conclusion {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let said = match self.verdict {
            ForecastVerdict::Right => "The forecasts look right",
            ForecastVerdict::TooSure => "The forecasts are too sure of themselves: measure earlier than they say",
            ForecastVerdict::TooCareful => "The forecasts are too careful: checks come sooner than need be",
        };
        let chance = if self.chance < 0.01 {
            "less than one in a hundred".to_owned()
        } else {
            format!("{:.0} in a hundred", 100.0 * self.chance)
        };
        write!(
            f,
            "{said}. Of their {:.0} % intervals {:.0} % held what was measured at {} checks; were they right, a share so far off \
             would come in {chance} such tests.",
            100.0 * self.level,
            100.0 * self.observed,
            self.checks
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_share_is_judged_by_how_many_checks_it_rests_on() {
        // of 400 checks a standard error is 2 points: 0.74 is three off, 0.79 half of one, 0.86 three the other way
        for (observed, verdict, chance) in [
            (0.74, ForecastVerdict::TooSure, 0.0027),
            (0.79, ForecastVerdict::Right, 0.6171),
            (0.86, ForecastVerdict::TooCareful, 0.0027),
        ] {
            let found = Conclusion::of(observed, 400);
            assert_eq!(found.verdict, verdict);
            assert!((found.chance - chance).abs() < 1e-4, "{found:?}");
        }
        // of 16 checks ten points are one standard error
        assert_eq!(Conclusion::of(0.7, 16).verdict, ForecastVerdict::Right);
        let said = Conclusion::of(0.74, 400).to_string();
        assert!(
            said.starts_with("The forecasts are too sure") && said.contains("less than one in a hundred"),
            "{said}"
        );
    }
}
