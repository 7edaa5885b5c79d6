//! Published mixed-model fits, as named in `tests/data/lmm/ORIGIN.md` (read: 60-digit optimisation of the criterion).
//! Tolerances: criterion 1e-9 relative; θ, fixed effects and standard errors 1e-6 relative, as the reference has more digits
//! than that and nothing but rounding and the optimiser's stop separates us from it; a θ of 0 below 1e-4.

use linedrift::stats::mixed::{
    Block, BlockBuilder, Covariance, Criterion, MixedFit, MixedSpec, Objective, OuterTerm, Structure,
};
use serde_json::Value;

use crate::support;

struct Case {
    name: &'static str,
    block: &'static str,
    inner: Option<&'static str>,
    outer: Vec<Term>,
    fixed: &'static [&'static str],
    response: &'static str,
}

/// An outer term: its slope columns beside the offset, and the grouping of its copies (`None`: one copy per block).
struct Term {
    slope: Option<&'static str>,
    copies: Option<&'static str>,
    covariance: Covariance,
}

fn offset() -> Vec<Term> {
    vec![Term { slope: None, copies: None, covariance: Covariance::Full }]
}

fn slope(column: &'static str, covariance: Covariance) -> Vec<Term> {
    vec![Term { slope: Some(column), copies: None, covariance }]
}

fn cases() -> Vec<Case> {
    let case = |name, block, inner, outer, fixed, response| Case { name, block, inner, outer, fixed, response };
    let by_sample = Term { slope: None, copies: Some("sample"), covariance: Covariance::Full };
    vec![
        case("dyestuff", "Batch", None, offset(), &[], "Yield"),
        case("dyestuff2", "Batch", None, offset(), &[], "Yield"),
        case("rail", "Rail", None, offset(), &[], "travel"),
        case("sleepstudy_int", "Subject", None, offset(), &["Days"], "Reaction"),
        case("sleepstudy_slope", "Subject", None, slope("Days", Covariance::Full), &["Days"], "Reaction"),
        case("sleepstudy_zerocorr", "Subject", None, slope("Days", Covariance::Diagonal), &["Days"], "Reaction"),
        case("pastes_nested", "batch", Some("sample"), offset(), &[], "strength"),
        case("penicillin", "", Some("plate"), vec![by_sample], &[], "diameter"),
        case(
            "orthodont_slope",
            "Subject",
            None,
            slope("age", Covariance::Full),
            &["age", "Sex=Male", "age*Sex=Male"],
            "distance",
        ),
        case("fatigue", "Path", None, slope("cycles", Covariance::Full), &["cycles"], "relLength"),
        case(
            "cake",
            "recipe*replicate",
            None,
            offset(),
            &["recipe=B", "recipe=C", "temp", "recipe=B*temp", "recipe=C*temp"],
            "angle",
        ),
    ]
}

/// A column, an indicator `column=value`, or a product of such.
fn value(table: &support::Table, row: usize, expression: &str) -> f64 {
    expression
        .split('*')
        .map(|part| match part.split_once('=') {
            Some((column, level)) => f64::from(u8::from(table.text(row, column) == level)),
            None => table.number(row, part),
        })
        .product()
}

fn key(table: &support::Table, row: usize, columns: &str) -> String {
    columns.split('*').filter(|c| !c.is_empty()).map(|c| table.text(row, c).to_owned() + "/").collect()
}

fn structure(case: &Case) -> Structure {
    Structure {
        inner: case.inner.map(str::to_owned),
        outer: case
            .outer
            .iter()
            .map(|term| OuterTerm {
                name: "outer".to_owned(),
                width: if term.slope.is_some() { 2 } else { 1 },
                covariance: term.covariance,
            })
            .collect(),
        fixed: std::iter::once("(Intercept)").chain(case.fixed.iter().copied()).map(str::to_owned).collect(),
        ..Structure::default()
    }
}

fn index(names: &mut Vec<String>, name: String) -> usize {
    names.iter().position(|known| *known == name).unwrap_or_else(|| {
        names.push(name);
        names.len() - 1
    })
}

