//! Closed forms of wing theory: lift slope, induced drag, arch.

use std::f64::consts::PI;

/// Lift slope of a finite wing per radian, `a = a₀ / (1 + (a₀/(πA))(1 + τ))`: section slope `a₀` per radian, aspect
/// ratio `A`, planform factor `τ` (0 for an ellipse). Source: Prandtl's lifting line, Anderson, chapter 5.
#[must_use]
pub fn lift_slope_per_rad(section_per_rad: f64, aspect_ratio: f64, tau: f64) -> f64 {
    section_per_rad / (1.0 + section_per_rad / (PI * aspect_ratio) * (1.0 + tau))
}

/// Section lift slope `a₀` per radian of the wing whose slope is `a`: the inverse of [`lift_slope_per_rad`].
#[must_use]
pub fn section_slope_per_rad(wing_per_rad: f64, aspect_ratio: f64, tau: f64) -> f64 {
    wing_per_rad / (1.0 - wing_per_rad / (PI * aspect_ratio) * (1.0 + tau))
}

/// Helmbold's lift slope per radian, for wings below an aspect ratio of about 4:
/// `a = a₀ / (√(1 + (a₀/(πA))²) + a₀/(πA))`. Source: Anderson, equation 5.81.
#[must_use]
pub fn helmbold_slope_per_rad(section_per_rad: f64, aspect_ratio: f64) -> f64 {
    let ratio = section_per_rad / (PI * aspect_ratio);
    section_per_rad / (ratio.hypot(1.0) + ratio)
}

/// Induced drag coefficient `C_L²(1 + δ)/(πA)`, with `δ` 0 for elliptic loading. Source: Anderson, chapter 5.
#[must_use]
pub fn induced_drag(lift_coefficient: f64, aspect_ratio: f64, delta: f64) -> f64 {
    lift_coefficient * lift_coefficient * (1.0 + delta) / (PI * aspect_ratio)
}

/// Factor on the lift slope of a wing bent to a circular arch of radius `R`, flat span `b`: `cos²(b/(4R))`.
#[must_use]
pub fn arch_factor(span_m: f64, radius_m: f64) -> f64 {
    (span_m / (4.0 * radius_m)).cos().powi(2)
}

/// Part of the lift of one half of an elliptically loaded wing that lies inside a position `η` along the half span:
/// `(2/π)(η√(1 − η²) + asin η)`.
#[must_use]
pub fn elliptic_load_inside(span: f64) -> f64 {
    let eta = span.clamp(0.0, 1.0);
    (eta * (1.0 - eta * eta).sqrt() + eta.asin()) * 2.0 / PI
}

/// Loads of the rows as parts of the whole, from statics: the shares sum to 1 and their moment meets the centre of
/// pressure. Two rows follow the lever rule. More rows are statically indeterminate and are taken as equal springs under
/// a stiff chord, `s_r = 1/n + (x_r − x̄)(x_p − x̄)/Σ(x − x̄)²`; a row that would have to push carries nothing and the
/// others are worked out again. Positions are fractions of the chord, in the order of the result.
///
/// `None` without rows, or when the rows left to carry do not enclose the centre of pressure.
#[must_use]
pub fn row_load_shares(positions: &[f64], centre_of_pressure: f64) -> Option<Vec<f64>> {
    let mut carries: Vec<bool> = positions.iter().map(|x| x.is_finite()).collect();
    for _ in 0..positions.len() {
        let n = carries.iter().filter(|&&on| on).count() as f64;
        let on = || positions.iter().zip(&carries).filter(|(_, on)| **on).map(|(x, _)| *x);
        let mean = on().sum::<f64>() / n;
        let spread: f64 = on().map(|x| (x - mean).powi(2)).sum();
        if !(spread > 0.0 && spread.is_finite()) {
            return None;
        }
        let lean = (centre_of_pressure - mean) / spread;
        let share = |(x, on): (&f64, &bool)| if *on { 1.0 / n + lean * (x - mean) } else { 0.0 };
        let shares: Vec<f64> = positions.iter().zip(&carries).map(share).collect();
        let worst = shares.iter().enumerate().min_by(|a, b| a.1.total_cmp(b.1))?;
        if *worst.1 >= 0.0 {
            return Some(shares);
        }
        carries[worst.0] = false;
    }
    None
}
