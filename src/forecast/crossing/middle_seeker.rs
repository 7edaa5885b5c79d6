//! Medians of many samples that resemble each other.

use std::cmp::Ordering;

/// Medians of many samples that resemble each other.
///
/// The median mostly lies where it lay before, seen from the mean: values below that place are only counted, those near
/// it are sorted. Where the median is not among them, all values are. Either way it is the median, exactly.
#[derive(Debug, Clone, Default)]
pub(in crate::forecast) struct MiddleSeeker {
    /// The sample. At least one value.
    pub(in crate::forecast) values: Vec<f64>,
    /// Where the median lies, less the mean, over the last samples.
    shift: f64,
    /// How far on either side to look.
    reach: f64,
    near: Vec<f64>,
}

impl MiddleSeeker {
    /// The median of the values, whose mean is about `mean`.
    pub(in crate::forecast) fn median(&mut self, mean: f64) -> f64 {
        let n = self.values.len();
        let (low, high) = (mean + self.shift - self.reach, mean + self.shift + self.reach);
        self.near.resize(n + 1, 0.0);
        let (mut below, mut inside) = (0, 0);
        for value in &self.values {
            below += usize::from(*value < low);
            self.near[inside] = *value;
            inside += usize::from(*value >= low && *value <= high);
        }
        let (first, second) = ((n - 1) / 2, n / 2);
        let median = if below <= first && second < below + inside {
            // in balance when one in thirty is missed
            self.reach *= 0.99;
            middle(&mut self.near[..inside], second - below, n.is_multiple_of(2))
        } else {
            self.reach = (1.35 * self.reach).max(1e-3);
            middle(&mut self.values, second, n.is_multiple_of(2))
        };
        let seen = median - mean;
        self.shift = if self.reach > 1e-3 { self.shift + 0.1 * (seen - self.shift) } else { seen };
        median
    }
}

/// The value of rank `rank` (from 0), or its mean with the one before.
fn middle(values: &mut [f64], rank: usize, even: bool) -> f64 {
    // the values are finite, and plain comparisons the fastest
    let order = |a: &f64, b: &f64| a.partial_cmp(b).unwrap_or(Ordering::Equal);
    let (before, middle, _) = values.select_nth_unstable_by(rank, order);
    let middle = *middle;
    if even { f64::midpoint(before.iter().copied().fold(f64::NEG_INFINITY, f64::max), middle) } else { middle }
}

#[cfg(test)]
mod tests {
    use super::MiddleSeeker;

    /// Whatever came before, the median is that of the sorted sample.
    #[test]
    fn the_median_is_that_of_the_sorted_sample() {
        let mut state = 7_u64;
        let mut random = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 11) as f64 / (1_u64 << 53) as f64
        };
        let mut seeker = MiddleSeeker::default();
        for sample in 0..4000_u32 {
            let n = 1 + (sample % 40) as usize;
            // steady for long, then far away; equal values often
            let place = if sample % 500 == 499 { 1e3 * random() } else { 3.0 };
            let values: Vec<f64> = (0..n).map(|_| ((place + random()) * 16.0).round() / 16.0).collect();
            let mean = values.iter().sum::<f64>() / n as f64;
            seeker.values.clone_from(&values);
            let mut sorted = values;
            sorted.sort_by(f64::total_cmp);
            let expected = f64::midpoint(sorted[(n - 1) / 2], sorted[n / 2]);
            assert_eq!(seeker.median(mean).to_bits(), expected.to_bits(), "sample {sample}");
        }
    }
}
