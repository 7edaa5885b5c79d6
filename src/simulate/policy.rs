//! Comparing policies: when to look again, by a fixed interval or by forecast.

use std::fmt;

use jiff::ToSpan;
use ndarray::Array2;
use rand::SeedableRng;
use rand_chacha::ChaCha12Rng;
use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use super::usage::{Visit, wing};
use super::wing_run::{Life, Workshop};
use super::{FleetSpec, SimulateError};
use crate::check::History;
use crate::forecast::{CrossingSpec, DueSpec, Limits, LinePaths, incidence_weights};
use crate::wear::{DrawNoise, LineKey, PathDraws, WearFit, WearSpec, WingEffects};
use crate::wing::{LineSet, Row, Side, TextTable};

/// No check is sooner after the one before, h.
const SOONEST_H: f64 = 10.0;
/// A policy never waits longer, h.
const LATEST_H: f64 = 500.0;
/// A limit that is not watched, mm.
const UNWATCHED_MM: f64 = 1e6;
/// The fleet that the forecasts learn from has another seed than the wings that are judged.
const OTHER_SEED: u64 = 0x5eed;

/// When a wing is looked at again.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Policy {
    /// After so many hours, h.
    Every {
        /// The interval, h.
        hours_h: f64,
    },
    /// When the forecast chance of being out of trim reaches this risk (0 … 1), without any interval.
    AtRisk {
        /// The risk.
        risk: f64,
    },
}

impl Policy {
    /// The policy in words.
    #[must_use]
    pub fn name(self) -> String {
        match self {
            Policy::Every { hours_h } => format!("every {hours_h:.0} h"),
            Policy::AtRisk { risk } => format!("at a risk of {:.0} %", 100.0 * risk),
        }
    }
}

/// Lets the wings of an invented fleet fly under several policies, each wing with the same true wear under all of them.
///
/// | setting | default | why |
/// |---|---|---|
/// | `fleet` | [`FleetSpec::default`] with 100 wings, a wing-by-row spread of 0.2 mm/m | wings that differ, as forecasts suppose |
/// | `until_h` | 400 h | a wing's life |
/// | `every_h` | 50, 75, 100, 150, 200 h | around the customary interval |
/// | `risks` | 2, 5, 10, 20, 40 % | around the default risk |
/// | `draws` | 500 | per forecast |
///
/// Every wing is checked when new and then as its policy says, never sooner than 10 h after a check, and adjusted by the
/// simulated workshop where a check finds a main out of trim. *Out of trim* is any difference of row means past its limit,
/// or the incidence change past its own (the defaults of [`Limits`]; single lines, brake and common offset are left aside,
/// since no adjustment of mains cures them), by the true lengths. Forecasts come from a wear fit on another fleet of the
/// same kind and the wing's own checks, with the same limits.
///
/// ```
/// use linedrift::simulate::{FleetSpec, PolicySpec};
///
/// let comparison = PolicySpec::default()
///     .fleet(FleetSpec::default().wings(6))
///     .until_h(120.0)
///     .every_h(&[60.0])
///     .risks(&[0.1])
///     .draws(50)
///     .run()?;
/// for row in &comparison.rows {
///     println!("{}: {:.1} % of the hours out of trim", row.policy.name(), row.out_of_trim_pct);
/// }
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct PolicySpec {
    fleet: FleetSpec,
    until_h: f64,
    every_h: Vec<f64>,
    risks: Vec<f64>,
    draws: usize,
}

impl Default for PolicySpec {
    fn default() -> Self {
        Self {
            fleet: FleetSpec::default().wings(100).wing_row_spread(0.2),
            until_h: 400.0,
            every_h: vec![50.0, 75.0, 100.0, 150.0, 200.0],
            risks: vec![0.02, 0.05, 0.1, 0.2, 0.4],
            draws: 500,
        }
    }
}

/// What a policy came to.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PolicyRow {
    /// The policy.
    pub policy: Policy,
    /// Checks per 100 h flown, the one when new left out.
    pub checks_per_100_h: f64,
    /// Share of the hours flown out of trim, per cent.
    pub out_of_trim_pct: f64,
    /// Standard error of that share over wings, per cent.
    pub out_of_trim_se_pct: f64,
    /// Share of the checks that found the wing out of trim, per cent.
    pub found_out_pct: f64,
}

/// Policies side by side.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PolicyComparison {
    /// Wings that flew under each policy.
    pub wings: usize,
    /// Hours flown by each, h.
    pub until_h: f64,
    /// One row per policy, fixed intervals first.
    pub rows: Vec<PolicyRow>,
}

/// What one wing came to under a policy.
#[derive(Debug, Clone, Copy, Default)]
struct Flown {
    checks: f64,
    out_h: f64,
    found_out: f64,
}

