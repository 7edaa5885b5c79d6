//! What a forecast looks like: the watched quantities over the hours, with their limits and the chance of a crossing.

use std::borrow::Cow;
use std::collections::BTreeMap;

use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use super::answer::Answer;
use super::believed::Believed;
use super::fan_measured::{FanPoint, measured};
use super::path_source::{Origin, PathSource, WingPaths};
use crate::check::{Fleet, History};
use crate::forecast::crossing::Linear;
use crate::forecast::crossing::pass::CrossingPass;
use crate::forecast::{
    Cause, CrossingHours, CrossingSpec, DueSpec, FirstCrossing, ForecastError, Limits, LinePaths, Reason,
    incidence_weights,
};
use crate::wear::{PathDraws, WearFit};
use crate::wing::LineSet;

/// Most quantities of one wing.
const MOST_PATHS: usize = 3;
/// A kind of limit that goes first less often than this is not drawn.
const LEAST_SHARE: f64 = 0.05;
/// Steps of a fan, and of the curve of the chance.
const STEPS: u32 = 12;
const RISK_STEPS: u32 = 60;
/// Least and most hours ahead that are drawn, h.
const LEAST_AHEAD_H: f64 = 40.0;
const MOST_AHEAD_H: f64 = 400.0;

/// Unit of a watched quantity.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum WatchedUnit {
    /// Millimetres.
    #[serde(rename = "mm")]
    Mm,
    /// Degrees.
    #[serde(rename = "deg")]
    Deg,
}

/// Where a watched quantity is expected to be at some hours: quantiles over the draws, in the unit of its path.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FanStation {
    /// Hours flown since new, h.
    pub hours_h: f64,
    /// Median.
    pub median: f64,
    /// Lower end of the 50 % interval.
    pub lower50: f64,
    /// Upper end of the 50 % interval.
    pub upper50: f64,
    /// Lower end of the 80 % interval.
    pub lower80: f64,
    /// Upper end of the 80 % interval.
    pub upper80: f64,
    /// Lower end of the 95 % interval.
    pub lower95: f64,
    /// Upper end of the 95 % interval.
    pub upper95: f64,
}

/// One watched quantity of one wing, measured and ahead. Its true value is meant, without the error of a reading.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WatchedPath {
    /// The kind of limit.
    pub reason: Reason,
    /// Which one, such as `row A less row C`.
    pub name: String,
    /// Unit of everything in here.
    pub unit: WatchedUnit,
    /// The limit from below (`None`: none).
    pub lower_limit: Option<f64>,
    /// The limit from above (`None`: none).
    pub upper_limit: Option<f64>,
    /// Share of the draws crossing within the horizon in which this kind of limit is the first, 0 … 1.
    pub first_share: f64,
    /// What was measured.
    pub measured: Vec<FanPoint>,
    /// What is expected, from the last check on.
    pub stations: Vec<FanStation>,
}

/// Chance that some limit has been crossed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RiskStation {
    /// Hours flown since new, h.
    pub hours_h: f64,
    /// Chance, 0 … 1.
    pub risk: f64,
}

/// The forecast of one wing, to be drawn: the quantities most likely to cross first, and the chance of any crossing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ForecastFan {
    /// Wing id.
    pub wing: String,
    /// Hours at the last check, h.
    pub hours_now_h: f64,
    /// Hours at which the next check is due, h.
    pub due_h: f64,
    /// What makes it due.
    pub reason: Reason,
    /// Hours at which the interval ends, h.
    pub interval_h: f64,
    /// The accepted risk, 0 … 1.
    pub accepted_risk: f64,
    /// Hours at which the chance of a crossing reaches it (`None` past the horizon), h.
    pub risk_h: Option<f64>,
    /// Quantiles of the first crossing of any limit.
    pub crossing_hours: CrossingHours,
    /// The quantities, the one that goes first most often first; at most three.
    pub paths: Vec<WatchedPath>,
    /// Chance that any limit has been crossed, from the last check on.
    pub risk: Vec<RiskStation>,
}

