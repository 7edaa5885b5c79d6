//! How fast the lines of a fleet drift, and when each wing is due.
//!
//! `cargo run --example wear_and_due`: the fleet is invented.

#![allow(clippy::print_stdout, reason = "an example prints what it finds")]

use linedrift::simulate::FleetSpec;
use linedrift::{DueSpec, WearSpec};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let fleet = FleetSpec::default().wings(16).seed(7).run()?.fleet;
    let fit = WearSpec::default().fit(&fleet)?;
    println!("{fit}");
    println!("{}", DueSpec::default().draws(1000).run(&fleet, &fit)?);
    Ok(())
}
