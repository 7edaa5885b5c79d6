//! Row means against hours: what was measured, and what the fit expects of a new wing.

use linedrift::Row;
use linedrift::check::{Fleet, Stage};
use linedrift::simulate::FleetSpec;
use linedrift::wear::{WearSpec, WingEffects, expected_drift, measured_drift};

#[test]
fn drift_is_measured_before_the_first_adjustment_only() {
    let fleet = FleetSpec::demo().run().unwrap().fleet;
    let points = |fleet: &Fleet| measured_drift(fleet).iter().map(|drift| drift.points.len()).sum::<usize>();
    let mut histories = fleet.histories().to_vec();
    let adjusted = histories.iter().filter(|history| !history.actions.is_empty()).count();
    assert!(adjusted > 0);
    for history in &mut histories {
        history.actions.clear();
        history.checks.retain(|check| check.stage == Stage::AsFound);
    }
    let plain = Fleet::new(fleet.line_sets().to_vec(), histories).unwrap();
    assert!(points(&plain) > points(&fleet));
}

#[test]
fn the_expected_drift_follows_what_was_put_in_and_holds_most_wings() {
    let fleet = FleetSpec::default().wings(30).models(2).seed(3).run().unwrap().fleet;
    let fit = WearSpec::default().wing_effects(WingEffects::RateRow).fit(&fleet).unwrap();
    let series = expected_drift(measured_drift(&fleet), &fleet, &fit, 1).unwrap();
    assert_eq!(series, expected_drift(measured_drift(&fleet), &fleet, &fit, 1).unwrap());
    let (mut inside, mut middle, mut all) = (0, 0, 0);
    for one in &series {
        assert_eq!(one.path[0].hours_h, 0.0);
        for point in &one.points {
            let after = one.path.iter().position(|station| station.hours_h >= point.hours_h).unwrap().max(1);
            let (a, b) = (one.path[after - 1], one.path[after]);
            let share = (point.hours_h - a.hours_h) / (b.hours_h - a.hours_h);
            let between = |from: f64, to: f64| from + share * (to - from);
            all += 1;
            let (lower, upper) = (between(a.lower_mm, b.lower_mm), between(a.upper_mm, b.upper_mm));
            inside += usize::from((lower..=upper).contains(&point.mean_mm));
            let (quarter, centre) = ((upper - lower) / 4.0, f64::midpoint(lower, upper));
            middle += usize::from((point.mean_mm - centre).abs() <= quarter);
        }
    }
    // checks of one wing go together: three binomial standard errors of 95 % among 30 wings are 12 points
    assert!(all > 100 && inside * 100 >= all * 83, "{inside} of {all}");
    // and half of such a range holds two thirds, give or take 26 points: a range that is too wide holds more
    assert!(middle * 100 <= all * 93, "{middle} of {all}");
    let end = |row| series.iter().find(|one| one.row == row).unwrap().path.last().unwrap().mean_mm;
    assert!(end(Row::B) < end(Row::A), "the rear row shortens more");
}
