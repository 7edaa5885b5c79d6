//! Two classics: all pairs of factor levels in a split-plot design (Cochran and Cox, Experimental Designs, 1957), and two crossed
//! groupings (Davies and Goldsmith, Statistical Methods in Research and Production, 1972).
//!
//! `cargo run --example cake_and_penicillin`

#![allow(clippy::print_stdout, reason = "an example prints what it finds")]

use linedrift::stats::mixed::{DataTable, MixedModelSpec};

/// The cells of one column of a small CSV.
fn column<'a>(text: &'a str, name: &str) -> Result<Vec<&'a str>, String> {
    let mut lines = text.lines();
    let at = lines.next().and_then(|head| head.split(',').position(|cell| cell == name)).ok_or(name)?;
    Ok(lines.filter_map(|line| line.split(',').nth(at)).collect())
}

fn numbers(text: &str, name: &str) -> Result<Vec<f64>, Box<dyn std::error::Error>> {
    Ok(column(text, name)?.into_iter().map(str::parse).collect::<Result<_, _>>()?)
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let cake = include_str!("../tests/data/lmm/cake.csv");
    let table = DataTable::default()
        .number("angle", numbers(cake, "angle")?)?
        .number("temp", numbers(cake, "temp")?)?
        .text("recipe", column(cake, "recipe")?)?
        .text("replicate", column(cake, "replicate")?)?;
    let model = MixedModelSpec::new("angle").fixed("recipe").fixed("temp").categorical("temp");
    let fit = model.random("recipe:replicate", ["1"]).fit(&table)?;
    println!("{fit}");
    for row in fit.pairs("temp")? {
        let p = row.simultaneous.and_then(|all| all.p).unwrap_or(1.0);
        println!(
            "{:<12} {:>+8.3} se {:.3}, df {:.1}, p adjusted for all pairs {p:.4}",
            row.contrast, row.estimate, row.se, row.df
        );
    }

    let penicillin = include_str!("../tests/data/lmm/penicillin.csv");
    let table = DataTable::default()
        .number("diameter", numbers(penicillin, "diameter")?)?
        .text("plate", column(penicillin, "plate")?)?
        .text("sample", column(penicillin, "sample")?)?;
    println!("\n{}", MixedModelSpec::new("diameter").random("plate", ["1"]).random("sample", ["1"]).fit(&table)?);
    Ok(())
}
