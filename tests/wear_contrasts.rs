//! Contrasts of the wear model against lme4 with lmerTest on an invented fleet (`tests/data/contrasts`, read), and on fleets with a
//! planted truth.
//!
//! Tolerances: estimates 1e-3 of a standard error and standard errors 1e-3, as in `wear_lme4.rs`; degrees of freedom 1 %, as the other
//! side differentiates twice numerically.

use linedrift::check::Fleet;
use linedrift::simulate::FleetSpec;
use linedrift::wear::{
    Alternative, ContrastSpec, Pairs, Reduction, Shape, TermsOption, WearContrast, WearError, WearFit, WearSpec,
};
use serde_json::Value;

use crate::{reference_fleet, support};

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

fn agree(ours: &WearContrast, theirs: &Value) {
    let (ours, se) = (&ours.row, number(&theirs["se"]));
    assert!((ours.estimate - number(&theirs["estimate"])).abs() < 1e-3 * se, "{ours:?} against {theirs}");
    assert!((ours.se / se - 1.0).abs() < 1e-3, "{ours:?} against {theirs}");
    assert!((ours.df / number(&theirs["df"]) - 1.0).abs() < 1e-2, "{ours:?} against {theirs}");
    assert!((ours.lower - number(&theirs["lower"])).abs() < 3e-3 * se, "{ours:?} against {theirs}");
    let p = number(&theirs["p"]);
    assert!((ours.p.unwrap() - p).abs() <= 0.02 * p + 1e-300, "{ours:?} against {theirs}");
}

#[test]
fn contrasts_of_rates_and_drifts_agree_with_lme4() {
    let reference = support::json("contrasts/contrasts.json");
    let fleet = reference_fleet::read("fleet-60");
    let fit = WearSpec::default().shape(Shape::LINEAR).terms(TermsOption::Rate).fit(&fleet).unwrap();
    let all = |key: &str| reference["fleet"][key].as_array().unwrap();
    let mut spec = ContrastSpec::default();
    for theirs in all("contrasts").iter().chain(all("drift")) {
        spec = spec.contrast(theirs["contrast"].as_str().unwrap());
    }
    let found = spec.run(&fit, fleet.line_sets()).unwrap();
    for (ours, theirs) in found.rows().iter().zip(all("contrasts").iter().chain(all("drift"))) {
        agree(ours, theirs);
    }
    let units: Vec<&str> = found.rows().iter().map(|row| row.unit.as_str()).collect();
    assert_eq!(units, ["mm/m", "mm/m", "mm/m", "mm/m", "mm", "mm"]);
    assert!(found.rows()[2].row.contrast.ends_with("(rows A B)"), "{found}");
    for (pairs, key) in [(Pairs::Materials, "materials"), (Pairs::Rows, "rows")] {
        let found = ContrastSpec::default().pairs(pairs).run(&fit, &[]).unwrap();
        assert_eq!(found.rows().len(), all(key).len(), "{key}");
        for theirs in all(key) {
            // in either direction
            let weights = theirs["weights"].as_object().unwrap();
            let named = |sign: f64| {
                weights.iter().find(|(_, w)| number(w) == sign).unwrap().0.trim_start_matches("rate:").to_owned()
            };
            let (a, b) = (named(1.0), named(-1.0));
            let straight = format!("{a} - {b}");
            let turned = format!("{b} - {a}");
            let ours = found.rows().iter().find(|row| [&straight, &turned].contains(&&row.row.contrast)).unwrap();
            let sign = if ours.row.contrast == straight { 1.0 } else { -1.0 };
            let se = number(&theirs["se"]);
            assert!((sign * ours.row.estimate - number(&theirs["estimate"])).abs() < 1e-3 * se, "{theirs}");
            assert!((ours.row.se / se - 1.0).abs() < 1e-3 && ours.row.simultaneous.is_some(), "{theirs}");
        }
    }
}

fn fleet(seed: u64) -> Fleet {
    FleetSpec::default().wings(12).seed(seed).run().unwrap().fleet
}

fn plain() -> WearSpec {
    WearSpec::default().shape(Shape::LINEAR)
}

