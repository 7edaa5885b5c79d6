//! Numbers at the ends of their ranges, and what must not change an answer: units, the datum, names, order, left for right.
//! Published fits of the engine to 60 digits are in `mixed_published`; these are about what lies around them.
#![allow(clippy::too_many_lines, clippy::cast_possible_truncation)]

use linedrift::check::{Fleet, History};
use linedrift::simulate::FleetSpec;
use linedrift::stats::mixed::{BlockBuilder, Covariance, MixedFit, MixedSpec, OuterTerm, Structure};
use linedrift::trim::Trim;
use linedrift::wear::{Shape, WearFit, WearSpec};
use linedrift::{LineSet, TrimSpec};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::wear_hard::{finite, fleet, noisy};

/// The same fleet with every history and line set changed.
fn changed(fleet: &Fleet, set: impl Fn(&LineSet) -> LineSet, change: impl Fn(&LineSet, &mut History)) -> Fleet {
    let mut histories = fleet.histories().to_vec();
    for history in &mut histories {
        change(fleet.line_set(history), history);
    }
    Fleet::new(fleet.line_sets().iter().map(set).collect(), histories).unwrap()
}

fn same(a: &LineSet) -> LineSet {
    a.clone()
}

#[track_caller]
fn assert_alike(a: &WearFit, b: &WearFit, tolerance: f64) {
    assert_eq!(a.terms().len(), b.terms().len());
    for (x, y) in a.terms().iter().zip(b.terms()) {
        assert_eq!(x.term, y.term);
        assert!((x.estimate - y.estimate).abs() < tolerance * x.se, "{x:?} {y:?}");
        assert!((x.se / y.se - 1.0).abs() < tolerance, "{x:?} {y:?}");
    }
    for (x, y) in a.spread().iter().zip(b.spread()) {
        let (x_sd, y_sd) = (x.sd.unwrap_or_default(), y.sd.unwrap_or_default());
        assert!((x_sd - y_sd).abs() < tolerance * (x_sd + 1e-3), "{x:?} {y:?}");
    }
    assert!((a.deviance() / b.deviance() - 1.0).abs() < tolerance, "{} {}", a.deviance(), b.deviance());
}

/// A stand-in for a loft: four models, adjustments, missing readings.
fn loft() -> Fleet {
    FleetSpec::default().wings(16).adjusted_share(0.4).seed(77).run().unwrap().fleet
}

#[test]
fn the_datum_names_and_order_change_nothing() {
    let loft = loft();
    let spec = WearSpec::default().shape(Shape::LINEAR);
    let fit = spec.fit(&loft).unwrap();
    let moved = changed(&loft, same, |_, history| {
        for check in &mut history.checks {
            check.datum_mm += 1234.0;
            check.readings.iter_mut().for_each(|reading| reading.reading_mm += 1234.0);
        }
    });
    assert_alike(&fit, &spec.fit(&moved).unwrap(), 1e-9);
    // in which order readings and wings come is nothing to the bit
    let shuffled = changed(&loft, same, |_, history| {
        let mut random = ChaCha8Rng::seed_from_u64(3);
        for check in &mut history.checks {
            for at in (1..check.readings.len()).rev() {
                check.readings.swap(at, random.random_range(0..=at));
            }
        }
        history.checks.reverse();
        history.actions.reverse();
    });
    assert_eq!(spec.fit(&shuffled).unwrap(), fit);
    // names in the opposite order put the wings in another order: sums may differ in their last digits
    let renamed = changed(&loft, same, |_, history| {
        let number: u32 = history.wing.id.trim_start_matches('W').parse().unwrap();
        let prefix = format!("Z{:03}", 999 - number);
        history.wing.id = prefix.clone();
        for check in &mut history.checks {
            check.id = format!("{prefix}/{}", check.id);
        }
        for action in &mut history.actions {
            action.check = action.check.take().map(|check| format!("{prefix}/{check}"));
        }
    });
    assert_alike(&fit, &spec.fit(&renamed).unwrap(), 1e-6);
}

