//! What to adjust on one wing, and the lengths to expect after each step.
//!
//! `cargo run --example plan_a_wing`: the wing is invented.

#![allow(clippy::print_stdout, reason = "an example prints what it finds")]

use linedrift::plan::PlanSpec;
use linedrift::simulate::FleetSpec;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let fleet = FleetSpec::default().wings(8).seed(7).run()?.fleet;
    let history = fleet.history("W05").ok_or("no such wing")?;
    let check = history.checks.last().ok_or("no check")?;
    let plan = PlanSpec::default().run(fleet.line_set(history), history, check, &[])?;
    println!("{plan}");
    for step in plan.sequence() {
        println!("{step}");
    }
    println!("A qualified workshop does or checks the work; the maker's manual comes first.");
    Ok(())
}