fn fitted(fleet: &Fleet) -> WearFit {
    plain().fit(fleet).unwrap()
}

#[test]
fn a_contrast_of_one_term_is_that_term() {
    let fleet = fleet(4);
    let fit = fitted(&fleet);
    for term in fit.terms() {
        let found = ContrastSpec::default().contrast(&term.term).run(&fit, fleet.line_sets()).unwrap();
        let row = &found.rows()[0].row;
        assert!((row.lower - term.lower).abs() < 1e-9 && (row.upper - term.upper).abs() < 1e-9);
        assert_eq!(row.df, term.df);
        // far out both come to zero in their own way
        assert!((row.p.unwrap() - term.p).abs() < 1e-9, "{row:?} {term:?}");
        assert!((row.estimate - term.estimate).abs() < 1e-12);
        assert!(row.simultaneous.is_none());
    }
}

#[test]
fn hours_and_signs_do_what_they_say() {
    let fleet = fleet(4);
    let fit = fitted(&fleet);
    let model = fleet.line_sets()[0].model().to_owned();
    let ask = |text: String| {
        ContrastSpec::default().contrast(text).run(&fit, fleet.line_sets()).map(|a| a.rows()[0].clone())
    };
    let at = |hours: &str| ask(format!("drift:{model}:A{hours}")).unwrap().row;
    assert!((at("@200").estimate - 2.0 * at("").estimate).abs() < 1e-12);
    assert!((at("@200 h").se - 2.0 * at("@100").se).abs() < 1e-12);
    assert_eq!(at("@0").p, None);
    let turned = ask(format!("-1*drift:{model}:A")).unwrap().row;
    assert_eq!(turned.estimate, -at("").estimate);
    for wrong in ["rate:straw:C", "uhmwpe:C - ", "uhmwpe:C + offset", "drift:nobody:C", "uhmwpe:C@x", "3", ""] {
        let error = ask(wrong.to_owned()).unwrap_err();
        assert!(matches!(error, WearError::Contrast { .. }), "{wrong}: {error}");
    }
}

#[test]
fn pairs_hold_together_and_are_wider_than_each_alone() {
    let fleet = fleet(4);
    let fit = fitted(&fleet);
    let found = ContrastSpec::default().pairs(Pairs::Rates).run(&fit, &[]).unwrap();
    for row in found.rows().iter().map(|row| &row.row) {
        let all = row.simultaneous.unwrap();
        assert!(all.lower < row.lower && row.upper < all.upper);
        assert!(all.p.unwrap() >= row.p.unwrap());
        assert_eq!(all.family, found.rows().len());
    }
    assert_eq!(found, ContrastSpec::default().pairs(Pairs::Rates).run(&fit, &[]).unwrap());
}

#[test]
fn models_are_compared_by_test_where_nested_and_by_criteria_anyway() {
    let fleet = fleet(4);
    let reduction = Reduction::new(&fleet, &[]).unwrap();
    let base = plain();
    let others: Vec<Alternative> =
        ["terms=rate", "wing-effects=rate+row", "shape=log", "offsets=model+row, terms=rate"]
            .iter()
            .map(|text| Alternative::parse(&base, text).unwrap())
            .collect();
    let found = base.compare(&others, &reduction).unwrap();
    let total: f64 = found.iter().map(|model| model.weight).sum();
    assert!((total - 1.0).abs() < 1e-12);
    assert!(found[0].test.is_none() && found[1].test.is_some() && found[2].test.is_some());
    // the time shapes are not within each other, nor is either of the last pair within the other
    assert!(found[3].test.is_none() && found[4].test.is_none(), "{found:?}");
    let spans = found[1].test.as_ref().unwrap();
    assert_eq!(found[0].parameters - found[1].parameters, spans.freedom);
    for model in &found {
        assert!((model.aic - model.deviance - 2.0 * model.parameters as f64).abs() < 1e-9);
    }
    assert!(Alternative::parse(&base, "terms=all").is_err() && Alternative::parse(&base, "scale-h=3").is_err());
}
