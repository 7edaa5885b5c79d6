//! How to look back.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;
use rayon::prelude::*;

use super::baseline::{BaselineForecast, PastErrors, WingSeries, forecasts};
use super::cut::{Cut, before, cuts};
use super::measured::{Measured, material_of};
use super::outcome::{Backtest, CrpsByMethod, ForecastScore, SkippedCheck};
use super::predictive::{Instrument, ReadingNoise, crps_of_draws, quantile, row_draws, share_below};
use crate::check::{Fleet, History, Stage};
use crate::forecast::due::path_source::{Origin, PathSource, WingPaths};
use crate::forecast::{Basis, ForecastError};
use crate::wear::{PathDraws, WearFit, WearSpec};
use crate::wing::Row;

/// Which checks are hidden and forecast.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Origins {
    /// Each wing's last `as_found` check.
    #[default]
    Last,
    /// Every `as_found` check after a wing's first check, each forecast from what was known before it.
    Rolling,
}

/// Looks back: hides checks of a fleet, forecasts them from what was known before, and scores the forecasts.
///
/// | setting | default | why |
/// |---|---|---|
/// | `origins` | each wing's last check | as many independent targets as wings |
/// | `draws` | 2,000 | the score of a single forecast is then known to about 1 % |
/// | `seed` | 1 | results reproduce |
/// | `wear` | [`WearSpec::default`] | with wing-by-row rates where the likelihood prefers them, as forecasts use it |
/// | `most_fits` | 200 | a fit per date with a hidden check; with more dates, those that follow each other share the fit of the first |
///
/// *Hidden* for a target of date D: the check, its `as_left`, all later ones of the wing, and everything of any wing that is
/// dated after D. (Where several wings are targets on one day, each is hidden from the others too.)
///
/// *Forecast*: for each row that was read, the mean of its lines less the check's common offset (the median over A–D), as
/// draws of what will be measured at the check's hours: true paths given the wing's own earlier checks, the check's offset, a
/// reading error per line, and rounding as in the wing's earlier readings.
///
/// *Baselines*, each a normal forecast about its point with the root mean square of its own past errors in the row (errors
/// of the same rule on every check after the first of any wing that is dated before D; of all rows where the row has fewer
/// than five):
/// - last value: what was last measured, as left where the wing was adjusted;
/// - own points: the line through the wing's own earlier points, one slope, a level of its own after each adjustment;
/// - fleet mean: the straight line of the row on hours through all `as_found` checks of the model dated before D (of all
///   models where it has fewer than ten), held constant past the most hours seen.
///
/// A check that some method cannot forecast (no earlier check, no past errors, no fit) is left out for all and named.
///
/// ```
/// use linedrift::forecast::BacktestSpec;
/// use linedrift::simulate::FleetSpec;
///
/// let fleet = FleetSpec::default().wings(12).seed(7).run()?.fleet;
/// let test = BacktestSpec::default().draws(200).most_fits(2).run(&fleet)?;
/// for row in test.coverage() {
///     println!("{:.0} % intervals held {:.0} %", 100.0 * row.level, 100.0 * row.observed);
/// }
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct BacktestSpec {
    origins: Origins,
    draws: usize,
    seed: u64,
    wear: WearSpec,
    most_fits: usize,
}

impl Default for BacktestSpec {
    fn default() -> Self {
        Self { origins: Origins::Last, draws: 2000, seed: 1, wear: WearSpec::default(), most_fits: 200 }
    }
}

impl BacktestSpec {
    setters! {
        /// Sets which checks are hidden.
        origins: Origins;
        /// Sets the number of draws.
        draws: usize;
        /// Sets the seed of the draws.
        seed: u64;
        /// Sets the wear model that is fitted to what was known.
        wear: WearSpec;
        /// Sets the most fits.
        most_fits: usize;
    }

