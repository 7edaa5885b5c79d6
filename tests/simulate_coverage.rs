//! Fleets whose rows drift differently from wing to wing: the model that knows it covers the true rates as often as its
//! intervals say, the default model does not.

use linedrift::simulate::{FleetSpec, Rate};
use linedrift::wear::{WearSpec, WingEffects};
use statrs::distribution::{Binomial, DiscreteCDF};

const SEEDS: u64 = 100;

/// How the intervals of one rate did.
struct Coverage {
    rate: Rate,
    covered: u64,
    /// Mean of (estimate − truth)/se.
    bias: f64,
}

fn coverage(spec: &FleetSpec, model: &WearSpec) -> Vec<Coverage> {
    let mut found: Vec<Coverage> =
        spec.true_rates().iter().map(|rate| Coverage { rate: rate.clone(), covered: 0, bias: 0.0 }).collect();
    let mut adjusted = 0;
    for seed in 1..=SEEDS {
        let made = spec.clone().seed(seed).run().unwrap();
        adjusted += made.truth.wings.iter().filter(|wing| !wing.restarts.is_empty()).count();
        let fit = model.fit(&made.fleet).unwrap();
        for one in &mut found {
            let name = format!("rate:{}:{}", one.rate.material, one.rate.row);
            let term = fit.terms().iter().find(|term| term.term == name).unwrap();
            one.covered += u64::from((term.lower..=term.upper).contains(&one.rate.mm_per_m));
            one.bias += (term.estimate - one.rate.mm_per_m) / term.se / SEEDS as f64;
        }
    }
    assert!(adjusted as u64 > 5 * SEEDS, "only {adjusted} wings were adjusted");
    found
}

/// Two-sided binomial limits of 95 % coverage that all terms together leave by chance once in a hundred (Bonferroni).
fn limits(terms: usize) -> std::ops::RangeInclusive<u64> {
    let binomial = Binomial::new(0.95, SEEDS).unwrap();
    let tail = 0.01 / (2.0 * terms as f64);
    let least = (0..=SEEDS).find(|&count| binomial.cdf(count) > tail).unwrap();
    let most = (0..=SEEDS).find(|&count| binomial.cdf(count) >= 1.0 - tail).unwrap();
    least..=most
}

fn assert_covered(found: &[Coverage]) {
    let limits = limits(found.len());
    for one in found {
        let said = format!("{:?}: {} of {SEEDS}, mean error {:.2} se", one.rate, one.covered, one.bias);
        assert!(limits.contains(&one.covered), "{said}, expected {limits:?}");
        // the mean of 100 standardised errors has standard error 0.1
        assert!(one.bias.abs() < 0.4, "{said}");
    }
}

/// Rows that differ from wing to wing, with the model that knows it.
#[test]
#[ignore = "slow: simulates and fits 100 fleets"]
fn coverage_of_rates_over_100_fleets_whose_rows_differ() {
    let model = WearSpec::default().wing_effects(WingEffects::RateRow);
    assert_covered(&coverage(&FleetSpec::demo().wing_row_spread(0.2), &model));
}

/// A limit that `docs/limits.md` states: the default model is too sure of itself there.
#[test]
#[ignore = "slow: simulates and fits 100 fleets"]
fn coverage_is_lost_where_rows_differ_and_the_model_does_not_know() {
    let found = coverage(&FleetSpec::demo().wing_row_spread(0.2), &WearSpec::default());
    let least = found.iter().map(|one| one.covered).min().unwrap();
    assert!(
        least < 50,
        "the worst rate is covered in {least} of {SEEDS}: the caution in docs/limits.md is out of date"
    );
}
