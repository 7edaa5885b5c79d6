//! How much a wing flies, and hours turned into days.

use jiff::ToSpan;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use crate::check::{Fleet, History};
use crate::forecast::ForecastError;
use crate::forecast::error::positive;

/// Days in a mean year.
pub(in crate::forecast) const DAYS_PER_YEAR: f64 = 365.25;
/// Least and greatest weight of the fleet, in years of a wing's own record.
const CREDIBILITY_YEARS: (f64, f64) = (0.1, 10.0);
/// Weight of the fleet where too few wings say how much wings differ, in years (our default).
const DEFAULT_CREDIBILITY_YEARS: f64 = 1.0;
/// Wings needed before the fleet's own spread is trusted (our default).
const WINGS_FOR_SPREAD: usize = 5;
/// Shortest record that counts, years (our default: a month).
const SHORTEST_RECORD_YEARS: f64 = 1.0 / 12.0;
/// Standard normal 90 % quantile.
const Z90: f64 = 1.281_551_565_544_600_5;

/// Where a usage rate comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum UsageSource {
    /// The wing's `hours_per_year`.
    Stated,
    /// Its own checks, drawn towards the fleet.
    Own,
    /// The fleet alone.
    Fleet,
}

/// How much one wing flies.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct UsageRate {
    /// Expected hours flown per day, h.
    pub hours_per_day: f64,
    /// Standard deviation of the long-run rate as a share of it.
    pub relative_sd: f64,
    /// How much the hours of one year stray from the long-run rate, as a share of it.
    pub year_to_year: f64,
    /// Where it comes from.
    pub source: UsageSource,
}

/// A day that is expected, with the days between which it lies with 80 % chance.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct ExpectedDay {
    /// Expected day.
    pub date: Date,
    /// 10 % of such wings are there by this day.
    pub early: Date,
    /// 90 % are there by this day (`None` when later than dates reach).
    pub late: Option<Date>,
}

impl UsageRate {
    /// Hours flown in so many months.
    #[must_use]
    pub(crate) fn hours_in_months(&self, months: f64) -> f64 {
        self.hours_per_day * DAYS_PER_YEAR * months / 12.0
    }

    /// Days that so many hours take.
    #[must_use]
    pub(crate) fn days_for(&self, hours_h: f64) -> f64 {
        hours_h / self.hours_per_day
    }

    /// The day on which `hours_h` more hours are flown, counted from `start` (`None` when dates do not reach so far).
    ///
    /// The rate over the `y` years it takes is taken as log-normal about the expected one with
    /// `s² = relative_sd² + year_to_year²/max(y, ¼)`; early and late days are at `e^(±1.2816 s)`.
    #[must_use]
    pub fn day_after(&self, start: Date, hours_h: f64) -> Option<ExpectedDay> {
        let days = self.days_for(hours_h.max(0.0));
        let years = (days / DAYS_PER_YEAR).max(0.25);
        let spread = (Z90 * (self.relative_sd.powi(2) + self.year_to_year.powi(2) / years).sqrt()).exp();
        Some(ExpectedDay {
            date: add_days(start, days)?,
            early: add_days(start, days / spread)?,
            late: add_days(start, days * spread),
        })
    }
}

/// Estimates the usage of the wings of a fleet.
///
/// | setting | default | why |
/// |---|---|---|
/// | `year_to_year` | 0.4 | our default: weather and time off change a year's hours by so much |
/// | `stated_sd` | 0.2 | our default: a stated figure is meant roughly |
///
/// A wing's `hours_per_year` wins. Else its record is the hours and days between its first flight (or first check, where
/// the first flight is not known) and its last check: `H` hours in `Y` years. With `r` the fleet's rate (all hours over all
/// years) its expected rate is `(H + k·r)/(Y + k)`: the record of a wing counts by its length, and the fleet counts like `k`
/// more years. `k = σ²/τ²`, with `σ = year_to_year·r` and `τ²` how much wings differ, estimated as
/// `[Σ Y(H/Y − r)² − (n−1)σ²] / [ΣY − ΣY²/ΣY]` (the credibility estimator of Bühlmann and Straub 1970, from memory), kept in
/// 0.1 … 10 years; with fewer than five records `k` is one year. The standard deviation of the rate is `σ/√(Y + k)`.
///
/// ```
/// use linedrift::forecast::UsageSpec;
/// use linedrift::simulate::FleetSpec;
///
/// let fleet = FleetSpec::default().wings(8).seed(7).run()?.fleet;
/// let history = fleet.history("W05").ok_or("no such wing")?;
/// let check = history.checks.last().ok_or("no check")?;
/// let usage = UsageSpec::default().fit(&fleet)?;
/// if let Some(rate) = usage.of(history) {
///     println!("50 h more are flown by {:?}", rate.day_after(check.date, 50.0));
/// }
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UsageSpec {
    year_to_year: f64,
    stated_sd: f64,
}

impl Default for UsageSpec {
    fn default() -> Self {
        Self { year_to_year: 0.4, stated_sd: 0.2 }
    }
}

impl UsageSpec {
    /// Sets how much the hours of one year stray from a wing's long-run rate, as a share of it.
    #[must_use]
    pub const fn year_to_year(mut self, share: f64) -> Self {
        self.year_to_year = share;
        self
    }

