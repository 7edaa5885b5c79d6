//! Forecasts that need no model, each with the spread of its own past errors.

use std::collections::BTreeMap;

use jiff::civil::Date;
use statrs::distribution::{Continuous, ContinuousCDF, Normal};

use super::measured::Measured;
use super::outcome::CrpsByMethod;
use crate::check::Stage;

/// Past errors of a row that its spread is taken from; with fewer, those of all rows.
const FEWEST_ERRORS: usize = 5;
/// Values of a row that the fleet's line needs.
const FEWEST_VALUES: f64 = 10.0;

/// What the three baselines foresee for one row of one check, mm.
#[derive(Debug, Clone, Copy)]
pub(super) struct Foreseen {
    pub(super) last_value: f64,
    pub(super) own_points: f64,
    pub(super) fleet_mean: f64,
}

/// The baselines' points of one row of one check, and what was measured.
#[derive(Debug, Clone)]
pub(super) struct BaselineForecast {
    pub(super) wing: usize,
    pub(super) check: usize,
    pub(super) row: usize,
    pub(super) date: Date,
    pub(super) measured_mm: f64,
    pub(super) foreseen: Foreseen,
}

/// All measured checks of one wing.
pub(super) struct WingSeries {
    pub(super) line_set: usize,
    pub(super) checks: Vec<Measured>,
}

/// The baselines' forecasts of every `as_found` check that has an earlier check of its wing, by date. A forecast knows its
/// wing's earlier checks, and of the others what is dated before it.
pub(super) fn forecasts(wings: &[WingSeries]) -> Vec<BaselineForecast> {
    let mut order: Vec<(Date, usize, usize)> = wings
        .iter()
        .enumerate()
        .flat_map(|(wing, series)| {
            series.checks.iter().enumerate().map(move |(check, measured)| (measured.date, wing, check))
        })
        .collect();
    order.sort_unstable();
    let mut fleet = FleetMeans::default();
    let mut out = Vec::new();
    for day in order.chunk_by(|a, b| a.0 == b.0) {
        for &(date, wing, check) in day {
            let series = &wings[wing];
            let target = &series.checks[check];
            if target.stage != Stage::AsFound {
                continue;
            }
            for row in 0..6 {
                let past = &series.checks[..check];
                let Some(measured_mm) = target.rows_mm[row] else { continue };
                let Some(own) = OwnPoints::of(past, row) else { continue };
                let Some(fleet_mean) = fleet.at(series.line_set, row, target.hours_h) else { continue };
                let foreseen =
                    Foreseen { last_value: own.last_mm, own_points: own.line_at(target.hours_h), fleet_mean };
                out.push(BaselineForecast { wing, check, row, date, measured_mm, foreseen });
            }
        }
        // what was measured on a day is known from the next day on
        for &(_, wing, check) in day {
            fleet.add(wings[wing].line_set, &wings[wing].checks[check]);
        }
    }
    out
}

/// A wing's own earlier values of a row.
struct OwnPoints {
    last_mm: f64,
    /// Mean of hours and value since the last adjustment.
    centre: [f64; 2],
    slope: f64,
}

impl OwnPoints {
    /// The least-squares line with one slope for the wing and a level of its own between adjustments (an `as_left` check
    /// starts a new level); no slope where no two checks of a level differ in hours.
    fn of(past: &[Measured], row: usize) -> Option<Self> {
        let last_mm = past.iter().rev().find_map(|check| check.rows_mm[row])?;
        let (mut across, mut square) = (0.0, 0.0);
        let mut centre = [0.0; 2];
        for level in past.chunk_by(|_, next| next.stage != Stage::AsLeft) {
            let points: Vec<[f64; 2]> =
                level.iter().filter_map(|check| Some([check.hours_h, check.rows_mm[row]?])).collect();
            if points.is_empty() {
                continue;
            }
            let n = points.len() as f64;
            centre = [0, 1].map(|k| points.iter().map(|point| point[k]).sum::<f64>() / n);
            for [hours_h, value] in points {
                across += (hours_h - centre[0]) * (value - centre[1]);
                square += (hours_h - centre[0]).powi(2);
            }
        }
        Some(Self { last_mm, centre, slope: if square > 0.0 { across / square } else { 0.0 } })
    }

    fn line_at(&self, hours_h: f64) -> f64 {
        self.centre[1] + self.slope * (hours_h - self.centre[0])
    }
}

/// The fleet's mean path of each model and row: the least-squares line of the values at `as_found` checks on hours.
#[derive(Default)]
struct FleetMeans {
    by_model: BTreeMap<(usize, usize), Sums>,
    by_row: [Sums; 6],
}

#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    n: f64,
    x: f64,
    y: f64,
    xx: f64,
    xy: f64,
    most_x: f64,
}

impl FleetMeans {
    fn add(&mut self, line_set: usize, check: &Measured) {
        if check.stage != Stage::AsFound {
            return;
        }
        for (row, value) in check.rows_mm.iter().enumerate() {
            if let Some(value) = *value {
                let x = check.hours_h / 100.0;
                for sums in [self.by_model.entry((line_set, row)).or_default(), &mut self.by_row[row]] {
                    sums.n += 1.0;
                    sums.x += x;
                    sums.y += value;
                    sums.xx += x * x;
                    sums.xy += x * value;
                    sums.most_x = sums.most_x.max(x);
                }
            }
        }
    }

