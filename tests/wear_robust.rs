//! Robust fits: a few wrong readings move neither rates nor spreads, and what they say can be kept.

use linedrift::Side;
use linedrift::check::Fleet;
use linedrift::simulate::FleetSpec;
use linedrift::wear::{HuberRule, SavedFit, Shape, TermsOption, WearError, WearFit, WearSpec};
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::wear_inference::{altered, fleet};

#[test]
fn a_few_wrong_readings_do_not_move_the_robust_rates_and_are_named() {
    let clean = fleet(20, 58);
    let mut generator = ChaCha8Rng::seed_from_u64(58);
    let mut planted = Vec::new();
    let dirty = altered(&clean, |_, set, history| {
        for check in &mut history.checks {
            for reading in &mut check.readings {
                if generator.random::<f64>() < 0.004 {
                    reading.reading_mm += if generator.next_u32() % 2 == 0 { 100.0 } else { -100.0 };
                    planted.push((check.id.clone(), reading.side, set.lines()[reading.line].name.clone()));
                }
            }
        }
    });
    let spec = WearSpec::default().shape(Shape::LINEAR).terms(TermsOption::Rate);
    let (truth, plain) = (spec.fit(&clean).unwrap(), spec.fit(&dirty).unwrap());
    let robust = spec.fit_robust(&dirty, HuberRule::default()).unwrap();
    let off = |fit: &WearFit| {
        let moved: Vec<f64> =
            fit.terms().iter().zip(truth.terms()).map(|(a, b)| ((a.estimate - b.estimate) / b.se).powi(2)).collect();
        (moved.iter().sum::<f64>() / moved.len() as f64).sqrt()
    };
    assert!(off(&robust.fit) < 0.5, "{} against {}", off(&robust.fit), off(&plain));
    assert!(off(&plain) > 2.0 * off(&robust.fit), "{} against {}", off(&plain), off(&robust.fit));
    // a reading off by 100 mm still counts as one off by three standard deviations or so
    let sd = [&truth, &robust.fit, &plain].map(WearFit::reading_sd_mm);
    assert!(sd[1] < 1.6 * sd[0] && sd[2] > 2.5 * sd[0], "{sd:?}");
    let named = |(check, side, line): &(String, Side, String)| {
        robust.down_weighted.iter().any(|low| (&low.check, &low.side, &low.line) == (check, side, line))
    };
    let found = planted.iter().filter(|reading| named(reading)).count();
    // a line read once after it was adjusted says nothing of itself
    assert!(planted.len() > 20 && found as f64 > 0.9 * planted.len() as f64, "{found} of {}", planted.len());
    assert!(robust.fit.diagnostics().iter().any(|d| d.code == "down_weighted"));
    // on clean readings one in 400 counts less, and nothing moves much
    let same = spec.fit_robust(&clean, HuberRule::default()).unwrap();
    assert!(off(&same.fit) < 0.1, "{}", off(&same.fit));
    assert!(same.down_weighted.len() * 100 < truth.readings(), "{}", same.down_weighted.len());
    let wrong = spec.fit_robust(&clean, HuberRule::default().tuning(0.5));
    assert_eq!(wrong, Err(WearError::Tuning { got: 0.5 }));
}

/// A fleet with this share of its readings written down wrongly by up to 100 mm, and the same without.
fn planted(wings: usize, seed: u64, share: f64) -> [Fleet; 2] {
    let clean = FleetSpec::default().wings(wings).misreading_share(0.0).seed(seed).run().unwrap().fleet;
    let mut generator = ChaCha8Rng::seed_from_u64(1000 + seed);
    let dirty = altered(&clean, |_, _, history| {
        for reading in history.checks.iter_mut().flat_map(|check| &mut check.readings) {
            if generator.random::<f64>() < share {
                let size = 20.0 + 80.0 * generator.random::<f64>();
                reading.reading_mm += if generator.next_u32() % 2 == 0 { size } else { -size };
            }
        }
    });
    [clean, dirty]
}

fn sd(fit: &WearFit, group: &str, effect: &str) -> f64 {
    fit.spread().iter().find(|row| row.group == group && row.effect == effect).and_then(|row| row.sd).unwrap()
}

#[test]
fn one_gross_outlier_in_a_hundred_leaves_the_spreads_where_they_were() {
    let spec = WearSpec::default().shape(Shape::LINEAR);
    let [clean, dirty] = planted(16, 7, 0.01);
    let (truth, plain) = (spec.fit(&clean).unwrap(), spec.fit(&dirty).unwrap());
    let robust = spec.fit_robust(&dirty, HuberRule::default()).unwrap();
    // the same wings, lines and readings but for one in a hundred: what is left is what those do
    let ratio = |fit: &WearFit, group: &str, effect: &str| sd(fit, group, effect) / sd(&truth, group, effect);
    for (group, effect) in [("wing", "offset"), ("wing", "rate"), ("check", "offset"), ("line", "offset")] {
        let found = ratio(&robust.fit, group, effect);
        assert!((found - 1.0).abs() < 0.05, "{group} {effect}: {found}");
    }
    // each counts as one at three standard deviations: a share of 0.01 adds 0.09 to the variance, 4 to 5 % to its root, and widens the
    // bounds with it
    let reading = [&robust.fit, &plain].map(|fit| ratio(fit, "reading", "offset"));
    assert!((1.0..1.1).contains(&reading[0]) && reading[1] > 2.0, "{reading:?}");
    assert!(robust.rounds < 20, "{}", robust.rounds);
}

#[test]
fn a_robust_fit_can_be_kept() {
    let [_, dirty] = planted(8, 9, 0.01);
    let robust = WearSpec::default().shape(Shape::LINEAR).fit_robust(&dirty, HuberRule::default()).unwrap();
    let saved = SavedFit::new(robust.fit, &dirty);
    assert_eq!(SavedFit::from_json(&saved.to_json().unwrap()).unwrap(), saved);
}
