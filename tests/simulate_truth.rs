//! Simulated fleets against the truth that made them.

use linedrift::check::{ActionKind, Stage, reading_deviation_mm};
use linedrift::simulate::{FleetSpec, MODELS, MisreadingKind, SimulateError, Simulated, Spreads};
use linedrift::wear::Shape;
use linedrift::wing::{Row, Side};
use nalgebra::{DMatrix, DVector};

#[test]
fn the_same_seed_gives_the_same_fleet_on_any_number_of_threads() {
    let spec = FleetSpec::demo().misreading_share(0.01);
    let one = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap().install(|| spec.run()).unwrap();
    let four = rayon::ThreadPoolBuilder::new().num_threads(4).build().unwrap().install(|| spec.run()).unwrap();
    assert_eq!(one, four);
    let other = spec.clone().seed(3).run().unwrap();
    assert_ne!(one.fleet, other.fleet);
    let text = serde_json::to_string(&one).unwrap();
    let back: Simulated = serde_json::from_str(&text).unwrap();
    assert_eq!(one.fleet, back.fleet);
}

#[test]
fn rates_of_lines_leave_all_other_effects_as_they_were() {
    let plain = FleetSpec::default().wings(5).run().unwrap();
    let made = FleetSpec::default().wings(5).line_rate_spread(0.1).model_rate_spread(0.1).run().unwrap();
    for (before, after) in plain.truth.wings.iter().zip(&made.truth.wings) {
        assert_eq!((before.rate_mm_per_m, &before.row_rates), (after.rate_mm_per_m, &after.row_rates));
        assert_eq!(before.checks, after.checks);
        assert!(before.lines.iter().zip(&after.lines).all(|(a, b)| a.offset_mm == b.offset_mm));
        assert!(before.lines.iter().all(|line| line.rate_mm_per_m == 0.0));
        assert!(after.lines.iter().all(|line| line.rate_mm_per_m != 0.0));
    }
    // four models, nine rates
    assert_eq!((plain.truth.model_rates.len(), made.truth.model_rates.len()), (0, 36));
}

#[test]
fn a_wing_stays_the_same_when_more_are_added() {
    let few = FleetSpec::default().wings(5).run().unwrap();
    let many = FleetSpec::default().wings(9).run().unwrap();
    assert_eq!(few.fleet.histories(), &many.fleet.histories()[..5]);
}

/// Without any spread or rounding every reading is the model's formula, worked out here anew from the tables.
#[test]
fn without_noise_every_reading_follows_the_formula() {
    let own = Shape::Saturating { scale_h: 30.0 };
    for shape in [Shape::LINEAR, Shape::Log { scale_h: 40.0 }, Shape::Saturating { scale_h: 60.0 }] {
        let of = |material: &str| if material == "lcp" { own } else { shape };
        let made = FleetSpec::default()
            .wings(8)
            .spreads(Spreads::NONE)
            .rounding_mm(0.0)
            .shape(shape)
            .material_shape("lcp", own)
            .span_rate(Row::C, 0.4)
            .offset_mm(-2.5)
            .run()
            .unwrap();
        let mut seen = 0;
        for history in made.fleet.histories() {
            let set = made.fleet.line_set(history);
            for check in &history.checks {
                for reading in &check.readings {
                    let line = &set.lines()[reading.line];
                    let mut expected = line.nominal_mm + check.datum_mm - 2.5;
                    let mut at = Some(line.segment);
                    let mut metres = 0.0;
                    while let Some(segment) = at.map(|index| &set.segments()[index]) {
                        let rate = match (segment.material.as_str(), line.row) {
                            ("uhmwpe", Row::A) => -0.30,
                            ("uhmwpe", Row::B) => -0.55,
                            ("uhmwpe", Row::C) => -1.10,
                            ("uhmwpe", Row::Stabilo) => -1.30,
                            ("uhmwpe", Row::Brake) => -1.50,
                            ("aramid", Row::A) => 0.55,
                            ("aramid", Row::B) => 0.12,
                            ("lcp", Row::A) => 0.10,
                            ("lcp", Row::B) => -0.05,
                            other => panic!("no rate for {other:?}"),
                        };
                        let worn = segment.length_mm / 1000.0 * of(&segment.material).at(check.hours_h);
                        expected += rate * worn;
                        metres += worn;
                        at = segment.parent;
                    }
                    if line.row == Row::C {
                        expected += 0.4 * (line.span * line.span - 1.0 / 3.0) * metres;
                    }
                    assert!((reading.reading_mm - expected).abs() < 1e-9, "{} {}", check.id, line.name);
                    seen += 1;
                }
            }
        }
        assert!(seen > 1000);
    }
}