#[test]
fn left_for_right_changes_nothing_but_the_sides() {
    let loft = loft();
    let mirrored = changed(&loft, same, |_, history| {
        for check in &mut history.checks {
            check.readings.iter_mut().for_each(|reading| reading.side = reading.side.mirror());
            check.risers.iter_mut().for_each(|riser| riser.side = riser.side.mirror());
        }
        history.actions.iter_mut().for_each(|action| action.side = action.side.mirror());
    });
    let spec = WearSpec::default().shape(Shape::LINEAR);
    assert_alike(&spec.fit(&loft).unwrap(), &spec.fit(&mirrored).unwrap(), 1e-6);
    let mut turned = 0;
    for (a, b) in loft.histories().iter().zip(mirrored.histories()) {
        for (x, y) in a.checks.iter().zip(&b.checks) {
            let trim = |fleet: &Fleet, history: &History, check| -> Trim {
                TrimSpec::default().run(fleet.line_set(history), &history.wing, check).unwrap()
            };
            let (x, y) = (trim(&loft, a, x), trim(&mirrored, b, y));
            let near = |x: Option<f64>, y: Option<f64>| match (x, y) {
                (Some(x), Some(y)) => (x - y).abs() < 1e-9,
                (x, y) => x == y,
            };
            assert!(near(x.incidence_change_deg.value, y.incidence_change_deg.value));
            assert!(near(x.incidence_change_deg.lower, y.incidence_change_deg.lower));
            assert!(near(x.asymmetry_deg.value, y.asymmetry_deg.value.map(|value| -value)));
            turned += usize::from(x.asymmetry_deg.value.is_some_and(|value| value.abs() > 1e-6));
            assert!(near(x.common_mm, y.common_mm));
        }
    }
    assert!(turned > 10, "{turned}");
}

/// Twice as long a wing with twice the deviations, and hours of half the length: rates are per metre and per 100 h.
#[test]
fn other_units_scale_the_answer_and_nothing_else() {
    let base = fleet(8, &[0.0, 40.0, 90.0, 160.0], 12, noisy(21));
    let fit = WearSpec::default().shape(Shape::LINEAR).fit(&base).unwrap();
    for scale in [2.0, 8.0] {
        let larger = changed(
            &base,
            |set| {
                let mut lines = set.lines().to_vec();
                lines.iter_mut().for_each(|line| line.nominal_mm *= scale);
                let mut segments = set.segments().to_vec();
                segments.iter_mut().for_each(|segment| segment.length_mm *= scale);
                LineSet::new("Wren", None, lines, segments).unwrap()
            },
            |_, history| {
                let readings = history.checks.iter_mut().flat_map(|check| &mut check.readings);
                readings.for_each(|reading| reading.reading_mm *= scale);
            },
        );
        let larger = WearSpec::default().shape(Shape::LINEAR).fit(&larger).unwrap();
        for (x, y) in fit.terms().iter().zip(larger.terms()) {
            let factor = if x.term.starts_with("rate") { 1.0 } else { scale };
            // deviations are held to a thousandth of a millimetre, 1/577 of the readings' spread: some hundredths of a
            // standard error at most, as both are rounded
            assert!((x.estimate * factor - y.estimate).abs() < 0.01 * y.se, "{x:?} {y:?}");
            assert!((x.se * factor / y.se - 1.0).abs() < 0.01, "{x:?} {y:?}");
        }
        let slow = changed(&base, same, |_, history| {
            history.checks.iter_mut().for_each(|check| check.hours_h *= scale);
        });
        let slow = WearSpec::default().shape(Shape::LINEAR).fit(&slow).unwrap();
        for (x, y) in fit.terms().iter().zip(slow.terms()) {
            let factor = if x.term == "offset" { 1.0 } else { scale };
            assert!((x.estimate - y.estimate * factor).abs() < 1e-5 * x.se, "{x:?} {y:?}");
        }
    }
}

fn outer(width: usize) -> Vec<OuterTerm> {
    vec![OuterTerm { name: "wing".to_owned(), width, covariance: Covariance::Full }]
}

/// The engine on one design, the response and the regressor in other units.
fn engine(response: f64, regressor: f64) -> MixedFit {
    let structure = Structure {
        inner: Some("line".to_owned()),
        outer: outer(2),
        fixed: vec!["offset".to_owned(), "rate".to_owned()],
        ..Structure::default()
    };
    let mut random = ChaCha8Rng::seed_from_u64(5);
    let blocks: Vec<_> = (0..12)
        .map(|_| {
            let mut builder = BlockBuilder::new(&structure, &[1]);
            let (wing, rate) = (random.random::<f64>() * 4.0, random.random::<f64>());
            let lines: Vec<f64> = (0..6).map(|_| random.random::<f64>() * 3.0).collect();
            for hours in [0.0, 0.4, 0.9, 1.7] {
                for (level, line) in lines.iter().enumerate() {
                    let (x, y) = (hours * regressor, wing + line - (2.0 + rate) * hours + random.random::<f64>());
                    let y = y * response;
                    let row = [
                        (builder.outer_column(&structure, 0, 0, 0), 1.0),
                        (builder.outer_column(&structure, 0, 0, 1), x),
                        (builder.fixed_column(0), 1.0),
                        (builder.fixed_column(1), x),
                    ];
                    builder.add(Some(level), &row, 1.0, y, y * y);
                }
            }
            builder.finish()
        })
        .collect();
    MixedSpec::default().fit(&structure, &blocks).unwrap()
}

