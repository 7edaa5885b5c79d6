//! What the wear model expects of the rows of a new wing, on the scale of what is measured.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use crate::check::{Fleet, History};
use crate::stats::robust::median_in_place;
use crate::wear::{DriftSeries, DriftStation, PathDraws, WearError, WearFit};
use crate::wing::{LineSet, Row, Wing};

/// Draws behind a band: its ends are then known to about a tenth of its half width.
const DRAWS: usize = 500;
/// Stations along the hours.
const STEPS: u32 = 8;

/// The series with the wear model's path for a wing of the model that has not been checked: at each station the mean, and
/// the range that holds 95 of 100 wings as they would be measured, of row mean less common offset. Both are taken draw by draw
/// from the joint draws of the line paths with the readings' own error on each, so that the common offset is the median of
/// A–D there as it is in a check. A model whose wings lack
/// a covariate of the fit gets no path.
///
/// # Errors
/// [`WearError`] when the draws cannot be made.
pub fn expected_drift(
    mut series: Vec<DriftSeries>,
    fleet: &Fleet,
    fit: &WearFit,
    seed: u64,
) -> Result<Vec<DriftSeries>, WearError> {
    let noise = fit.draw_noise(fleet, seed, DRAWS);
    for set_index in 0..fleet.line_sets().len() {
        let Some(known) = fleet.histories().iter().find(|history| history.line_set == set_index) else { continue };
        let set = fleet.line_set(known);
        let until_h = series
            .iter()
            .filter(|one| one.model == set.model())
            .flat_map(|one| one.points.iter().map(|point| point.hours_h))
            .fold(0.0, f64::max);
        if until_h <= 0.0 {
            continue;
        }
        let mut wing = Wing::new("new", set.model());
        wing.covariates = known.wing.covariates.clone();
        let new =
            History { wing, line_set: set_index, checks: Vec::new(), actions: Vec::new(), fittings: Vec::new() };
        let draws = match fit.path_draws(set, &new, &noise) {
            Ok(draws) => draws,
            Err(WearError::Covariate { .. }) => continue,
            Err(error) => return Err(error),
        };
        for one in series.iter_mut().filter(|one| one.model == set.model() && one.path.is_empty()) {
            let mut error = ReadingError { sd_mm: fit.mixed().sigma(), generator: ChaCha8Rng::seed_from_u64(seed) };
            one.path = (0..=STEPS)
                .filter_map(|step| {
                    station(&draws, set, one.row, until_h * f64::from(step) / f64::from(STEPS), &mut error)
                })
                .collect();
        }
    }
    Ok(series)
}

/// The error of single readings.
struct ReadingError {
    sd_mm: f64,
    generator: ChaCha8Rng,
}

impl ReadingError {
    fn draw_mm(&mut self) -> f64 {
        let normal: f64 = StandardNormal.sample(&mut self.generator);
        self.sd_mm * normal
    }
}

fn station(
    draws: &PathDraws,
    set: &LineSet,
    row: Row,
    hours_h: f64,
    error: &mut ReadingError,
) -> Option<DriftStation> {
    let rows: Vec<Option<Row>> =
        draws.lines.iter().map(|key| set.lines().get(key.line).map(|line| line.row)).collect();
    let mut values: Vec<f64> = Vec::with_capacity(draws.shapes.len());
    for ((start, slope), shape) in draws.start_mm.rows().into_iter().zip(draws.slope_mm.rows()).zip(&draws.shapes) {
        let g = shape.at(hours_h);
        let mut trim_mm = Vec::with_capacity(rows.len());
        let (mut sum_mm, mut lines) = (0.0, 0u32);
        for ((of, start_mm), slope_mm) in rows.iter().zip(start).zip(slope) {
            let deviation_mm = start_mm + slope_mm * g + error.draw_mm();
            if of.is_some_and(Row::is_trim) {
                trim_mm.push(deviation_mm);
            }
            if *of == Some(row) {
                sum_mm += deviation_mm;
                lines += 1;
            }
        }
        if lines > 0 {
            values.push(sum_mm / f64::from(lines) - median_in_place(&mut trim_mm)?);
        }
    }
    values.retain(|value| value.is_finite());
    values.sort_by(f64::total_cmp);
    let at = |per_mille: usize| values.get(values.len() * per_mille / 1000).copied();
    let mean_mm = values.iter().sum::<f64>() / values.len() as f64;
    Some(DriftStation { hours_h, mean_mm, lower_mm: at(25)?, upper_mm: at(975)? })
}
