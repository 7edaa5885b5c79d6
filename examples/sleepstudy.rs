//! A classic: reaction times over days without sleep (Belenky and others, J. Sleep Res. 12, 2003), with an offset and a slope for
//! each subject.
//!
//! `cargo run --example sleepstudy`

#![allow(clippy::print_stdout, reason = "an example prints what it finds")]

use linedrift::stats::mixed::{DataTable, MixedModelSpec};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let (mut reaction, mut days, mut subject) = (Vec::new(), Vec::new(), Vec::new());
    for line in include_str!("../tests/data/lmm/sleepstudy.csv").lines().skip(1) {
        let mut cells = line.split(',');
        reaction.push(cells.next().ok_or("no reaction")?.parse::<f64>()?);
        days.push(cells.next().ok_or("no day")?.parse::<f64>()?);
        subject.push(cells.next().ok_or("no subject")?.to_owned());
    }
    let table = DataTable::default().number("Reaction", reaction)?.number("Days", days)?.text("Subject", subject)?;

    let model = MixedModelSpec::new("Reaction").fixed("Days").random("Subject", ["1", "Days"]);
    let fit = model.fit(&table)?;
    println!("{fit}");

    // a likelihood-ratio test of the slopes' spread
    let offsets = MixedModelSpec::new("Reaction").fixed("Days").random("Subject", ["1"]).fit(&table)?;
    println!("{:?}\n", fit.likelihood_ratio(&offsets)?);

    // after nine days: the mean of all people, a person known, and one never seen
    println!("{:?}\n", fit.contrast("after 9 days", &[("(intercept)", 1.0), ("Days", 9.0)])?);
    let people = DataTable::default().number("Days", [9.0, 9.0])?.text("Subject", ["308", "somebody else"])?;
    for row in fit.predict(&people, 0.95)? {
        println!("{row:?}");
    }

    for row in fit.bootstrap(200, 1)?.rows() {
        println!("{:<26} {:>9.3}   95 % {:>9.3} … {:>9.3}", row.parameter, row.estimate, row.lower, row.upper);
    }
    Ok(())
}
