//! Looking back: what is hidden stays hidden, and on fleets that follow the model the intervals are true.

use std::collections::BTreeSet;

use linedrift::check::{Check, Fleet, Stage, common_offset_mm, deviations};
use linedrift::forecast::{Backtest, BacktestSpec, ForecastError, Method, Origins, crps_of_draws};
use linedrift::simulate::FleetSpec;
use linedrift::wear::{Shape, WearSpec};

fn demo() -> Fleet {
    FleetSpec::demo().run().unwrap().fleet.marked_demo()
}

/// A few fits for the whole fleet keep this quick; the slow test takes one per date.
fn look_back(fleet: &Fleet, draws: usize) -> Backtest {
    BacktestSpec::default().draws(draws).most_fits(3).run(fleet).unwrap()
}

/// Slow: the table in `docs/reliability.md` comes from `linedrift backtest notebooks-data/demo`.
#[test]
#[ignore = "slow: a fit for each day of a hidden check"]
fn on_the_demo_forecast_scores_beat_all_three_baselines_with_a_fit_per_day() {
    let test = BacktestSpec::default().run(&demo()).unwrap();
    eprintln!("{test}");
    assert_better(&test);
}

fn assert_better(test: &Backtest) {
    let crps = test.crps();
    for method in [Method::LastValue, Method::OwnPoints, Method::FleetMean] {
        let more = crps.of(method) - crps.linedrift;
        assert!(more > 2.0 * test.crps_difference_se_mm(method), "{method:?} {crps:?}");
    }
}

#[test]
fn on_the_demo_the_model_beats_all_three_baselines() {
    let fleet = demo();
    let test = look_back(&fleet, 400);
    assert_better(&test);
    assert!(test.checks() > 25 && test.scores().len() > 4 * test.checks());
    for row in test.coverage() {
        assert!((row.band.lower..=row.band.upper).contains(&row.observed), "{row:?}");
    }
    let band = test.pit_band();
    let half = 1.96 * (0.1 * 0.9 / test.checks() as f64).sqrt();
    assert!((band.upper - 0.1 - half).abs() < 1e-5 && (band.lower - (0.1 - half).max(0.0)).abs() < 1e-5, "{band:?}");
    let excess = test.crps_excess_mm(Method::LastValue);
    assert!(excess.lower.unwrap() > 0.0 && excess.upper > excess.value, "{excess:?}");
    assert_eq!(test.crps_excess_mm(Method::Linedrift).value, Some(0.0));
    let shares: f64 = test.pit().iter().map(|bin| bin.share).sum();
    assert!((shares - 1.0).abs() < 1e-12);
    let groups = test.groups();
    for by in ["model", "material", "row", "horizon"] {
        let of: Vec<_> = groups.iter().filter(|group| group.by == by).collect();
        assert_eq!(of.iter().map(|group| group.forecasts).sum::<usize>(), test.scores().len(), "{by}");
        assert!(of.len() > 1, "{by}");
    }
    // one target per wing: the last as-found check
    for score in test.scores() {
        let history = fleet.history(&score.wing).unwrap();
        let last = history.checks.iter().rev().find(|check| check.stage == Stage::AsFound).unwrap();
        assert_eq!(score.check, last.id);
        assert_eq!(score.date, last.date);
    }
    // all but the sentence that concludes, which the program wraps
    let text = test.to_string();
    let mut lines = text.lines().filter(|line| *line != test.conclusion().to_string());
    assert!(lines.all(|line| line.chars().count() <= 80), "{test}");
}

#[test]
fn what_is_forecast_is_the_row_mean_less_the_median_of_the_trim_rows() {
    let fleet = demo();
    let test = look_back(&fleet, 50);
    for score in test.scores().iter().step_by(17) {
        let history = fleet.history(&score.wing).unwrap();
        let set = fleet.line_set(history);
        let check = history.checks.iter().find(|check| check.id == score.check).unwrap();
        let read = deviations(set, check);
        let row: Vec<f64> =
            read.iter().filter(|one| set.lines()[one.line].row == score.row).map(|one| one.deviation_mm).collect();
        let mean = row.iter().sum::<f64>() / row.len() as f64;
        assert!((score.measured_mm - (mean - common_offset_mm(set, &read).unwrap())).abs() < 1e-9);
    }
}

/// The fleet with every check changed by a function that sees the wing's id.
fn changed(fleet: &Fleet, change: impl Fn(&str, &mut Check)) -> Fleet {
    let mut histories = fleet.histories().to_vec();
    for history in &mut histories {
        for check in &mut history.checks {
            change(&history.wing.id, check);
        }
    }
    Fleet::new(fleet.line_sets().to_vec(), histories).unwrap()
}

