//! How many wings, checks and repeats a question needs.

use std::fmt;

use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use super::spec::within;
use super::{FleetSpec, SimulateError};
use crate::check::{Fleet, Stage};
use crate::stats::NORMAL_95;
use crate::wear::{ContrastSpec, Shape, WearFit, WearSpec};
use crate::wing::TextTable;

/// Longest gap between two checks of an invented wing, years.
const LONGEST_GAP_YEARS: f64 = 2.0;
/// Streams of random numbers between two replicates.
const SEEDS_APART: u64 = 1_000_003;

/// What a question would need: fleets are invented with the effect that is asked about in them, fitted, and the question put to each
/// fit.
///
/// | setting | default | why |
/// |---|---|---|
/// | `fleet` | [`FleetSpec::default`] | rates, spreads, time shape: what is taken to be true |
/// | `model` | linear, rates and span terms, rates by wing | what would be fitted |
/// | `wings` | 12, 24, 48 | sizes to try |
/// | `checks` | 3 | checks of each wing |
/// | `repeats` | 1 | readings of each line at a check |
/// | `replicates` | 200 | power is then known to ±7 % at worst |
/// | `level` | 0.95 | of the intervals; the test is at 1 − level |
/// | `seed` | 1 | |
///
/// ```
/// use linedrift::simulate::{FleetSpec, PowerSpec};
///
/// let power = PowerSpec::new("uhmwpe:C - uhmwpe:A").wings([6, 12]).replicates(10).run()?;
/// println!("{power}");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PowerSpec {
    contrast: String,
    fleet: FleetSpec,
    model: WearSpec,
    wings: Vec<usize>,
    checks: Vec<usize>,
    repeats: Vec<u32>,
    replicates: usize,
    level: f64,
    seed: u64,
}

/// One design and what it gives.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct PowerRow {
    /// Wings.
    pub wings: usize,
    /// Checks of each wing.
    pub checks: usize,
    /// Readings of each line at a check.
    pub repeats: u32,
    /// Share of the fleets in which the interval leaves out zero.
    pub power: f64,
    /// Lower end of the 95 % interval of that share, by the number of fleets (Wilson).
    pub power_lower: f64,
    /// Upper end of it.
    pub power_upper: f64,
    /// Mean half-width of the interval.
    pub half_width: f64,
    /// Share of the intervals that hold the truth.
    pub coverage: f64,
    /// Mean estimate less the truth.
    pub bias: f64,
    /// Fleets that could be fitted and asked.
    pub fleets: usize,
}

/// Designs side by side.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Power {
    contrast: String,
    unit: String,
    truth: f64,
    level: f64,
    rows: Vec<PowerRow>,
}

impl Power {
    /// One row per design.
    #[must_use]
    pub fn rows(&self) -> &[PowerRow] {
        &self.rows
    }

    /// The question.
    #[must_use]
    pub fn contrast(&self) -> &str {
        &self.contrast
    }

    /// Unit of the question.
    #[must_use]
    pub fn unit(&self) -> &str {
        &self.unit
    }

    /// What is true of the question in the invented fleets.
    #[must_use]
    pub fn truth(&self) -> f64 {
        self.truth
    }

    /// Level of the intervals.
    #[must_use]
    pub fn level(&self) -> f64 {
        self.level
    }

    /// The fewest wings of the designs tried whose power is at least `wanted`, for so many checks and repeats.
    #[must_use]
    pub fn fewest_wings(&self, wanted: f64, checks: usize, repeats: u32) -> Option<usize> {
        let enough =
            self.rows.iter().filter(|row| row.checks == checks && row.repeats == repeats && row.power >= wanted);
        enough.map(|row| row.wings).min()
    }
}

/// How a question went in one fleet.
struct Answer {
    estimate: f64,
    lower: f64,
    upper: f64,
    truth: f64,
    unit: String,
}