/// Readings less the recorded truth leave exactly the reading error, with its spread, across adjustments too.
#[test]
fn the_recorded_truth_explains_the_readings() {
    let made = FleetSpec::demo()
        .wing_row_spread(0.2)
        .line_rate_spread(0.3)
        .model_rate_spread(0.3)
        .material_shape("uhmwpe", Shape::Saturating { scale_h: 50.0 })
        .rounding_mm(0.0)
        .run()
        .unwrap();
    let mut left = Vec::new();
    let mut worst_wrong: f64 = 0.0;
    for history in made.fleet.histories() {
        let set = made.fleet.line_set(history);
        let truth = made.truth.wing(&history.wing.id).unwrap();
        for check in &history.checks {
            // what was found at the hours of an adjustment lies just before it
            let has_left = check.stage == Stage::AsFound
                && history.checks.iter().any(|other| other.hours_h == check.hours_h && other.stage == Stage::AsLeft);
            let hours_h = if has_left { check.hours_h - 1e-9 } else { check.hours_h };
            let offset_mm = truth.checks.iter().find(|known| known.check == check.id).unwrap().offset_mm;
            for reading in &check.readings {
                let d = reading_deviation_mm(set, check, reading).unwrap();
                let path = |hours_h| {
                    made.truth.deviation_mm(set, &history.wing.id, reading.side, reading.line, hours_h).unwrap()
                };
                left.push(d - offset_mm - path(hours_h));
                if has_left {
                    worst_wrong = worst_wrong.max((d - offset_mm - path(check.hours_h)).abs());
                }
            }
        }
    }
    let n = left.len() as f64;
    let mean = left.iter().sum::<f64>() / n;
    let sd = (left.iter().map(|x| x * x).sum::<f64>() / n).sqrt();
    // 4 standard errors of a mean and of a standard deviation of normal errors
    let sigma = made.truth.spec.true_spreads().reading_mm;
    assert!(mean.abs() < 4.0 * sigma / n.sqrt(), "{mean}");
    assert!((sd - sigma).abs() < 4.0 * sigma / (2.0 * n).sqrt(), "{sd}");
    // and the restarts are what explains the as_left checks: without them the residual would hold a whole turn
    assert!(worst_wrong > 8.0, "{worst_wrong}");
}