    /// The model's line where it has ten values, else that of all models (`None` where that has fewer too).
    fn at(&self, line_set: usize, row: usize, hours_h: f64) -> Option<f64> {
        let of_model = self.by_model.get(&(line_set, row)).filter(|sums| sums.n >= FEWEST_VALUES);
        of_model.unwrap_or(&self.by_row[row]).at(hours_h / 100.0)
    }
}

impl Sums {
    /// The line at `x`, held constant past the most that was seen.
    fn at(&self, x: f64) -> Option<f64> {
        if self.n < FEWEST_VALUES {
            return None;
        }
        let x = x.min(self.most_x);
        let (mean_x, mean_y) = (self.x / self.n, self.y / self.n);
        let square = self.xx - self.n * mean_x * mean_x;
        let slope = if square > 1e-9 { (self.xy - self.n * mean_x * mean_y) / square } else { 0.0 };
        Some(mean_y + slope * (x - mean_x))
    }
}

/// Squared errors of the baselines so far, by row.
#[derive(Debug, Clone, Default)]
pub(super) struct PastErrors {
    rows: [Squares; 6],
}

#[derive(Debug, Clone, Copy, Default)]
struct Squares {
    n: usize,
    last_value: f64,
    own_points: f64,
    fleet_mean: f64,
}

impl PastErrors {
    pub(super) fn add(&mut self, one: &BaselineForecast) {
        let square = |point: f64| (point - one.measured_mm).powi(2);
        let row = &mut self.rows[one.row];
        row.n += 1;
        row.last_value += square(one.foreseen.last_value);
        row.own_points += square(one.foreseen.own_points);
        row.fleet_mean += square(one.foreseen.fleet_mean);
    }

    /// CRPS of the three baselines as normal forecasts about their points, each with the root mean square of its own past
    /// errors in the row (of all rows, with fewer than five); `None` with fewer than five in all. `linedrift` is left at
    /// zero.
    pub(super) fn crps(&self, one: &BaselineForecast) -> Option<CrpsByMethod> {
        let all = || {
            self.rows.iter().fold(Squares::default(), |sum, row| Squares {
                n: sum.n + row.n,
                last_value: sum.last_value + row.last_value,
                own_points: sum.own_points + row.own_points,
                fleet_mean: sum.fleet_mean + row.fleet_mean,
            })
        };
        let own = self.rows[one.row];
        let squares = if own.n >= FEWEST_ERRORS { own } else { all() };
        if squares.n < FEWEST_ERRORS {
            return None;
        }
        let score = |point: f64, sum: f64| normal_crps(one.measured_mm - point, (sum / squares.n as f64).sqrt());
        Some(CrpsByMethod {
            linedrift: 0.0,
            last_value: score(one.foreseen.last_value, squares.last_value),
            own_points: score(one.foreseen.own_points, squares.own_points),
            fleet_mean: score(one.foreseen.fleet_mean, squares.fleet_mean),
        })
    }
}

/// CRPS of a normal forecast: `s [z (2Φ(z) − 1) + 2φ(z) − 1/√π]` with `z = error/s` (Gneiting and Raftery 2007, section 4.2;
/// from memory).
fn normal_crps(error: f64, sd: f64) -> f64 {
    if !(sd > 0.0) {
        return error.abs();
    }
    let z = error / sd;
    let normal = Normal::standard();
    sd * (z * (2.0 * normal.cdf(z) - 1.0) + 2.0 * normal.pdf(z) - 1.0 / std::f64::consts::PI.sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::forecast::crps_of_draws;

    #[test]
    fn the_normal_crps_is_the_mean_over_its_quantiles() {
        let normal = Normal::new(1.0, 2.0).unwrap();
        let mut draws: Vec<f64> = (0..20_000).map(|k| normal.inverse_cdf((f64::from(k) + 0.5) / 20_000.0)).collect();
        for at in [-3.0, 0.5, 1.0, 6.0] {
            let (closed, drawn) = (normal_crps(at - 1.0, 2.0), crps_of_draws(&mut draws, at));
            assert!((closed - drawn).abs() < 1e-3, "{at}: {closed} {drawn}");
        }
        assert_eq!(normal_crps(-2.5, 0.0), 2.5);
    }

    #[test]
    fn own_points_keep_one_slope_over_adjustments() {
        let point = |hours_h: f64, stage: Stage, value: f64| Measured {
            date: Date::constant(2020, 1, 1),
            hours_h,
            stage,
            rows_mm: [Some(value), None, None, None, None, None],
        };
        let past = [
            point(0.0, Stage::AsFound, 1.0),
            point(100.0, Stage::AsFound, -3.0),
            point(100.0, Stage::AsLeft, 6.0),
            point(200.0, Stage::AsFound, 2.0),
        ];
        let own = OwnPoints::of(&past, 0).unwrap();
        assert_eq!((own.last_mm, own.slope), (2.0, -0.04));
        assert!((own.line_at(300.0) - -2.0).abs() < 1e-12);
        assert!(OwnPoints::of(&past, 1).is_none());
        // one point: flat
        assert_eq!(OwnPoints::of(&past[..1], 0).unwrap().line_at(500.0), 1.0);
    }
}
