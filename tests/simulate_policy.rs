//! Policies on invented wings.

use linedrift::report::policy_figure;
use linedrift::simulate::{FleetSpec, PolicySpec};

fn spec() -> PolicySpec {
    let fleet = FleetSpec::default().wings(12).wing_row_spread(0.2).seed(3);
    PolicySpec::default().fleet(fleet).every_h(&[40.0, 160.0]).risks(&[0.05, 0.6]).draws(60).until_h(320.0)
}

#[test]
fn more_checks_leave_fewer_hours_out_of_trim_under_either_kind_of_policy() {
    let comparison = spec().run().unwrap();
    let [often, seldom, careful, bold] = &comparison.rows[..] else { panic!("{comparison}") };
    for (more, fewer) in [(often, seldom), (careful, bold)] {
        assert!(more.checks_per_100_h > fewer.checks_per_100_h, "{comparison}");
        assert!(more.out_of_trim_pct < fewer.out_of_trim_pct, "{comparison}");
    }
    // 320 h at 40 h: seven checks after the first
    assert!((often.checks_per_100_h - 7.0 / 3.2).abs() < 1e-12);
    for row in &comparison.rows {
        assert!((0.0..=100.0).contains(&row.out_of_trim_pct) && (0.0..=100.0).contains(&row.found_out_pct));
    }
    let one = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
    assert_eq!(one.install(|| spec().run().unwrap()), comparison);
    let figure = policy_figure(&comparison).unwrap();
    assert!(figure.description().contains("every 40 h"));
    assert!(comparison.to_string().lines().all(|line| line.chars().count() <= 80));
}

#[test]
fn senseless_policies_are_refused() {
    for wrong in [
        spec().every_h(&[1.0]),
        spec().risks(&[0.0]),
        spec().risks(&[f64::NAN]),
        spec().until_h(1.0),
        spec().draws(0),
    ] {
        assert!(wrong.run().is_err());
    }
}
