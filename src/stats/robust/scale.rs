//! Robust scale.

use super::{middle, sorted};

/// Makes the median absolute deviation a standard deviation for normal values: `1/Φ⁻¹(3/4)`.
pub const MAD_CONSISTENCY: f64 = 1.482_602_218_505_602;
/// Makes the interquartile range a standard deviation for normal values: `1/(2 Φ⁻¹(3/4))`.
pub const IQR_CONSISTENCY: f64 = 0.741_301_109_252_801;
/// Makes the Qn order statistic a standard deviation for normal values: `1/(√2 Φ⁻¹(5/8))`.
pub const QN_CONSISTENCY: f64 = 2.219_144_465_985_076;

/// Factors of Qn for 2 to 9 values (Croux and Rousseeuw, COMPSTAT 1992; from memory).
const QN_SMALL: [f64; 8] = [0.399, 0.994, 0.512, 0.844, 0.611, 0.857, 0.669, 0.872];

/// Median absolute deviation about the median, times [`MAD_CONSISTENCY`]: `1.4826 · med |x − med x|`. `None` of nothing.
#[must_use]
pub fn mad(values: &[f64]) -> Option<f64> {
    mad_about(values, middle(&sorted(values))?)
}

/// Median absolute deviation about a given centre, times [`MAD_CONSISTENCY`]. `None` of nothing.
#[must_use]
pub fn mad_about(values: &[f64], centre: f64) -> Option<f64> {
    let away: Vec<f64> = values.iter().map(|value| (value - centre).abs()).collect();
    Some(MAD_CONSISTENCY * middle(&sorted(&away))?)
}

/// Scale Qn: the k-th smallest distance between two values, `k = C(h, 2)`, `h = ⌊n/2⌋ + 1`, times [`QN_CONSISTENCY`]
/// and a factor for the number of values. Needs no centre, stands half of the values wild, 82 % efficient at the normal.
/// Takes time and room of `n²`. `None` of fewer than two values.
///
/// Source: Rousseeuw and Croux, J. Am. Stat. Assoc. 88, 1993; factor for more than nine values as in R's robustbase
/// (`1/(1 + c/n)` with a polynomial in `1/n`; from memory, met on the reference data).
#[must_use]
pub fn qn(values: &[f64]) -> Option<f64> {
    let ascending = sorted(values);
    let n = ascending.len();
    let half = n / 2 + 1;
    let order = half * half.saturating_sub(1) / 2;
    let mut distances: Vec<f64> = ascending
        .iter()
        .enumerate()
        .flat_map(|(at, low)| ascending.iter().skip(at + 1).map(move |high| high - low))
        .collect();
    if n < 2 || order == 0 {
        return None;
    }
    let (_, distance, _) = distances.select_nth_unstable_by(order - 1, f64::total_cmp);
    let factor = QN_SMALL.get(n - 2).copied().unwrap_or_else(|| {
        let inverse = 1.0 / n as f64;
        let series = if n % 2 == 1 {
            1.60188 + (-2.1284 - 5.172 * inverse) * inverse
        } else {
            3.67561 + (1.9654 + (6.987 - 77.0 * inverse) * inverse) * inverse
        };
        1.0 / (1.0 + series * inverse)
    });
    Some(QN_CONSISTENCY * factor * *distance)
}
