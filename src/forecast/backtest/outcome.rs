//! Scores of forecasts that were held against what came.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use crate::check::History;
use crate::forecast::Basis;
use crate::stats::NORMAL_95;
use crate::trim::Interval;
use crate::wing::Row;

/// The levels of the intervals.
const LEVELS: [f64; 3] = [0.5, 0.8, 0.95];
/// Bins of the histogram of PIT values.
const PIT_BINS: usize = 10;
/// Hours ahead at which a horizon's group ends, h.
const HORIZONS_H: [f64; 3] = [50.0, 100.0, 200.0];

/// How a forecast was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Method {
    /// The wear model and the wing's own checks.
    #[serde(rename = "linedrift")]
    Linedrift,
    /// What was last measured.
    #[serde(rename = "last value")]
    LastValue,
    /// The line through the wing's own points.
    #[serde(rename = "own points")]
    OwnPoints,
    /// The line of the model's row on hours.
    #[serde(rename = "fleet mean")]
    FleetMean,
}

impl Method {
    /// All, the model first.
    pub const ALL: [Method; 4] = [Method::Linedrift, Method::LastValue, Method::OwnPoints, Method::FleetMean];

    /// The name used in documents.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Method::Linedrift => "linedrift",
            Method::LastValue => "last value",
            Method::OwnPoints => "own points",
            Method::FleetMean => "fleet mean",
        }
    }
}

/// Continuous ranked probability scores, mm: the less the better.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct CrpsByMethod {
    /// The wear model.
    pub linedrift: f64,
    /// Last value carried forward.
    pub last_value: f64,
    /// Line through the wing's own points.
    pub own_points: f64,
    /// The fleet's mean path.
    pub fleet_mean: f64,
}

impl CrpsByMethod {
    /// The score of a method, mm.
    #[must_use]
    pub const fn of(&self, method: Method) -> f64 {
        match method {
            Method::Linedrift => self.linedrift,
            Method::LastValue => self.last_value,
            Method::OwnPoints => self.own_points,
            Method::FleetMean => self.fleet_mean,
        }
    }
}

/// One forecast of one row of one check, and what was measured.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ForecastScore {
    /// Wing id.
    pub wing: String,
    /// Model name.
    pub model: String,
    /// Check id.
    pub check: String,
    /// Day of the check.
    pub date: Date,
    /// Row.
    pub row: Row,
    /// The material of which the row has most metres.
    pub material: String,
    /// What the forecast rests on.
    pub basis: Basis,
    /// Hours flown since the check before, h.
    pub hours_ahead_h: f64,
    /// The row's mean less the common offset as measured, mm.
    pub measured_mm: f64,
    /// Median of the forecast, mm.
    pub median_mm: f64,
    /// Lower end of the 50 % interval, mm.
    pub lower50_mm: f64,
    /// Upper end of the 50 % interval, mm.
    pub upper50_mm: f64,
    /// Lower end of the 80 % interval, mm.
    pub lower80_mm: f64,
    /// Upper end of the 80 % interval, mm.
    pub upper80_mm: f64,
    /// Lower end of the 95 % interval, mm.
    pub lower95_mm: f64,
    /// Upper end of the 95 % interval, mm.
    pub upper95_mm: f64,
    /// Share of the forecast below what was measured, 0 … 1: even over many forecasts when they are true.
    pub pit: f64,
    /// Scores of the forecast and of the baselines.
    pub crps_mm: CrpsByMethod,
}

impl ForecastScore {
    /// Whether the interval of a level (0.5, 0.8 or 0.95) holds what was measured.
    #[must_use]
    pub fn covered(&self, level: f64) -> bool {
        let (lower, upper) = if level <= 0.5 {
            (self.lower50_mm, self.upper50_mm)
        } else if level <= 0.8 {
            (self.lower80_mm, self.upper80_mm)
        } else {
            (self.lower95_mm, self.upper95_mm)
        };
        (lower..=upper).contains(&self.measured_mm)
    }
}

/// A check that was not forecast.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SkippedCheck {
    /// Wing id.
    pub wing: String,
    /// Check id.
    pub check: String,
    /// Why.
    pub why: String,
}

impl SkippedCheck {
    pub(super) fn new(history: &History, check: &str, why: &str) -> Self {
        Self { wing: history.wing.id.clone(), check: check.to_owned(), why: why.to_owned() }
    }
}

/// Limits between which a share lies with 95 % chance when it is truly at its level.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct BinomialBand {
    /// Lower limit, 0 … 1.
    pub lower: f64,
    /// Upper limit, 0 … 1.
    pub upper: f64,
}

