//! Draws of line paths and estimated time shapes against simulated truth.

use linedrift::check::{ActionKind, History};
use linedrift::simulate::{FleetSpec, Simulated};
use linedrift::wear::{PathDraws, Shape, ShapeChoice, WearFit, WearSpec, WingEffects};

const DRAWS: usize = 400;

fn made(seed: u64) -> (Simulated, WearFit) {
    let made = FleetSpec::demo().wings(24).unchecked_wings(2).seed(seed).run().unwrap();
    let fit = WearSpec::default().wing_effects(WingEffects::RateRow).fit(&made.fleet).unwrap();
    (made, fit)
}

/// True deviation of a line at some hours after everything that was done to the wing, mm.
fn truth_mm(made: &Simulated, history: &History, line: usize, side: linedrift::wing::Side, hours_h: f64) -> f64 {
    let spec = &made.truth.spec;
    let set = made.fleet.line_set(history);
    let data = &set.lines()[line];
    let truth = made.truth.wing(&history.wing.id).unwrap();
    let length_m: f64 = set.exposure_m(line).iter().map(|exposure| exposure.length_m).sum();
    let own = truth
        .restarts
        .iter()
        .rev()
        .find(|restart| restart.side == side && restart.line == data.name)
        .map(|restart| restart.offset_mm)
        .or_else(|| {
            let built = truth.lines.iter().find(|known| known.side == side && known.line == data.name)?;
            Some(built.offset_mm)
        })
        .unwrap();
    let row = truth.row_rates.iter().find(|rate| rate.row == data.row).map_or(0.0, |rate| rate.mm_per_m);
    spec.fleet_drift_mm(set, line, hours_h).unwrap()
        + truth.offset_mm
        + own
        + (truth.rate_mm_per_m + row) * length_m * spec.time_shape().at(hours_h)
}

fn at(draws: &PathDraws, column: usize, hours_h: f64) -> Vec<f64> {
    (0..draws.shapes.len())
        .map(|k| draws.start_mm[[k, column]] + draws.slope_mm[[k, column]] * draws.shapes[k].at(hours_h))
        .collect()
}

#[test]
fn draws_are_calibrated_against_the_truth() {
    let (mut inside, mut all) = (0.0, 0.0);
    let mut adjusted = 0;
    for seed in [11, 12, 13, 14] {
        let (made, fit) = made(seed);
        let noise = fit.draw_noise(&made.fleet, 5, DRAWS);
        for history in made.fleet.histories() {
            let set = made.fleet.line_set(history);
            let draws = fit.path_draws(set, history, &noise).unwrap();
            assert_eq!(draws.own_history, !history.checks.is_empty());
            adjusted += usize::from(!history.actions.is_empty());
            let later_h = history.checks.last().map_or(0.0, |check| check.hours_h) + 60.0;
            // one line of each row and side, so that what is counted is not one wing's common error many times over
            for (column, key) in draws.lines.iter().enumerate().filter(|(column, _)| column % 7 == 0) {
                let truth = truth_mm(&made, history, key.line, key.side, later_h);
                let drawn = at(&draws, column, later_h);
                let below = drawn.iter().filter(|value| **value < truth).count() as f64 / drawn.len() as f64;
                inside += f64::from(u8::from((0.1..0.9).contains(&below)));
                all += 1.0;
            }
        }
    }
    // 80 % intervals; lines of a wing go together, so the effective number is nearer the 96 wings than the lines:
    // three binomial standard errors of 96 are 0.12, of all lines 0.03; the limit lies between
    let coverage = inside / all;
    assert!((coverage - 0.8).abs() < 0.06, "{coverage} of {all}");
    assert!(adjusted > 4);
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
    let mean = |draws: &PathDraws| {
        let column = draws.lines.iter().position(|key| key.line == 0).unwrap();
        at(draws, column, last.hours_h).iter().sum::<f64>() / DRAWS as f64
    };
    // the noise is common, so the difference of the means has only the extra spread of the change in it
    assert!((mean(&after) - mean(&before) + 10.0).abs() < 0.5, "{} {}", mean(&after), mean(&before));
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
    let known = WearSpec::default().shape(fit.shape()).fit(&made.fleet).unwrap();
    for (open, fixed) in fit.terms().iter().zip(known.terms()) {
        assert!((open.estimate - fixed.estimate).abs() < 1e-3 * fixed.se);
        assert!(open.se > 0.99 * fixed.se, "{open:?} {fixed:?}");
    }
    assert!(fit.terms().iter().zip(known.terms()).any(|(open, fixed)| open.se > 1.01 * fixed.se));
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