    /// Looks back over a fleet. The result does not depend on the number of threads.
    ///
    /// # Errors
    /// [`ForecastError::Draws`] with no draws, [`ForecastError::NothingToForecast`] when no check can be forecast by all
    /// methods.
    pub fn run(&self, fleet: &Fleet) -> Result<Backtest, ForecastError> {
        if self.draws == 0 {
            return Err(ForecastError::Draws { what: "draws", got: 0, expected: 1 });
        }
        let series: Vec<WingSeries> = fleet
            .histories()
            .iter()
            .map(|history| {
                let set = fleet.line_set(history);
                let checks = history.checks.iter().map(|check| Measured::of(set, check)).collect();
                WingSeries { line_set: history.line_set, checks }
            })
            .collect();
        let baselines = Baselines::new(&forecasts(&series));
        let (targets, mut skipped) = self.targets(fleet, &baselines);
        let lines = fleet.line_sets().iter().map(|set| 2 * set.lines().len()).max().unwrap_or(0);
        let noise = ReadingNoise::new(self.seed.wrapping_add(1), self.draws, lines);
        let cuts = cuts(fleet, &targets, self.most_fits);
        let choosers = choosers(fleet, &cuts);
        let chosen: BTreeMap<usize, WearFit> = choosers
            .iter()
            .copied()
            .collect::<BTreeSet<_>>()
            .into_par_iter()
            .filter_map(|cut| Some((cut, self.wear.fit(&cuts[cut].known(fleet).ok()?).ok()?)))
            .collect();
        let parts: Vec<Scores> = cuts
            .par_iter()
            .zip(&choosers)
            .map(|(cut, chooser)| self.score_cut(fleet, (cut, chosen.get(chooser)), &baselines, &noise))
            .collect();
        let mut scores = Vec::new();
        for part in parts {
            scores.extend(part.scores);
            skipped.extend(part.skipped);
        }
        if scores.is_empty() {
            return Err(ForecastError::NothingToForecast { skipped: skipped.len() });
        }
        Ok(Backtest::new(scores, skipped, fleet.is_demo()))
    }

    /// The checks to hide (wing, check), and the wings that have none.
    fn targets(&self, fleet: &Fleet, baselines: &Baselines) -> (Vec<(usize, usize)>, Vec<SkippedCheck>) {
        let (mut targets, mut skipped) = (Vec::new(), Vec::new());
        for (wing, history) in fleet.histories().iter().enumerate() {
            let found = |check: &usize| {
                let check = &history.checks[*check];
                check.stage == Stage::AsFound && !check.readings.is_empty()
            };
            let candidates: Vec<usize> = (0..history.checks.len()).filter(found).collect();
            let chosen = match self.origins {
                Origins::Last => candidates.last().map_or(&[][..], std::slice::from_ref),
                Origins::Rolling => &candidates[..],
            };
            for &check in chosen {
                let id = &history.checks[check].id;
                if !history.checks[..check].iter().any(|check| !check.readings.is_empty()) {
                    // a wing's first check is not a target of rolling origins
                    if self.origins == Origins::Last {
                        skipped.push(SkippedCheck::new(history, id, "the wing has no earlier check"));
                    }
                } else if baselines.of(wing, check).is_empty() {
                    let why = "too few checks before it for the baselines and their errors";
                    skipped.push(SkippedCheck::new(history, id, why));
                } else {
                    targets.push((wing, check));
                }
            }
        }
        (targets, skipped)
    }

    /// Scores the targets of a cut; its model is the one `chosen` on an earlier day, if any was.
    fn score_cut(
        &self,
        fleet: &Fleet,
        (cut, chosen): (&Cut, Option<&WearFit>),
        baselines: &Baselines,
        noise: &ReadingNoise,
    ) -> Scores {
        let mut out = Scores::default();
        let all_skipped = |why: &str| Scores {
            scores: Vec::new(),
            skipped: cut
                .targets
                .iter()
                .map(|(wing, check)| {
                    let history = &fleet.histories()[*wing];
                    SkippedCheck::new(history, &history.checks[*check].id, why)
                })
                .collect(),
        };
        let known = match cut.known(fleet) {
            Ok(known) => known,
            Err(error) => return all_skipped(&error.to_string()),
        };
        let fitted = chosen.map_or_else(|| self.wear.fit(&known), |chosen| self.wear.fit_like(&known, chosen));
        let fit = match fitted {
            Ok(fit) => fit,
            Err(error) => return all_skipped(&error.to_string()),
        };
        // sized for the whole fleet: in a block of dates a wing's own history may reach past the cut
        let source = PathSource::new(&fit, Origin::ThisFleet, fleet, self.seed, self.draws);
        for &(wing, check) in &cut.targets {
            let history = &fleet.histories()[wing];
            let set = fleet.line_set(history);
            let past = before(history, check);
            let skip = |why: String| SkippedCheck::new(history, &history.checks[check].id, &why);
            let (paths, instrument, basis) = match source.paths(set, &past) {
                Ok(WingPaths::Fit(paths)) => (paths.path_draws(), Instrument::new(&fit, &past), Basis::History),
                Ok(WingPaths::Own { paths, fit, .. }) => (paths, Instrument::new(&fit, &past), Basis::Own),
                Ok(WingPaths::None(_)) => {
                    out.skipped.push(skip("too few wings and own checks for a forecast".to_owned()));
                    continue;
                }
                Err(error) => {
                    out.skipped.push(skip(error.to_string()));
                    continue;
                }
            };
            let forecast = Predicted { paths, instrument, basis };
            out.scores.extend(score_check(fleet, history, check, &forecast, baselines.of(wing, check), noise));
        }
        out
    }
}