impl BinomialBand {
    /// `p ± 1.96 √(p(1−p)/n)`, kept in 0 … 1.
    fn of(p: f64, n: usize) -> Self {
        let half = NORMAL_95 * (p * (1.0 - p) / n.max(1) as f64).sqrt();
        Self { lower: (p - half).max(0.0), upper: (p + half).min(1.0) }
    }
}

/// How often intervals of one level held what was measured.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CoverageRow {
    /// Nominal level, 0 … 1.
    pub level: f64,
    /// Share observed, 0 … 1.
    pub observed: f64,
    /// Band of the share by chance, with as many trials as checks (rows of one check go together).
    pub band: BinomialBand,
}

/// One bin of the histogram of PIT values.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PitBin {
    /// Lower edge, 0 … 1.
    pub lower: f64,
    /// Upper edge, 0 … 1.
    pub upper: f64,
    /// Share of the forecasts in it.
    pub share: f64,
}

/// Scores of a part of the forecasts.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GroupScore {
    /// What the parts are by: `model`, `material`, `row` or `horizon`.
    pub by: String,
    /// Which part; a horizon is in hours ahead.
    pub name: String,
    /// Forecasts in it.
    pub forecasts: usize,
    /// Share held by 50 % intervals.
    pub covered50: f64,
    /// Share held by 80 % intervals.
    pub covered80: f64,
    /// Share held by 95 % intervals.
    pub covered95: f64,
    /// Mean scores, mm.
    pub crps_mm: CrpsByMethod,
}

/// How a fleet's forecasts did: one score per row and hidden check.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Backtest {
    scores: Vec<ForecastScore>,
    skipped: Vec<SkippedCheck>,
    demo: bool,
}

impl Backtest {
    pub(super) fn new(mut scores: Vec<ForecastScore>, mut skipped: Vec<SkippedCheck>, demo: bool) -> Self {
        scores.sort_by(|a, b| {
            (&a.wing, a.date, &a.check, a.row.index()).cmp(&(&b.wing, b.date, &b.check, b.row.index()))
        });
        skipped.sort_by(|a, b| (&a.wing, &a.check).cmp(&(&b.wing, &b.check)));
        Self { scores, skipped, demo }
    }

    /// One score per row and hidden check, by wing and date.
    #[must_use]
    pub fn scores(&self) -> &[ForecastScore] {
        &self.scores
    }

    /// Checks that were not forecast, and why.
    #[must_use]
    pub fn skipped(&self) -> &[SkippedCheck] {
        &self.skipped
    }

    /// Whether the fleet is the bundled invented demo.
    #[must_use]
    pub fn is_demo(&self) -> bool {
        self.demo
    }

    /// How many checks were forecast.
    #[must_use]
    pub fn checks(&self) -> usize {
        self.scores.iter().map(|score| &score.check).collect::<BTreeSet<_>>().len()
    }

    /// How often 50, 80 and 95 % intervals held what was measured.
    #[must_use]
    pub fn coverage(&self) -> Vec<CoverageRow> {
        let checks = self.checks();
        LEVELS
            .iter()
            .map(|&level| CoverageRow {
                level,
                observed: covered(&self.scores, level),
                band: BinomialBand::of(level, checks),
            })
            .collect()
    }

    /// Observed against nominal coverage of central intervals of any level, from the PIT values: the share of forecasts with
    /// `|2 PIT − 1| ≤ level`, for `steps` levels from 0 to 1.
    #[must_use]
    pub fn calibration(&self, steps: usize) -> Vec<CoverageRow> {
        let checks = self.checks();
        (0..=steps)
            .map(|step| {
                let level = step as f64 / steps.max(1) as f64;
                let inside = self.scores.iter().filter(|score| (2.0 * score.pit - 1.0).abs() <= level).count();
                CoverageRow {
                    level,
                    observed: inside as f64 / self.scores.len().max(1) as f64,
                    band: BinomialBand::of(level, checks),
                }
            })
            .collect()
    }

    /// Mean scores, mm.
    #[must_use]
    pub fn crps(&self) -> CrpsByMethod {
        mean_crps(self.scores.iter())
    }

