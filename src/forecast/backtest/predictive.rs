//! What will be measured, as draws.

use ndarray::Array2;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use crate::check::{Check, History, LineDeviation, correction_mm, deviations};
use crate::stats::robust::median_in_place;
use crate::wear::{PathDraws, WearFit};
use crate::wing::LineSet;

/// Noise of readings, shared by all forecasts: draws × (the check's offset, then lines).
pub(super) struct ReadingNoise {
    normals: Array2<f64>,
}

impl ReadingNoise {
    pub(super) fn new(seed: u64, draws: usize, lines: usize) -> Self {
        let mut generator = ChaCha8Rng::seed_from_u64(seed);
        Self { normals: Array2::from_shape_simple_fn((draws, lines + 1), || StandardNormal.sample(&mut generator)) }
    }
}

/// How readings come about, beside the true lengths.
#[derive(Debug, Clone, Copy)]
// every figure is in millimetres, and says so
#[allow(clippy::struct_field_names)]
pub(super) struct Instrument {
    /// Standard deviation of a reading, rounding included, mm.
    pub(super) reading_sd_mm: f64,
    /// Standard deviation of a whole check's offset, mm.
    pub(super) offset_sd_mm: f64,
    /// Readings are multiples of this, mm; 0 when they are not.
    pub(super) step_mm: f64,
}

impl Instrument {
    /// The instrument behind a wing's earlier checks: readings that are all whole millimetres, halves or tenths will be so
    /// again.
    pub(super) fn new(fit: &WearFit, past: &History) -> Self {
        let fit = fit.parted();
        let readings = || past.checks.iter().flat_map(|check| &check.readings);
        let multiples = |step: f64| readings().all(|one| (one.reading_mm / step).fract().abs() < 1e-9);
        let step_mm = [1.0, 0.5].into_iter().find(|step| readings().next().is_some() && multiples(*step));
        Self { reading_sd_mm: fit.mixed().sigma(), offset_sd_mm: fit.check_sd_mm(), step_mm: step_mm.unwrap_or(0.0) }
    }

    /// Standard deviation of a reading without its rounding (which adds `step²/12`), mm.
    fn unrounded_mm(&self) -> f64 {
        (self.reading_sd_mm.powi(2) - self.step_mm.powi(2) / 12.0).max(0.0).sqrt()
    }
}

/// Draws of each row's mean less the common offset as `check` will measure them, sorted (empty for a row that is not read).
///
/// In each draw the true deviations of the lines that are read at the check's hours, the check's offset, an error
/// `N(0, σ²/repeats)` for each line, and the rounding of the instrument; the common offset is the median of those of A–D. Without
/// rounding the check's offset would drop out. With it the median of whole millimetres is itself a whole or half one, an
/// error of up to half a millimetre that all rows share and that is as large as the others in a row mean. Lines that are
/// read several times at a check are not rounded here.
pub(super) fn row_draws(
    set: &LineSet,
    check: &Check,
    paths: &PathDraws,
    instrument: Instrument,
    noise: &ReadingNoise,
) -> [Vec<f64>; 6] {
    let (step_mm, unrounded_mm) = (instrument.step_mm, instrument.unrounded_mm());
    let read: Vec<(LineDeviation, usize)> = deviations(set, check)
        .into_iter()
        .filter_map(|one| {
            let at = paths.lines.iter().position(|key| key.side == one.side && key.line == one.line)?;
            Some((one, at))
        })
        .collect();
    let mut out: [Vec<f64>; 6] = std::array::from_fn(|_| Vec::new());
    let mut counts = [0.0; 6];
    for (one, _) in &read {
        counts[set.lines()[one.line].row.index()] += 1.0;
    }
    // what an instrument shows beyond the deviation
    let shown: Vec<f64> = read
        .iter()
        .map(|(one, _)| {
            let line = &set.lines()[one.line];
            line.nominal_mm + check.datum_mm(one.side, line.row) - correction_mm(set, check, one.line)
        })
        .collect();
    let mut trim = Vec::with_capacity(read.len());
    for (draw, shape) in paths.shapes.iter().enumerate().take(noise.normals.nrows()) {
        let g = shape.at(check.hours_h);
        let mut sums = [0.0; 6];
        let offset_mm = instrument.offset_sd_mm * noise.normals[(draw, 0)];
        trim.clear();
        for (place, (one, at)) in read.iter().enumerate() {
            let normal = noise.normals.get((draw, place + 1)).copied().unwrap_or(0.0);
            let true_mm = paths.start_mm[(draw, *at)] + paths.slope_mm[(draw, *at)] * g + offset_mm;
            let value = if step_mm > 0.0 && one.repeats <= 1 {
                let reading_mm = true_mm + normal * unrounded_mm + shown[place];
                (reading_mm / step_mm).round() * step_mm - shown[place]
            } else {
                true_mm + normal * instrument.reading_sd_mm / f64::from(one.repeats.max(1)).sqrt()
            };
            let row = set.lines()[one.line].row;
            sums[row.index()] += value;
            if row.is_trim() {
                trim.push(value);
            }
        }
        let Some(common_mm) = median_in_place(&mut trim) else { return out };
        for row in (0..6).filter(|row| counts[*row] > 0.0) {
            out[row].push(sums[row] / counts[row] - common_mm);
        }
    }
    out.iter_mut().for_each(|draws| draws.sort_by(f64::total_cmp));
    out
}

/// Continuous ranked probability score of a forecast given as draws (which it sorts), in the unit of the draws:
/// `mean|x − y| − Σ_{i<j}|x_i − x_j| / (n(n−1))`, which is unbiased for any number of draws (the fair score: Ferro 2014,
/// from memory). With one draw it is the distance; with none, 0.
#[must_use]
pub fn crps_of_draws(draws: &mut [f64], measured: f64) -> f64 {
    draws.sort_by(f64::total_cmp);
    let n = draws.len() as f64;
    if draws.is_empty() {
        return 0.0;
    }
    let distance = draws.iter().map(|draw| (draw - measured).abs()).sum::<f64>() / n;
    if draws.len() == 1 {
        return distance;
    }
    let spread: f64 = draws.iter().enumerate().map(|(rank, draw)| (2.0 * rank as f64 + 1.0 - n) * draw).sum::<f64>()
        / (n * (n - 1.0));
    distance - spread
}

/// Quantile of sorted draws, linear between the ranks `(k + ½)/n`; 0 without draws.
pub(super) fn quantile(sorted: &[f64], p: f64) -> f64 {
    let Some(last) = sorted.len().checked_sub(1) else { return 0.0 };
    let at = (p * sorted.len() as f64 - 0.5).clamp(0.0, last as f64);
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let low = at.floor() as usize;
    let high = (low + 1).min(last);
    sorted[low] + (at - low as f64) * (sorted[high] - sorted[low])
}

/// Share of sorted draws below a value; those equal to it count half.
pub(super) fn share_below(sorted: &[f64], value: f64) -> f64 {
    let below = sorted.partition_point(|draw| *draw < value);
    let until = sorted.partition_point(|draw| *draw <= value);
    0.5 * (below + until) as f64 / sorted.len().max(1) as f64
}