/// Least squares of the deviations on `L_m·g(h)` by material and row, each line's mean taken out on both sides, on a
/// fleet whose wings, rows and checks do not differ: textbook standard errors hold.
#[test]
fn least_squares_finds_the_rates_of_material_and_row() {
    let made = FleetSpec::default()
        .wings(40)
        .spreads(Spreads { reading_mm: 1.9, line_offset_mm: 2.2, ..Spreads::NONE })
        .run()
        .unwrap();
    let rates = made.truth.spec.true_rates();
    let p = rates.len();
    let mut gram = DMatrix::<f64>::zeros(p, p);
    let mut right = DVector::<f64>::zeros(p);
    for history in made.fleet.histories() {
        let set = made.fleet.line_set(history);
        for side in Side::BOTH {
            for (index, line) in set.lines().iter().enumerate() {
                let mut hours = Vec::new();
                let mut values = Vec::new();
                for check in &history.checks {
                    for reading in check.readings.iter().filter(|one| one.side == side && one.line == index) {
                        hours.push(check.hours_h / 100.0);
                        values.push(reading_deviation_mm(set, check, reading).unwrap());
                    }
                }
                if hours.len() < 2 {
                    continue;
                }
                let n = hours.len() as f64;
                let mean_hours = hours.iter().sum::<f64>() / n;
                let mean_value = values.iter().sum::<f64>() / n;
                let mut x = DVector::<f64>::zeros(p);
                for exposure in set.exposure_m(index) {
                    let k = rates.iter().position(|r| r.row == line.row && r.material == exposure.material).unwrap();
                    x[k] = exposure.length_m;
                }
                for (hours, value) in hours.iter().zip(&values) {
                    let row = &x * (hours - mean_hours);
                    right += &row * (value - mean_value);
                    gram += &row * row.transpose();
                }
            }
        }
    }
    let inverse = gram.try_inverse().expect("every material and row is flown at more than one ratio");
    let found = &inverse * right;
    // rounding to 1 mm adds 1/12 mm² to the variance of a reading
    let sd = (1.9_f64.powi(2) + 1.0 / 12.0).sqrt();
    for (k, rate) in rates.iter().enumerate() {
        let se = sd * inverse[(k, k)].sqrt();
        assert!(se < 0.2, "{rate:?}: se {se} shows nothing");
        assert!((found[k] - rate.mm_per_m).abs() < 4.0 * se, "{rate:?} found {} ± {se}", found[k]);
    }
}

#[test]
fn random_effects_have_the_spreads_asked_for() {
    let made = FleetSpec::default()
        .wings(1500)
        .years(1.0)
        .wing_row_spread(0.3)
        .line_rate_spread(0.2)
        .model_rate_spread(0.25)
        .run()
        .unwrap();
    let spreads = made.truth.spec.true_spreads();
    let wings = &made.truth.wings;
    let sd = |values: &[f64]| (values.iter().map(|x| x * x).sum::<f64>() / values.len() as f64).sqrt();
    let close = |values: &[f64], truth: f64| {
        let found = sd(values);
        assert!((found - truth).abs() < 4.0 * truth / (2.0 * values.len() as f64).sqrt(), "{found} {truth}");
    };
    let offsets: Vec<f64> = wings.iter().map(|w| w.offset_mm).collect();
    let rates: Vec<f64> = wings.iter().map(|w| w.rate_mm_per_m).collect();
    close(&offsets, spreads.wing_offset_mm);
    close(&rates, spreads.wing_rate_mm_per_m);
    close(&wings.iter().flat_map(|w| &w.row_rates).map(|r| r.mm_per_m).collect::<Vec<_>>(), 0.3);
    close(&wings.iter().flat_map(|w| &w.lines).map(|l| l.rate_mm_per_m).collect::<Vec<_>>(), 0.2);
    close(&made.truth.model_rates.iter().map(|rate| rate.mm_per_m).collect::<Vec<_>>(), 0.25);
    close(&wings.iter().flat_map(|w| &w.lines).map(|l| l.offset_mm).collect::<Vec<_>>(), spreads.line_offset_mm);
    close(&wings.iter().flat_map(|w| &w.checks).map(|c| c.offset_mm).collect::<Vec<_>>(), spreads.check_offset_mm);
    let products: f64 = offsets.iter().zip(&rates).map(|(a, b)| a * b).sum::<f64>() / wings.len() as f64;
    let correlation = products / (sd(&offsets) * sd(&rates));
    // standard error of a correlation of 0.3: (1 − ρ²)/√n
    assert!((correlation - 0.3).abs() < 4.0 * 0.91 / (wings.len() as f64).sqrt(), "{correlation}");
}

