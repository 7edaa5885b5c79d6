//! The wear model on data that leaves it little: an answer with a remark, or an error that says what is missing; always
//! finite, never a hang.

use linedrift::check::{Check, Fleet, History, Reading};
use linedrift::wear::{Reduction, Shape, ShapeChoice, WearError, WearFit, WearSpec, WingEffects};
use linedrift::{Date, Line, LineSet, Row, Segment, Side, Wing};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

fn line_set(lines: usize) -> LineSet {
    let rows = [Row::A, Row::B, Row::Brake];
    let segments = (0..lines)
        .map(|k| Segment {
            name: format!("L{k}"),
            parent: None,
            material: "uhmwpe".to_owned(),
            length_mm: 6000.0 + 10.0 * k as f64,
            diameter_mm: None,
            can_loop: None,
        })
        .collect();
    let lines = (0..lines)
        .map(|k| Line {
            name: format!("L{k}"),
            row: rows[k % rows.len()],
            rank: 1 + u32::try_from(k / rows.len()).unwrap(),
            nominal_mm: 6000.0 + 10.0 * k as f64,
            span: (k as f64 + 0.5) / lines as f64,
            span_assumed: false,
            chord: Some(0.3),
            main: None,
            segment: k,
            tolerance_mm: None,
            side: None,
        })
        .collect();
    LineSet::new("Wren", None, lines, segments).unwrap()
}

/// `wings` wings with checks at the given hours; `deviation_mm(wing, hours, line)` is what is read beyond the nominal length.
pub(crate) fn fleet(
    wings: usize,
    hours_h: &[f64],
    lines: usize,
    mut deviation_mm: impl FnMut(usize, f64, usize) -> f64,
) -> Fleet {
    let set = line_set(lines);
    let histories = (0..wings)
        .map(|w| History {
            wing: Wing::new(&format!("W{w}"), "Wren"),
            line_set: 0,
            checks: hours_h
                .iter()
                .enumerate()
                .map(|(c, h)| {
                    let mut check = Check::new(&format!("W{w}-{c}"), Date::constant(2024, 5, 1), *h);
                    for side in Side::BOTH {
                        for line in 0..lines {
                            check.readings.push(Reading {
                                side,
                                line,
                                reading_mm: set.lines()[line].nominal_mm + deviation_mm(w, *h, line),
                                repeat: 1,
                                operator: None,
                            });
                        }
                    }
                    check
                })
                .collect(),
            actions: Vec::new(),
            fittings: Vec::new(),
        })
        .collect();
    Fleet::new(vec![set], histories).unwrap()
}

/// Half a millimetre of shrinkage per metre and 100 h, read to half a millimetre either way.
pub(crate) fn noisy(seed: u64) -> impl FnMut(usize, f64, usize) -> f64 {
    let mut generator = ChaCha8Rng::seed_from_u64(seed);
    move |_, h, line| -0.5 * (6.0 + 0.01 * line as f64) * h / 100.0 + generator.random::<f64>() - 0.5
}

pub(crate) fn finite(fit: &WearFit) {
    // JSON has no word for what is not finite and writes null: the text for programmers says it
    let text = format!("{fit:?}");
    assert_eq!(crate::fuzz_corpus::not_finite(&text), None, "{text}");
    assert!(fit.deviance().is_finite());
    for t in fit.terms() {
        assert!([t.estimate, t.se, t.lower, t.upper].iter().all(|value| value.is_finite()), "{t:?}");
        assert!(t.se >= 0.0 && t.lower <= t.estimate && t.estimate <= t.upper, "{t:?}");
    }
    assert!(fit.spread().iter().all(|s| s.sd.is_none_or(|sd| sd.is_finite() && sd >= 0.0)), "{text}");
    assert!(fit.evaluations() <= 500);
}

fn says(fit: &WearFit, code: &str) -> bool {
    fit.diagnostics().iter().any(|diagnostic| diagnostic.code == code)
}

#[test]
fn fewer_than_five_wings_are_fitted_without_wing_effects_and_it_says_so() {
    for wings in [1, 2, 4] {
        let fit = WearSpec::default().fit(&fleet(wings, &[0.0, 40.0, 90.0], 12, noisy(1))).unwrap();
        finite(&fit);
        assert!(says(&fit, "few_wings"));
        assert!(fit.spread().iter().all(|spread| spread.group != "wing"));
    }
    let fit = WearSpec::default().fit(&fleet(5, &[0.0, 40.0, 90.0], 12, noisy(1))).unwrap();
    assert!(!says(&fit, "few_wings"));
}

#[test]
fn one_check_per_wing_leaves_line_and_reading_and_wing_and_check_together() {
    let fit = WearSpec::default().fit(&fleet(8, &[60.0], 12, noisy(2))).unwrap();
    finite(&fit);
    assert_eq!(fit.diagnostics().iter().filter(|d| d.code == "not_separable").count(), 2);
    assert!(fit.spread().iter().all(|spread| spread.group != "line" && spread.group != "check"));
}

