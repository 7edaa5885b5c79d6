//! Inner slopes and shared effects against lme4 (`tests/data/further-terms`: data, script, fits, versions).
//!
//! Deviances agree to 1e-4 (lme4's optimiser stops that far from the bottom), estimates and standard errors to 1e-3 of a standard
//! error, spreads to 1e-3.

use std::collections::BTreeMap;

use linedrift::stats::mixed::{
    Block, BlockBuilder, Covariance, Criterion, InnerSlope, MixedFit, MixedSpec, Objective, OuterTerm, Readings,
    SharedTerm, Structure,
};

use crate::support::Table;

const ROWS: [&str; 3] = ["A", "B", "C"];
const MODELS: [&str; 4] = ["m1", "m2", "m3", "m4"];

fn structure(slopes: bool, by_row: bool, shared: bool) -> Structure {
    let term = |name: &str, width| OuterTerm { name: name.to_owned(), width, covariance: Covariance::Full };
    let mut outer = vec![term("check", 1), term("wing", 2)];
    outer.extend(by_row.then(|| term("wing:row", 1)));
    Structure {
        inner: Some("line".to_owned()),
        outer,
        fixed: ["offset", "A", "B", "C"].map(str::to_owned).to_vec(),
        inner_slope: slopes.then(|| "line".to_owned()),
        shared: if shared { vec![SharedTerm { name: "model".to_owned(), levels: 12 }] } else { Vec::new() },
    }
}

fn place(names: &mut Vec<String>, name: &str) -> usize {
    names.iter().position(|known| known == name).unwrap_or_else(|| {
        names.push(name.to_owned());
        names.len() - 1
    })
}

fn blocks(structure: &Structure) -> Vec<Block> {
    let table = Table::read("further-terms/readings.csv");
    let mut wings: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    for row in 0..table.rows() {
        wings.entry(table.text(row, "wing").to_owned()).or_default().push(row);
    }
    let by_row = structure.outer.len() > 2;
    wings
        .values()
        .map(|rows| {
            let copies = if by_row { vec![4, 1, 3] } else { vec![4, 1] };
            let mut builder = BlockBuilder::new(structure, &copies);
            let (mut lines, mut checks) = (Vec::new(), Vec::new());
            for &row in rows {
                let (x, y) = (table.number(row, "x"), table.number(row, "y"));
                let of = ROWS.iter().position(|name| *name == table.text(row, "row")).unwrap();
                let model = MODELS.iter().position(|name| *name == table.text(row, "model")).unwrap();
                let check = place(&mut checks, table.text(row, "check"));
                let mut entries = vec![
                    (builder.outer_column(structure, 0, check, 0), 1.0),
                    (builder.outer_column(structure, 1, 0, 0), 1.0),
                    (builder.outer_column(structure, 1, 0, 1), x),
                    (builder.fixed_column(0), 1.0),
                    (builder.fixed_column(1 + of), x),
                ];
                if by_row {
                    entries.push((builder.outer_column(structure, 2, of, 0), x));
                }
                if !structure.shared.is_empty() {
                    entries.push((builder.shared_column(3 * model + of), x));
                }
                let line = place(&mut lines, table.text(row, "line"));
                if structure.inner_slope.is_some() {
                    let readings = Readings { count: 1.0, sum: y, sum_of_squares: y * y, weight: 1.0 };
                    builder.add_sloped(line, InnerSlope { unit: line, x }, &entries, readings);
                } else {
                    builder.add(Some(line), &entries, 1.0, y, y * y);
                }
            }
            builder.finish()
        })
        .collect()
}

fn fit(model: &str, criterion: Criterion) -> MixedFit {
    let structure = structure(model != "model", model == "full", model != "line");
    MixedSpec::default().criterion(criterion).fit(&structure, &blocks(&structure)).unwrap()
}

