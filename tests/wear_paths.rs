//! Draws of line paths and estimated time shapes against simulated truth.

use linedrift::check::ActionKind;
use linedrift::simulate::{FleetSpec, Simulated};
use linedrift::wear::{PathDraws, PathFunctional, Shape, ShapeChoice, WearFit, WearSpec};
use linedrift::wing::Side;

const DRAWS: usize = 400;

fn made(seed: u64) -> (Simulated, WearFit) {
    let made = FleetSpec::demo().wings(24).unchecked_wings(2).seed(seed).run().unwrap();
    let fit = WearSpec::default().fit(&made.fleet).unwrap();
    (made, fit)
}

fn at(draws: &PathDraws, column: usize, hours_h: f64) -> Vec<f64> {
    (0..draws.shapes.len())
        .map(|k| draws.start_mm[[k, column]] + draws.slope_mm[[k, column]] * draws.shapes[k].at(hours_h))
        .collect()
}

/// How far truths lie from the draws' means, in the draws' own standard deviations.
#[derive(Default)]
struct Scores {
    squares: f64,
    count: f64,
}

impl Scores {
    fn add(&mut self, truth: f64, drawn: &[f64]) {
        let n = drawn.len() as f64;
        let mean = drawn.iter().sum::<f64>() / n;
        let variance = drawn.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / n;
        self.squares += (truth - mean).powi(2) / variance;
        self.count += 1.0;
    }

    fn variance(&self) -> f64 {
        self.squares / self.count
    }
}

#[test]
fn draws_are_calibrated_against_the_truth() {
    let (mut kept, mut restarted) = (Scores::default(), Scores::default());
    for seed in [11, 12, 13] {
        let made = FleetSpec::demo().wings(80).adjusted_share(0.8).seed(seed).run().unwrap();
        let fit = WearSpec::default().fit(&made.fleet).unwrap();
        for (k, history) in made.fleet.histories().iter().enumerate() {
            let noise = fit.draw_noise(&made.fleet, k as u64, DRAWS);
            let set = made.fleet.line_set(history);
            let draws = fit.path_draws(set, history, &noise).unwrap();
            assert_eq!(draws.own_history, !history.checks.is_empty());
            let later_h = history.checks.last().map_or(0.0, |check| check.hours_h) + 60.0;
            let restarts = &made.truth.wing(&history.wing.id).unwrap().restarts;
            for (column, key) in draws.lines.iter().enumerate().filter(|(column, _)| column % 7 == 0) {
                let truth = made.truth.deviation_mm(set, &history.wing.id, key.side, key.line, later_h).unwrap();
                let name = &set.lines()[key.line].name;
                let again = restarts.iter().any(|restart| restart.side == key.side && restart.line == *name);
                let scores = if again { &mut restarted } else { &mut kept };
                scores.add(truth, &at(&draws, column, later_h));
            }
        }
    }
    // the variance is 1 under the model; lines of a wing go together, so its standard error is that of some 240 wings,
    // √(2/240) = 0.09, and spreads taken as known cost a few per cent: three standard errors either side of 1.05
    for scores in [kept, restarted] {
        assert!(scores.count > 500.0);
        assert!((0.78..1.32).contains(&scores.variance()), "{} of {}", scores.variance(), scores.count);
    }
}

