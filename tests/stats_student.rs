//! Student's t against 40-digit values of a general library, for every degree of freedom.

use std::time::{Duration, Instant};

use linedrift::stats::{student_coverage, student_quantile, student_tail};
use serde::Deserialize;

/// A row of `data/student/student.json`, which `student.py` beside it made with mpmath 1.3.
#[derive(Deserialize)]
struct Value {
    freedom: f64,
    tail: f64,
    t: String,
}

fn values() -> Vec<(f64, f64, f64)> {
    let values: Vec<Value> =
        serde_json::from_str(include_str!("data/student/student.json")).expect("the table reads");
    values.iter().map(|value| (value.freedom, value.tail, value.t.parse().expect("a number"))).collect()
}

#[test]
fn quantiles_hold_to_twelve_digits_from_half_a_degree_of_freedom_to_a_million_million() {
    let values = values();
    assert_eq!(values.len(), 180);
    for (freedom, tail, t) in values {
        let got = student_quantile(tail, freedom).expect("a quantile");
        assert!((got / -t - 1.0).abs() < 1e-12, "{freedom} {tail}: {got} against {t}");
        // through 1 − tail only as far as that holds the tail
        let upper = student_quantile(1.0 - tail, freedom).expect("a quantile");
        let rounding = 2.0 * f64::EPSILON / tail;
        assert!(
            (upper / t - 1.0).abs() < 1e-12 + rounding / freedom.min(2.0),
            "{freedom} {tail}: {upper} against {t}"
        );
        let level = 1.0 - 2.0 * tail;
        if level < 0.999 {
            let covered = student_coverage(level, freedom).expect("a factor");
            assert!((covered / t - 1.0).abs() < 2e-12, "{freedom} {tail}: {covered} against {t}");
        }
    }
}

#[test]
fn tails_are_the_inverse_of_quantiles_to_twelve_digits() {
    for (freedom, tail, t) in values() {
        let got = student_tail(t, freedom).expect("a tail");
        assert!((got / tail - 1.0).abs() < 2e-12, "{freedom} {t}: {got} against {tail}");
        let below = student_tail(-t, freedom).expect("a tail");
        // the table's t is rounded to a double: at half a degree of freedom that moves the tail by some 1e-16 times t's slope
        assert!((below - (1.0 - tail)).abs() < 1e-14, "{freedom} {t}: {below}");
    }
}

#[test]
fn no_degree_of_freedom_keeps_a_quantile_from_ending() {
    let start = Instant::now();
    let mut freedom = 1e-2;
    let mut last = f64::INFINITY;
    while freedom < 1e300 {
        let t = student_quantile(0.975, freedom).expect("a quantile");
        assert!(t.is_finite() && t <= last && t > 1.959_963_984_54, "{freedom}: {t} after {last}");
        last = t;
        freedom *= 1.7;
    }
    let normal = student_quantile(0.975, f64::INFINITY).expect("the normal's");
    assert!((normal - 1.959_963_984_540_054).abs() < 1e-14);
    // a guard against a loop that does not end, a thousand times what it takes
    assert!(start.elapsed() < Duration::from_secs(20));
}

#[test]
fn what_is_no_probability_or_no_degree_of_freedom_has_no_quantile() {
    for (probability, freedom) in [(0.0, 3.0), (1.0, 3.0), (f64::NAN, 3.0), (0.5, 0.0), (0.9, -1.0), (0.9, f64::NAN)]
    {
        assert_eq!(student_quantile(probability, freedom), None, "{probability} {freedom}");
    }
    assert_eq!(student_quantile(0.5, 3.0), Some(0.0));
    assert_eq!(student_coverage(1.0, 3.0), None);
    assert_eq!(student_tail(f64::NAN, 3.0), None);
    assert_eq!(student_tail(f64::INFINITY, 3.0), Some(0.0));
    assert_eq!(student_quantile(1e-300, 0.01), None, "beyond the largest number");
}
