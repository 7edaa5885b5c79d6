//! Pitch balance: what a change of incidence does to the angle of attack at trim.

use serde::{Deserialize, Serialize};

/// Moments about the quarter chord from section, suspended mass and lines.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PitchBalance {
    /// Moment coefficient of the section about the quarter chord, `Cm_c4`.
    pub section_moment: f64,
    /// Distance from the quarter chord to the suspended mass, in chords, `R/c`.
    pub arm: f64,
    /// Drag coefficient of the suspended mass on the wing's area, `C_Ds`.
    pub suspended_drag: f64,
    /// Drag coefficient of the lines on the wing's area, `C_Dl`; it acts halfway down.
    pub line_drag: f64,
}

/// Lift and drag of the whole glider: `C_L = a(α − α₀)`, `C_D = C_D0 + k C_L²`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Polar {
    /// Lift slope per radian, `a`.
    pub lift_slope_per_rad: f64,
    /// Angle of zero lift, degrees.
    pub zero_lift_deg: f64,
    /// Drag without lift, everything included, `C_D0`.
    pub zero_lift_drag: f64,
    /// Factor of induced drag, `k`.
    pub induced: f64,
}

/// Glide angle and resultant coefficient at one angle of attack.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct GlideCoefficients {
    /// Glide angle `γ = atan(C_D/C_L)`, degrees.
    pub glide_deg: f64,
    /// Resultant coefficient `C_R = √(C_L² + C_D²)`.
    pub resultant: f64,
}

/// A glide at trim and how lift and drag change about it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TrimPoint {
    /// Lift coefficient.
    pub lift: f64,
    /// Drag coefficient, everything included.
    pub drag: f64,
    /// Lift slope per radian.
    pub lift_slope_per_rad: f64,
    /// Factor of induced drag, `k`.
    pub induced: f64,
}

/// What one degree of incidence does at trim.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TrimResponse {
    /// Degrees of angle of attack per degree of incidence.
    pub aoa_per_incidence: f64,
    /// Per cent of speed lost per degree of incidence nose-up.
    pub speed_pct_per_deg: f64,
}

impl Polar {
    /// Glide angle and resultant at an angle of attack, degrees.
    #[must_use]
    pub fn at(&self, aoa_deg: f64) -> GlideCoefficients {
        let lift = self.lift_slope_per_rad * (aoa_deg - self.zero_lift_deg).to_radians();
        let drag = self.zero_lift_drag + self.induced * lift * lift;
        GlideCoefficients { glide_deg: drag.atan2(lift).to_degrees(), resultant: lift.hypot(drag) }
    }
}

impl PitchBalance {
    /// Moment coefficient about the quarter chord,
    /// `C_M = Cm_c4 − (R/c)[(C_Ds + C_Dl/2) cos(α + μ) + C_R sin(α + μ − γ)]`, with rigging angle `μ = −incidence`,
    /// glide angle `γ`, resultant coefficient `C_R`. Angles in degrees.
    #[must_use]
    pub fn moment(&self, aoa_deg: f64, rigging_deg: f64, glide: GlideCoefficients) -> f64 {
        let lean = (aoa_deg + rigging_deg).to_radians();
        let drag = (self.suspended_drag + self.line_drag / 2.0) * lean.cos();
        let resultant = glide.resultant * (lean - glide.glide_deg.to_radians()).sin();
        self.section_moment - self.arm * (drag + resultant)
    }

    /// Angle of attack at which the moment vanishes with glide angle and resultant held, degrees; `None` when it does not
    /// vanish within 30° of `γ − μ`.
    #[must_use]
    pub fn root_deg(&self, rigging_deg: f64, glide: GlideCoefficients) -> Option<f64> {
        root(glide.glide_deg - rigging_deg, 30.0, |aoa| self.moment(aoa, rigging_deg, glide))
    }

    /// Angle of attack at trim with glide angle and resultant from a polar, degrees; `None` when there is none between
    /// zero lift and 25° above it.
    #[must_use]
    pub fn trim_deg(&self, rigging_deg: f64, polar: &Polar) -> Option<f64> {
        let (middle, reach) = (polar.zero_lift_deg + 13.0, 12.0);
        root(middle, reach, |aoa| self.moment(aoa, rigging_deg, polar.at(aoa)))
    }

    /// Degrees of angle of attack per degree of incidence at trim, `dα/di = 1/(1 − d(γ + asin{…})/dα)`, by the difference
    /// of two balances 0.01° of incidence apart.
    #[must_use]
    pub fn aoa_per_incidence(&self, rigging_deg: f64, polar: &Polar) -> Option<f64> {
        const STEP_DEG: f64 = 0.005;
        let up = self.trim_deg(rigging_deg - STEP_DEG, polar)?;
        let down = self.trim_deg(rigging_deg + STEP_DEG, polar)?;
        Some((up - down) / (2.0 * STEP_DEG))
    }

    /// What one degree of incidence does at a known glide, from the balance differentiated. With the lean `λ = α + μ`,
    /// which the balance gives from `C_L sin λ + (D − C_D) cos λ = Cm_c4/(R/c)`, `D = C_Ds + C_Dl/2`, and `x = λ − γ`:
    /// `dα/di = (C_R cos x − D sin λ) / (C_R cos x·(1 − γ′) + C_R′ sin x − D sin λ)`, primes by α with `C_L′ = a`,
    /// `C_D′ = 2k C_L a`; `dV/V = −½ dC_R/C_R`. `None` when the moments cannot balance or the balance is not stable.
    #[must_use]
    pub fn response(&self, point: &TrimPoint) -> Option<TrimResponse> {
        let TrimPoint { lift, drag, lift_slope_per_rad: slope, induced } = *point;
        let hanging = self.suspended_drag + self.line_drag / 2.0;
        let resultant = lift.hypot(drag);
        let across = lift.hypot(hanging - drag);
        let lean = (self.section_moment / self.arm / across).asin() - (hanging - drag).atan2(lift);
        let drag_slope = 2.0 * induced * lift * slope;
        let glide_slope = (drag_slope * lift - drag * slope) / (resultant * resultant);
        let resultant_slope = (lift * slope + drag * drag_slope) / resultant;
        let behind = lean - drag.atan2(lift);
        let push = resultant * behind.cos() - hanging * lean.sin();
        let hold =
            resultant * behind.cos() * (1.0 - glide_slope) + resultant_slope * behind.sin() - hanging * lean.sin();
        let aoa_per_incidence = push / hold;
        let speed_pct_per_deg = 50.0 * (resultant_slope / resultant * aoa_per_incidence).to_radians();
        (push > 0.0 && hold > 0.0 && aoa_per_incidence.is_finite() && speed_pct_per_deg.is_finite())
            .then_some(TrimResponse { aoa_per_incidence, speed_pct_per_deg })
    }
}

/// Bisects for a sign change within `reach` of `middle`.
fn root(middle: f64, reach: f64, value: impl Fn(f64) -> f64) -> Option<f64> {
    let (mut low, mut high) = (middle - reach, middle + reach);
    let (at_low, at_high) = (value(low), value(high));
    if !(at_low.is_finite() && at_high.is_finite()) || (at_low > 0.0) == (at_high > 0.0) {
        return None;
    }
    for _ in 0..200 {
        let centre = f64::midpoint(low, high);
        if (value(centre) > 0.0) == (at_low > 0.0) {
            low = centre;
        } else {
            high = centre;
        }
    }
    Some(f64::midpoint(low, high))
}