impl PowerSpec {
    /// A question, as a contrast of the wear model ([`ContrastSpec::contrast`]): one term for how exactly a rate is found.
    #[must_use]
    pub fn new(contrast: impl Into<String>) -> Self {
        Self {
            contrast: contrast.into(),
            fleet: FleetSpec::default(),
            model: WearSpec::default().shape(Shape::LINEAR),
            wings: vec![12, 24, 48],
            checks: vec![3],
            repeats: vec![1],
            replicates: 200,
            level: 0.95,
            seed: 1,
        }
    }

    setters! {
        /// What is taken to be true; number of wings, period and repeats come from the designs.
        fleet: FleetSpec;
        /// The model that would be fitted.
        model: WearSpec;
    }

    /// Numbers of wings to try.
    #[must_use]
    pub fn wings(mut self, wings: impl IntoIterator<Item = usize>) -> Self {
        self.wings = wings.into_iter().collect();
        self
    }

    /// Numbers of checks of each wing to try.
    #[must_use]
    pub fn checks(mut self, checks: impl IntoIterator<Item = usize>) -> Self {
        self.checks = checks.into_iter().collect();
        self
    }

    /// Numbers of readings of each line at a check to try.
    #[must_use]
    pub fn repeats(mut self, repeats: impl IntoIterator<Item = u32>) -> Self {
        self.repeats = repeats.into_iter().collect();
        self
    }

    setters! {
        /// Fleets per design, 2 to 100,000.
        replicates: usize;
        /// Level of the intervals, above 0 and below 1.
        level: f64;
        /// Seed of the random numbers.
        seed: u64;
    }

    /// How many designs there are.
    #[must_use]
    pub fn designs(&self) -> usize {
        self.wings.len() * self.checks.len() * self.repeats.len()
    }

    /// Tries every design.
    ///
    /// # Errors
    /// [`SimulateError::OutOfRange`] for a setting outside its range, [`SimulateError::NoAnswer`] when the question cannot be put to
    /// the fits.
    pub fn run(&self) -> Result<Power, SimulateError> {
        self.run_with(&mut |_| {})
    }

    /// The same; `done` is called with each design's row as it is there.
    ///
    /// # Errors
    /// As [`PowerSpec::run`].
    pub fn run_with(&self, done: &mut dyn FnMut(&PowerRow)) -> Result<Power, SimulateError> {
        within("replicates", self.replicates as f64, 2.0, 1e5, "2 to 100,000")?;
        within("level", self.level, 1e-6, 1.0 - 1e-6, "above 0 and below 1")?;
        for checks in &self.checks {
            within("checks", *checks as f64, 1.0, 24.0, "1 to 24")?;
        }
        let mut power = Power {
            contrast: self.contrast.clone(),
            unit: String::new(),
            truth: 0.0,
            level: self.level,
            rows: Vec::new(),
        };
        for &checks in &self.checks {
            for &repeats in &self.repeats {
                for &wings in &self.wings {
                    let row = self.design(wings, checks, repeats, &mut power)?;
                    done(&row);
                    power.rows.push(row);
                }
            }
        }
        Ok(power)
    }

    fn design(
        &self,
        wings: usize,
        checks: usize,
        repeats: u32,
        power: &mut Power,
    ) -> Result<PowerRow, SimulateError> {
        let years = (LONGEST_GAP_YEARS * (checks as f64 + 1.0)).min(50.0);
        let fleet = self.fleet.clone().wings(wings).unchecked_wings(0).repeats(repeats).years(years);
        let answers: Vec<Result<Answer, SimulateError>> = (0..self.replicates)
            .into_par_iter()
            .map(|replicate| {
                let seed = self.seed.wrapping_add(SEEDS_APART.wrapping_mul(replicate as u64));
                self.ask(&fleet.clone().seed(seed), checks)
            })
            .collect();
        let fleets = answers.iter().filter(|answer| answer.is_ok()).count();
        if 2 * fleets < self.replicates {
            return Err(answers
                .into_iter()
                .find_map(Result::err)
                .unwrap_or_else(|| SimulateError::NoAnswer { reason: "no fleet could be fitted".to_owned() }));
        }
        let answers: Vec<Answer> = answers.into_iter().filter_map(Result::ok).collect();
        let n = fleets as f64;
        let share = |holds: fn(&Answer) -> bool| answers.iter().filter(|answer| holds(answer)).count() as f64 / n;
        let mean = |of: fn(&Answer) -> f64| answers.iter().map(of).sum::<f64>() / n;
        if let Some(first) = answers.first() {
            (power.truth, power.unit) = (first.truth, first.unit.clone());
        }
        let found = share(|answer| answer.lower > 0.0 || answer.upper < 0.0);
        let (middle, reach) = wilson(found, n, NORMAL_95);
        Ok(PowerRow {
            wings,
            checks,
            repeats,
            power: found,
            power_lower: (middle - reach).max(0.0),
            power_upper: (middle + reach).min(1.0),
            half_width: mean(|answer| (answer.upper - answer.lower) / 2.0),
            coverage: share(|answer| answer.lower <= answer.truth && answer.truth <= answer.upper),
            bias: mean(|answer| answer.estimate - answer.truth),
            fleets,
        })
    }

