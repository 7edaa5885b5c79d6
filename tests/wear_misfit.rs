//! What a fit says of what it has not: how often it is said for nothing, and how often where there is something.
//!
//! The table is slow and so by name only: `cargo test --release slow_misfit -- --ignored --nocapture`; `LINEDRIFT_FLEETS` says how
//! many fleets a world gets. `docs/reliability.md` has it.

use linedrift::{WearFit, WearSpec};
use rayon::prelude::*;

use crate::wear_worlds::{PLAIN, World, fleets, make};

/// Whether a fit says or has something.
type Said = fn(&WearFit) -> bool;

fn coded(fit: &WearFit, code: &str) -> bool {
    fit.diagnostics().iter().any(|diagnostic| diagnostic.code == code)
}

fn has(fit: &WearFit, term: &str) -> bool {
    fit.model().random.contains(&term)
}

const SAID: [(&str, Said); 8] = [
    ("rows", |fit| has(fit, "wing:row")),
    ("lines", |fit| has(fit, "line:rate")),
    ("models", |fit| has(fit, "model:material:row")),
    ("own shape", |fit| coded(fit, "own_shape")),
    ("one model", |fit| coded(fit, "one_model")),
    ("wander", |fit| coded(fit, "rows_wander")),
    ("tails", |fit| coded(fit, "heavy_tails")),
    ("undecided", |fit| coded(fit, "shape_undecided")),
];

/// By diagnostic: the share of fleets of a world in which it is said.
fn shares(world: &World, fleets: u64) -> Vec<f64> {
    let said: Vec<Vec<bool>> = (0..fleets)
        .into_par_iter()
        .map(|seed| {
            let fit = WearSpec::default().fit(&make(world, 5_000 + seed).fleet).unwrap();
            SAID.iter().map(|(_, said)| said(&fit)).collect()
        })
        .collect();
    let share = |k: usize| said.iter().filter(|of| of[k]).count() as f64 / fleets as f64;
    (0..SAID.len()).map(share).collect()
}

#[test]
fn a_walk_and_heavy_tails_are_said_and_not_where_there_are_none() {
    let fit = |world: &World| WearSpec::default().fit(&make(world, 3).fleet).unwrap();
    let plain = fit(&World { wings: 16, ..PLAIN });
    assert!(!coded(&plain, "rows_wander") && !coded(&plain, "heavy_tails"), "{:?}", plain.diagnostics());
    let odd = fit(&World { wings: 16, walk: 0.4, freedom: 4, ..PLAIN });
    for code in ["rows_wander", "heavy_tails"] {
        let said = odd.diagnostics().iter().find(|diagnostic| diagnostic.code == code);
        let said = said.unwrap_or_else(|| panic!("{code} in {:?}", odd.diagnostics()));
        // a number, and what to do
        assert!(said.message.chars().any(|letter| letter.is_ascii_digit()), "{}", said.message);
    }
}

#[test]
#[ignore = "minutes: run by name"]
fn slow_misfit_size_and_power() {
    let worlds = [
        PLAIN,
        World { name: "rows of a wing 0.1 mm/m", rows: 0.1, ..PLAIN },
        World { name: "lines 0.1 mm/m", lines: 0.1, ..PLAIN },
        World { name: "models 0.1 mm/m", models: 0.1, ..PLAIN },
        World { name: "UHMWPE saturating with 40 h", saturating: true, ..PLAIN },
        World { name: "rows wander 0.2 mm/m in 100 h", walk: 0.2, ..PLAIN },
        World { name: "readings of Student's t, 4 df", freedom: 4, ..PLAIN },
        World {
            name: "all of these",
            rows: 0.1,
            lines: 0.1,
            models: 0.1,
            saturating: true,
            walk: 0.2,
            freedom: 4,
            ..PLAIN
        },
    ];
    let fleets = fleets();
    println!("| world | {} |", SAID.map(|(name, _)| name).join(" | "));
    // by world, the diagnostic that is its own
    let own = [None, Some(0), Some(1), Some(2), Some(3), Some(5), Some(6), None];
    let (mut size, mut power) = (Vec::new(), Vec::new());
    for (world, own) in worlds.iter().zip(own) {
        let found = shares(world, fleets);
        power.extend(own.map(|own: usize| found[own]));
        let row: Vec<String> = found.iter().map(|share| format!("{:.0} %", 100.0 * share)).collect();
        println!("| {} | {} |", world.name, row.join(" | "));
        if size.is_empty() {
            size = found;
        }
    }
    // what a world departs by alone is found: at least eight in ten, less three standard errors of the count
    let fewest = 0.8 - 3.0 * (0.8 * 0.2 / fleets as f64).sqrt();
    for (place, share) in power.iter().enumerate() {
        assert!(*share >= fewest, "departure {place}: {share} below {fewest}");
    }
    // a term is kept for nothing in 8 of 100 fleets by its price, a walk is said in 1, tails in a thousandth
    for (share, most) in size.iter().zip([0.08, 0.08, 0.08, 0.08, 0.08, 0.01, 0.001]) {
        let error = (most * (1.0 - most) / fleets as f64).sqrt();
        assert!(*share <= most + 3.0 * error, "{share} above {most}");
    }
}
