//! Intervals by profile and bootstrap, influence, residuals, nested models, offsets by model and row, drift and
//! predictions of the wear model.

use linedrift::check::{Fleet, History};
use linedrift::simulate::FleetSpec;
use linedrift::wear::{
    BootstrapSpec, ContrastSpec, IntervalMethod, IntervalRow, LineAt, OffsetOption, PredictSpec, Reduction,
    ResidualLevel, Shape, ShapeChoice, TermsOption, UnseenPolicy, WearError, WearFit, WearSpec, WingEffects,
};
use linedrift::{LineSet, Row, Side};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

pub(crate) fn fleet(wings: usize, seed: u64) -> Fleet {
    FleetSpec::demo().wings(wings).unchecked_wings(1).misreading_share(0.0).seed(seed).run().unwrap().fleet
}

/// The same fleet with every history changed.
pub(crate) fn altered(fleet: &Fleet, mut change: impl FnMut(usize, &LineSet, &mut History)) -> Fleet {
    let mut histories = fleet.histories().to_vec();
    for (index, history) in histories.iter_mut().enumerate() {
        let set = fleet.line_set(history).clone();
        change(index, &set, history);
    }
    Fleet::new(fleet.line_sets().to_vec(), histories).unwrap()
}

/// Metres of line from the riser to the canopy.
fn length_m(set: &LineSet, line: usize) -> f64 {
    set.exposure_m(line).iter().map(|exposure| exposure.length_m).sum()
}

fn row<'a>(rows: &'a [IntervalRow], name: &str) -> &'a IntervalRow {
    rows.iter().find(|row| row.parameter == name).unwrap_or_else(|| panic!("{name} in {rows:?}"))
}

fn term(fit: &WearFit, name: &str) -> f64 {
    fit.terms().iter().find(|term| term.term == name).unwrap_or_else(|| panic!("{name}")).estimate
}

#[test]
fn profile_intervals_hold_the_estimate_and_for_rates_nearly_the_wald_interval() {
    let fleet = fleet(16, 51);
    let reduction = Reduction::new(&fleet, &[]).unwrap();
    let fit = WearSpec::default().shape(Shape::LINEAR).terms(TermsOption::Rate).fit_reduced(&reduction).unwrap();
    let rows = fit.profile_intervals(&reduction).unwrap();
    assert!(rows.iter().all(|row| row.method == IntervalMethod::Profile));
    for term in fit.terms() {
        let found = row(&rows, &term.term);
        let (lower, upper) = (found.lower.unwrap(), found.upper.unwrap());
        assert!(lower < term.estimate && term.estimate < upper, "{found:?}");
        // ML without degrees of freedom is narrower than t on REML, by no more than a fifth for 16 wings
        let ratio = (upper - lower) / (term.upper - term.lower);
        assert!((0.8..1.02).contains(&ratio), "{ratio} {found:?} {term:?}");
    }
    for name in ["sd:wing:offset", "sd:wing:rate", "sd:check:offset", "sd:line:offset", "sd:reading:offset"] {
        let found = row(&rows, name);
        let (lower, upper) = (found.lower.unwrap(), found.upper.unwrap());
        assert!(0.0 < lower && lower < found.estimate && found.estimate < upper, "{found:?}");
    }
    let correlation = row(&rows, "correlation:wing");
    assert!(correlation.lower.unwrap() >= -1.0 && correlation.upper.unwrap() <= 1.0);
    let other = Reduction::new(&self::fleet(15, 51), &[]).unwrap();
    assert!(matches!(fit.profile_intervals(&other), Err(WearError::OtherReduction { .. })));
}