fn blocks(case: &Case, table: &support::Table, scale: f64) -> Vec<Block> {
    let structure = structure(case);
    let mut names = Vec::new();
    let block_of: Vec<usize> = (0..table.rows()).map(|row| index(&mut names, key(table, row, case.block))).collect();
    (0..names.len())
        .map(|block| {
            let rows: Vec<usize> = (0..table.rows()).filter(|row| block_of[*row] == block).collect();
            let mut copy_names: Vec<Vec<String>> = case.outer.iter().map(|_| Vec::new()).collect();
            for &row in &rows {
                for (term, names) in case.outer.iter().zip(&mut copy_names) {
                    index(names, key(table, row, term.copies.unwrap_or("")));
                }
            }
            let copies: Vec<usize> = copy_names.iter().map(Vec::len).collect();
            let mut builder = BlockBuilder::new(&structure, &copies);
            let mut levels = Vec::new();
            for &row in &rows {
                let mut entries = Vec::new();
                for (t, term) in case.outer.iter().enumerate() {
                    let copy = index(&mut copy_names[t], key(table, row, term.copies.unwrap_or("")));
                    entries.push((builder.outer_column(&structure, t, copy, 0), 1.0));
                    if let Some(column) = term.slope {
                        entries.push((builder.outer_column(&structure, t, copy, 1), table.number(row, column)));
                    }
                }
                entries.push((builder.fixed_column(0), 1.0));
                for (k, expression) in case.fixed.iter().enumerate() {
                    entries.push((builder.fixed_column(k + 1), value(table, row, expression)));
                }
                // the builder wants each column once and in any order
                let y = table.number(row, case.response) * scale;
                let level = case.inner.map(|column| index(&mut levels, table.text(row, column).to_owned()));
                builder.add(level, &entries, 1.0, y, y * y);
            }
            builder.finish()
        })
        .collect()
}

fn fitted(case: &Case, criterion: Criterion) -> MixedFit {
    let table = support::Table::read(&format!("lmm/{}.csv", case.name.split('_').next().unwrap()));
    MixedSpec::default().criterion(criterion).fit(&structure(case), &blocks(case, &table, 1.0)).unwrap()
}

fn number(value: &Value) -> f64 {
    value.as_str().map_or_else(|| value.as_f64().unwrap(), |text| text.parse().unwrap())
}

#[test]
fn agrees_with_published_fits() {
    let reference: Value = support::json("lmm/reference.json");
    for case in cases() {
        for (name, criterion) in [("REML", Criterion::Reml), ("ML", Criterion::Ml)] {
            let fit = fitted(&case, criterion);
            let expected = &reference[case.name][name];
            let label = format!("{} {name}", case.name);
            let deviance = number(&expected["criterion"]);
            let mut furthest: [f64; 4] = [0.0; 4];
            furthest[0] = ((fit.deviance() - deviance) / deviance).abs();
            assert!(
                ((fit.deviance() - deviance) / deviance).abs() < 1e-9,
                "{label}: {} against {deviance}, {:?}",
                fit.deviance(),
                fit.minimum()
            );
            for (ours, theirs) in fit.theta().iter().zip(expected["theta"].as_array().unwrap()) {
                let theirs = number(theirs);
                let tolerance = if theirs == 0.0 { 1e-4 } else { 1e-6 * theirs.abs() };
                assert!((ours - theirs).abs() <= tolerance, "{label}: θ {ours} against {theirs}");
                if theirs != 0.0 {
                    furthest[1] = furthest[1].max(((ours - theirs) / theirs).abs());
                }
            }
            let sigma = number(&expected["sigma"]);
            assert!(((fit.sigma() - sigma) / sigma).abs() < 1e-6, "{label}: σ {} against {sigma}", fit.sigma());
            let beta: Vec<f64> = expected["beta"].as_object().unwrap().values().map(number).collect();
            let se: Vec<f64> = expected["se"].as_object().unwrap().values().map(number).collect();
            let names: Vec<&String> = expected["beta"].as_object().unwrap().keys().collect();
            for fixed in fit.fixed() {
                let name = fixed.name.replace('=', "").replace('*', ":");
                let k = names
                    .iter()
                    .position(|n| **n == name || **n == swapped(&name))
                    .unwrap_or_else(|| panic!("{name}"));
                assert!(((fixed.estimate - beta[k]) / beta[k]).abs() < 1e-6, "{label} {name}: {fixed:?}");
                assert!(((fixed.se - se[k]) / se[k]).abs() < 1e-6, "{label} {name}: {fixed:?} {}", se[k]);
                furthest[2] = furthest[2].max(((fixed.estimate - beta[k]) / beta[k]).abs());
                furthest[3] = furthest[3].max(((fixed.se - se[k]) / se[k]).abs());
            }
            let [criterion, theta, estimates, errors] = furthest;
            eprintln!("| {label} | {criterion:.0e} | {theta:.0e} | {estimates:.0e} | {errors:.0e} |");
        }
    }
}