#[test]
fn a_line_adjusted_and_not_read_since_keeps_its_history_and_the_change() {
    let (made, fit) = made(21);
    let noise = fit.draw_noise(&made.fleet, 5, DRAWS);
    let history = made.fleet.histories().iter().find(|history| history.checks.len() > 1).unwrap();
    let set = made.fleet.line_set(history);
    let last = history.checks.last().unwrap();
    let before = fit.path_draws(set, history, &noise).unwrap();
    let mut adjusted = history.clone();
    let segment = set.path_indices(0).last();
    adjusted.actions.push(linedrift::check::Action {
        date: last.date,
        hours_h: last.hours_h + 1.0,
        side: linedrift::wing::Side::Left,
        segment,
        kind: ActionKind::Turn,
        change_mm: -10.0,
        turns: Some(1.0),
        check: None,
    });
    let after = fit.path_draws(set, &adjusted, &noise).unwrap();
    let moved: Vec<usize> = before
        .lines
        .iter()
        .enumerate()
        .filter(|(_, key)| key.side == Side::Left && set.path_indices(key.line).last() == segment)
        .map(|(column, _)| column)
        .collect();
    assert!(moved.len() > 2);
    let column_at = |draws: &PathDraws, column| at(draws, column, last.hours_h);
    let (mut changes, mut spreads) = (Vec::new(), Vec::new());
    for &column in &moved {
        let (one, other) = (column_at(&before, column), column_at(&after, column));
        // the noise is common, so what differs is the change and what the step may differ from it: 15 % of it
        let change: Vec<f64> = other.iter().zip(&one).map(|(after, before)| after - before).collect();
        assert!((mean(&change) + 10.0).abs() < 0.2, "{}", mean(&change));
        assert!((variance(&change).sqrt() - 1.5).abs() < 0.2, "{}", variance(&change));
        spreads.push(variance(&other) - variance(&one));
        changes.push(change);
    }
    assert!((mean(&spreads) - 2.25).abs() < 0.5, "{}", mean(&spreads));
    // one step moves all lines above it alike, but for the prior, which is flat for a line that is adjusted
    for change in &changes[1..] {
        let apart: Vec<f64> = change.iter().zip(&changes[0]).map(|(one, other)| one - other).collect();
        assert!(variance(&apart) < 1e-4, "{}", variance(&apart));
    }
    // lines that it does not move stay
    for (column, _) in before.lines.iter().enumerate().filter(|(column, _)| !moved.contains(column)) {
        assert_eq!(column_at(&before, column), column_at(&after, column));
    }
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn variance(values: &[f64]) -> f64 {
    let mean = mean(values);
    values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / (values.len() - 1) as f64
}

#[test]
fn the_scale_of_a_saturating_shape_is_found_with_its_interval() {
    let truth = Shape::Saturating { scale_h: 60.0 };
    let made = FleetSpec::demo().wings(16).shape(truth).wing_row_spread(0.0).seed(31).run().unwrap();
    let fit = WearSpec::default().shape(ShapeChoice::Auto).fit(&made.fleet).unwrap();
    assert_eq!(fit.shape().name(), "saturating", "{fit}");
    let scale = fit.scale().unwrap();
    assert!(scale.lower_h.unwrap() < 60.0 && 60.0 < scale.upper_h.unwrap(), "{scale:?}");
    let weights: f64 = fit.comparison().iter().map(|row| row.weight).sum();
    assert!((weights - 1.0).abs() < 1e-12);
    // the uncertainty of the scale makes intervals wider than those at the scale taken as known
    let fit = WearSpec::default().shape(ShapeChoice::Saturating).fit(&made.fleet).unwrap();
    let known = WearSpec::default().shape(fit.shape()).fit(&made.fleet).unwrap();
    for (open, fixed) in fit.terms().iter().zip(known.terms()) {
        assert!((open.estimate - fixed.estimate).abs() < 1e-3 * fixed.se);
        assert!(open.se > 0.999_999 * fixed.se, "{open:?} {fixed:?}");
    }
    assert!(fit.terms().iter().zip(known.terms()).any(|(open, fixed)| open.se > 1.002 * fixed.se));
    let noise = fit.draw_noise(&made.fleet, 1, 200);
    let history = &made.fleet.histories()[0];
    let draws = fit.path_draws(made.fleet.line_set(history), history, &noise).unwrap();
    assert_eq!(draws.shapes.len(), 200);
    assert!(draws.shapes.iter().any(|shape| *shape != draws.shapes[0]));
}

#[test]
fn a_linear_fleet_is_called_linear_or_undecided() {
    let made = FleetSpec::demo().wings(16).wing_row_spread(0.0).seed(32).run().unwrap();
    let fit = WearSpec::default().shape(ShapeChoice::Auto).fit(&made.fleet).unwrap();
    let linear = fit.comparison().iter().find(|row| row.kind == "linear").unwrap();
    assert!(linear.weight > 0.05, "{fit}");
}

#[test]
fn the_exact_posterior_is_what_the_draws_are_drawn_from() {
    let made = FleetSpec::demo().wings(24).adjusted_share(0.9).seed(31).run().unwrap();
    for choice in [ShapeChoice::Given(Shape::LINEAR), ShapeChoice::Saturating] {
        let fit = WearSpec::default().shape(choice).fit(&made.fleet).unwrap();
        let adjusted = made.fleet.histories().iter().find(|history| !history.actions.is_empty()).unwrap();
        let fresh = made.fleet.histories().iter().find(|history| history.checks.is_empty()).unwrap();
        for history in [adjusted, fresh] {
            let set = made.fleet.line_set(history);
            let noise = fit.draw_noise(&made.fleet, 8, 4000);
            let draws = fit.path_draws(set, history, &noise).unwrap();
            let posterior = fit.path_posterior(set, history).unwrap();
            assert_eq!(posterior.lines(), draws.lines);
            let lines = draws.lines.len();
            // one line, and the difference of two means, at two hours
            let one = (0..lines).map(|k| f64::from(u8::from(k == 3))).collect::<Vec<_>>();
            let part = |k: usize| {
                if k < 8 {
                    0.125
                } else if k < 24 {
                    -0.0625
                } else {
                    0.0
                }
            };
            let difference = (0..lines).map(part).collect::<Vec<_>>();
            let functionals = [(150.0, &one), (150.0, &difference), (300.0, &difference)]
                .map(|(hours_h, weights)| PathFunctional { hours_h, weights: weights.clone() });
            let drawn: Vec<Vec<f64>> = functionals
                .iter()
                .map(|functional| {
                    let mut sum = vec![0.0; 4000];
                    for (column, weight) in
                        functional.weights.iter().enumerate().filter(|(_, weight)| **weight != 0.0)
                    {
                        let values = at(&draws, column, functional.hours_h);
                        sum.iter_mut().zip(values).for_each(|(sum, value)| *sum += weight * value);
                    }
                    sum
                })
                .collect();
            let moments = posterior.moments(&functionals);
            let mean = |values: &[f64]| values.iter().sum::<f64>() / 4000.0;
            for i in 0..3 {
                let error = mean(&drawn[i]) - moments.mean_mm[i];
                // four standard errors of a mean of 4,000 draws
                assert!(error.abs() < 4.0 * moments.sd_mm(i) / 4000f64.sqrt(), "{error} of {}", moments.sd_mm(i));
                for j in 0..3 {
                    let products: Vec<f64> = drawn[i]
                        .iter()
                        .zip(&drawn[j])
                        .map(|(a, b)| (a - mean(&drawn[i])) * (b - mean(&drawn[j])))
                        .collect();
                    let correlation = mean(&products) / (moments.sd_mm(i) * moments.sd_mm(j));
                    let exact = moments.covariance(i, j) / (moments.sd_mm(i) * moments.sd_mm(j));
                    // five standard errors of a ratio of variances of 4,000 draws (√(2/4000) = 0.022)
                    assert!((correlation - exact).abs() < 0.112, "{i} {j}: {correlation} against {exact}");
                }
            }
        }
    }
}