    /// Standard error of the mean difference in score between a method and the wear model, mm, with whole checks as what
    /// varies.
    #[must_use]
    pub fn crps_difference_se_mm(&self, method: Method) -> f64 {
        let mut by_check: BTreeMap<&str, f64> = BTreeMap::new();
        let mean = self.crps().of(method) - self.crps().linedrift;
        for score in &self.scores {
            let difference = score.crps_mm.of(method) - score.crps_mm.linedrift;
            *by_check.entry(&score.check).or_insert(0.0) += difference - mean;
        }
        let n = by_check.len() as f64;
        if n < 2.0 {
            return 0.0;
        }
        let square: f64 = by_check.values().map(|sum| sum * sum).sum();
        (square * n / (n - 1.0)).sqrt() / self.scores.len() as f64
    }

    /// How much worse a method's mean score is than the wear model's, mm, with the 95 % interval of
    /// [`Backtest::crps_difference_se_mm`].
    #[must_use]
    pub fn crps_excess_mm(&self, method: Method) -> Interval {
        let crps = self.crps();
        Interval::normal(crps.of(method) - crps.linedrift, self.crps_difference_se_mm(method))
    }

    /// Band of the share in each bin of [`Backtest::pit`] by chance, for true forecasts, with as many trials as checks.
    #[must_use]
    pub fn pit_band(&self) -> BinomialBand {
        BinomialBand::of(1.0 / PIT_BINS as f64, self.checks())
    }

    /// Histogram of the PIT values in ten bins.
    #[must_use]
    pub fn pit(&self) -> Vec<PitBin> {
        let mut counts = [0usize; PIT_BINS];
        for score in &self.scores {
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
            let bin = (score.pit * PIT_BINS as f64) as usize;
            counts[bin.min(PIT_BINS - 1)] += 1;
        }
        let edge = |bin: usize| bin as f64 / PIT_BINS as f64;
        counts
            .iter()
            .enumerate()
            .map(|(bin, count)| PitBin {
                lower: edge(bin),
                upper: edge(bin + 1),
                share: *count as f64 / self.scores.len().max(1) as f64,
            })
            .collect()
    }

    /// Scores by model, material, row and horizon.
    #[must_use]
    pub fn groups(&self) -> Vec<GroupScore> {
        let mut groups: BTreeMap<(usize, usize, String), Vec<&ForecastScore>> = BTreeMap::new();
        for score in &self.scores {
            let (place, horizon) = horizon(score.hours_ahead_h);
            for key in [
                (0, 0, score.model.clone()),
                (1, 0, score.material.clone()),
                (2, score.row.index(), score.row.name().to_owned()),
                (3, place, horizon),
            ] {
                groups.entry(key).or_default().push(score);
            }
        }
        groups
            .into_iter()
            .map(|((by, _, name), scores)| {
                let share = |level: f64| {
                    scores.iter().filter(|score| score.covered(level)).count() as f64 / scores.len() as f64
                };
                GroupScore {
                    by: ["model", "material", "row", "horizon"][by].to_owned(),
                    name,
                    forecasts: scores.len(),
                    covered50: share(LEVELS[0]),
                    covered80: share(LEVELS[1]),
                    covered95: share(LEVELS[2]),
                    crps_mm: mean_crps(scores.iter().copied()),
                }
            })
            .collect()
    }
}

/// Place and name of the group of a horizon.
fn horizon(ahead_h: f64) -> (usize, String) {
    let place = HORIZONS_H.iter().position(|end| ahead_h < *end).unwrap_or(HORIZONS_H.len());
    let name = match place {
        0 => format!("under {:.0} h", HORIZONS_H[0]),
        past if past == HORIZONS_H.len() => format!("{:.0} h or more", HORIZONS_H[past - 1]),
        within => format!("{:.0} to {:.0} h", HORIZONS_H[within - 1], HORIZONS_H[within]),
    };
    (place, name)
}

fn covered(scores: &[ForecastScore], level: f64) -> f64 {
    scores.iter().filter(|score| score.covered(level)).count() as f64 / scores.len().max(1) as f64
}

fn mean_crps<'a>(scores: impl Iterator<Item = &'a ForecastScore>) -> CrpsByMethod {
    let (mut sum, mut n) = (CrpsByMethod::default(), 0.0);
    for score in scores {
        n += 1.0;
        sum.linedrift += score.crps_mm.linedrift;
        sum.last_value += score.crps_mm.last_value;
        sum.own_points += score.crps_mm.own_points;
        sum.fleet_mean += score.crps_mm.fleet_mean;
    }
    let n = f64::max(n, 1.0);
    CrpsByMethod {
        linedrift: sum.linedrift / n,
        last_value: sum.last_value / n,
        own_points: sum.own_points / n,
        fleet_mean: sum.fleet_mean / n,
    }
}