#[test]
fn rates_of_lines_and_of_models_are_lme4s() {
    let known = Table::read("further-terms/lme4.csv");
    for row in 0..known.rows() {
        let (model, criterion) = (known.text(row, "model"), known.text(row, "criterion"));
        let fit = fit(model, if criterion == "reml" { Criterion::Reml } else { Criterion::Ml });
        let at = |column: &str| known.text(row, column).trim().parse::<f64>().ok();
        let close = |column: &str, found: Option<f64>, tolerance: f64| {
            if let Some(wanted) = at(column) {
                let found = found.unwrap();
                assert!((found - wanted).abs() < tolerance, "{model} {criterion} {column}: {found} {wanted}");
            }
        };
        close("deviance", Some(fit.deviance()), 1e-4);
        close("sigma", Some(fit.sigma()), 1e-3);
        close("line", fit.inner_sd(), 1e-3);
        close("line_rate", fit.inner_slope_sd(), 1e-3);
        close("model_rate", fit.shared_sd().first().copied(), 1e-3);
        close("check", Some(fit.outer()[0].sd[0]), 1e-3);
        // with all terms the deviance is that flat in the wing's spread
        close("wing", Some(fit.outer()[1].sd[0]), if model == "full" { 5e-3 } else { 1e-3 });
        if model != "full" {
            close("wing_rate", Some(fit.outer()[1].sd[1]), 1e-3);
        }
        for (k, term) in ["0", "A", "B", "C"].into_iter().enumerate() {
            let se = at(&format!("se{term}")).unwrap();
            close(&format!("beta{term}"), Some(fit.fixed()[k].estimate), 1e-3 * se);
            close(&format!("se{term}"), Some(fit.fixed()[k].se), 1e-3 * se);
        }
    }
}

#[test]
fn what_is_predicted_of_models_is_lme4s_and_knows_few_models() {
    let known = Table::read("further-terms/lme4-model-effects.csv");
    let fit = fit("full", Criterion::Reml);
    for row in 0..known.rows() {
        let (model, of) = known.text(row, "level").split_once(':').unwrap();
        let place = |names: &[&str], name: &str| names.iter().position(|known| *known == name).unwrap();
        let found = fit.shared_effects()[3 * place(&MODELS, model) + place(&ROWS, of)];
        let wanted: f64 = known.text(row, "effect").trim().parse().unwrap();
        assert!((found - wanted).abs() < 2e-3, "{model} {of} {found} {wanted}");
    }
    // four models by three rows say what models differ by: no rate can have the degrees of freedom of 14 wings
    for effect in &fit.fixed()[1..] {
        assert!(effect.freedom < 20.0, "{effect:?}");
    }
}

#[test]
fn the_gradient_is_that_of_the_criterion() {
    for (slopes, by_row, shared) in [(true, false, false), (false, false, true), (true, true, true)] {
        let structure = structure(slopes, by_row, shared);
        let blocks = blocks(&structure);
        let n = structure.parameters();
        let theta: Vec<f64> = (0..n).map(|k| 0.4 + 0.13 * f64::from(u32::try_from(k).unwrap())).collect();
        for criterion in [Criterion::Reml, Criterion::Ml] {
            let objective = Objective::new(&structure, &blocks, criterion);
            let gradient = objective.gradient(&theta).unwrap();
            for k in 0..n {
                let at = |step: f64| {
                    let mut theta = theta.clone();
                    theta[k] += step;
                    objective.profile(&theta).unwrap().deviance
                };
                let difference = (at(1e-5) - at(-1e-5)) / 2e-5;
                assert!(
                    (gradient[k] - difference).abs() < 1e-5 * (1.0 + difference.abs()) * 10.0,
                    "{k} of {n}, {criterion:?}: {} {difference}",
                    gradient[k]
                );
            }
        }
    }
}

#[test]
fn a_ratio_of_zero_is_the_model_without_the_term() {
    let (with, without) = (structure(true, false, true), structure(false, false, false));
    let (large, small) = (blocks(&with), blocks(&without));
    let plain = [1.2, 0.7, 0.6, 0.05, 0.1];
    let further = [1.2, 0.0, 0.7, 0.6, 0.05, 0.1, 0.0];
    for criterion in [Criterion::Reml, Criterion::Ml] {
        let a = Objective::new(&without, &small, criterion).profile(&plain).unwrap();
        let b = Objective::new(&with, &large, criterion).profile(&further).unwrap();
        assert!((a.deviance - b.deviance).abs() < 1e-8, "{} {}", a.deviance, b.deviance);
        assert!(a.beta.iter().zip(&b.beta[12..]).all(|(a, b)| (a - b).abs() < 1e-9));
    }
}