    fn ask(&self, fleet: &FleetSpec, checks: usize) -> Result<Answer, SimulateError> {
        let refuse = |error: &dyn fmt::Display| SimulateError::NoAnswer { reason: error.to_string() };
        let made = first_checks(&fleet.run()?.fleet, checks)?;
        let fit = self.model.fit(&made).map_err(|error| refuse(&error))?;
        let asked = ContrastSpec::default().contrast(&self.contrast).level(self.level);
        let found = asked.run(&fit, made.line_sets()).map_err(|error| refuse(&error))?;
        let truths = asked.values(&fit, made.line_sets(), fleet.time_shape(), &|term| fleet.true_value(term));
        let truths = truths.map_err(|error| refuse(&error))?;
        let (Some(row), Some(truth)) = (found.rows().first(), truths.first()) else {
            return Err(SimulateError::NoAnswer { reason: "no contrast was asked".to_owned() });
        };
        let (estimate, lower, upper) = (row.row.estimate, row.row.lower, row.row.upper);
        Ok(Answer { estimate, lower, upper, truth: *truth, unit: row.unit.clone() })
    }
}

/// Middle and reach of Wilson's interval of a share.
///
/// Source: Wilson, J. Am. Stat. Assoc. 22, 1927 (memory).
fn wilson(share: f64, n: f64, z: f64) -> (f64, f64) {
    let shrink = 1.0 + z * z / n;
    let middle = (share + z * z / (2.0 * n)) / shrink;
    let reach = z * (share * (1.0 - share) / n + z * z / (4.0 * n * n)).sqrt() / shrink;
    (middle, reach)
}

/// The fleet with each wing's first checks only, and what was done to it until then.
fn first_checks(fleet: &Fleet, checks: usize) -> Result<Fleet, SimulateError> {
    let mut histories = fleet.histories().to_vec();
    for history in &mut histories {
        let mut found = 0;
        history.checks.retain(|check| {
            found += usize::from(check.stage == Stage::AsFound);
            found <= checks
        });
        let until_h = history.checks.last().map_or(0.0, |check| check.hours_h);
        history.actions.retain(|action| action.hours_h <= until_h);
    }
    Ok(Fleet::new(fleet.line_sets().to_vec(), histories)?)
}

impl FleetSpec {
    /// True value of a term of the wear model, 0 for one that is not in it.
    #[must_use]
    pub fn true_value(&self, term: &str) -> f64 {
        let mut parts = term.split(':');
        let kind = parts.next().unwrap_or("");
        match (kind, term.rsplit_once(':')) {
            ("offset", _) => self.offset_mm,
            ("rate", Some((front, row))) => {
                let material = front.strip_prefix("rate:").unwrap_or("");
                let known = self.rates.iter().find(|rate| rate.material == material && rate.row.name() == row);
                known.map_or(0.0, |rate| rate.mm_per_m)
            }
            ("span", Some((_, row))) => {
                self.span_rates.iter().find(|rate| rate.row.name() == row).map_or(0.0, |rate| rate.mm_per_m)
            }
            _ => 0.0,
        }
    }