#[test]
fn one_line_is_a_model_too() {
    let fit = WearSpec::default().fit(&fleet(6, &[10.0, 50.0, 120.0], 1, noisy(3))).unwrap();
    finite(&fit);
    let rate = fit.terms().iter().find(|term| term.term == "rate:uhmwpe:A").unwrap();
    assert!(rate.lower < -0.5 && -0.5 < rate.upper, "{rate:?}");
}

#[test]
fn readings_that_are_all_equal_have_no_spread_and_are_refused_with_the_reason() {
    let error = WearSpec::default().fit(&fleet(6, &[10.0, 50.0], 6, |_, _, _| 0.0)).unwrap_err();
    assert!(error.to_string().contains("no spread to estimate"), "{error}");
}

#[test]
fn checks_at_the_same_hours_drop_what_they_cannot_tell() {
    // all at 50 h: a rate in a row and the offset are one, but rows differ in length; at 0 h there is no wear at all
    let fit = WearSpec::default().fit(&fleet(6, &[50.0, 50.0], 12, noisy(4))).unwrap();
    finite(&fit);
    let none = WearSpec::default().fit(&fleet(6, &[0.0, 0.0], 12, noisy(5))).unwrap();
    finite(&none);
    assert_eq!(none.terms().len(), 1);
    assert!(none.dropped_terms().iter().any(|term| term == "rate:uhmwpe:A"));
    assert!(says(&none, "dropped_term"));
}

#[test]
fn of_a_wing_with_hundreds_of_checks_some_are_fitted_and_it_is_said() {
    let hours: Vec<f64> = (0..150).map(|k| f64::from(k) * 2.0).collect();
    let spec = WearSpec::default().shape(Shape::LINEAR);
    let fit = spec.fit(&fleet(1, &hours, 6, noisy(6))).unwrap();
    finite(&fit);
    assert!(!says(&fit, "checks_left_out"));
    let hours: Vec<f64> = (0..1501).map(|k| f64::from(k) * 0.2).collect();
    let long = fleet(1, &hours, 6, noisy(6));
    let fit = spec.fit(&long).unwrap();
    finite(&fit);
    assert!(says(&fit, "checks_left_out"));
    let told = fit.diagnostics().iter().find(|one| one.code == "checks_left_out").unwrap();
    assert!(told.message.contains("wing `W0` has 1501 checks"), "{}", told.message);
    // 200 checks of so many lines
    let lines = long.line_sets()[0].lines().len();
    assert_eq!((fit.checks(), fit.readings()), (200, 200 * 2 * lines));
    // the same rate as of all of them: it was put in
    let (all, some) = (Reduction::new(&long, &[]).unwrap(), fit.residuals(&Reduction::new(&long, &[]).unwrap()));
    assert!(some.is_ok(), "{some:?}");
    assert_eq!(all.readings(), 1501 * 2 * lines);
    let due = linedrift::forecast::DueSpec::default().draws(50).run(&long, &fit).unwrap();
    assert_eq!(due.rows().len(), 1);
}

#[test]
fn nothing_to_fit_and_too_little_to_fit_are_errors_that_say_so() {
    assert_eq!(WearSpec::default().fit(&Fleet::default()), Err(WearError::NoReadings));
    let one = fleet(1, &[10.0], 1, noisy(7));
    let mut histories = one.histories().to_vec();
    histories[0].checks[0].readings.truncate(1);
    let single = Fleet::new(one.line_sets().to_vec(), histories).unwrap();
    let error = WearSpec::default().fit(&single).unwrap_err().to_string();
    assert!(error.contains("readings"), "{error}");
    let scale = WearSpec::default().shape(Shape::Log { scale_h: -1.0 }).fit(&one);
    assert_eq!(scale, Err(WearError::Scale { got: -1.0 }));
}

#[test]
fn every_option_survives_small_fleets() {
    for wings in [2, 6] {
        for hours in [&[30.0][..], &[0.0, 80.0], &[5.0, 5.0, 5.0], &[1.0, 2.0, 400.0]] {
            let fleet = fleet(wings, hours, 9, noisy(8));
            for effects in [WingEffects::Rate, WingEffects::RateRow] {
                for shape in [ShapeChoice::Given(Shape::LINEAR), ShapeChoice::Auto] {
                    match WearSpec::default().wing_effects(effects).shape(shape).fit(&fleet) {
                        Ok(fit) => finite(&fit),
                        Err(error) => panic!("{wings} wings at {hours:?} h, {effects:?}, {shape:?}: {error}"),
                    }
                }
            }
        }
    }
}
