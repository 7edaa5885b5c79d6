//! When a wing flies and when it is checked.

use jiff::Span;
use rand::{Rng, RngExt};
use rand_distr::{Distribution, StandardNormal};

use super::{FleetSpec, SimulateError};
use crate::Date;
use crate::wing::Wing;

/// Days in a year, on average.
const DAYS_PER_YEAR: f64 = 365.25;
/// No check later than this after the one before, days (24 months: practice).
const LONGEST_GAP_DAYS: f64 = 730.0;
/// Hours flown between two checks, h.
const GAP_H: [f64; 2] = [40.0, 120.0];
/// Hours flown per year: least and most.
const HOURS_PER_YEAR: [f64; 2] = [20.0, 110.0];
/// Share of wings that are checked when new.
const CHECKED_NEW: f64 = 0.6;
/// Spread of how much is flown from one check to the next, of its mean.
const USAGE_SPREAD: f64 = 0.15;
/// Wings begin to fly in this first part of the period.
const BEGIN_SHARE: f64 = 0.45;
/// Wings that are not checked yet began to fly within so many days of the period's end.
const NEW_DAYS: f64 = 100.0;

/// One visit to the loft.
pub(super) struct Visit {
    pub(super) date: Date,
    pub(super) hours_h: f64,
}

/// Who flies a wing, from when, and how much.
pub(super) fn wing(spec: &FleetSpec, rng: &mut impl Rng, index: usize, model: &str) -> Result<Wing, SimulateError> {
    let digits = spec.wings.to_string().len().max(2);
    let mut wing = Wing::new(&format!("W{:0digits$}", index + 1), model);
    let period_days = spec.years * DAYS_PER_YEAR;
    let begin_days = if is_new(spec, index) {
        period_days - NEW_DAYS * rng.random::<f64>()
    } else {
        period_days * BEGIN_SHARE * rng.random::<f64>()
    };
    let small = model.ends_with('S');
    let mass_kg = if small { 82.0 } else { 101.0 } + 7.0 * rng.random_range(-1.0..1.0);
    wing.mass_kg = Some(f64::round(mass_kg));
    wing.first_flight = Some(after(&wing, spec.start, begin_days)?);
    let [least, most] = HOURS_PER_YEAR;
    wing.hours_per_year = Some((least + (most - least) * rng.random::<f64>()).round());
    Ok(wing)
}

/// Whether the wing is one of those not checked yet.
pub(super) fn is_new(spec: &FleetSpec, index: usize) -> bool {
    index >= spec.wings.saturating_sub(spec.unchecked_wings)
}

/// The wing's visits within the period, in order, hours to a tenth. Every wing that is not new has at least one.
pub(super) fn visits(spec: &FleetSpec, rng: &mut impl Rng, wing: &Wing) -> Result<Vec<Visit>, SimulateError> {
    let first = wing.first_flight.unwrap_or(spec.start);
    let per_year_h = wing.hours_per_year.unwrap_or(1.0);
    let end = after(wing, spec.start, spec.years * DAYS_PER_YEAR)?;
    let mut visits = Vec::new();
    let mut days: f64 = 0.0;
    let mut hours_h: f64 = 0.0;
    if rng.random::<f64>() < CHECKED_NEW {
        hours_h = tenth(rng.random_range(0.0..5.0));
        days = (hours_h / per_year_h * DAYS_PER_YEAR).round();
        visits.push(Visit { date: after(wing, first, days)?, hours_h });
    }
    loop {
        let flown_h = rng.random_range(GAP_H[0]..GAP_H[1]);
        let wait = rng.random_range(0.8..1.2);
        let normal: f64 = StandardNormal.sample(rng);
        let usage_h = per_year_h * (USAGE_SPREAD * normal).exp();
        let mut gap_days = match spec.checks_per_year {
            Some(checks) => wait * DAYS_PER_YEAR / checks,
            None => flown_h / usage_h * DAYS_PER_YEAR,
        };
        if spec.checks_per_year.is_none() {
            gap_days = gap_days.min(LONGEST_GAP_DAYS * wait.min(1.0));
        }
        days = (days + gap_days).round();
        // a wing that is never in the air between two checks would have them at the same hours
        hours_h = tenth(hours_h + (usage_h * gap_days / DAYS_PER_YEAR).max(0.5));
        let date = after(wing, first, days)?;
        if date > end {
            break;
        }
        visits.push(Visit { date, hours_h });
    }
    if visits.is_empty() {
        visits.push(Visit { date: first, hours_h: 0.0 });
    }
    Ok(visits)
}

fn tenth(hours_h: f64) -> f64 {
    (hours_h * 10.0).round() / 10.0
}

fn after(wing: &Wing, from: Date, days: f64) -> Result<Date, SimulateError> {
    // the settings' ranges keep the days far within what an i64 holds
    #[expect(clippy::cast_possible_truncation)]
    let days = days.round() as i64;
    Span::new().try_days(days).and_then(|span| from.checked_add(span)).map_err(|_| SimulateError::NoDate {
        wing: wing.id.clone(),
        from,
        days,
    })
}