#[test]
fn the_uncertainty_of_the_scale_widens_profile_intervals() {
    let made =
        FleetSpec::demo().wings(8).years(1.5).shape(Shape::Saturating { scale_h: 300.0 }).seed(52).run().unwrap();
    let reduction = Reduction::new(&made.fleet, &[]).unwrap();
    let spec = WearSpec::default().shape(Shape::LINEAR).terms(TermsOption::Rate);
    let open = spec.clone().shape(ShapeChoice::Saturating).fit_reduced(&reduction).unwrap();
    let given = spec.shape(open.shape()).fit_reduced(&reduction).unwrap();
    let (open, given) = (open.profile_intervals(&reduction).unwrap(), given.profile_intervals(&reduction).unwrap());
    let mut wider = 0;
    for one in given.iter().filter(|row| row.parameter.starts_with("rate:")) {
        let other = row(&open, &one.parameter);
        let (a, b) = (one.upper.unwrap() - one.lower.unwrap(), other.upper.unwrap() - other.lower.unwrap());
        // the points of the scale do not fall on the estimate exactly
        assert!(b > 0.99 * a, "{one:?} {other:?}");
        wider += usize::from(b > 1.02 * a);
    }
    assert!(wider > 0);
}

#[test]
fn the_bootstrap_finds_the_standard_errors_and_depends_on_its_seed_only() {
    let fleet = fleet(14, 53);
    let reduction = Reduction::new(&fleet, &[]).unwrap();
    let fit = WearSpec::default().shape(Shape::LINEAR).terms(TermsOption::Rate).fit_reduced(&reduction).unwrap();
    let spec = BootstrapSpec::default().replicates(120).seed(4);
    let found = spec.run(&fit, &reduction).unwrap();
    assert_eq!((found.replicates(), found.failed()), (120, 0));
    for (place, row) in found.rows().iter().enumerate() {
        let values = found.values(place);
        let mean = values.iter().sum::<f64>() / 120.0;
        let sd = (values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / 119.0).sqrt();
        assert!(row.lower.unwrap() < row.upper.unwrap(), "{row:?}");
        if let Some(term) = fit.terms().iter().find(|term| term.term == row.parameter) {
            assert!((mean - term.estimate).abs() < 4.0 * sd / 120f64.sqrt(), "{row:?}: {mean}");
            // a standard deviation of 120 values is known to 6.5 %: four of these
            assert!((sd / term.se - 1.0).abs() < 0.26, "{row:?}: {sd} against {}", term.se);
        }
    }
    let one = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
    let short = BootstrapSpec::default().replicates(8).seed(4);
    let again = one.install(|| short.run(&fit, &reduction).unwrap());
    assert_eq!(again, short.run(&fit, &reduction).unwrap());
    assert_ne!(again, short.seed(5).run(&fit, &reduction).unwrap());
    assert!(matches!(short.replicates(1).run(&fit, &reduction), Err(WearError::Bootstrap { .. })));
}

#[test]
fn the_wing_that_differs_stands_first_and_leaving_it_out_does_what_was_said() {
    // row A of wing 5 drifts by 4 mm/m more than that of the others: its own rate, for all rows, does not explain it
    let fleet = altered(&fleet(16, 54), |index, set, history| {
        if index == 5 {
            for check in &mut history.checks {
                let h = check.hours_h;
                for reading in check.readings.iter_mut().filter(|reading| set.lines()[reading.line].row == Row::A) {
                    reading.reading_mm -= 4.0 * length_m(set, reading.line) * h / 100.0;
                }
            }
        }
    });
    let wing = &fleet.histories()[5].wing.id;
    let reduction = Reduction::new(&fleet, &[]).unwrap();
    let fit = WearSpec::default().shape(Shape::LINEAR).terms(TermsOption::Rate).fit_reduced(&reduction).unwrap();
    let influence = fit.influence(&reduction).unwrap();
    assert_eq!(influence.wings.len(), fit.wings());
    // the wing with most readings pins the rates; after it comes the one that differs, and its readings are foreseen worst
    let place = influence.wings.iter().position(|one| one.wing == *wing).unwrap();
    assert!(place < 2, "{:?}", influence.wings);
    let first = &influence.wings[place];
    let per_reading = |wing: &linedrift::wear::WingInfluence| wing.deviance.unwrap() / wing.readings as f64;
    let worst = influence.wings.iter().max_by(|a, b| per_reading(a).total_cmp(&per_reading(b))).unwrap();
    assert_eq!(&worst.wing, wing);
    let without = fit.without(&reduction, wing).unwrap();
    assert_eq!(without.wings(), fit.wings() - 1);
    // subtraction holds the spreads, the refit does not: the direction and the order of size agree
    let name = first.term.as_ref().unwrap();
    let se = fit.terms().iter().find(|term| term.term == *name).unwrap().se;
    let refitted = (term(&without, name) - term(&fit, name)) / se;
    let ratio = refitted / first.shift_se.unwrap();
    assert!((0.6..1.6).contains(&ratio), "{first:?} {refitted}");
    assert!(matches!(fit.without(&reduction, "no such wing"), Err(WearError::NoWing { .. })));
}