#[test]
fn the_demo_is_what_it_is_said_to_be() {
    let made = FleetSpec::demo().run().unwrap();
    let fleet = &made.fleet;
    assert_eq!(fleet.histories().len(), 48);
    assert_eq!(fleet.line_sets().iter().map(linedrift::wing::LineSet::model).collect::<Vec<_>>(), MODELS);
    assert_eq!(fleet.histories()[0].wing.id, "W01");
    let checks: Vec<_> = fleet.histories().iter().flat_map(|history| &history.checks).collect();
    let readings: usize = checks.iter().map(|check| check.readings.len()).sum();
    assert!((20_000..=30_000).contains(&readings), "{readings} readings");
    let places: usize = fleet
        .histories()
        .iter()
        .map(|history| history.checks.len() * 2 * fleet.line_set(history).lines().len())
        .sum();
    let missing = 1.0 - readings as f64 / places as f64;
    assert!((missing - 0.015).abs() < 4.0 * (0.015_f64 / places as f64).sqrt(), "{missing}");
    assert!(made.truth.misreadings.is_empty());
    for check in &checks {
        assert!(check.load_n == 50.0 && (-700.0..=0.0).contains(&check.datum_mm));
        assert!(check.readings.iter().all(|reading| reading.reading_mm > 0.0 && reading.reading_mm.fract() == 0.0));
    }
    let datums: std::collections::BTreeSet<String> =
        checks.iter().map(|check| format!("{}", check.datum_mm)).collect();
    assert!(datums.len() > 100);
    let actions: Vec<_> = fleet.histories().iter().flat_map(|history| &history.actions).collect();
    let as_left = checks.iter().filter(|check| check.stage == Stage::AsLeft).count();
    assert!(as_left >= 8, "{as_left}");
    assert!(actions.len() >= 2 * as_left);
    assert!(actions.iter().any(|action| action.kind == ActionKind::Turn && action.change_mm % 10.0 == 0.0));
    assert!(actions.iter().any(|action| action.change_mm > 0.0));
    let unchecked: Vec<_> = fleet.histories().iter().filter(|history| history.checks.is_empty()).collect();
    assert_eq!(unchecked.len(), 2);
    // dates and hours go together: no wing flies more than 24 h a day, nor backwards
    for history in fleet.histories() {
        let usage = history.wing.hours_per_year.unwrap();
        assert!((20.0..=110.0).contains(&usage));
        for pair in history.checks.windows(2) {
            let days = f64::from((pair[1].date - pair[0].date).get_days());
            let hours = pair[1].hours_h - pair[0].hours_h;
            assert!(days >= 0.0 && hours >= 0.0);
            assert!((hours == 0.0) == (pair[1].stage == Stage::AsLeft), "{}", pair[1].id);
            if hours > 0.0 {
                let per_year = hours / days * 365.25;
                assert!((0.4..2.5).contains(&(per_year / usage)), "{} {per_year} {usage}", pair[1].id);
            }
        }
    }
}

#[test]
fn adjustments_bring_back_what_was_read_as_off() {
    let made = FleetSpec::demo().wings(120).adjusted_share(1.0).run().unwrap();
    let mut before = Vec::new();
    let mut after = Vec::new();
    for history in made.fleet.histories() {
        let set = made.fleet.line_set(history);
        for action in &history.actions {
            let left = history.checks.iter().find(|check| Some(&check.id) == action.check.as_ref()).unwrap();
            let found = history
                .checks
                .iter()
                .find(|check| check.hours_h == action.hours_h && check.stage == Stage::AsFound)
                .unwrap();
            assert_eq!((left.date, left.stage), (found.date, Stage::AsLeft));
            for (check, into) in [(found, &mut before), (left, &mut after)] {
                let read = linedrift::check::deviations(set, check);
                let common = linedrift::check::common_offset_mm(set, &read).unwrap();
                let own: Vec<f64> = read
                    .iter()
                    .filter(|d| d.side == action.side)
                    .filter(|d| set.path_indices(d.line).any(|at| Some(at) == action.segment))
                    .map(|d| d.deviation_mm - common)
                    .collect();
                into.push(own.iter().sum::<f64>() / own.len() as f64);
            }
        }
    }
    let rms = |values: &[f64]| (values.iter().map(|x| x * x).sum::<f64>() / values.len() as f64).sqrt();
    assert!(before.len() > 100);
    assert!(rms(&after) < 0.75 * rms(&before), "{} {}", rms(&before), rms(&after));
}