    /// The same fleet with the offset, rates, spreads and time shape of a fit, so that a study can be planned from what is known.
    /// Rates of materials that the invented models do not fly have no effect.
    #[must_use]
    pub fn like(mut self, fit: &WearFit) -> Self {
        self.rates.clear();
        for term in fit.terms() {
            let value = term.estimate;
            match (term.term.split_once(':'), term.term.rsplit_once(':')) {
                (None, _) if term.term == "offset" => self.offset_mm = value,
                (Some(("rate", _)), Some((front, row))) => {
                    if let (Some(material), Ok(row)) = (front.strip_prefix("rate:"), row.parse()) {
                        self = self.rate(material, row, value);
                    }
                }
                (Some(("span", row)), _) => {
                    if let Ok(row) = row.parse() {
                        self = self.span_rate(row, value);
                    }
                }
                _ => {}
            }
        }
        for row in fit.spread() {
            let spreads = &mut self.spreads;
            match (row.group.as_str(), row.effect.as_str(), row.sd, row.correlation) {
                ("wing", "offset", Some(sd), _) => spreads.wing_offset_mm = sd,
                ("wing", "rate", Some(sd), _) => spreads.wing_rate_mm_per_m = sd,
                ("wing", _, None, Some(correlation)) => spreads.wing_correlation = correlation,
                ("wing:row", "rate", Some(sd), _) => spreads.wing_row_mm_per_m = sd,
                ("check", "offset", Some(sd), _) => spreads.check_offset_mm = sd,
                ("line", "offset", Some(sd), _) => spreads.line_offset_mm = sd,
                ("line", "rate", Some(sd), _) => spreads.line_rate_mm_per_m = sd,
                ("model", "rate", Some(sd), _) => spreads.model_rate_mm_per_m = sd,
                ("reading", "offset", Some(sd), _) => spreads.reading_mm = sd,
                _ => {}
            }
        }
        self.shape = fit.shape();
        self
    }

    /// Settings from TOML, each by its name in [`FleetSpec`]'s table; what is not named keeps its default.
    ///
    /// ```
    /// use linedrift::simulate::FleetSpec;
    ///
    /// let text = "wings = 20\nmissing_share = 0.1\n[spreads]\nreading_mm = 1.2\n[[rates]]\nmaterial = \"uhmwpe\"\nrow = \"C\"\nmm_per_m = -0.9\n";
    /// let spec = FleetSpec::from_toml(text)?;
    /// assert_eq!((spec.wing_count(), spec.true_spreads().reading_mm, spec.true_rates().len()), (20, 1.2, 1));
    /// assert!(FleetSpec::from_toml("wigns = 20").is_err());
    /// # Ok::<(), linedrift::simulate::SimulateError>(())
    /// ```
    ///
    /// # Errors
    /// [`SimulateError::Settings`] for text that is no TOML, a name that is no setting or a value of the wrong kind.
    pub fn from_toml(text: &str) -> Result<Self, SimulateError> {
        toml::from_str(text).map_err(|error| SimulateError::Settings { reason: error.to_string() })
    }
}

impl fmt::Display for Power {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "Question: {} (true: {:+.4} {})", self.contrast, self.truth, self.unit)?;
        let mut rows = TextTable::default()
            .figures("wings")
            .figures("checks")
            .figures("repeats")
            .figures("power")
            .figures("95 % interval")
            .figures("half-width")
            .figures("coverage")
            .figures("fleets");
        for row in &self.rows {
            rows.row([
                row.wings.to_string(),
                row.checks.to_string(),
                row.repeats.to_string(),
                format!("{:.3}", row.power),
                format!("{:.3} to {:.3}", row.power_lower, row.power_upper),
                format!("{:.4}", row.half_width),
                format!("{:.3}", row.coverage),
                row.fleets.to_string(),
            ]);
        }
        write!(f, "{rows}")?;
        writeln!(
            f,
            "Power: share of invented fleets whose {:.0} % interval leaves out zero. It rests on the rates and spreads put in.",
            100.0 * self.level
        )
    }
}
