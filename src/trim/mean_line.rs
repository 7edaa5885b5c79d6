//! Thin-aerofoil theory of a cambered mean line.

use std::f64::consts::PI;

use serde::{Deserialize, Serialize};

/// Points of the Fourier integrals.
const POINTS: usize = 20_000;

/// What thin-aerofoil theory gives of a mean line.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ThinAerofoil {
    /// Angle of zero lift, degrees.
    pub zero_lift_deg: f64,
    /// Moment coefficient about the quarter chord.
    pub quarter_chord_moment: f64,
    /// First Fourier coefficient of the slope, `A₁`.
    pub first: f64,
    /// Second Fourier coefficient of the slope, `A₂`.
    pub second: f64,
}

/// Zero-lift angle and moment of a mean line from its slope `dz/dx`, a function of x/c from 0 to 1. With
/// `x = (1 − cos θ)/2`: `α_L0 = −(1/π)∫ (dz/dx)(cos θ − 1) dθ`, `cm_c4 = (π/4)(A₂ − A₁)`,
/// `A_n = (2/π)∫ (dz/dx) cos nθ dθ`. Source: Anderson, section 4.8.
#[must_use]
pub fn thin_aerofoil(slope: impl Fn(f64) -> f64) -> ThinAerofoil {
    let step = PI / POINTS as f64;
    let (mut zero, mut first, mut second) = (0.0, 0.0, 0.0);
    for point in 0..POINTS {
        let theta = (point as f64 + 0.5) * step;
        let here = slope((1.0 - theta.cos()) / 2.0) * step;
        zero += here * (theta.cos() - 1.0);
        first += here * theta.cos();
        second += here * (2.0 * theta).cos();
    }
    ThinAerofoil {
        zero_lift_deg: (-zero / PI).to_degrees(),
        quarter_chord_moment: (second - first) / 2.0,
        first: 2.0 / PI * first,
        second: 2.0 / PI * second,
    }
}

/// Slope of the mean line of the NACA 230 series at x/c: `(k/6)(3x² − 6mx + m²(3 − m))` ahead of `m`, `−k m³/6` behind,
/// `m = 0.2025`, `k = 15.957`. Source: Anderson, example 4.6 (the series' published constants).
#[must_use]
pub fn naca_230_slope(x: f64) -> f64 {
    const M: f64 = 0.2025;
    const K: f64 = 15.957;
    if x < M { K / 6.0 * (3.0 * x * x - 6.0 * M * x + M * M * (3.0 - M)) } else { -K * M * M * M / 6.0 }
}
