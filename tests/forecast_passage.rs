//! Closed forms of the first passage against values with 20 digits (see `data/degradation/ORIGIN.md`).

use linedrift::forecast::{GaussianPath, SlopePassage, WienerPassage};
use serde_json::Value;

/// Relative tolerance of the reference values.
const TOLERANCE: f64 = 1e-9;

fn reference() -> Value {
    serde_json::from_str(include_str!("data/degradation/first_passage.json")).unwrap()
}

fn number(value: &Value) -> f64 {
    value.as_str().unwrap().parse().unwrap()
}

/// Natural logarithm of a decimal number that may be too small for a double.
fn ln_number(value: &Value) -> f64 {
    let text = value.as_str().unwrap();
    let (mantissa, exponent) = text.split_once('e').unwrap_or((text, "0"));
    mantissa.parse::<f64>().unwrap().ln() + exponent.parse::<f64>().unwrap() * std::f64::consts::LN_10
}

fn check(what: &str, got: f64, want: f64) {
    assert!((got - want).abs() <= TOLERANCE * want.abs(), "{what}: got {got:e}, want {want:e}");
}

fn each(table: &Value, mut body: impl FnMut(f64, &Value)) {
    let table = table.as_object().unwrap();
    assert!(!table.is_empty());
    for (time, value) in table {
        body(time.parse().unwrap(), value);
    }
}

#[test]
fn a_fixed_start_with_a_random_slope_agrees_to_the_deepest_tail() {
    let all = reference();
    let case = &all["linear_random_slope_fixed_start"];
    let (way, mean, sd) = (number(&case["D"]), number(&case["m"]), number(&case["tau"]));
    let passage = SlopePassage::new(way, mean, sd).unwrap();
    let path = GaussianPath::new(0.0, mean).unwrap().spread(0.0, sd, 0.0).unwrap();
    each(&case["cdf"], |time, want| {
        let ln = ln_number(want);
        assert!((passage.ln_cdf(time) - ln).abs() <= TOLERANCE, "ln cdf at {time}");
        if number(want) > 0.0 {
            check("cdf", passage.cdf(time), number(want));
            check("path", path.crossed_above(way, time), number(want));
        }
    });
    check("median", passage.quantile(0.5).unwrap(), number(&case["median"]));
    check("never", passage.never(), number(&case["p_never_cross"]));
    assert_eq!(passage.quantile(1.0 - 1e-7), None);
}

#[test]
fn a_random_intercept_and_slope_agrees_with_the_exact_first_passage_not_with_the_marginal() {
    let all = reference();
    for name in ["linear_random_intercept_slope", "linear_random_intercept_slope_hard"] {
        let case = &all[name];
        let path = GaussianPath::new(number(&case["a0"]), number(&case["m"]))
            .unwrap()
            .spread(number(&case["sd_a"]), number(&case["tau"]), number(&case["rho"]))
            .unwrap();
        each(&case["table"], |time, want| {
            check(name, path.crossed_above(number(&case["D"]), time), number(&want["exact_first_passage"]));
        });
    }
}

#[test]
fn wiener_paths_agree_in_distribution_density_and_both_tails() {
    let all = reference();
    let case = &all["wiener_ig"];
    let plain =
        WienerPassage::new(number(&case["D"]), number(&case["mu"]), 0.0, number(&case["sigma2"]).sqrt()).unwrap();
    each(&case["cdf"], |time, want| {
        check("wiener", plain.cdf(time), number(want));
        assert!((plain.ln_cdf(time) - ln_number(want)).abs() <= TOLERANCE);
    });
    each(&case["pdf"], |time, want| check("wiener density", plain.pdf(time), number(want)));
    let case = &all["wiener_random_drift"];
    let drift = WienerPassage::new(
        number(&case["D"]),
        number(&case["m"]),
        number(&case["tau"]),
        number(&case["sigma2"]).sqrt(),
    )
    .unwrap();
    each(&case["cdf"], |time, want| check("random drift", drift.cdf(time), number(want)));
    each(&case["pdf"], |time, want| check("random drift density", drift.pdf(time), number(want)));
    for case in all["wiener_hard"].as_array().unwrap() {
        let path = WienerPassage::new(number(&case["D"]), number(&case["mu"]), 0.0, number(&case["sigma"])).unwrap();
        let time = number(&case["t"]);
        check("hard", path.cdf(time), number(&case["cdf"]));
        check("hard survival", path.survival(time), number(&case["sf"]));
    }
}