impl DueSpec {
    /// The forecast of one wing as something to draw, from the same draws as [`DueSpec::run`]; `None` where there is no
    /// forecast and only the interval speaks.
    ///
    /// Of each kind of limit that goes first in at least 5 % of the crossing draws, the quantity that does so most often (a
    /// pair of rows, a line) is given, at most three. Where no draw crosses, it is the difference of rows that comes
    /// nearest to its limit.
    ///
    /// ```
    /// use linedrift::{DueSpec, WearSpec, report::forecast_figures, simulate::FleetSpec};
    ///
    /// let fleet = FleetSpec::default().wings(8).seed(7).run()?.fleet;
    /// let fit = WearSpec::default().fit(&fleet)?;
    /// let fan = DueSpec::default().draws(500).fan(&fleet, &fit, "W02")?.ok_or("no forecast")?;
    /// assert!(!fan.paths.is_empty());
    /// let svg = forecast_figures(&fan)?[0].standalone();
    /// assert!(svg.starts_with("<svg"));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    ///
    /// # Errors
    /// As [`DueSpec::run`], and [`ForecastError::NoWing`] for a wing that the fleet does not have.
    pub fn fan(&self, fleet: &Fleet, wear: &WearFit, wing: &str) -> Result<Option<ForecastFan>, ForecastError> {
        Ok(self.fans(fleet, wear, &[wing])?.into_iter().next())
    }

    /// The same for many wings, in their order, those without a forecast left out. The result does not depend on the number
    /// of threads.
    ///
    /// # Errors
    /// As [`DueSpec::fan`].
    pub fn fans(&self, fleet: &Fleet, wear: &WearFit, wings: &[&str]) -> Result<Vec<ForecastFan>, ForecastError> {
        self.validate()?;
        let usage = self.usage_spec().fit(fleet)?;
        let source = PathSource::new(wear, Origin::ThisFleet, fleet, self.draw_seed(), self.draw_count());
        let fans: Vec<Option<ForecastFan>> = wings
            .par_iter()
            .map(|wing| {
                let no_wing = || ForecastError::NoWing { wing: (*wing).to_owned(), wings: fleet.histories().len() };
                let all = fleet.history(wing).ok_or_else(no_wing)?;
                let set = fleet.line_set(all);
                let believed = Believed::of(self.limits_of(&all.wing.model), set, all);
                if believed.not_judged.is_some() {
                    return Ok(None);
                }
                let history: &History = &believed.history;
                let rate = usage.of(history);
                match source.paths(set, history)? {
                    WingPaths::Fit(sampler) => {
                        let paths = sampler.path_draws();
                        let answer = self.answer(LinePaths::Fit(&paths), history, set, rate.as_ref())?;
                        self.drawn(answer, &paths, history, set)
                    }
                    WingPaths::Own { paths, .. } => {
                        let answer = self.answer(LinePaths::Own(&paths), history, set, rate.as_ref())?;
                        self.drawn(answer, &paths, history, set)
                    }
                    WingPaths::None(_) => Ok(None),
                }
            })
            .collect::<Result<_, ForecastError>>()?;
        Ok(fans.into_iter().flatten().collect())
    }

    fn drawn(
        &self,
        answer: Answer,
        paths: &PathDraws,
        history: &History,
        set: &LineSet,
    ) -> Result<Option<ForecastFan>, ForecastError> {
        let Some(crossing) = answer.crossing else { return Ok(None) };
        let (row, detail) = (answer.due.row, answer.due.detail);
        let limits = self.limits_of(&history.wing.model);
        let weights = incidence_weights(set, &paths.lines);
        let until_h = until_h(&row.crossing_hours, row.hours_now, row.due_hours.max(detail.interval_hours));
        let spec = CrossingSpec::default().limits(*limits);
        let mut watch = Watch {
            pass: spec.pass(Cow::Borrowed(&paths.lines), set, row.hours_now, weights.map(Cow::Owned))?,
            paths,
            set,
            limits,
            hours: hours(row.hours_now, until_h, STEPS),
        };
        let mut drawn = Vec::new();
        for (cause, first_share) in first_causes(&crossing) {
            drawn.extend(watch.path(cause, first_share));
        }
        if drawn.is_empty() {
            drawn.extend(watch.nearest());
        }
        for path in &mut drawn {
            path.path.measured = measured(path.cause, set, history, limits);
        }
        Ok(Some(ForecastFan {
            wing: row.wing,
            hours_now_h: row.hours_now,
            due_h: row.due_hours,
            reason: row.reason,
            interval_h: detail.interval_hours,
            accepted_risk: self.accepted_risk(),
            risk_h: detail.risk_hours,
            crossing_hours: row.crossing_hours,
            paths: drawn.into_iter().map(|drawn| drawn.path).collect(),
            risk: hours(row.hours_now, until_h, RISK_STEPS)
                .into_iter()
                // what is over at the last check stays so
                .map(|hours_h| RiskStation {
                    hours_h,
                    risk: crossing.risk_at(hours_h).max(row.risk_now.unwrap_or(0.0)),
                })
                .collect(),
        }))
    }
}

