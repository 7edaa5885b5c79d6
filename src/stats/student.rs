//! Student's t for every degree of freedom.
//!
//! The quantile of statrs 0.19 is wrong from some 1e7 degrees of freedom on and may not end beyond, so it is not used.

use std::f64::consts::PI;

use super::normal_tail;

/// Degrees of freedom from which the expansions about the normal are used: their first term left out is below 1e-13 of the
/// quantile there, for every tail down to 1e-12.
const NEAR_NORMAL: f64 = 1e4;

/// Most steps of the continued fraction and of the search: some ten times what either takes.
const MOST_STEPS: usize = 10_000;

/// Upper tail `P(T > t)` of Student's t with `freedom` degrees of freedom (infinite: the normal). `None` unless `t` is a
/// number and `freedom` is above 0.
///
/// By the continued fraction of the incomplete beta function, `P(T > t) = ½ I_x(ν/2, ½)` with `x = ν/(ν + t²)`, and from 1e4
/// degrees of freedom on by the normal tail at `t − (t³ + t)/4ν + …` (Abramowitz and Stegun 1964, 26.5.8 and 26.7.1, memory;
/// checked against a general library).
#[must_use]
pub fn student_tail(t: f64, freedom: f64) -> Option<f64> {
    if t.is_nan() || !(freedom > 0.0) {
        return None;
    }
    if t.is_infinite() {
        return Some(if t > 0.0 { 0.0 } else { 1.0 });
    }
    if freedom >= NEAR_NORMAL {
        return Some(normal_tail::upper(normal_of(t, freedom)));
    }
    let half = match half_tail(t.abs(), freedom) {
        HalfTail::Beyond(tail) => tail,
        HalfTail::Within(inside) => 0.5 - inside,
    };
    Some(if t >= 0.0 { half } else { 1.0 - half })
}

/// The `t` with `P(T ≤ t) = probability` for Student's t with `freedom` degrees of freedom (infinite: the normal). `None` unless
/// `probability` lies inside 0 … 1 and `freedom` is above 0.
///
/// ```
/// let t = linedrift::stats::student_quantile(0.975, 4.0);
/// assert!((t.unwrap_or_default() - 2.776_445_105_198).abs() < 1e-11);
/// assert_eq!(linedrift::stats::student_quantile(0.975, 0.0), None);
/// ```
#[must_use]
pub fn student_quantile(probability: f64, freedom: f64) -> Option<f64> {
    if !(probability > 0.0 && probability < 1.0) {
        return None;
    }
    if probability >= 0.5 {
        upper_half(1.0 - probability, probability - 0.5, freedom)
    } else {
        upper_half(probability, 0.5 - probability, freedom).map(|t| -t)
    }
}

/// Two-sided coverage factor: the `t` with `P(|T| ≤ t) = level`. `None` as for [`student_quantile`].
#[must_use]
pub fn student_coverage(level: f64, freedom: f64) -> Option<f64> {
    if !(level > 0.0 && level < 1.0) {
        return None;
    }
    upper_half(0.5 * (1.0 - level), 0.5 * level, freedom)
}

/// The quantile from 0 up whose upper tail is `tail`, and that has `inside` between it and 0 (`tail + inside = ½`).
fn upper_half(tail: f64, inside: f64, freedom: f64) -> Option<f64> {
    if !(freedom > 0.0) {
        return None;
    }
    if inside == 0.0 {
        return Some(0.0);
    }
    if freedom >= NEAR_NORMAL {
        return Some(student_of(normal_tail::upper_quantile(tail), freedom));
    }
    // ln of the tail over ln t falls and is concave: Newton's steps from above come down on the root
    let error = |t: f64| match half_tail(t, freedom) {
        HalfTail::Beyond(beyond) => (beyond / tail).ln(),
        HalfTail::Within(within) => ((inside - within) / tail).ln_1p(),
    };
    let mut ln_t = 0.0_f64;
    let mut stride = 1.0;
    while error(ln_t.exp()) > 0.0 {
        ln_t += stride;
        stride *= 2.0;
        if ln_t > 700.0 {
            return None; // beyond the largest number
        }
    }
    for _ in 0..MOST_STEPS {
        let t = ln_t.exp();
        let beyond = match half_tail(t, freedom) {
            HalfTail::Beyond(beyond) => beyond,
            HalfTail::Within(within) => 0.5 - within,
        };
        let step = error(t) * beyond / (t * density(t, freedom));
        if !step.is_finite() {
            return None;
        }
        ln_t += step;
        // past rounding, steps no longer lead down
        if step.abs() < 4.0 * f64::EPSILON || step > 0.0 {
            break;
        }
    }
    Some(ln_t.exp())
}