#[test]
fn a_random_drift_without_spread_is_the_plain_wiener_path() {
    let plain = WienerPassage::new(10.0, 2.0, 0.0, 0.4).unwrap();
    let narrow = WienerPassage::new(10.0, 2.0, 1e-9, 0.4).unwrap();
    for time in [3.0, 5.0, 8.0] {
        check("narrow", narrow.cdf(time), plain.cdf(time));
    }
    assert_eq!(plain.cdf(0.0), 0.0);
    assert_eq!(plain.survival(-1.0), 1.0);
}

#[test]
fn the_share_of_crossed_lasers_agrees_with_the_fitted_slopes() {
    // Meeker and Escobar 1998: ML fit of the laser data; the reference distribution uses exactly these parameters.
    let fits: Value = serde_json::from_str(include_str!("data/degradation/gaas_fits.json")).unwrap();
    let ml = &fits["gaas_linear_ML"];
    let all = reference();
    let case = &all["linear_random_slope_fixed_start"];
    assert!((ml["slope"].as_f64().unwrap() - number(&case["m"])).abs() < 1e-6);
    assert!((ml["sd_slope"].as_f64().unwrap() - number(&case["tau"])).abs() < 1e-6);
    let passage = SlopePassage::new(10.0, number(&case["m"]), number(&case["tau"])).unwrap();
    // 3 of the 15 lasers reach 10 % by 4,000 h by their own lines; the fit expects 2.3
    let crossed = fits["gaas_pseudo"]["pseudo_failure_hours"]
        .as_object()
        .unwrap()
        .values()
        .filter(|hours| hours.as_f64().unwrap() <= 4000.0)
        .count();
    assert_eq!(crossed, 3);
    let expected = 15.0 * passage.cdf(4.0);
    let spread = (expected * (1.0 - passage.cdf(4.0))).sqrt();
    assert!((3.0 - expected).abs() < 2.0 * spread);
}

#[test]
fn either_way_is_the_sum_of_two_ways_where_they_exclude_each_other_and_never_more_than_one() {
    let path = GaussianPath::new(1.0, -2.0).unwrap().spread(2.0, 1.5, -0.3).unwrap();
    let mirror = GaussianPath::new(-1.0, 2.0).unwrap().spread(2.0, 1.5, -0.3).unwrap();
    let mut last = 0.0;
    for time in [0.0, 0.5, 1.0, 3.0, 10.0, 100.0] {
        let both = path.crossed_either_way(8.0, time).unwrap();
        let up = path.crossed_above(8.0, time);
        let down = mirror.crossed_above(8.0, time);
        assert!(both <= up + down + 1e-12 && both >= up.max(down) - 1e-12, "{time}: {both} {up} {down}");
        assert!(both >= last && both <= 1.0);
        check("mirror", mirror.crossed_either_way(8.0, time).unwrap(), both);
        last = both;
    }
    // seen from later on, a path that starts there has the same marginal
    let later = path.from(3.0);
    check("marginal", later.crossed_above(0.5, 0.0), {
        let sd = (4.0 + 9.0 * 2.25 + 2.0 * 3.0 * -0.3 * 3.0_f64).sqrt();
        statrs::function::erf::erfc((0.5 + 5.0) / sd / std::f64::consts::SQRT_2) / 2.0
    });
    assert!(path.crossed_either_way(0.0, 1.0).is_err());
    assert!(GaussianPath::new(f64::NAN, 0.0).is_err());
    assert!(path.spread(1.0, 1.0, 1.1).is_err());
}
