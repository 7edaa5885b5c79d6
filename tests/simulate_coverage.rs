//! Over many simulated fleets with adjustments the intervals of the rates cover the truth as often as they say.

use linedrift::simulate::FleetSpec;
use linedrift::wear::{WearSpec, WingEffects};
use statrs::distribution::{Binomial, DiscreteCDF};

const SEEDS: u64 = 100;

/// Covered counts of every rate, held against two-sided binomial limits of 95 % coverage that all nine terms together
/// leave by chance once in a hundred (Bonferroni).
fn rates_are_covered(spec: &FleetSpec, model: &WearSpec) {
    let rates = spec.true_rates();
    let mut covered = vec![0u64; rates.len()];
    let mut errors = vec![0.0; rates.len()];
    let mut restarted = 0;
    for seed in 1..=SEEDS {
        let made = spec.clone().seed(seed).run().unwrap();
        restarted += made.truth.wings.iter().filter(|wing| !wing.restarts.is_empty()).count();
        let fit = model.fit(&made.fleet).unwrap();
        for (k, rate) in rates.iter().enumerate() {
            let name = format!("rate:{}:{}", rate.material, rate.row);
            let term = fit.terms().iter().find(|term| term.term == name).unwrap();
            covered[k] += u64::from((term.lower..=term.upper).contains(&rate.mm_per_m));
            errors[k] += (term.estimate - rate.mm_per_m) / term.se;
        }
    }
    assert!(restarted as u64 > 5 * SEEDS, "only {restarted} wings were adjusted");
    let binomial = Binomial::new(0.95, SEEDS).unwrap();
    let tail = 0.01 / (2.0 * rates.len() as f64);
    let least = (0..=SEEDS).find(|&count| binomial.cdf(count) > tail).unwrap();
    let most = (0..=SEEDS).find(|&count| binomial.cdf(count) >= 1.0 - tail).unwrap();
    for ((rate, &count), error) in rates.iter().zip(&covered).zip(&errors) {
        let said = format!("{rate:?}: {count} of {SEEDS} covered, mean error {:.2} se", error / SEEDS as f64);
        assert!((least..=most).contains(&count), "{said}, expected {least} to {most}");
        // the mean of 100 standardised errors has standard error 0.1: a bias of 0.4 se is none by chance
        assert!(error.abs() / (SEEDS as f64) < 0.4, "{said}");
    }
}

#[test]
#[ignore = "slow: simulates and fits 100 fleets"]
fn coverage_of_rates_over_100_fleets_like_the_demo() {
    rates_are_covered(&FleetSpec::demo(), &WearSpec::default().wing_effects(WingEffects::RateRow));
}

#[test]
#[ignore = "slow: simulates and fits 100 fleets"]
fn coverage_of_rates_over_100_fleets_by_the_default_model() {
    rates_are_covered(&FleetSpec::demo().wing_row_spread(0.0), &WearSpec::default());
}
