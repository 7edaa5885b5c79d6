//! Location, scale and outliers that a few wild values cannot carry away.
//!
//! Values that are not finite numbers are left out throughout; `None` is returned where too few are left.

mod location;
mod outlier;
mod scale;

pub use location::{HUBER_K, Huber, huber, huber_proposal2};
pub use outlier::{EsdStep, GeneralisedEsd, OutlierError, Tail, generalised_esd, grubbs_critical, grubbs_statistic};
pub use scale::{IQR_CONSISTENCY, MAD_CONSISTENCY, QN_CONSISTENCY, mad, mad_about, qn};

/// The finite values, in ascending order.
pub(crate) fn sorted(values: &[f64]) -> Vec<f64> {
    let mut finite: Vec<f64> = values.iter().copied().filter(|value| value.is_finite()).collect();
    finite.sort_unstable_by(f64::total_cmp);
    finite
}

/// Median of values in ascending order.
pub(crate) fn middle(ascending: &[f64]) -> Option<f64> {
    let n = ascending.len();
    let upper = *ascending.get(n / 2)?;
    if n % 2 == 1 { Some(upper) } else { Some(f64::midpoint(*ascending.get(n / 2 - 1)?, upper)) }
}

/// Median of the finite values; the mean of the middle two when their number is even. `None` of nothing.
///
/// ```
/// use linedrift::stats::robust::median;
/// assert_eq!(median(&[3.0, 1.0, 100.0]), Some(3.0));
/// ```
#[must_use]
pub fn median(values: &[f64]) -> Option<f64> {
    middle(&sorted(values))
}

/// The same of finite values whose order is free to change: without a sort, for the many draws that a forecast takes.
pub(crate) fn median_in_place(values: &mut [f64]) -> Option<f64> {
    let n = values.len();
    if n == 0 {
        return None;
    }
    let (below, upper, _) = values.select_nth_unstable_by(n / 2, f64::total_cmp);
    let upper = *upper;
    if n % 2 == 1 {
        return Some(upper);
    }
    Some(f64::midpoint(below.iter().copied().fold(f64::NEG_INFINITY, f64::max), upper))
}

/// Midpoint of the shortest interval that holds half of the finite values (the shorth's midpoint): stays with the tight
/// half even when nearly the other half is wild. `None` of nothing.
///
/// Source: Rousseeuw and Leroy, Robust Regression and Outlier Detection, 1987 (least median of squares in one
/// dimension; from memory).
#[must_use]
pub fn shortest_half_midpoint(values: &[f64]) -> Option<f64> {
    let ascending = sorted(values);
    let n = ascending.len();
    let half = n.div_ceil(2).max(2).min(n.max(1));
    ascending
        .windows(half)
        .filter_map(|window| Some((*window.first()?, *window.last()?)))
        .min_by(|(low_a, high_a), (low_b, high_b)| (high_a - low_a).total_cmp(&(high_b - low_b)))
        .map(|(low, high)| f64::midpoint(low, high))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_median_in_place_is_the_median() {
        let values = [4.0, 1.0, 3.0, -2.0, 3.0, 0.5, 9.0];
        for n in 0..=values.len() {
            let mut some = values[..n].to_vec();
            assert_eq!(median_in_place(&mut some), median(&values[..n]), "{n}");
        }
        assert_eq!(median(&values[..4]), Some(2.0));
    }
}