    /// Sets how far a stated `hours_per_year` may be off, as a share of it.
    #[must_use]
    pub const fn stated_sd(mut self, share: f64) -> Self {
        self.stated_sd = share;
        self
    }

    /// Learns the fleet's usage.
    ///
    /// # Errors
    /// [`ForecastError::NotPositive`] when a setting is not above 0.
    pub fn fit(&self, fleet: &Fleet) -> Result<FleetUsage, ForecastError> {
        positive("year_to_year", self.year_to_year)?;
        positive("stated_sd", self.stated_sd)?;
        let records: Vec<Record> = fleet.histories().iter().filter_map(Record::of).collect();
        let years: f64 = records.iter().map(|record| record.years).sum();
        let hours: f64 = records.iter().map(|record| record.hours_h).sum();
        let hours_per_year = if years > 0.0 && hours > 0.0 { Some(hours / years) } else { None };
        let credibility_years =
            hours_per_year.map_or(DEFAULT_CREDIBILITY_YEARS, |rate| self.credibility(&records, rate, years));
        Ok(FleetUsage { spec: *self, hours_per_year, credibility_years })
    }

    fn credibility(&self, records: &[Record], rate: f64, years: f64) -> f64 {
        let n = records.len();
        let squares: f64 = records.iter().map(|record| record.years.powi(2)).sum();
        let room = years - squares / years;
        if n < WINGS_FOR_SPREAD || room <= 0.0 {
            return DEFAULT_CREDIBILITY_YEARS;
        }
        let within = (self.year_to_year * rate).powi(2);
        let strayed: f64 =
            records.iter().map(|record| record.years * (record.hours_h / record.years - rate).powi(2)).sum();
        let between = (strayed - (n - 1) as f64 * within) / room;
        let (least, most) = CREDIBILITY_YEARS;
        if between <= within / most { most } else { (within / between).max(least) }
    }
}

/// What a fleet says of how much its wings fly.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FleetUsage {
    spec: UsageSpec,
    hours_per_year: Option<f64>,
    credibility_years: f64,
}

impl FleetUsage {
    /// Hours per year of the fleet's wings (`None` when no wing has a record).
    #[must_use]
    pub fn hours_per_year(&self) -> Option<f64> {
        self.hours_per_year
    }

    /// How many years of a wing's own record the fleet counts for.
    #[must_use]
    pub fn credibility_years(&self) -> f64 {
        self.credibility_years
    }

    /// Usage of one wing (`None` when neither the wing nor the fleet says anything).
    #[must_use]
    pub fn of(&self, history: &History) -> Option<UsageRate> {
        let year_to_year = self.spec.year_to_year;
        if let Some(stated) = history.wing.hours_per_year.filter(|hours| hours.is_finite() && *hours > 0.0) {
            return Some(UsageRate {
                hours_per_day: stated / DAYS_PER_YEAR,
                relative_sd: self.spec.stated_sd,
                year_to_year,
                source: UsageSource::Stated,
            });
        }
        let fleet = self.hours_per_year?;
        let record = Record::of(history);
        let (hours_h, years) = record.map_or((0.0, 0.0), |record| (record.hours_h, record.years));
        let weight = years + self.credibility_years;
        let rate = (hours_h + self.credibility_years * fleet) / weight;
        Some(UsageRate {
            hours_per_day: rate / DAYS_PER_YEAR,
            relative_sd: year_to_year * fleet / weight.sqrt() / rate,
            year_to_year,
            source: if record.is_some() { UsageSource::Own } else { UsageSource::Fleet },
        })
    }
}

/// Hours flown over a span of time.
#[derive(Debug, Clone, Copy)]
struct Record {
    hours_h: f64,
    years: f64,
}

impl Record {
    fn of(history: &History) -> Option<Self> {
        let last = history.checks.last()?;
        let (from, from_h) = match history.wing.first_flight {
            Some(date) if date <= last.date => (date, 0.0),
            _ => history.checks.first().map(|check| (check.date, check.hours_h))?,
        };
        let years = f64::from(from.until(last.date).ok()?.get_days()) / DAYS_PER_YEAR;
        let hours_h = last.hours_h - from_h;
        (years >= SHORTEST_RECORD_YEARS && hours_h.is_finite() && hours_h >= 0.0).then_some(Self { hours_h, years })
    }
}

/// The day so many days later (`None` when dates do not reach so far).
pub(in crate::forecast) fn add_days(start: Date, days: f64) -> Option<Date> {
    if !(0.0..=3_650_000.0).contains(&days) {
        return None;
    }
    #[allow(clippy::cast_possible_truncation)]
    let days = days.round() as i32;
    start.checked_add(days.days()).ok()
}

/// The day so many calendar months later; a part of a month as days of a twelfth of a year.
pub(in crate::forecast) fn add_months(start: Date, months: f64) -> Option<Date> {
    if !(0.0..=12_000.0).contains(&months) {
        return None;
    }
    #[allow(clippy::cast_possible_truncation)]
    let whole = months.trunc() as i32;
    add_days(start.checked_add(whole.months()).ok()?, (months - months.trunc()) * DAYS_PER_YEAR / 12.0)
}