impl PolicySpec {
    setters! {
        /// Sets the fleet whose wings fly: models, rates, spreads, seed and number of wings count, its checks do not.
        fleet: FleetSpec;
        /// Sets how long each wing flies, h.
        until_h: f64;
    }

    /// Sets the fixed intervals, h.
    #[must_use]
    pub fn every_h(mut self, every_h: &[f64]) -> Self {
        every_h.clone_into(&mut self.every_h);
        self
    }

    /// Sets the accepted risks, 0 … 1.
    #[must_use]
    pub fn risks(mut self, risks: &[f64]) -> Self {
        risks.clone_into(&mut self.risks);
        self
    }

    setters! {
        /// Sets the number of draws per forecast.
        draws: usize;
    }

    /// Lets the wings fly. The result does not depend on the number of threads.
    ///
    /// # Errors
    /// [`SimulateError`] on a setting out of its range, or when the fleet to learn from gives no fit.
    pub fn run(&self) -> Result<PolicyComparison, SimulateError> {
        super::spec::within("until_h", self.until_h, 50.0, 2000.0, "50 to 2,000 h")?;
        for hours_h in &self.every_h {
            super::spec::within("every_h", *hours_h, SOONEST_H, LATEST_H, "10 to 500 h")?;
        }
        for risk in &self.risks {
            super::spec::within("risks", *risk, 1e-6, 1.0 - 1e-6, "above 0 and below 1")?;
        }
        super::spec::within("draws", self.draws as f64, 1.0, 1e6, "1 to 1,000,000")?;
        let learnt = self.fleet.clone().wings(60).unchecked_wings(0).adjusted_share(1.0);
        let learnt = learnt.seed(self.fleet.seed ^ OTHER_SEED).run()?.fleet;
        let no_fit = |error: &dyn fmt::Display| SimulateError::NoForecast { reason: error.to_string() };
        let spec = WearSpec::default().wing_effects(WingEffects::RateRow).shape(self.fleet.shape);
        let fit = spec.fit(&learnt).map_err(|error| no_fit(&error))?;
        let sets = learnt.line_sets().to_vec();
        let world = World { spec: self, fit: &fit, noise: self.noise(&fit, &sets), sets: &sets };
        let policies = self
            .every_h
            .iter()
            .map(|hours_h| Policy::Every { hours_h: *hours_h })
            .chain(self.risks.iter().map(|risk| Policy::AtRisk { risk: *risk }));
        let rows = policies.map(|policy| world.row(policy)).collect::<Result<_, _>>()?;
        Ok(PolicyComparison { wings: self.fleet.wings, until_h: self.until_h, rows })
    }

    /// Noise for as many checks as any policy can make.
    fn noise(&self, fit: &WearFit, sets: &[LineSet]) -> DrawNoise {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        let checks = 2 * (self.until_h / SOONEST_H) as usize + 2;
        let lines = sets.iter().map(|set| 2 * set.lines().len()).max().unwrap_or(0);
        // fixed terms, the wing's offset, rate and row rates, and one offset per check
        let shared = fit.terms().len() + fit.dropped_terms().len() + 2 + Row::ALL.len() + checks;
        DrawNoise::new(self.fleet.seed, self.draws, shared, lines)
    }
}

struct World<'a> {
    spec: &'a PolicySpec,
    fit: &'a WearFit,
    noise: DrawNoise,
    sets: &'a [LineSet],
}

