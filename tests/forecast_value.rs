//! What a check would tell: against the fit that has truly seen it, and against all subsets.

use linedrift::check::{Check, Fleet, History, Reading};
use linedrift::forecast::{CheckValueSpec, DifferenceKnowledge, ForecastError, ShortCheckSpec};
use linedrift::simulate::FleetSpec;
use linedrift::wear::{PathFunctional, WearFit, WearSpec, WingEffects};
use linedrift::wing::{LineSet, Row, Side};

fn made() -> (Fleet, WearFit) {
    let fleet = FleetSpec::demo().wings(14).wing_row_spread(0.2).seed(8).run().unwrap().fleet;
    let fit = WearSpec::default().wing_effects(WingEffects::RateRow).fit(&fleet).unwrap();
    (fleet, fit)
}

fn checked(fleet: &Fleet) -> &History {
    fleet.histories().iter().find(|history| history.checks.len() >= 2).unwrap()
}

/// The history with one more check of some lines; what they read does not matter for the spread.
fn with_check(history: &History, set: &LineSet, hours_h: f64, read: impl Fn(Side, usize) -> bool) -> History {
    let last = history.checks.last().unwrap();
    let mut check = Check::new("next", last.date, hours_h);
    for side in Side::BOTH {
        for line in (0..set.lines().len()).filter(|line| set.has(*line, side) && read(side, *line)) {
            let reading_mm = set.lines()[line].nominal_mm;
            check.readings.push(Reading { side, line, reading_mm, repeat: 1, operator: None });
        }
    }
    let mut longer = history.clone();
    longer.checks.push(check);
    longer
}

/// Standard deviation of the difference of two row means given a history.
fn sd_mm(fit: &WearFit, set: &LineSet, history: &History, [front, rear]: [Row; 2], hours_h: f64) -> f64 {
    let posterior = fit.path_posterior(set, history).unwrap();
    let of = |row: Row| posterior.lines().iter().filter(|key| set.lines()[key.line].row == row).count() as f64;
    let weights = posterior
        .lines()
        .iter()
        .map(|key| match set.lines()[key.line].row {
            row if row == front => 1.0 / of(front),
            row if row == rear => -1.0 / of(rear),
            _ => 0.0,
        })
        .collect();
    posterior.moments(&[PathFunctional { hours_h, weights }]).sd_mm(0)
}

#[test]
fn the_value_of_a_check_is_what_the_posterior_says_after_it() {
    let (fleet, fit) = made();
    let history = checked(&fleet);
    let set = fleet.line_set(history);
    let last_h = history.checks.last().unwrap().hours_h;
    let value = CheckValueSpec::default().ahead_h(80.0).run(&fit, set, history, last_h + 60.0).unwrap();
    let after = with_check(history, set, last_h + 60.0, |_, _| true);
    for one in &value.differences {
        let rows = [one.front, one.rear];
        let (before, then) =
            (sd_mm(&fit, set, history, rows, last_h + 140.0), sd_mm(&fit, set, &after, rows, last_h + 140.0));
        assert!((one.sd_before_mm - before).abs() < 1e-9, "{one:?} {before}");
        // the fleet's rates are known a little better too after the check, which the wing's posterior leaves aside
        assert!((one.sd_after_mm - then).abs() < 0.03 * then, "{one:?} {then}");
        assert!(one.sd_after_mm < one.sd_before_mm);
    }
    // a check that is far from the hours wanted tells less
    let early = CheckValueSpec::default().ahead_h(300.0).run(&fit, set, history, last_h + 60.0).unwrap();
    for (near, far) in value.differences.iter().zip(&early.differences) {
        assert!(far.sd_after_mm > near.sd_after_mm);
    }
}

/// The largest standard deviation of a difference of row means when every line is read, and when none is.
fn range_mm(fit: &WearFit, set: &LineSet, history: &History, at_h: f64) -> [f64; 2] {
    let all = ShortCheckSpec::default().wanted_mm(1e-3).run(fit, set, history, at_h).unwrap();
    let largest = |of: fn(&DifferenceKnowledge) -> f64| all.differences.iter().map(of).fold(0.0, f64::max);
    [largest(|one| one.sd_after_mm), largest(|one| one.sd_before_mm)]
}

#[test]
fn a_short_check_reaches_what_it_says_with_fewer_lines_and_none_to_spare() {
    let (fleet, fit) = made();
    let history = checked(&fleet);
    let set = fleet.line_set(history);
    let at_h = history.checks.last().unwrap().hours_h + 100.0;
    let mut before = 0;
    let [least, most] = range_mm(&fit, set, history, at_h);
    for part in [0.7, 0.5, 0.3] {
        let wanted_mm = least + part * (most - least);
        let short = ShortCheckSpec::default().wanted_mm(wanted_mm).run(&fit, set, history, at_h).unwrap();
        assert!(short.reached && !short.lines.is_empty() && short.lines.len() < short.all_lines / 2, "{short}");
        assert!(short.lines.len() >= before, "a wish for more takes no fewer lines");
        before = short.lines.len();
        let chosen =
            |side: Side, line: usize| short.lines.iter().any(|one| one.side == side && one.line_index == line);
        let after = with_check(history, set, at_h, chosen);
        for one in &short.differences {
            assert!(one.sd_after_mm <= wanted_mm);
            let exact = sd_mm(&fit, set, &after, [one.front, one.rear], at_h);
            assert!((one.sd_after_mm - exact).abs() < 0.03 * exact, "{one:?} {exact}");
        }
        // without any of its lines it would not do
        for left_out in &short.lines {
            let fewer = with_check(history, set, at_h, |side, line| {
                chosen(side, line) && !(side == left_out.side && line == left_out.line_index)
            });
            let still = short
                .differences
                .iter()
                .all(|one| sd_mm(&fit, set, &fewer, [one.front, one.rear], at_h) < 0.97 * wanted_mm);
            assert!(!still, "{} {} to spare at {wanted_mm}", left_out.line, left_out.side);
        }
    }
}

#[test]
fn wishes_that_cannot_be_met_and_senseless_hours_are_told() {
    let (fleet, fit) = made();
    let history = checked(&fleet);
    let set = fleet.line_set(history);
    let last_h = history.checks.last().unwrap().hours_h;
    let short = ShortCheckSpec::default().wanted_mm(1e-3).run(&fit, set, history, last_h).unwrap();
    assert!(!short.reached && short.lines.len() == short.all_lines);
    assert!(short.to_string().contains("not reached"));
    let value = |hours_h| CheckValueSpec::default().run(&fit, set, history, hours_h);
    assert!(matches!(value(last_h - 1.0), Err(ForecastError::BeforeLastCheck { .. })));
    assert!(value(f64::NAN).is_err() && value(f64::INFINITY).is_err());
    assert!(ShortCheckSpec::default().wanted_mm(0.0).run(&fit, set, history, last_h).is_err());
    // a new wing: the fleet alone
    let mut new = history.clone();
    new.checks.clear();
    new.actions.clear();
    let [least, most] = range_mm(&fit, set, &new, 50.0);
    let short = ShortCheckSpec::default().wanted_mm(f64::midpoint(least, most)).run(&fit, set, &new, 50.0).unwrap();
    assert!(short.reached && !short.lines.is_empty());
}