#[test]
fn the_engine_does_not_care_for_units_over_nine_decades() {
    let fit = engine(1.0, 1.0);
    let n = 12.0 * 24.0 - 2.0;
    for power in [-9, -6, -3, -1, 1, 3, 6, 9] {
        let unit = 10_f64.powi(power);
        let other = engine(unit, 1.0);
        for (x, y) in fit.fixed().iter().zip(other.fixed()) {
            assert!((x.estimate * unit / y.estimate - 1.0).abs() < 1e-6, "{power} {x:?} {y:?}");
            assert!((x.se * unit / y.se - 1.0).abs() < 1e-6, "{power} {x:?} {y:?}");
        }
        assert!((fit.sigma() * unit / other.sigma() - 1.0).abs() < 1e-6);
        assert!((fit.deviance() + 2.0 * n * unit.ln() - other.deviance()).abs() < 1e-6 * n, "{power}");
        let other = engine(1.0, unit);
        assert!((fit.fixed()[0].estimate / other.fixed()[0].estimate - 1.0).abs() < 1e-5, "{power}");
        assert!((fit.fixed()[1].estimate / (other.fixed()[1].estimate * unit) - 1.0).abs() < 1e-5, "{power}");
        assert!((fit.sigma() / other.sigma() - 1.0).abs() < 1e-5, "{power}");
    }
}

#[test]
fn rates_from_a_billionth_to_a_thousand_millimetres_per_metre() {
    for power in -9..=3 {
        let rate = 10_f64.powi(power);
        let mut noise = ChaCha8Rng::seed_from_u64(9);
        let made = fleet(8, &[0.0, 30.0, 60.0], 9, |_, hours, line| {
            rate * (6.0 + 0.01 * line as f64) * hours / 100.0 + noise.random::<f64>() - 0.5
        });
        let fit = WearSpec::default().shape(Shape::LINEAR).fit(&made).unwrap();
        finite(&fit);
        for term in fit.terms().iter().filter(|term| term.term.starts_with("rate")) {
            assert!((term.estimate - rate).abs() < 5.0 * term.se, "1e{power}: {term:?}");
        }
    }
}

#[test]
fn an_offset_of_metres_is_an_offset() {
    let near = WearSpec::default().shape(Shape::LINEAR).fit(&fleet(8, &[0.0, 40.0, 90.0], 9, noisy(31))).unwrap();
    for metres in [-5.0, 5.0, 200.0] {
        let mut small = noisy(31);
        let far = fleet(8, &[0.0, 40.0, 90.0], 9, |w, h, line| small(w, h, line) + 1000.0 * metres);
        let far = WearSpec::default().shape(Shape::LINEAR).fit(&far).unwrap();
        finite(&far);
        for (x, y) in near.terms().iter().zip(far.terms()) {
            let moved = if x.term == "offset" { 1000.0 * metres } else { 0.0 };
            // squares of the offset are in the sums beside those of the readings' spread, a half millimetre either way:
            // what is left of 53 bits, and ten times that for the sums; 1e-4 is what an optimum is found to
            let lost = 10.0 * f64::EPSILON * (1000.0 * metres).powi(2) * 12.0;
            assert!((x.estimate + moved - y.estimate).abs() < (1e-4 + lost) * x.se, "{metres} m: {x:?} {y:?} {lost}");
        }
    }
}

#[test]
fn wings_that_stand_there_twice_halve_the_variance_and_move_nothing() {
    let once = fleet(8, &[0.0, 40.0, 90.0], 9, noisy(41));
    let mut histories = once.histories().to_vec();
    for history in once.histories() {
        let mut twin = history.clone();
        twin.wing.id += "-twin";
        twin.checks.iter_mut().for_each(|check| check.id += "-twin");
        histories.push(twin);
    }
    let twice = Fleet::new(once.line_sets().to_vec(), histories).unwrap();
    let spec = WearSpec::default().shape(Shape::LINEAR).criterion(linedrift::stats::mixed::Criterion::Ml);
    let (once, twice) = (spec.fit(&once).unwrap(), spec.fit(&twice).unwrap());
    // by maximum likelihood the twin fleet has the same optimum, and twice the deviance
    assert!((2.0 * once.deviance() / twice.deviance() - 1.0).abs() < 1e-8);
    for (x, y) in once.terms().iter().zip(twice.terms()) {
        assert!((x.estimate - y.estimate).abs() < 1e-4 * x.se, "{x:?} {y:?}");
        assert!((x.se / y.se / 2_f64.sqrt() - 1.0).abs() < 1e-4, "{x:?} {y:?}");
    }
}