#[test]
fn residuals_name_the_reading_the_line_and_the_check_that_are_off() {
    let fleet = altered(&fleet(12, 55), |index, _, history| match index {
        2 => history.checks[1].readings[17].reading_mm += 60.0,
        4 => history.checks[1].datum_mm -= 40.0,
        6 => {
            let (side, line) = (history.checks[0].readings[9].side, history.checks[0].readings[9].line);
            for reading in history.checks.iter_mut().flat_map(|check| &mut check.readings) {
                if (reading.side, reading.line) == (side, line) {
                    reading.reading_mm -= 30.0;
                }
            }
        }
        _ => {}
    });
    let histories = fleet.histories();
    let reduction = Reduction::new(&fleet, &[]).unwrap();
    let fit = WearSpec::default().shape(Shape::LINEAR).fit_reduced(&reduction).unwrap();
    let most = fit.largest_residuals(&reduction, 1).unwrap();
    let of = |level| most.iter().find(|row| row.level == level).unwrap();
    let (reading, planted) = (of(ResidualLevel::Reading), &histories[2].checks[1]);
    let set = fleet.line_set(&histories[2]);
    assert_eq!(reading.check.as_ref(), Some(&planted.id));
    assert_eq!(reading.line.as_ref(), Some(&set.lines()[planted.readings[17].line].name));
    assert!(reading.value > 20.0, "{reading:?}");
    assert_eq!(of(ResidualLevel::Check).check.as_ref(), Some(&histories[4].checks[1].id));
    let line = of(ResidualLevel::Line);
    assert_eq!((&line.wing, line.side), (&histories[6].wing.id, Some(histories[6].checks[0].readings[9].side)));
    let all = fit.residuals(&reduction).unwrap();
    let readings: Vec<f64> =
        all.iter().filter(|row| row.level == ResidualLevel::Reading).map(|row| row.value).collect();
    assert_eq!(readings.len(), fit.readings(), "one row per reading where none is repeated");
    // the sum of the readings' residuals belongs to the fixed offset: zero at the estimate
    assert!(readings.iter().sum::<f64>().abs() < 1e-6 * readings.len() as f64);
}

#[test]
fn offsets_by_model_and_row_take_up_a_table_that_is_off() {
    let fleet = FleetSpec::demo().wings(24).models(2).misreading_share(0.0).seed(56).run().unwrap().fleet;
    let model = fleet.line_sets()[1].model().to_owned();
    let off = altered(&fleet, |_, set, history| {
        for reading in history.checks.iter_mut().flat_map(|check| &mut check.readings) {
            if set.model() == model && set.lines()[reading.line].row == Row::B {
                reading.reading_mm += 6.0;
            }
        }
    });
    let spec = WearSpec::default().shape(Shape::LINEAR).offsets(OffsetOption::ModelRow);
    let (before, after) = (spec.fit(&fleet).unwrap(), spec.fit(&off).unwrap());
    assert!(before.terms().iter().any(|term| term.term == format!("offset:{model}:brake")));
    for (old, new) in before.terms().iter().zip(after.terms()) {
        let moved = if new.term == format!("offset:{model}:B") { 6.0 } else { 0.0 };
        // the model is equivariant: nothing else moves, but for the optimiser's last digits
        assert!((new.estimate - old.estimate - moved).abs() < 1e-5, "{old:?} {new:?}");
        assert!((new.se - old.se).abs() < 1e-5 * old.se, "{old:?} {new:?}");
    }
    // without them the rates have to bear it
    let common = |fleet: &Fleet| WearSpec::default().shape(Shape::LINEAR).fit(fleet).unwrap();
    let (plain, wrong) = (common(&fleet), common(&off));
    assert!(plain.terms().iter().zip(wrong.terms()).any(|(a, b)| (a.estimate - b.estimate).abs() > a.se));
    let reduction = Reduction::new(&off, &[]).unwrap();
    let test = spec.likelihood_ratio(&WearSpec::default().shape(Shape::LINEAR), &reduction).unwrap();
    let offsets = before.terms().iter().filter(|term| term.term.starts_with("offset:")).count();
    assert_eq!(test.freedom, offsets - 1, "offsets by model and row in place of one");
    assert!(test.p_value < 1e-6, "{test:?}");
}

