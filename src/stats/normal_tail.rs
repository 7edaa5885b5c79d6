//! Tails of the normal distribution without underflow.

use std::f64::consts::{FRAC_1_SQRT_2, LN_2};

use statrs::function::erf::erfc_inv;

const SQRT_PI: f64 = 1.772_453_850_905_516;
const LN_SQRT_2PI: f64 = 0.918_938_533_204_672_8;

/// Where the series of erf hands over to the continued fraction.
const HAND_OVER: f64 = 2.0;

/// Error function by its series `2/√π · e^(−x²) · Σ 2ⁿx^(2n+1)/(2n+1)!!`, all of one sign (Abramowitz and Stegun 1964,
/// 7.1.6, from memory). The `erfc` of statrs 0.19 is good to 2e-11 only, less than the tails here are checked to.
fn erf_series(x: f64) -> f64 {
    let mut term = x;
    let mut sum = x;
    let mut n = 0.0;
    while term.abs() > 1e-18 * sum.abs() {
        n += 1.0;
        term *= 2.0 * x * x / (2.0 * n + 1.0);
        sum += term;
    }
    2.0 / SQRT_PI * (-x * x).exp() * sum
}

/// Scaled complementary error function `e^(x²)·erfc(x)` for `x ≥ 0`: from 2 on by its continued fraction
/// `1/√π · 1/(x + ½/(x + 1/(x + 3⁄2/(x + …))))` (Abramowitz and Stegun 1964, 7.1.14, from memory).
pub(crate) fn erfcx(x: f64) -> f64 {
    if x < HAND_OVER {
        return (x * x).exp() * (1.0 - erf_series(x));
    }
    let mut below = x;
    for k in (1..=80_u32).rev() {
        below = x + f64::from(k) / 2.0 / below;
    }
    1.0 / (SQRT_PI * below)
}

/// Complementary error function.
fn erfc(x: f64) -> f64 {
    if x.abs() < HAND_OVER {
        1.0 - erf_series(x)
    } else if x > 0.0 {
        (-x * x).exp() * erfcx(x)
    } else {
        2.0 - (-x * x).exp() * erfcx(-x)
    }
}

/// Standard normal density.
pub(crate) fn density(z: f64) -> f64 {
    (-0.5 * z * z - LN_SQRT_2PI).exp()
}

/// Upper tail `P(Z > z)`.
pub(crate) fn upper(z: f64) -> f64 {
    0.5 * erfc(z * FRAC_1_SQRT_2)
}

/// Logarithm of the upper tail; never underflows.
pub(crate) fn ln_upper(z: f64) -> f64 {
    if z > 5.0 {
        -0.5 * z * z + (erfcx(z * FRAC_1_SQRT_2)).ln() - LN_2
    } else if z < -5.0 {
        (-upper(-z)).ln_1p()
    } else {
        upper(z).ln()
    }
}

/// Upper quantile: the `z` with `P(Z > z) = p`, for `p` inside 0 … 1; two Newton steps after the approximation of statrs.
pub(crate) fn upper_quantile(p: f64) -> f64 {
    let mut z = std::f64::consts::SQRT_2 * erfc_inv(2.0 * p);
    for _ in 0..2 {
        let step = (upper(z) - p) / density(z);
        if step.is_finite() {
            z += step;
        }
    }
    z
}

/// `ln(e^a + e^b)`.
pub(crate) fn ln_add(a: f64, b: f64) -> f64 {
    let (high, low) = if a > b { (a, b) } else { (b, a) };
    if high == f64::NEG_INFINITY { high } else { high + (low - high).exp().ln_1p() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_forms_of_erfcx_meet_and_deep_tails_do_not_underflow() {
        let series = 4.0_f64.exp() * (1.0 - erf_series(2.0));
        assert!((erfcx(2.0) / series - 1.0).abs() < 1e-13, "{} {series}", erfcx(2.0));
        assert_eq!(erfcx(0.0), 1.0);
        // erfc(5) = 1.5374597944280348502e-12 (Abramowitz and Stegun 1964, table 7.2, from memory)
        assert!((erfc(5.0) / 1.537_459_794_428_035e-12 - 1.0).abs() < 1e-13);
        assert!((erfc(-0.5) - 1.520_499_877_813_046_5).abs() < 1e-15);
        // asymptotically 1/(x√π)
        assert!((erfcx(1e8) * 1e8 * SQRT_PI - 1.0).abs() < 1e-14);
        // asymptotic series ln Q(z) = −z²/2 − ln(z√(2π)) + ln(1 − 1/z² + 3/z⁴ − 15/z⁶ + 105/z⁸)
        let z = 40.0_f64;
        let series = 1.0 - z.powi(-2) + 3.0 * z.powi(-4) - 15.0 * z.powi(-6) + 105.0 * z.powi(-8);
        assert!((ln_upper(z) - (-0.5 * z * z - LN_SQRT_2PI - z.ln() + series.ln())).abs() < 1e-9);
        assert!((ln_upper(5.0) - ln_upper(5.0_f64.next_up())).abs() < 1e-12);
        assert!((ln_upper(-5.0) - ln_upper(-5.0_f64.next_up())).abs() < 1e-15);
        for p in [1e-12, 1e-3, 0.1, 0.5, 0.9] {
            assert!((upper(upper_quantile(p)) / p - 1.0).abs() < 1e-12);
        }
    }
}