/// For each cut the one at which its model is chosen: a model is chosen again whenever the readings known are twice as many as when
/// one was last. Nothing from after a cut's day has a say in it.
fn choosers(fleet: &Fleet, cuts: &[Cut]) -> Vec<usize> {
    let known = |cut: &Cut| -> usize {
        let checks = fleet.histories().iter().flat_map(|history| &history.checks);
        checks.filter(|check| check.date < cut.date).map(|check| check.readings.len()).sum()
    };
    let (mut last, mut at_last) = (0, 0);
    let mut out = Vec::with_capacity(cuts.len());
    for (place, cut) in cuts.iter().enumerate() {
        let now = known(cut);
        if place == 0 || now >= 2 * at_last {
            (last, at_last) = (place, now);
        }
        out.push(last);
    }
    out
}

/// Scores of one cut.
#[derive(Default)]
struct Scores {
    scores: Vec<ForecastScore>,
    skipped: Vec<SkippedCheck>,
}

/// What the forecast of one check is made from.
struct Predicted {
    paths: PathDraws,
    instrument: Instrument,
    basis: Basis,
}

fn score_check(
    fleet: &Fleet,
    history: &History,
    at: usize,
    forecast: &Predicted,
    baselines: &[RowBaseline],
    noise: &ReadingNoise,
) -> Vec<ForecastScore> {
    let set = fleet.line_set(history);
    let check = &history.checks[at];
    let last_h = history.checks[..at].iter().rev().find(|check| !check.readings.is_empty());
    let mut draws = row_draws(set, check, &forecast.paths, forecast.instrument, noise);
    let mut out = Vec::new();
    for baseline in baselines {
        let row = Row::ALL[baseline.row];
        let draws = &mut draws[baseline.row];
        if draws.is_empty() {
            continue;
        }
        let measured_mm = baseline.measured_mm;
        let interval = |level: f64| [quantile(draws, 0.5 - 0.5 * level), quantile(draws, 0.5 + 0.5 * level)];
        let (half, four_fifths, most) = (interval(0.5), interval(0.8), interval(0.95));
        let (median_mm, pit) = (quantile(draws, 0.5), share_below(draws, measured_mm));
        out.push(ForecastScore {
            wing: history.wing.id.clone(),
            model: history.wing.model.clone(),
            check: check.id.clone(),
            date: check.date,
            row,
            material: material_of(set, row),
            basis: forecast.basis,
            hours_ahead_h: check.hours_h - last_h.map_or(0.0, |last| last.hours_h),
            measured_mm,
            median_mm,
            lower50_mm: half[0],
            upper50_mm: half[1],
            lower80_mm: four_fifths[0],
            upper80_mm: four_fifths[1],
            lower95_mm: most[0],
            upper95_mm: most[1],
            pit,
            crps_mm: CrpsByMethod { linedrift: crps_of_draws(draws, measured_mm), ..baseline.crps_mm },
        });
    }
    out
}

/// Baselines of one row of one check, scored.
struct RowBaseline {
    row: usize,
    measured_mm: f64,
    crps_mm: CrpsByMethod,
}

/// Baselines of every check after the first, scored with what was known of their errors.
struct Baselines {
    /// By wing and check; empty where too few errors were known.
    known: BTreeMap<(usize, usize), Vec<RowBaseline>>,
}

impl Baselines {
    fn new(forecasts: &[BaselineForecast]) -> Self {
        let mut known: BTreeMap<(usize, usize), Vec<RowBaseline>> = BTreeMap::new();
        let mut errors = PastErrors::default();
        let date = |one: &BaselineForecast| -> Date { one.date };
        for day in forecasts.chunk_by(|a, b| date(a) == date(b)) {
            for one in day {
                let rows = known.entry((one.wing, one.check)).or_default();
                if let Some(crps_mm) = errors.crps(one) {
                    rows.push(RowBaseline { row: one.row, measured_mm: one.measured_mm, crps_mm });
                }
            }
            day.iter().for_each(|one| errors.add(one));
        }
        Self { known }
    }

    fn of(&self, wing: usize, check: usize) -> &[RowBaseline] {
        self.known.get(&(wing, check)).map_or(&[], Vec::as_slice)
    }
}
