//! Coverage of the wear model's intervals on simulated fleets. Slow: run by name, in release:
//! `cargo test --release --no-default-features --test linedrift slow_ -- --ignored --nocapture`.

use std::collections::BTreeMap;

use linedrift::simulate::FleetSpec;
use linedrift::wear::{WearSpec, WingEffects};
use rayon::prelude::*;

const SEEDS: u64 = 100;

/// Limits that a binomial count of `n` at 95 % leaves with a chance of about 1 in 1,000 on either side (normal
/// approximation with continuity, good enough at n = 100 for a limit in whole counts).
fn binomial_limits(n: f64) -> (f64, f64) {
    let half = 3.1 * (n * 0.95 * 0.05).sqrt() + 0.5;
    (n * 0.95 - half, (n * 0.95 + half).min(n))
}

#[test]
#[ignore = "slow"]
fn slow_intervals_cover_the_true_rates() {
    let hits: Vec<Vec<(String, bool)>> = (0..SEEDS)
        .into_par_iter()
        .map(|seed| {
            let made = FleetSpec::demo().seed(1_000 + seed).run().unwrap();
            assert!(made.fleet.histories().iter().any(|history| !history.actions.is_empty()));
            let effects = if made.truth.spec.true_spreads().wing_row_mm_per_m > 0.0 {
                WingEffects::RateRow
            } else {
                WingEffects::Rate
            };
            let fit = WearSpec::default().wing_effects(effects).fit(&made.fleet).unwrap();
            assert!(fit.converged());
            let spec = &made.truth.spec;
            fit.terms()
                .iter()
                .map(|term| {
                    let truth = match term.term.split(':').collect::<Vec<_>>()[..] {
                        ["offset"] => spec.common_offset_mm(),
                        ["rate", material, row] => {
                            spec.true_rates()
                                .iter()
                                .find(|rate| rate.material == material && rate.row.name() == row)
                                .unwrap()
                                .mm_per_m
                        }
                        ["span", row] => spec
                            .true_span_rates()
                            .iter()
                            .find(|rate| rate.row.name() == row)
                            .map_or(0.0, |rate| rate.mm_per_m),
                        _ => panic!("{term:?}"),
                    };
                    (term.term.clone(), term.lower <= truth && truth <= term.upper)
                })
                .collect()
        })
        .collect();
    let mut counts: BTreeMap<String, (f64, f64)> = BTreeMap::new();
    for (term, hit) in hits.into_iter().flatten() {
        let count = counts.entry(term).or_default();
        count.0 += f64::from(u8::from(hit));
        count.1 += 1.0;
    }
    let mut wrong = Vec::new();
    for (term, (hits, n)) in &counts {
        eprintln!("{term:<24} {hits:>4} of {n:>4}");
        let (low, high) = binomial_limits(*n);
        if *hits < low || *hits > high {
            wrong.push(term.clone());
        }
    }
    assert!(wrong.is_empty(), "outside binomial limits: {wrong:?}");
    assert!(counts.keys().any(|term| term.starts_with("rate:")));
}