#[test]
fn a_covariate_that_matters_is_found_and_one_that_does_not_is_not() {
    let mut generator = ChaCha8Rng::seed_from_u64(57);
    let fleet = altered(&fleet(30, 57), |index, set, history| {
        let coast = f64::from(u8::from(index % 3 == 0));
        history.wing.covariates.insert("coast".to_owned(), coast);
        history.wing.covariates.insert("chance".to_owned(), generator.random::<f64>());
        for check in &mut history.checks {
            let h = check.hours_h;
            for reading in &mut check.readings {
                reading.reading_mm -= 0.8 * coast * length_m(set, reading.line) * h / 100.0;
            }
        }
    });
    let names = ["coast".to_owned(), "chance".to_owned()];
    let reduction = Reduction::new(&fleet, &names).unwrap();
    let spec = WearSpec::default().shape(Shape::LINEAR).covariates(names);
    let tests = spec.covariate_tests(&reduction).unwrap();
    assert_eq!(tests[0].tested, "covariate:coast");
    assert!(tests[0].p_value < 1e-3 && tests[0].freedom == 1, "{tests:?}");
    assert!(tests[1].p_value > 0.01, "{tests:?}");
    let fit = spec.fit_reduced(&reduction).unwrap();
    let coast = fit.terms().iter().find(|term| term.term == "covariate:coast").unwrap();
    assert!((coast.estimate + 0.8).abs() < 4.0 * coast.se, "{coast:?}");
    // the statistic is the difference of two ML deviances
    let ml = |covariates: &[String]| {
        let spec = WearSpec::default()
            .shape(Shape::LINEAR)
            .covariates(covariates)
            .criterion(linedrift::stats::mixed::Criterion::Ml);
        spec.fit_reduced(&reduction).unwrap().deviance()
    };
    let chance = ["chance".to_owned()];
    let difference = ml(&chance) - ml(&["coast".to_owned(), "chance".to_owned()]);
    assert!((tests[0].statistic - difference).abs() < 1e-6);
    let rows = WearSpec::default().shape(Shape::LINEAR).wing_effects(WingEffects::RateRow);
    let test = rows.likelihood_ratio(&WearSpec::default().shape(Shape::LINEAR), &reduction).unwrap();
    assert_eq!((test.freedom, test.tested.as_str()), (1, "sd:wing:row"));
    assert!((0.0..=1.0).contains(&test.p_value));
    let wrong = WearSpec::default()
        .shape(Shape::LINEAR)
        .terms(TermsOption::Rate)
        .likelihood_ratio(&WearSpec::default().shape(Shape::LINEAR), &reduction);
    assert!(matches!(wrong, Err(WearError::NotNested { .. })), "{wrong:?}");
    let unknown = WearSpec::default().shape(Shape::LINEAR).covariates(["height"]).fit_reduced(&reduction);
    assert_eq!(unknown, Err(WearError::NotReduced { covariate: "height".to_owned() }));
}