/// Two materials in almost the same proportion on every line: told apart badly or not at all, and said so by the interval.
#[test]
fn exposures_that_are_almost_in_proportion() {
    for apart in [1e-1, 1e-3, 1e-6, 1e-9, 0.0] {
        let base = fleet(8, &[0.0, 40.0, 90.0], 9, noisy(51));
        let made = changed(
            &base,
            |set| {
                let mut segments = set.segments().to_vec();
                let mut lines = set.lines().to_vec();
                for (at, line) in lines.iter_mut().enumerate() {
                    let lower_mm = 0.4 * line.nominal_mm * (1.0 + apart * (at as f64 - 4.0));
                    segments[at].length_mm = line.nominal_mm - lower_mm;
                    let mut lower = segments[at].clone();
                    lower.name = format!("M{at}");
                    lower.material = "aramid".to_owned();
                    lower.length_mm = lower_mm;
                    segments.push(lower);
                    segments[at].parent = Some(segments.len() - 1);
                }
                LineSet::new("Wren", None, lines, segments).unwrap()
            },
            |_, _| {},
        );
        let fit = WearSpec::default().shape(Shape::LINEAR).fit(&made).unwrap();
        finite(&fit);
        if apart == 0.0 {
            assert!(!fit.dropped_terms().is_empty(), "what cannot be told apart is dropped and named");
        }
        // the drift at a line is known however the two share it: lines 0, 3 and 6 of row A have 6.03 m; five standard errors
        let drift = fit.row_drift(&made.line_sets()[0], linedrift::Row::A, 90.0).unwrap();
        let half_mm = drift.upper_mm - drift.mean_mm;
        assert!((drift.mean_mm + 0.5 * 6.03 * 0.9).abs() < 5.0 / 1.96 * half_mm, "{apart}: {drift:?}");
        assert!(half_mm < 0.5, "{apart}: {drift:?}");
    }
}

#[test]
fn one_row_one_line_one_check_and_no_spread() {
    for (wings, hours, lines) in
        [(2, &[0.0, 50.0][..], 1), (8, &[50.0], 3), (2, &[0.0, 1e-6], 9), (3, &[1e5, 1e6], 6)]
    {
        match WearSpec::default().shape(Shape::LINEAR).fit(&fleet(wings, hours, lines, noisy(61))) {
            Ok(fit) => finite(&fit),
            Err(error) => assert!(!error.to_string().is_empty()),
        }
    }
    // every wing, check and line the same: only readings differ
    let mut noise = ChaCha8Rng::seed_from_u64(7);
    let fit = WearSpec::default()
        .shape(Shape::LINEAR)
        .fit(&fleet(8, &[0.0, 50.0, 100.0], 9, |_, _, _| noise.random::<f64>()))
        .unwrap();
    finite(&fit);
    // every reading the same but one
    let mut first = true;
    let one = fleet(8, &[0.0, 50.0], 9, |_, _, _| if std::mem::take(&mut first) { 1.0 } else { 0.0 });
    if let Ok(fit) = WearSpec::default().shape(Shape::LINEAR).fit(&one) {
        finite(&fit);
    }
}

#[test]
fn many_checks_of_few_wings() {
    let hours: Vec<f64> = (0..60).map(|k| 4.0 * f64::from(k)).collect();
    let fit = WearSpec::default().shape(Shape::LINEAR).fit(&fleet(5, &hours, 3, noisy(71))).unwrap();
    finite(&fit);
    let rate = fit.terms().iter().find(|term| term.term == "rate:uhmwpe:A").unwrap();
    assert!((rate.estimate + 0.5).abs() < 5.0 * rate.se.max(1e-3), "{rate:?}");
}

#[test]
#[ignore = "slow: 1,000 checks of each wing, and 100,000 wings"]
fn slow_a_thousand_checks_and_a_hundred_thousand_wings() {
    let hours: Vec<f64> = (0..1000).map(|k| f64::from(k) * 0.4).collect();
    let fit = WearSpec::default().shape(Shape::LINEAR).fit(&fleet(5, &hours, 3, noisy(72))).unwrap();
    finite(&fit);
    assert!(fit.converged(), "{:?}", fit.diagnostics());
    let fit = WearSpec::default().shape(Shape::LINEAR).fit(&fleet(100_000, &[0.0, 60.0], 3, noisy(73))).unwrap();
    finite(&fit);
    assert_eq!(fit.wings(), 100_000);
    for term in fit.terms().iter().filter(|term| term.term.starts_with("rate")) {
        assert!((term.estimate + 0.5).abs() < 5.0 * term.se && term.se < 1e-3, "{term:?}");
    }
}
