//! Tests for outliers in a normal sample.

use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::stats::student_quantile;

/// Whether an outlier may lie on either end or on one named before.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Tail {
    /// One end, named before looking.
    One,
    /// Either end.
    Both,
}

/// Why a test cannot be run.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum OutlierError {
    /// Too few values.
    #[error("{got} finite values, at least {needed} are needed")]
    TooFew {
        /// Finite values given.
        got: usize,
        /// Least number.
        needed: usize,
    },
    /// A significance level outside 0 … 1.
    #[error("significance level {got}, it must lie between 0 and 1")]
    Level {
        /// The level given.
        got: f64,
    },
    /// All values are equal.
    #[error("the values do not vary")]
    NoSpread,
}

/// Grubbs's statistic `max |x − x̄|/s` of the finite values, `None` when there are fewer than three or none varies.
#[must_use]
pub fn grubbs_statistic(values: &[f64]) -> Option<f64> {
    let finite: Vec<f64> = values.iter().copied().filter(|value| value.is_finite()).collect();
    Some(furthest(&finite).filter(|_| finite.len() > 2)?.statistic)
}

/// Critical value of Grubbs's statistic for `count` values at significance `level`:
/// `(n − 1)/√n · √(t²/(n − 2 + t²))`, `t` the upper quantile of Student's t with n − 2 degrees of freedom at `level/n` (one
/// end) or `level/2n` (both).
///
/// Source: Grubbs, Technometrics 11, 1969 (from memory).
///
/// # Errors
/// [`OutlierError`] for fewer than three values or a level outside 0 … 1.
pub fn grubbs_critical(count: usize, level: f64, tail: Tail) -> Result<f64, OutlierError> {
    if count < 3 {
        return Err(OutlierError::TooFew { got: count, needed: 3 });
    }
    critical(count as f64, level, tail)
}

fn critical(n: f64, level: f64, tail: Tail) -> Result<f64, OutlierError> {
    if !(level > 0.0 && level < 1.0) {
        return Err(OutlierError::Level { got: level });
    }
    let ends = match tail {
        Tail::One => 1.0,
        Tail::Both => 2.0,
    };
    let t = student_quantile(level / (ends * n), n - 2.0).ok_or(OutlierError::TooFew { got: 0, needed: 3 })?;
    Ok((n - 1.0) / n.sqrt() * (t * t / (n - 2.0 + t * t)).sqrt())
}

/// One step of the generalised ESD test.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct EsdStep {
    /// The value furthest from the mean of those left.
    pub value: f64,
    /// Its distance in standard deviations of those left.
    pub statistic: f64,
    /// What the statistic must exceed.
    pub critical: f64,
}

/// Result of the generalised ESD test.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GeneralisedEsd {
    /// The steps, furthest value first.
    pub steps: Vec<EsdStep>,
    /// How many of the first steps' values are outliers.
    pub outliers: usize,
}

/// Rosner's generalised extreme Studentised deviate test for up to `most` outliers on either end: the values furthest from
/// the mean are taken out one by one, and the number of outliers is the last step whose statistic exceeds its critical value
/// (so outliers cannot hide each other).
///
/// Source: Rosner, Technometrics 25, 1983 (from memory).
///
/// # Errors
/// [`OutlierError`] when fewer than `most + 2` values are finite, the level lies outside 0 … 1 or nothing varies.
pub fn generalised_esd(values: &[f64], most: usize, level: f64) -> Result<GeneralisedEsd, OutlierError> {
    let mut left: Vec<f64> = values.iter().copied().filter(|value| value.is_finite()).collect();
    let needed = most.saturating_add(2).max(3);
    if left.len() < needed {
        return Err(OutlierError::TooFew { got: left.len(), needed });
    }
    let mut steps = Vec::with_capacity(most);
    while steps.len() < most {
        let Some(far) = furthest(&left) else {
            if steps.is_empty() {
                return Err(OutlierError::NoSpread);
            }
            break;
        };
        let critical = critical(left.len() as f64, level, Tail::Both)?;
        steps.push(EsdStep { value: left.swap_remove(far.at), statistic: far.statistic, critical });
    }
    let outliers = steps.iter().rposition(|step| step.statistic > step.critical).map_or(0, |at| at + 1);
    Ok(GeneralisedEsd { steps, outliers })
}

struct Furthest {
    at: usize,
    statistic: f64,
}

fn furthest(values: &[f64]) -> Option<Furthest> {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let variance = values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / (n - 1.0);
    let (at, distance) =
        values.iter().map(|value| (value - mean).abs()).enumerate().max_by(|(_, a), (_, b)| a.total_cmp(b))?;
    let statistic = distance / variance.sqrt();
    statistic.is_finite().then_some(Furthest { at, statistic })
}