/// How far the picture reaches: past the due hours, the interval and the median crossing, if that is not too far.
fn until_h(crossing: &CrossingHours, now_h: f64, due_h: f64) -> f64 {
    let middle_h = crossing.p50.unwrap_or(due_h);
    now_h + (1.15 * (due_h.max(middle_h) - now_h)).clamp(LEAST_AHEAD_H, MOST_AHEAD_H)
}

fn hours(from_h: f64, until_h: f64, steps: u32) -> Vec<f64> {
    (0..=steps).map(|step| from_h + (until_h - from_h) * f64::from(step) / f64::from(steps)).collect()
}

/// Of each kind of limit the one that goes first most often, with the share of its kind, most often first.
fn first_causes(crossing: &FirstCrossing) -> Vec<(Cause, f64)> {
    let mut counts: BTreeMap<Cause, usize> = BTreeMap::new();
    for draw in crossing.crossed() {
        *counts.entry(draw.cause).or_insert(0) += 1;
    }
    let until_h = crossing.hours_now_h() + crossing.horizon_h();
    crossing
        .first_limits(until_h)
        .into_iter()
        .filter(|share| share.share >= LEAST_SHARE)
        .filter_map(|share| {
            let of_kind = counts.iter().filter(|(cause, _)| cause.reason() == share.reason);
            let (cause, _) = of_kind.max_by(|a, b| a.1.cmp(b.1).then(b.0.cmp(a.0)))?;
            Some((*cause, share.share))
        })
        .take(MOST_PATHS)
        .collect()
}

struct Drawn {
    cause: Cause,
    path: WatchedPath,
}

/// Draws of one wing and what is watched in them.
struct Watch<'a> {
    pass: CrossingPass<'a>,
    paths: &'a PathDraws,
    set: &'a LineSet,
    limits: &'a Limits,
    hours: Vec<f64>,
}

impl Watch<'_> {
    /// The fan of one quantity; `None` when the draws do not have it.
    fn path(&mut self, cause: Cause, first_share: f64) -> Option<Drawn> {
        let mut quantities: Vec<Linear> = Vec::with_capacity(self.paths.shapes.len());
        let draws = self.paths.start_mm.rows().into_iter().zip(self.paths.slope_mm.rows());
        for ((start, slope), shape) in draws.zip(&self.paths.shapes) {
            let (start, slope) = (start.to_vec(), slope.to_vec());
            quantities.push(self.pass.quantity(cause, &start, &slope, *shape)?);
        }
        let mut values: Vec<f64> = Vec::with_capacity(quantities.len());
        let mut stations = Vec::with_capacity(self.hours.len());
        for hours_h in &self.hours {
            values.clear();
            let at = quantities.iter().zip(&self.paths.shapes);
            values.extend(at.map(|(quantity, shape)| quantity.at + quantity.per_g * shape.at(*hours_h)));
            values.sort_unstable_by(f64::total_cmp);
            stations.push(station(*hours_h, &values)?);
        }
        let [lower_limit, upper_limit] = cause.bounds(self.set, self.limits).map(Some);
        let path = WatchedPath {
            reason: cause.reason(),
            name: cause.name(self.set),
            unit: cause.unit(),
            lower_limit,
            upper_limit,
            first_share,
            measured: Vec::new(),
            stations,
        };
        Some(Drawn { cause, path })
    }

    /// The difference of rows that comes nearest to its limit.
    fn nearest(&mut self) -> Option<Drawn> {
        let reach = |drawn: &Drawn| {
            drawn.path.stations.last().map_or(0.0, |station| station.lower95.abs().max(station.upper95.abs()))
        };
        self.pass
            .row_pairs()
            .into_iter()
            .filter_map(|(front, rear)| self.path(Cause::RowDifference { front, rear }, 0.0))
            .max_by(|a, b| reach(a).total_cmp(&reach(b)))
    }
}

fn station(hours_h: f64, sorted: &[f64]) -> Option<FanStation> {
    let last = sorted.len().checked_sub(1)?;
    let at = |per_mille: usize| sorted.get((last * per_mille + 500) / 1000).copied();
    Some(FanStation {
        hours_h,
        median: at(500)?,
        lower50: at(250)?,
        upper50: at(750)?,
        lower80: at(100)?,
        upper80: at(900)?,
        lower95: at(25)?,
        upper95: at(975)?,
    })
}