fn swapped(name: &str) -> String {
    name.split_once(':').map_or_else(String::new, |(a, b)| format!("{b}:{a}"))
}

#[test]
fn singular_fits_converge_and_say_so() {
    use linedrift::stats::StopReason;
    use linedrift::stats::mixed::MixedDiagnostic as D;
    let all = cases();
    let named = |name| all.iter().find(|case| case.name == name).unwrap();
    let zero = fitted(named("dyestuff2"), Criterion::Reml);
    assert_eq!(zero.minimum().stop, StopReason::Converged);
    assert!(zero.diagnostics().contains(&D::ZeroSpread { term: "outer".to_owned(), effect: 0 }));
    let full = fitted(named("fatigue"), Criterion::Reml);
    assert_eq!(full.minimum().stop, StopReason::Converged);
    assert!(full.diagnostics().contains(&D::FullCorrelation { term: "outer".to_owned() }));
    assert!(full.outer()[0].correlation[1] < -0.99999);
}

#[test]
fn gradient_agrees_with_differences() {
    for case in cases() {
        let table = support::Table::read(&format!("lmm/{}.csv", case.name.split('_').next().unwrap()));
        let (structure, blocks) = (structure(&case), blocks(&case, &table, 1.0));
        for criterion in [Criterion::Reml, Criterion::Ml] {
            let objective = Objective::new(&structure, &blocks, criterion);
            let theta: Vec<f64> = (0..structure.parameters()).map(|k| 0.7 - 0.45 * k as f64).collect();
            let gradient = objective.gradient(&theta).unwrap();
            for k in 0..theta.len() {
                let at = |step: f64| {
                    let mut moved = theta.clone();
                    moved[k] += step;
                    objective.profile(&moved).unwrap().deviance
                };
                // fourth-order differences: error of the order of h⁴ and of rounding over h
                let h = 1e-3;
                let difference = (8.0 * (at(h) - at(-h)) - (at(2.0 * h) - at(-2.0 * h))) / (12.0 * h);
                let size = 1.0 + gradient.iter().fold(0.0_f64, |m, g| m.max(g.abs()));
                assert!(
                    (gradient[k] - difference).abs() < 1e-6 * size,
                    "{} {criterion:?} {k}: {} {difference}",
                    case.name,
                    gradient[k]
                );
            }
        }
    }
}

#[test]
fn rescaling_the_response_rescales_the_answer() {
    let all = cases();
    let case = all.iter().find(|case| case.name == "sleepstudy_slope").unwrap();
    let table = support::Table::read("lmm/sleepstudy.csv");
    let small = MixedSpec::default().fit(&structure(case), &blocks(case, &table, 1.0)).unwrap();
    let large = MixedSpec::default().fit(&structure(case), &blocks(case, &table, 1e6)).unwrap();
    assert!((large.sigma() / small.sigma() / 1e6 - 1.0).abs() < 1e-7);
    for (a, b) in small.fixed().iter().zip(large.fixed()) {
        assert!((b.estimate / a.estimate / 1e6 - 1.0).abs() < 1e-7);
        assert!((b.se / a.se / 1e6 - 1.0).abs() < 1e-7);
    }
}

#[test]
fn satterthwaite_freedom_is_that_of_the_balanced_design() {
    // derived: in these balanced designs the variances are those of mean squares with known degrees of freedom
    let all = cases();
    let named = |name| all.iter().find(|case| case.name == name).unwrap();
    // six batches: the mean of means has 5
    let dyestuff = fitted(named("dyestuff"), Criterion::Reml);
    assert!((dyestuff.fixed()[0].freedom - 5.0).abs() < 1e-3, "{:?}", dyestuff.fixed());
    // 18 subjects with their own lines: intercept and slope each have 17
    let sleep = fitted(named("sleepstudy_slope"), Criterion::Reml);
    for fixed in sleep.fixed() {
        assert!((fixed.freedom - 17.0).abs() < 1e-2, "{fixed:?}");
    }
    // random intercepts only: the slope is estimated within subjects, 180 − 18 − 1
    let within = fitted(named("sleepstudy_int"), Criterion::Reml);
    assert!((within.fixed()[1].freedom - 161.0).abs() < 0.1, "{:?}", within.fixed());
}
