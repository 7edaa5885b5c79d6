//! The linear regressions of NIST's Statistical Reference Datasets (read; public domain): the engine where nothing is random.
//! The tolerance is a log relative error as that collection uses it: 9 digits for norris, pontius and noint1, 8 for longley,
//! 7 for wampler3 and filip (exact algebra on powers rounded to double precision agrees with filip's to 7.6).

use linedrift::stats::mixed::{Block, BlockBuilder, Criterion, MixedDiagnostic, MixedError, MixedSpec, Structure};
use serde_json::Value;

use crate::support;

/// Columns of powers or of named variables.
enum Columns {
    Powers(i32),
    Named(&'static [&'static str]),
}

fn block(name: &str, columns: &Columns, intercept: bool) -> (Structure, Vec<Block>) {
    let table = support::Table::read(&format!("nist/{name}.csv"));
    let x_name = if table.has("x") { "x" } else { "x1" };
    let row = |row: usize| -> Vec<f64> {
        match columns {
            Columns::Powers(degree) => {
                (i32::from(!intercept)..=*degree).map(|k| table.number(row, x_name).powi(k)).collect()
            }
            Columns::Named(names) => {
                std::iter::once(1.0).chain(names.iter().map(|name| table.number(row, name))).collect()
            }
        }
    };
    let fixed = (0..row(0).len()).map(|k| format!("b{k}")).collect();
    let structure = Structure { inner: None, outer: Vec::new(), fixed, ..Structure::default() };
    let mut builder = BlockBuilder::new(&structure, &[]);
    for r in 0..table.rows() {
        let entries: Vec<(usize, f64)> = row(r).into_iter().enumerate().collect();
        let y = table.number(r, "y");
        builder.add(None, &entries, 1.0, y, y * y);
    }
    (structure, vec![builder.finish()])
}

#[test]
fn certified_regressions_are_met() {
    let reference: Value = support::json("nist/linear.json");
    let longley = Columns::Named(&["x1", "x2", "x3", "x4", "x5", "x6"]);
    for (name, columns, intercept, digits) in [
        ("norris", Columns::Powers(1), true, [9.0, 9.0]),
        ("pontius", Columns::Powers(2), true, [9.0, 9.0]),
        ("noint1", Columns::Powers(1), false, [9.0, 9.0]),
        ("longley", longley, true, [8.0, 8.0]),
        ("wampler3", Columns::Powers(5), true, [7.0, 7.0]),
        ("filip", Columns::Powers(10), true, [7.0, 7.0]),
    ] {
        let (structure, blocks) = block(name, &columns, intercept);
        let fit = MixedSpec::default().criterion(Criterion::Reml).fit(&structure, &blocks).unwrap();
        let number = |key: &str, k: usize| -> f64 { reference[name][key][k].as_str().unwrap().parse().unwrap() };
        assert_eq!(fit.fixed().len(), reference[name]["beta"].as_array().unwrap().len(), "{name}");
        for (k, fixed) in fit.fixed().iter().enumerate() {
            let lre = |got: f64, want: f64| -((got - want) / want).abs().max(1e-16).log10();
            let (beta, se) = (lre(fixed.estimate, number("beta", k)), lre(fixed.se, number("se", k)));
            assert!(beta >= digits[0] && se >= digits[1], "{name} {k}: {beta:.1} and {se:.1} digits");
        }
    }
}

#[test]
fn columns_that_are_left_out_or_hardly_told_apart_are_said() {
    let (structure, blocks) = block("filip", &Columns::Powers(10), true);
    let fit = MixedSpec::default().fit(&structure, &blocks).unwrap();
    let said = [MixedDiagnostic::BadlyConditioned { column: "b10".to_owned(), digits: 8 }];
    assert_eq!(fit.diagnostics(), said);
    let (structure, blocks) = block("norris", &Columns::Powers(1), true);
    assert_eq!(MixedSpec::default().fit(&structure, &blocks).unwrap().diagnostics(), []);
    // the same column twice, and one that is the difference of two: whatever their size, only rounding is left of them
    let table = support::Table::read("nist/norris.csv");
    let fixed = ["one", "x", "tenth", "rest"].map(str::to_owned).to_vec();
    let structure = Structure { fixed, ..Structure::default() };
    let mut builder = BlockBuilder::new(&structure, &[]);
    for row in 0..table.rows() {
        let (x, y) = (table.number(row, "x"), table.number(row, "y"));
        builder.add(None, &[(0, 1.0), (1, x), (2, 1e-7 * x), (3, 1000.0 - 0.3 * x)], 1.0, y, y * y);
    }
    let fit = MixedSpec::default().fit(&structure, &[builder.finish()]).unwrap();
    let said = ["tenth", "rest"].map(|column| MixedDiagnostic::Dropped { column: column.to_owned() });
    assert_eq!(fit.diagnostics(), said);
    assert_eq!(fit.dropped(), ["tenth", "rest"]);
}

#[test]
fn an_exact_fit_is_refused_with_its_reason() {
    for name in ["wampler1", "wampler2"] {
        let (structure, blocks) = block(name, &Columns::Powers(5), true);
        let error = MixedSpec::default().fit(&structure, &blocks).unwrap_err();
        assert_eq!(error, MixedError::NoVariation { observations: 21 }, "{name}");
    }
}
