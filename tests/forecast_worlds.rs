//! What accepted risks come to in worlds that are not the plainest model, with default options.
//!
//! Slow, and so by name only: `cargo test --release --no-default-features --test linedrift forecast_worlds -- --ignored --nocapture`.
//! `LINEDRIFT_FLEETS` says how many fleets a world gets (25). `docs/reliability.md` has the table and the command.

use linedrift::WearSpec;
use linedrift::forecast::{DueSpec, Reason};
use linedrift::simulate::FleetSpec;
use linedrift::wear::Shape;
use rayon::prelude::*;

use crate::forecast_first_season::true_crossing_h;

const WINGS: usize = 40;

fn worlds() -> [(&'static str, FleetSpec, Shape); 6] {
    let plain = || FleetSpec::default().wings(WINGS).years(3.0);
    let saturating = Shape::Saturating { scale_h: 60.0 };
    [
        ("plain", plain(), Shape::LINEAR),
        ("rows of a wing 0.15", plain().wing_row_spread(0.15), Shape::LINEAR),
        ("lines 0.2", plain().line_rate_spread(0.2), Shape::LINEAR),
        ("models 0.1", plain().model_rate_spread(0.1), Shape::LINEAR),
        ("saturating with 60 h", plain().shape(saturating), saturating),
        ("6 wings, rows 0.15", plain().wings(6).wing_row_spread(0.15), Shape::LINEAR),
    ]
}

/// Wings that were sent out.
#[derive(Debug, Default, Clone, Copy)]
struct Seen {
    wings: usize,
    crossed: usize,
    /// Sum of the chances that were said.
    said: f64,
}

fn season(spec: &FleetSpec, shape: Shape, seed: u64) -> Seen {
    let made = spec.clone().seed(seed).run().unwrap();
    let fit = WearSpec::default().fit(&made.fleet).unwrap();
    let table = DueSpec::default().draws(1000).run(&made.fleet, &fit).unwrap();
    let mut seen = Seen::default();
    for history in made.fleet.histories().iter().filter(|history| !history.checks.is_empty()) {
        let (row, detail) = (table.wing(&history.wing.id).unwrap(), table.detail(&history.wing.id).unwrap());
        let Some(said) = detail.risk_at_due.filter(|_| row.reason != Reason::AlreadyOver) else { continue };
        let crossing = true_crossing_h(&made.fleet, &made, history, shape);
        seen.wings += 1;
        seen.crossed += usize::from(crossing.is_some_and(|hours_h| hours_h <= row.due_hours));
        seen.said += said;
    }
    seen
}

#[test]
#[ignore = "slow: fits fleets of six worlds"]
fn slow_accepted_risks_hold_in_every_world() {
    let fleets: u64 = std::env::var("LINEDRIFT_FLEETS").ok().and_then(|text| text.parse().ok()).unwrap_or(25);
    let mut failed = Vec::new();
    println!("| world | wings sent out | crossed | said |");
    for (name, spec, shape) in worlds() {
        let all: Vec<Seen> = (0..fleets).into_par_iter().map(|seed| season(&spec, shape, 700 + seed)).collect();
        let sum = all.iter().fold(Seen::default(), |sum, one| Seen {
            wings: sum.wings + one.wings,
            crossed: sum.crossed + one.crossed,
            said: sum.said + one.said,
        });
        let n = sum.wings as f64;
        let (crossed, said) = (sum.crossed as f64 / n, sum.said / n);
        println!("| {name} | {} | {:.1} % | {:.1} % |", sum.wings, 100.0 * crossed, 100.0 * said);
        // wings of a fleet share its rates: the error is that between fleets
        let apart: Vec<f64> = all.iter().map(|one| one.crossed as f64 - one.said).collect();
        let error = apart.iter().map(|apart| apart * apart).sum::<f64>().sqrt() / n;
        if crossed > said + 0.02 + 3.0 * error {
            failed.push(name);
        }
    }
    assert!(failed.is_empty(), "{failed:?}");
}