impl World<'_> {
    fn row(&self, policy: Policy) -> Result<PolicyRow, SimulateError> {
        let wings: Vec<Flown> = (0..self.spec.fleet.wings)
            .into_par_iter()
            .map(|index| self.fly(policy, index))
            .collect::<Result<_, _>>()?;
        let n = wings.len() as f64;
        let sum = |of: fn(&Flown) -> f64| wings.iter().map(of).sum::<f64>();
        let (checks, out_h, found) = (sum(|wing| wing.checks), sum(|wing| wing.out_h), sum(|wing| wing.found_out));
        let mean = out_h / n;
        let spread = wings.iter().map(|wing| (wing.out_h - mean).powi(2)).sum::<f64>() / (n - 1.0).max(1.0);
        let per_cent = 100.0 / self.spec.until_h;
        Ok(PolicyRow {
            policy,
            checks_per_100_h: checks / n * per_cent,
            out_of_trim_pct: mean * per_cent,
            out_of_trim_se_pct: (spread / n).sqrt() * per_cent,
            found_out_pct: 100.0 * found / checks.max(1.0),
        })
    }

    /// One wing's life under a policy.
    fn fly(&self, policy: Policy, index: usize) -> Result<Flown, SimulateError> {
        let fleet = &self.spec.fleet;
        let mut rng = ChaCha12Rng::seed_from_u64(fleet.seed);
        rng.set_stream(index as u64 + 1);
        let at = index % self.sets.len();
        let set = &self.sets[at];
        let wing = wing(fleet, &mut rng, index, set.model())?;
        let per_year_h = wing.hours_per_year.unwrap_or(50.0);
        let mut life = Life::new(fleet, set, &wing.id, rng);
        let mut history =
            History { wing, line_set: at, checks: Vec::new(), actions: Vec::new(), fittings: Vec::new() };
        let mut flown = Flown::default();
        let mut hours_h = 0.0;
        loop {
            #[allow(clippy::cast_possible_truncation)]
            let days = (hours_h / per_year_h * 365.25) as i64;
            let date = fleet.start.checked_add(days.days()).map_err(|_| SimulateError::NoDate {
                wing: history.wing.id.clone(),
                from: fleet.start,
                days,
            })?;
            life.visit(&Visit { date, hours_h }, Workshop::Adjusts, &mut history);
            let next_h = match policy {
                Policy::Every { hours_h: every_h } => hours_h + every_h,
                Policy::AtRisk { risk } => self.forecast_h(risk, set, &history, hours_h)?,
            };
            let next_h = next_h.min(self.spec.until_h);
            let out_h = next_h - first_out_h(&life, set, fleet, hours_h).min(next_h);
            flown.out_h += out_h;
            if next_h >= self.spec.until_h {
                return Ok(flown);
            }
            flown.checks += 1.0;
            flown.found_out += f64::from(u8::from(out_h > 0.0));
            hours_h = next_h;
        }
    }

    /// Hours at which the forecast chance of being out of trim reaches the risk.
    fn forecast_h(&self, risk: f64, set: &LineSet, history: &History, now_h: f64) -> Result<f64, SimulateError> {
        let failed = |error: &dyn fmt::Display| SimulateError::NoForecast { reason: error.to_string() };
        let paths = self.fit.path_draws(set, history, &self.noise).map_err(|error| failed(&error))?;
        let due = DueSpec::default()
            .risk(risk)
            .limits(watched())
            .interval_h(LATEST_H)
            .interval_months(12_000.0)
            .wing(LinePaths::Fit(&paths), history, set, None)
            .map_err(|error| failed(&error))?;
        Ok(due.row.due_hours.clamp(now_h + SOONEST_H, now_h + LATEST_H))
    }
}

/// The limits that the policies watch.
fn watched() -> Limits {
    Limits::default().line_mm(UNWATCHED_MM).brake_short_mm(UNWATCHED_MM).offset_mm(UNWATCHED_MM)
}

/// Hours at which the wing's true lengths are first out of trim from `now_h` on; infinite when never.
fn first_out_h(life: &Life<'_>, set: &LineSet, fleet: &FleetSpec, now_h: f64) -> f64 {
    let lines: Vec<LineKey> = Side::BOTH
        .into_iter()
        .flat_map(|side| (0..set.lines().len()).map(move |line| LineKey { side, line }))
        .filter(|key| set.has(key.line, key.side))
        .collect();
    let (g_now, g_later) = (fleet.shape.at(now_h), fleet.shape.at(now_h + 100.0));
    let mut start_mm = Array2::zeros((1, lines.len()));
    let mut slope_mm = Array2::zeros((1, lines.len()));
    for (column, key) in lines.iter().enumerate() {
        let nominal_mm = set.lines()[key.line].nominal_mm;
        let at = |hours_h| life.true_length_mm(key.side, key.line, hours_h) - nominal_mm;
        let slope = if g_later > g_now { (at(now_h + 100.0) - at(now_h)) / (g_later - g_now) } else { 0.0 };
        slope_mm[[0, column]] = slope;
        start_mm[[0, column]] = at(now_h) - slope * g_now;
    }
    let weights = incidence_weights(set, &lines);
    let paths = PathDraws { lines, start_mm, slope_mm, shapes: vec![fleet.shape], own_history: true };
    let crossing = CrossingSpec::default().limits(watched()).horizon_h(5000.0);
    let first = crossing.run(&paths, set, now_h, weights.as_deref());
    first.ok().and_then(|first| first.crossed().first().map(|draw| draw.hours_h)).unwrap_or(f64::INFINITY)
}

impl fmt::Display for PolicyComparison {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{} invented wings, each {:.0} h under every policy", self.wings, self.until_h)?;
        let mut rows = TextTable::default()
            .words("policy", 22)
            .figures("checks/100 h")
            .figures("hours out of trim, %")
            .figures("found out, %");
        for row in &self.rows {
            rows.row([
                row.policy.name(),
                format!("{:.2}", row.checks_per_100_h),
                format!("{:.2} (se {:.2})", row.out_of_trim_pct, row.out_of_trim_se_pct),
                format!("{:.0}", row.found_out_pct),
            ]);
        }
        write!(f, "{rows}")
    }
}