/// What lies on one side of a `t` from 0 up, by whichever is the smaller to compute without cancelling.
enum HalfTail {
    /// Above `t`.
    Beyond(f64),
    /// Between 0 and `t`.
    Within(f64),
}

fn half_tail(t: f64, freedom: f64) -> HalfTail {
    let a = 0.5 * freedom;
    let square = t * t / freedom;
    if square.is_infinite() {
        // the tail's leading term, x^a = (ν/t²)^a
        return HalfTail::Beyond(0.5 * (a * (freedom.ln() - 2.0 * t.ln())).exp() * gamma_ratio(a) / PI.sqrt() / a);
    }
    // x^a (1 − x)^½ / B(a, ½)
    let front = (-a * square.ln_1p()).exp() * (square / (1.0 + square)).sqrt() * gamma_ratio(a) / PI.sqrt();
    if square * (a + 1.0) > 1.5 {
        HalfTail::Beyond(0.5 * front * beta_fraction(a, 0.5, 1.0 / (1.0 + square)) / a)
    } else {
        HalfTail::Within(front * beta_fraction(0.5, a, square / (1.0 + square)))
    }
}

/// Density at `t` from 0 up.
fn density(t: f64, freedom: f64) -> f64 {
    let square = t * t / freedom;
    let ln_beyond = if square.is_infinite() { 2.0 * t.ln() - freedom.ln() } else { square.ln_1p() };
    gamma_ratio(0.5 * freedom) / (freedom * PI).sqrt() * (-0.5 * (freedom + 1.0) * ln_beyond).exp()
}

/// `Γ(a + ½)/Γ(a)`: by its asymptotic series from 20 on (Graham, Knuth and Patashnik 1994, exercise 9.60, memory; relative error
/// below 1e-14), led down from there by `Γ(a + 1) = a Γ(a)`.
fn gamma_ratio(a: f64) -> f64 {
    const SERIES: [f64; 8] = [
        1.0,
        -1.0 / 8.0,
        1.0 / 128.0,
        5.0 / 1024.0,
        -21.0 / 32_768.0,
        -399.0 / 262_144.0,
        869.0 / 4_194_304.0,
        39_325.0 / 33_554_432.0,
    ];
    let mut at = a;
    let mut factor = 1.0;
    while at < 20.0 {
        factor *= at / (at + 0.5);
        at += 1.0;
    }
    factor * at.sqrt() * SERIES.iter().rev().fold(0.0, |sum, c| sum / at + c)
}

/// The continued fraction of the incomplete beta function, `I_x(a, b) = x^a (1 − x)^b / (a B(a, b)) · fraction`, by Lentz's
/// algorithm (Abramowitz and Stegun 1964, 26.5.8; Lentz, Appl. Opt. 15, 1976; from memory).
fn beta_fraction(a: f64, b: f64, x: f64) -> f64 {
    let away = |value: f64| if value.abs() < 1e-300 { 1e-300 } else { value };
    let mut c = 1.0;
    let mut d = 1.0 / away(1.0 - (a + b) * x / (a + 1.0));
    let mut fraction = d;
    for step in 1..MOST_STEPS {
        let m = step as f64;
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        d = 1.0 / away(1.0 + even * d);
        c = away(1.0 + even / c);
        fraction *= d * c;
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        d = 1.0 / away(1.0 + odd * d);
        c = away(1.0 + odd / c);
        fraction *= d * c;
        if (d * c - 1.0).abs() < f64::EPSILON {
            break;
        }
    }
    fraction
}

/// Student's quantile from the normal's (Abramowitz and Stegun 1964, 26.7.5, from memory).
fn student_of(z: f64, freedom: f64) -> f64 {
    let s = z * z;
    let first = (s + 1.0) / 4.0;
    let second = ((5.0 * s + 16.0) * s + 3.0) / 96.0;
    let third = (((3.0 * s + 19.0) * s + 17.0) * s - 15.0) / 384.0;
    let fourth = ((((79.0 * s + 776.0) * s + 1482.0) * s - 1920.0) * s - 945.0) / 92_160.0;
    z * (1.0 + (first + (second + (third + fourth / freedom) / freedom) / freedom) / freedom)
}

/// The normal's value with the same tail as Student's `t`: the inverse of [`student_of`].
fn normal_of(t: f64, freedom: f64) -> f64 {
    let mut z = t;
    for _ in 0..50 {
        let next = z + (t - student_of(z, freedom)) / (1.0 + (3.0 * z * z + 1.0) / (4.0 * freedom));
        if !next.is_finite() || (next - z).abs() <= f64::EPSILON * z.abs() {
            break;
        }
        z = next;
    }
    z
}