#[test]
fn nothing_from_after_the_day_or_from_the_hidden_check_gets_into_a_forecast() {
    let fleet = FleetSpec::demo().wings(16).run().unwrap().fleet;
    let spec = BacktestSpec::default().draws(60).most_fits(5);
    let plain = spec.run(&fleet).unwrap();
    // the wing whose target comes first: everything of all wings after that day is spoilt, and its own target too
    let first = plain.scores().iter().min_by_key(|score| score.date).unwrap().clone();
    let spoilt = changed(&fleet, |wing, check| {
        if check.date > first.date || (wing == first.wing && check.date == first.date) {
            for (place, reading) in check.readings.iter_mut().enumerate() {
                reading.reading_mm += if place % 3 == 0 { 40.0 } else { 0.0 };
            }
        }
    });
    let after = spec.run(&spoilt).unwrap();
    let medians = |test: &Backtest| -> Vec<f64> {
        test.scores().iter().filter(|score| score.check == first.check).map(|score| score.median_mm).collect()
    };
    assert!(!medians(&plain).is_empty());
    assert_eq!(medians(&plain), medians(&after));
    // it is not that nothing matters: what was known before does
    let earlier = changed(&fleet, |_, check| {
        if check.date < first.date {
            for (place, reading) in check.readings.iter_mut().enumerate() {
                reading.reading_mm += if place % 3 == 0 { 5.0 } else { 0.0 };
            }
        }
    });
    assert_ne!(medians(&plain), medians(&spec.run(&earlier).unwrap()));
}

#[test]
fn rolling_origins_take_every_check_after_the_first_and_threads_do_not_matter() {
    let fleet = FleetSpec::demo().wings(16).seed(5).run().unwrap().fleet;
    let plain = WearSpec::default().shape(Shape::LINEAR);
    let spec = BacktestSpec::default().draws(60).most_fits(12).origins(Origins::Rolling).wear(plain);
    let run = |threads: usize, spec: &BacktestSpec| {
        rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap().install(|| spec.run(&fleet).unwrap())
    };
    let rolling = run(1, &spec);
    assert_eq!(rolling, run(2, &spec));
    let mut expected = BTreeSet::new();
    for history in fleet.histories() {
        let found = history.checks.iter().filter(|check| check.stage == Stage::AsFound);
        expected.extend(found.skip(1).map(|check| check.id.clone()));
    }
    let mut seen: BTreeSet<String> = rolling.scores().iter().map(|score| score.check.clone()).collect();
    seen.extend(rolling.skipped().iter().map(|skipped| skipped.check.clone()));
    assert_eq!(seen, expected);
    // fewer fits than dates: the same targets, from fits on less
    let coarse = run(2, &spec.clone().most_fits(4));
    assert!(coarse.scores().len() + 8 * coarse.skipped().len() >= rolling.scores().len());
    assert_ne!(coarse, rolling);
}

#[test]
fn fleets_that_cannot_be_looked_back_on_say_so() {
    let one = FleetSpec::default().wings(1).seed(3).run().unwrap().fleet;
    assert!(matches!(BacktestSpec::default().run(&one), Err(ForecastError::NothingToForecast { .. })));
    assert!(matches!(
        BacktestSpec::default().run(&Fleet::default()),
        Err(ForecastError::NothingToForecast { skipped: 0 })
    ));
    assert!(matches!(BacktestSpec::default().draws(0).run(&one), Err(ForecastError::Draws { .. })));
}

#[test]
fn the_score_of_draws_is_the_integral_of_the_squared_distance() {
    // two draws at 0 and 2, measured 1: mean distance 1, fair spread |0 − 2|/2 = 1
    assert!((crps_of_draws(&mut [2.0, 0.0], 1.0) - 0.0).abs() < 1e-15);
    assert!((crps_of_draws(&mut [5.0], 3.0) - 2.0).abs() < 1e-15);
    assert_eq!(crps_of_draws(&mut [], 3.0), 0.0);
    // an even forecast on [0, 1] and y inside: (y³ + (1 − y)³)/3
    let mut even: Vec<f64> = (0..4000).map(|k| (f64::from(k) + 0.5) / 4000.0).collect();
    for y in [0.0, 0.3, 1.0] {
        let expected = (f64::powi(y, 3) + f64::powi(1.0 - y, 3)) / 3.0;
        assert!((crps_of_draws(&mut even, y) - expected).abs() < 2e-4, "{y}");
    }
}