#[test]
fn misreadings_are_planted_and_recorded() {
    let spec = FleetSpec::default().wings(12).missing_share(0.0);
    let clean = spec.run().unwrap();
    let made = spec.misreading_share(0.02).run().unwrap();
    let readings: usize =
        clean.fleet.histories().iter().flat_map(|h| &h.checks).map(|check| check.readings.len()).sum();
    let share = made.truth.misreadings.len() as f64 / readings as f64;
    assert!((share - 0.02).abs() < 4.0 * (0.02 / readings as f64).sqrt(), "{share}");
    for planted in &made.truth.misreadings {
        assert_ne!(planted.right_mm, planted.reading_mm);
        let history = made.fleet.histories().iter().find(|h| h.checks.iter().any(|c| c.id == planted.check)).unwrap();
        let line = made.fleet.line_set(history).find(&planted.line, planted.side).unwrap();
        let check = history.checks.iter().find(|check| check.id == planted.check).unwrap();
        let reading = check.readings.iter().find(|r| r.side == planted.side && r.line == line).unwrap();
        assert_eq!(reading.reading_mm, planted.reading_mm);
    }
    for kind in [
        MisreadingKind::DigitsSwapped,
        MisreadingKind::HundredOff,
        MisreadingKind::ThousandOff,
        MisreadingKind::OtherLine,
    ] {
        assert!(made.truth.misreadings.iter().any(|planted| planted.kind == kind), "{kind:?}");
    }
}

#[test]
fn repeats_and_checks_per_year_are_kept() {
    let made = FleetSpec::default().wings(6).repeats(3).missing_share(0.0).checks_per_year(1.0).run().unwrap();
    let mut gaps = Vec::new();
    for history in made.fleet.histories() {
        let lines = made.fleet.line_set(history).lines().len();
        for check in &history.checks {
            assert_eq!(check.readings.len(), 2 * lines * 3);
            assert_eq!(check.readings.iter().map(|reading| reading.repeat).max(), Some(3));
        }
        for pair in history.checks.windows(2).skip(1) {
            gaps.push(f64::from((pair[1].date - pair[0].date).get_days()) / 365.25);
        }
    }
    assert!(!gaps.is_empty() && gaps.iter().all(|years| (0.79..1.21).contains(years)), "{gaps:?}");
}

#[test]
fn settings_out_of_range_are_refused_by_name() {
    let spec = FleetSpec::default;
    for (wrong, name) in [
        (spec().wings(0), "wings"),
        (spec().wings(3).unchecked_wings(4), "unchecked_wings"),
        (spec().models(5), "models"),
        (spec().models(0), "models"),
        (spec().years(f64::NAN), "years"),
        (spec().checks_per_year(0.0), "checks_per_year"),
        (spec().offset_mm(f64::INFINITY), "offset_mm"),
        (spec().rate("uhmwpe", Row::A, f64::NAN), "rate"),
        (spec().span_rate(Row::A, f64::NAN), "span_rate"),
        (spec().spreads(Spreads { reading_mm: -1.0, ..Spreads::NONE }), "reading_mm"),
        (spec().spreads(Spreads { wing_correlation: 1.5, ..Spreads::NONE }), "wing_correlation"),
        (spec().shape(Shape::Log { scale_h: 0.0 }), "scale_h"),
        (spec().missing_share(1.0), "missing_share"),
        (spec().misreading_share(-0.1), "misreading_share"),
        (spec().rounding_mm(-1.0), "rounding_mm"),
        (spec().repeats(0), "repeats"),
        (spec().adjusted_share(1.1), "adjusted_share"),
        (spec().adjust_past_mm(0.0), "adjust_past_mm"),
    ] {
        match wrong.run() {
            Err(SimulateError::OutOfRange { what, .. }) => assert_eq!(what, name),
            other => panic!("{name}: {:?}", other.map(|made| made.fleet.histories().len())),
        }
    }
    let late = spec().wings(2).start(linedrift::Date::MAX).run();
    assert!(matches!(late, Err(SimulateError::NoDate { .. })));
}
