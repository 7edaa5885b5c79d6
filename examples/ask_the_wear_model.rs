//! Questions of materials: contrasts, other models, and how many wings an answer needs.
//!
//! `cargo run --example ask_the_wear_model`: the fleet is invented, so the truth is known.

#![allow(clippy::print_stdout, reason = "an example prints what it finds")]

use linedrift::simulate::{FleetSpec, PowerSpec};
use linedrift::wear::{Alternative, ContrastSpec, Pairs, Reduction, Shape, WearSpec};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let made = FleetSpec::default().wings(24).seed(3).run()?;
    let reduction = Reduction::new(&made.fleet, &[])?;
    let model = WearSpec::default().shape(Shape::LINEAR);
    let fit = model.fit_reduced(&reduction)?;

    // does the rear row shrink more than the front one, and by how much at 200 hours?
    let set = &made.fleet.line_sets()[0];
    let at_200 = format!("drift:{0}:A@200 - drift:{0}:B@200", set.model());
    let asked = ContrastSpec::default().contrast("uhmwpe:C - uhmwpe:A").contrast("uhmwpe - lcp").contrast(at_200);
    println!("{}", asked.pairs(Pairs::Rows).run(&fit, made.fleet.line_sets())?);

    // is a simpler or a richer model enough?
    let others = ["terms=rate", "wing-effects=rate+row", "shape=log"];
    let others = others.iter().map(|text| Alternative::parse(&model, text)).collect::<Result<Vec<_>, _>>()?;
    for row in model.compare(&others, &reduction)? {
        println!("{:<24} AIC {:>10.1}  weight {:.3}", row.change, row.aic, row.weight);
    }

    // how many wings would show a difference of 0.05 mm/m between two rows?
    let truth = FleetSpec::default().rate("uhmwpe", linedrift::Row::C, -0.60);
    println!("\n{}", PowerSpec::new("uhmwpe:C - uhmwpe:B").fleet(truth).wings([6, 12, 24]).replicates(40).run()?);
    Ok(())
}