/// Wings kept in a van shrink faster, but only their UHMWPE lines do.
#[test]
fn a_covariate_by_material_tells_which_material_it_bears_on() {
    let fleet = altered(&fleet(30, 59), |index, set, history| {
        let van = f64::from(u8::from(index % 3 == 0));
        history.wing.covariates.insert("kept=van".to_owned(), van);
        for check in &mut history.checks {
            let h = check.hours_h;
            for reading in &mut check.readings {
                let exposed = set.exposure_m(reading.line);
                let uhmwpe: f64 = exposed.iter().filter(|one| one.material == "uhmwpe").map(|one| one.length_m).sum();
                reading.reading_mm -= 0.6 * van * uhmwpe * h / 100.0;
            }
        }
    });
    let names = ["kept=van:uhmwpe", "kept=van:aramid", "kept=van:paper"];
    let fit = WearSpec::default().shape(Shape::LINEAR).covariates(names).fit(&fleet).unwrap();
    let term = |name: &str| fit.terms().iter().find(|term| term.term == format!("covariate:{name}")).unwrap();
    let (uhmwpe, aramid) = (term(names[0]), term(names[1]));
    assert!((uhmwpe.estimate + 0.6).abs() < 4.0 * uhmwpe.se && uhmwpe.upper < 0.0, "{uhmwpe:?}");
    assert!(aramid.estimate.abs() < 4.0 * aramid.se, "{aramid:?}");
    // no line is of that material
    assert_eq!(fit.dropped_terms(), ["covariate:kept=van:paper"]);
    let asked = ContrastSpec::default().contrast("covariate:kept=van:uhmwpe - covariate:kept=van:aramid");
    let found = asked.run(&fit, fleet.line_sets()).unwrap();
    let row = &found.rows()[0].row;
    assert!((row.estimate + 0.6).abs() < 4.0 * row.se && row.upper < 0.0, "{row:?}");
}

#[test]
fn drift_is_the_mean_of_the_rows_lines_and_front_less_rear_their_difference() {
    let fleet = fleet(16, 59);
    let fit = WearSpec::default().shape(Shape::LINEAR).fit(&fleet).unwrap();
    let drift = fit.drift(fleet.line_sets());
    for set in fleet.line_sets() {
        let of = |row: &str, material: Option<&str>| {
            drift
                .iter()
                .find(|d| d.model == set.model() && d.row == row && d.material.as_deref() == material)
                .unwrap_or_else(|| panic!("{row} of {}", set.model()))
        };
        let mut ends = Vec::new();
        for row in Row::ALL.into_iter().filter(|row| set.lines().iter().any(|line| line.row == *row)) {
            let lines: Vec<usize> = (0..set.lines().len()).filter(|line| set.lines()[*line].row == row).collect();
            // by hand, from the terms
            let by_hand: f64 = lines
                .iter()
                .map(|line| {
                    let exposures = set.exposure_m(*line);
                    let rates: f64 = exposures
                        .iter()
                        .map(|e| e.length_m * term(&fit, &format!("rate:{}:{row}", e.material)))
                        .sum();
                    let length: f64 = exposures.iter().map(|e| e.length_m).sum();
                    let span = fit.terms().iter().find(|term| term.term == format!("span:{row}"));
                    let eta = set.lines()[*line].span;
                    rates + span.map_or(0.0, |span| span.estimate * (eta * eta - 1.0 / 3.0) * length)
                })
                .sum::<f64>()
                / lines.len() as f64;
            let found = of(row.name(), None);
            assert!((found.mm - by_hand).abs() < 1e-9, "{found:?} {by_hand}");
            let known = fit.row_drift(set, row, 100.0).unwrap();
            assert!((found.lower_mm - known.lower_mm).abs() < 1e-9 && (found.upper_mm - known.upper_mm).abs() < 1e-9);
            if row.is_trim() {
                ends.push(row);
            }
        }
        let (front, rear) = (ends[0], *ends.last().unwrap());
        let difference = of(&format!("{front}\u{2212}{rear}"), None);
        assert!((difference.mm - (of(front.name(), None).mm - of(rear.name(), None).mm)).abs() < 1e-9);
        // what rows share cancels, so the difference is known better than the worse of the two
        let width = |d: &linedrift::wear::DriftRow| d.upper_mm - d.lower_mm;
        let apart = width(of(front.name(), None)).hypot(width(of(rear.name(), None)));
        assert!(width(difference) < apart, "{difference:?}");
    }
}

