//! Speed, sink and air.

use serde::{Deserialize, Serialize};

/// Standard gravity, m/s² (U.S. Standard Atmosphere 1976).
pub const GRAVITY_M_S2: f64 = 9.806_65;

/// A steady glide.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Glide {
    /// Speed along the path, m/s.
    pub speed_m_s: f64,
    /// Angle of the path below the horizon, degrees.
    pub angle_deg: f64,
    /// Sink rate, m/s.
    pub sink_m_s: f64,
}

/// What a steady glide follows from.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct GlideInputs {
    /// All-up mass, kg.
    pub mass_kg: f64,
    /// Area the coefficients refer to, m².
    pub area_m2: f64,
    /// Lift coefficient.
    pub lift_coefficient: f64,
    /// Drag coefficient, everything included.
    pub drag_coefficient: f64,
    /// Air density, kg/m³.
    pub density_kg_m3: f64,
}

impl GlideInputs {
    /// The steady glide: `V = √(2mg/(ρ S C_R))`, `C_R = √(C_L² + C_D²)`, `tan γ = C_D/C_L`. `None` when the inputs give no
    /// finite speed.
    #[must_use]
    pub fn glide(&self) -> Option<Glide> {
        let resultant = self.lift_coefficient.hypot(self.drag_coefficient);
        let weight_n = self.mass_kg * GRAVITY_M_S2;
        let speed_m_s = (2.0 * weight_n / (self.density_kg_m3 * self.area_m2 * resultant)).sqrt();
        let angle = self.drag_coefficient.atan2(self.lift_coefficient);
        let glide = Glide { speed_m_s, angle_deg: angle.to_degrees(), sink_m_s: speed_m_s * angle.sin() };
        speed_m_s.is_finite().then_some(glide)
    }
}

/// Density of the U.S. Standard Atmosphere 1976 at a geopotential height of −5,000 to 11,000 m, kg/m³; `None` outside.
///
/// `T = 288.15 − 0.0065 h`, `p = 101325 (T/288.15)^(gM/(R·0.0065))`, `ρ = pM/(RT)`, `M = 0.0289644 kg/mol`,
/// `R = 8.31432 J/(mol K)`.
#[must_use]
pub fn isa_density_kg_m3(height_m: f64) -> Option<f64> {
    const SEA_LEVEL_K: f64 = 288.15;
    const SEA_LEVEL_PA: f64 = 101_325.0;
    const LAPSE_K_M: f64 = 0.0065;
    const MOLAR_KG: f64 = 0.028_964_4;
    const GAS_J_K: f64 = 8.314_32;
    if !(-5000.0..=11_000.0).contains(&height_m) {
        return None;
    }
    let kelvin = SEA_LEVEL_K - LAPSE_K_M * height_m;
    let pressure = SEA_LEVEL_PA * (kelvin / SEA_LEVEL_K).powf(GRAVITY_M_S2 * MOLAR_KG / (GAS_J_K * LAPSE_K_M));
    Some(pressure * MOLAR_KG / (GAS_J_K * kelvin))
}

/// Relative change of speed when the lift coefficient changes by a part of itself: `dV/V = (1 + dC_L/C_L)^(−½) − 1`.
/// `None` when no lift is left.
#[must_use]
pub fn speed_change(lift_change: f64) -> Option<f64> {
    let change = (1.0 + lift_change).powf(-0.5) - 1.0;
    change.is_finite().then_some(change)
}

/// Drag coefficient of the lines on the wing's area, `Σ l d · C_d / S`: length in m, mean diameter in mm, area in m².
#[must_use]
pub fn line_drag_coefficient(length_m: f64, diameter_mm: f64, drag_coefficient: f64, area_m2: f64) -> f64 {
    length_m * diameter_mm / 1000.0 * drag_coefficient / area_m2
}

/// A level circle.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Circle {
    /// Bank, degrees.
    pub bank_deg: f64,
    /// Rate of turn, degrees per second.
    pub rate_deg_s: f64,
}

/// Bank and rate of turn of a circle that is flown: `tan φ = V²/(gR)`, `ω = V/R`; radius in m, speed in m/s. It says
/// nothing of which circle a wing out of trim would fly.
#[must_use]
pub fn circle(radius_m: f64, speed_m_s: f64) -> Circle {
    Circle {
        bank_deg: (speed_m_s * speed_m_s / (GRAVITY_M_S2 * radius_m)).atan().to_degrees(),
        rate_deg_s: (speed_m_s / radius_m).to_degrees(),
    }
}
