//! The wear model against lme4 1.1-31 (R 4.2.2) on two invented fleets; the fits are in `tests/data/*/lme4.json` (read).
//!
//! Tolerances: deviance 1e-7 relative, as both optimisers stop within that of the optimum, and a lower one is right;
//! estimates and standard errors 1e-3 of a standard error and spreads 1e-3, as that is how far a deviance that flat leaves
//! lme4's own θ undecided. Spreads at zero and correlations at ±1 are compared absolutely.

use linedrift::wear::{Shape, TermsOption, WearFit, WearSpec, WingEffects};
use serde_json::Value;

use crate::{reference_fleet, support};

fn fits(name: &str) {
    let fleet = reference_fleet::read(name);
    let reference: Value = support::json(&format!("{name}/lme4.json"));
    let fits = reference["fits"].as_array().unwrap();
    assert!(!fits.is_empty());
    for expected in fits {
        let scale_h = expected["scale_h"].as_f64().unwrap_or(f64::NAN);
        let shape = match expected["shape"].as_str().unwrap() {
            "linear" => Shape::LINEAR,
            "log" => Shape::Log { scale_h },
            "saturating" => Shape::Saturating { scale_h },
            other => panic!("{other}"),
        };
        let terms = match expected["terms_option"].as_str().unwrap() {
            "rate" => TermsOption::Rate,
            _ => TermsOption::RateSpan,
        };
        let effects = match expected["wing_effects"].as_str().unwrap() {
            "rate" => WingEffects::Rate,
            _ => WingEffects::RateRow,
        };
        let fit = WearSpec::default().shape(shape).terms(terms).wing_effects(effects).fit(&fleet).unwrap();
        compare(&fit, expected, &format!("{name} {}, {}, {}", shape.name(), text(&terms), text(&effects)));
    }
}

/// An option by its name.
fn text(option: &impl serde::Serialize) -> String {
    serde_json::to_value(option).unwrap().as_str().unwrap().to_owned()
}

fn compare(fit: &WearFit, expected: &Value, label: &str) {
    let number = |value: &Value| value.as_f64().unwrap();
    assert!(fit.converged(), "{label}");
    assert_eq!(fit.readings() as f64, number(&expected["readings"]), "{label}");
    assert_eq!(fit.restarted_lines() as f64, number(&expected["restarted"]), "{label}");
    let deviance = number(&expected["deviance"]);
    let off = (fit.deviance() - deviance) / deviance;
    assert!(off > -1e-7, "{label}: a deviance so much lower wants a look: {off:+.1e}");
    assert!(off < 1e-7, "{label}: {} against {deviance}", fit.deviance());
    let mut furthest: [f64; 3] = [0.0; 3];
    let terms = expected["terms"].as_array().unwrap();
    assert_eq!(terms.len(), fit.terms().len(), "{label}");
    for term in terms {
        let ours = fit.terms().iter().find(|ours| ours.term == term["term"].as_str().unwrap()).unwrap();
        let (estimate, se) = (number(&term["estimate"]), number(&term["se"]));
        assert!((ours.estimate - estimate).abs() < 1e-3 * se, "{label}: {ours:?} against {estimate}");
        assert!((ours.se / se - 1.0).abs() < 1e-3, "{label}: {ours:?} against {se}");
        furthest[0] = furthest[0].max((ours.estimate - estimate).abs() / se);
        furthest[1] = furthest[1].max((ours.se / se - 1.0).abs());
    }
    for spread in expected["spread"].as_array().unwrap() {
        let ours = fit
            .spread()
            .iter()
            .find(|ours| ours.group == spread["group"] && ours.effect == spread["effect"])
            .unwrap_or_else(|| panic!("{label}: no {spread}"));
        if let Some(correlation) = spread["correlation"].as_f64() {
            assert!(
                (ours.correlation.unwrap() - correlation).abs() < 1e-3,
                "{label}: {ours:?} against {correlation}"
            );
        } else {
            let sd = number(&spread["sd"]);
            let tolerance = if sd == 0.0 { 1e-3 } else { 1e-3 * sd };
            assert!((ours.sd.unwrap() - sd).abs() <= tolerance, "{label}: {ours:?} against {sd}");
            if sd != 0.0 {
                furthest[2] = furthest[2].max((ours.sd.unwrap() / sd - 1.0).abs());
            }
        }
    }
    let [estimates, errors, spreads] = furthest;
    eprintln!("| {label} | {:.0e} | {estimates:.0e} | {errors:.0e} | {spreads:.0e} |", off.abs());
}

#[test]
fn agrees_with_lme4_on_a_fleet_of_60_wings() {
    fits("fleet-60");
}

#[test]
fn agrees_with_lme4_on_adjusted_wings() {
    fits("fleet-adjusted");
}