#[test]
fn predictions_hold_the_checks_that_followed() {
    let fleet = FleetSpec::demo().wings(40).adjusted_share(0.3).misreading_share(0.0).seed(60).run().unwrap().fleet;
    let mut hidden = Vec::new();
    let known = altered(&fleet, |_, _, history| {
        let last_as_found = history.checks.iter().rposition(|check| check.stage == linedrift::check::Stage::AsFound);
        if history.checks.len() > 2
            && let Some(last) = last_as_found
        {
            hidden.push(history.checks[last].clone());
            history.checks.truncate(last);
            let until = history.checks.last().map_or(0.0, |check| check.hours_h);
            history.actions.retain(|action| action.hours_h <= until);
        }
    });
    let fit = WearSpec::default().shape(Shape::LINEAR).wing_effects(WingEffects::RateRow).fit(&known).unwrap();
    let (mut inside, mut narrow, mut n) = (0.0, 0.0, 0.0);
    for check in &hidden {
        let history = known
            .histories()
            .iter()
            .find(|h| fleet.history(&h.wing.id).unwrap().checks.iter().any(|c| c.id == check.id))
            .unwrap();
        let set = known.line_set(history);
        let points: Vec<LineAt> = check
            .readings
            .iter()
            .map(|reading| LineAt { side: reading.side, line: reading.line, hours_h: check.hours_h })
            .collect();
        let rows = PredictSpec::default().run(&fit, set, history, &points).unwrap();
        for (row, reading) in rows.iter().zip(&check.readings) {
            let nominal = set.lines()[reading.line].nominal_mm;
            let deviation = reading.reading_mm - check.datum_mm(reading.side, row.row) - nominal;
            let within = |lower: Option<f64>, upper: Option<f64>| {
                f64::from(u8::from(lower.unwrap() <= deviation && deviation <= upper.unwrap()))
            };
            inside += within(row.reading_lower_mm, row.reading_upper_mm);
            narrow += within(row.lower_mm, row.upper_mm);
            n += 1.0;
        }
    }
    // readings of one check go together: 30 checks, so three standard errors of some 30 independent shares
    assert!(hidden.len() > 25 && n > 2000.0);
    assert!((inside / n - 0.95).abs() < 0.05, "{inside} of {n}");
    assert!(narrow < inside);
}

#[test]
fn what_the_fit_has_never_seen_is_treated_as_the_policy_says() {
    let fleet = fleet(12, 61);
    let fit = WearSpec::default().shape(Shape::LINEAR).fit(&fleet).unwrap();
    let new = fleet.histories().iter().find(|history| history.checks.is_empty()).unwrap();
    let old = fleet.histories().iter().find(|history| history.checks.len() > 1).unwrap();
    let at = [LineAt { side: Side::Left, line: 0, hours_h: 120.0 }];
    let run =
        |policy, set: &LineSet, history: &History| PredictSpec::default().unseen(policy).run(&fit, set, history, &at);
    let set = fleet.line_set(new);
    let wide = run(UnseenPolicy::Fleet, set, new).unwrap().remove(0);
    let narrow = run(UnseenPolicy::Refuse, fleet.line_set(old), old).unwrap().remove(0);
    assert!(!wide.own_history && narrow.own_history);
    assert!(wide.upper_mm.unwrap() - wide.lower_mm.unwrap() > narrow.upper_mm.unwrap() - narrow.lower_mm.unwrap());
    assert_eq!(run(UnseenPolicy::LeaveOut, set, new).unwrap()[0].mean_mm, None);
    assert!(matches!(run(UnseenPolicy::Refuse, set, new), Err(WearError::Unseen { .. })));
    let mut segments = set.segments().to_vec();
    segments.iter_mut().for_each(|segment| segment.material = "spider silk".to_owned());
    let other = LineSet::new(set.model(), set.table_version(), set.lines().to_vec(), segments).unwrap();
    assert_eq!(run(UnseenPolicy::Fleet, &other, new).unwrap()[0].mean_mm, None);
    assert!(matches!(run(UnseenPolicy::Refuse, &other, old), Err(WearError::Unseen { .. })));
    let beyond = [LineAt { side: Side::Left, line: 10_000, hours_h: 1.0 }];
    assert!(PredictSpec::default().run(&fit, set, new, &beyond).is_err());
    assert!(matches!(PredictSpec::default().level(1.0).run(&fit, set, new, &at), Err(WearError::Level { .. })));
}
