//! Whether the intervals of forecasts are true, on simulated fleets that follow the model. The slow ones are the record in
//! `docs/reliability.md`: `cargo test --release --no-default-features --test linedrift -- --ignored --nocapture calibration`.

use linedrift::forecast::{BacktestSpec, ForecastScore};
use linedrift::simulate::FleetSpec;
use linedrift::wing::Row;
use rayon::prelude::*;

/// Scores of rows A–D over fleets of 40 wings, six in ten adjusted when out of trim, with rates by row of a wing.
fn trim_scores(seeds: std::ops::Range<u64>, draws: usize, fits: usize) -> Vec<ForecastScore> {
    seeds
        .into_par_iter()
        .flat_map_iter(|seed| {
            let spec = FleetSpec::default().wings(40).adjusted_share(0.6).wing_row_spread(0.2).seed(seed);
            let fleet = spec.run().unwrap().fleet;
            let test = BacktestSpec::default().draws(draws).most_fits(fits).seed(seed).run(&fleet).unwrap();
            test.scores().iter().filter(|score| score.row.is_trim()).cloned().collect::<Vec<_>>()
        })
        .collect()
}

/// Share of the scores whose interval holds what was measured.
fn covered(scores: &[ForecastScore], level: f64) -> f64 {
    scores.iter().filter(|score| score.covered(level)).count() as f64 / scores.len() as f64
}

fn report(scores: &[ForecastScore]) {
    for row in [Row::A, Row::B, Row::C] {
        let of: Vec<ForecastScore> = scores.iter().filter(|score| score.row == row).cloned().collect();
        let share = |level| 100.0 * covered(&of, level);
        let n = of.len();
        eprintln!(
            "row {row}: {n} forecasts, 50 % {:.1}, 80 % {:.1}, 95 % {:.1}",
            share(0.5),
            share(0.8),
            share(0.95)
        );
    }
    for [from, to] in [[0.0, 50.0], [50.0, 100.0], [100.0, 1e9]] {
        let within = |score: &&ForecastScore| (from..to).contains(&score.hours_ahead_h);
        let of: Vec<ForecastScore> = scores.iter().filter(within).cloned().collect();
        let share = |level| 100.0 * covered(&of, level);
        let n = of.len();
        eprintln!(
            "from {from} h: {n} forecasts, 50 % {:.1}, 80 % {:.1}, 95 % {:.1}",
            share(0.5),
            share(0.8),
            share(0.95)
        );
    }
    let share = |level| 100.0 * covered(scores, level);
    let n = scores.len();
    eprintln!("A to C: {n} forecasts, 50 % {:.1}, 80 % {:.1}, 95 % {:.1}", share(0.5), share(0.8), share(0.95));
}

#[test]
fn calibration_of_row_trim_on_a_few_fleets() {
    // 120 checks, rows of a check go together: three binomial standard errors are 0.14, 0.11 and 0.06
    let scores = trim_scores(300..303, 200, 3);
    for (level, slack) in [(0.5, 0.14), (0.8, 0.11), (0.95, 0.07)] {
        let observed = covered(&scores, level);
        assert!((observed - level).abs() < slack, "{level}: {observed} of {}", scores.len());
    }
}

/// Slow: 2,400 wings.
#[test]
#[ignore = "slow: fits 60 fleets as they were known on each day of a hidden check"]
fn calibration_of_row_trim_on_2400_wings_is_within_three_points() {
    let scores = trim_scores(400..460, 1000, 200);
    report(&scores);
    for level in [0.5, 0.8, 0.95] {
        let observed = covered(&scores, level);
        assert!((observed - level).abs() <= 0.03, "{level}: {observed} of {}", scores.len());
    }
}
