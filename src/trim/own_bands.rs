//! Bands from a wing's own figures by the pitch balance.

use std::f64::consts::PI;

use serde::{Deserialize, Serialize};

use super::balance::{PitchBalance, TrimPoint};
use super::bands::{BandBasis, Factor, FlightBands};
use super::finite_wing::{arch_factor, helmbold_slope_per_rad, lift_slope_per_rad};
use super::speed::{GRAVITY_M_S2, isa_density_kg_m3};
use crate::wing::{ModelData, Planform, Wing};

/// Lift slope of the section per radian: from a thick soft section with open cells to a thin aerofoil (practice).
const SECTION_SLOPE_PER_RAD: [f64; 2] = [5.0, 2.0 * PI];
/// Radius of the arch over the flat span where it is not given: from 0.48, which the stations of Belloc's wing give, to
/// 1.0, nearly flat (second-hand, and practice).
const ARCH_RADIUS_OVER_SPAN: [f64; 2] = [0.48, 1.0];
/// Moment of the section about the quarter chord: from a cambered section to a reflexed one (practice; the NACA 230 mean
/// line has −0.013).
const SECTION_MOMENT: [f64; 2] = [-0.04, 0.0];
/// Distance from the quarter chord to the suspended mass, in chords; Heatwole's wing has 2.6 (read), others are taken
/// around it (practice). Only the quotient with the section's moment counts.
const SHORTEST_ARM: f64 = 2.2;
/// Drag of the suspended mass and half that of the lines, on the wing's area: Heatwole's wing has 0.019 + 0.0095/2 (read),
/// a lying pilot under few lines less, an upright one under many more (practice).
const HANGING_DRAG: [f64; 2] = [0.0125, 0.028];
/// The least drag of the wing itself without lift; what hangs below it can have no more than is left (practice).
const LEAST_WING_DRAG: f64 = 0.005;
/// Span efficiency of the induced drag (practice).
const SPAN_EFFICIENCY: [f64; 2] = [0.85, 1.0];
/// Height at which the maker's trim speed was flown, m (practice: at most from a launch in the mountains).
const HEIGHT_M: [f64; 2] = [0.0, 1500.0];
/// Figures outside these do not belong to a paraglider at trim: aspect ratio, glide ratio, resultant coefficient.
const ASPECT_RATIO: [f64; 2] = [2.0, 12.0];
const GLIDE_RATIO: [f64; 2] = [3.0, 15.0];
const RESULTANT: [f64; 2] = [0.25, 1.2];

/// Smallest and largest response.
#[derive(Debug, Clone, Copy)]
struct Extremes {
    aoa: [f64; 2],
    speed: [f64; 2],
}

/// What is known of a wing that its bands can rest on.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FlightFigures {
    /// Flat span, m.
    pub span_m: f64,
    /// Flat area, m².
    pub area_m2: f64,
    /// Planform factor of the lift slope (0 for an ellipse).
    pub tau: f64,
    /// Radius of the arch, m, where known.
    pub arch_radius_m: Option<f64>,
    /// All-up mass, kg; the trim speed is taken as flown at it.
    pub mass_kg: f64,
    /// Trim speed, km/h.
    pub trim_speed_kmh: f64,
    /// Glide ratio at trim.
    pub glide: f64,
}

impl FlightFigures {
    /// The figures of a wing, or the names of those that are missing (a figure that is not positive counts as missing).
    /// Span and area come from the planform, mass from the wing, trim speed and glide from the model.
    ///
    /// # Errors
    /// The missing figures as the tables call them.
    pub fn of(
        planform: Option<&Planform>,
        tau: f64,
        data: &ModelData,
        wing: &Wing,
    ) -> Result<Self, Vec<&'static str>> {
        let known = |value: Option<f64>| value.filter(|v| v.is_finite() && *v > 0.0);
        let span_m = known(planform.and_then(Planform::span_m));
        let area_m2 = known(planform.and_then(Planform::area_m2));
        let (mass_kg, speed, glide) = (known(wing.mass_kg), known(data.trim_speed_kmh), known(data.glide));
        if let (Some(span_m), Some(area_m2), Some(mass_kg), Some(trim_speed_kmh), Some(glide)) =
            (span_m, area_m2, mass_kg, speed, glide)
        {
            let arch_radius_m = planform.and_then(Planform::arch_radius_m);
            return Ok(Self { span_m, area_m2, tau, arch_radius_m, mass_kg, trim_speed_kmh, glide });
        }
        let named = [
            ("span_m", span_m),
            ("area_m2", area_m2),
            ("mass_kg", mass_kg),
            ("trim_speed_kmh", speed),
            ("glide", glide),
        ];
        Err(named.into_iter().filter(|(_, value)| value.is_none()).map(|(name, _)| name).collect())
    }

    /// Bands by the pitch balance of this wing: the extremes of its response over everything that stays unknown (section,
    /// arch, drag of pilot and lines, arm, span efficiency, air), within those of published wings. `None` when the
    /// figures are not those of a paraglider at trim or the two ranges do not meet.
    ///
    /// With density ρ: `C_R = 2mg/(ρSV²)`, `C_L = C_R cos γ`, `C_D = C_R sin γ`, `γ = atan(1/glide)`; lift slope from the
    /// aspect ratio, induced drag `C_L²/(πAe)`; then [`PitchBalance::response`].
    #[must_use]
    pub fn bands(&self) -> Option<FlightBands> {
        let Extremes { aoa, speed } = self.extremes()?;
        let published = FlightBands::published();
        let own = |[lower, upper]: [f64; 2]| Factor { lower, centre: f64::midpoint(lower, upper), upper };
        Some(FlightBands {
            basis: BandBasis::Wing,
            aoa_deg_per_deg: own(aoa).within(published.aoa_deg_per_deg)?,
            speed_pct_per_deg: own(speed).within(published.speed_pct_per_deg)?,
        })
    }

    /// The extremes of this wing's response over the unknowns, not yet held within published wings.
    fn extremes(&self) -> Option<Extremes> {
        let inside = |value: f64, [low, high]: [f64; 2]| value >= low && value <= high;
        let aspect_ratio = self.span_m * self.span_m / self.area_m2;
        let speed_m_s = self.trim_speed_kmh / 3.6;
        let resultant = |height_m: f64| {
            let density = isa_density_kg_m3(height_m)?;
            Some(2.0 * self.mass_kg * GRAVITY_M_S2 / (density * self.area_m2 * speed_m_s * speed_m_s))
        };
        if !(inside(aspect_ratio, ASPECT_RATIO) && inside(self.glide, GLIDE_RATIO))
            || HEIGHT_M.iter().any(|height| !resultant(*height).is_some_and(|r| inside(r, RESULTANT)))
        {
            return None;
        }
        let radii = match self.arch_radius_m {
            Some(radius) => [radius; 2],
            None => ARCH_RADIUS_OVER_SPAN.map(|ratio| ratio * self.span_m),
        };
        let mut aoa = [f64::INFINITY, f64::NEG_INFINITY];
        let mut speed = aoa;
        // the response rises or falls with each unknown alone, so its extremes lie at the corners
        for corner in 0..64_usize {
            let pick = |bit: usize, range: [f64; 2]| range[(corner >> bit) & 1];
            let response = self.response(
                aspect_ratio,
                resultant(pick(0, HEIGHT_M))?,
                pick(1, SECTION_SLOPE_PER_RAD),
                pick(2, radii),
                pick(3, SPAN_EFFICIENCY),
                [pick(4, HANGING_DRAG), pick(5, SECTION_MOMENT)],
            )?;
            aoa = [aoa[0].min(response[0]), aoa[1].max(response[0])];
            speed = [speed[0].min(response[1]), speed[1].max(response[1])];
        }
        Some(Extremes { aoa, speed })
    }

    /// Degrees of angle of attack, and per cent of speed lost, per degree of incidence at one choice of the unknowns.
    fn response(
        &self,
        aspect_ratio: f64,
        resultant: f64,
        section_slope: f64,
        radius_m: f64,
        efficiency: f64,
        [hanging_drag, section_moment]: [f64; 2],
    ) -> Option<[f64; 2]> {
        let flat = if aspect_ratio < 4.0 {
            helmbold_slope_per_rad(section_slope, aspect_ratio)
        } else {
            lift_slope_per_rad(section_slope, aspect_ratio, self.tau)
        };
        let glide_rad = (1.0 / self.glide).atan();
        let (lift, drag) = (resultant * glide_rad.cos(), resultant * glide_rad.sin());
        let induced = 1.0 / (PI * aspect_ratio * efficiency);
        let left = drag - induced * lift * lift - LEAST_WING_DRAG;
        let balance = PitchBalance {
            section_moment,
            arm: SHORTEST_ARM,
            suspended_drag: hanging_drag.min(left.max(0.0)),
            line_drag: 0.0,
        };
        let slope = flat * arch_factor(self.span_m, radius_m);
        let point = TrimPoint { lift, drag, lift_slope_per_rad: slope, induced };
        let found = balance.response(&point)?;
        Some([found.aoa_per_incidence, found.speed_pct_per_deg])
    }
}

#[cfg(test)]
mod tests {
    use rand::{RngExt as _, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    use super::*;

    // The corners are all that is tried, so nothing between them may lie further out.
    #[test]
    fn no_choice_of_the_unknowns_lies_outside_the_corners() {
        let mut rng = ChaCha8Rng::seed_from_u64(5);
        for (span_m, area_m2, mass_kg, trim_speed_kmh, glide) in
            [(11.5, 25.0, 95.0, 38.0, 9.0), (12.6, 24.3, 90.0, 40.0, 8.1), (15.0, 40.0, 190.0, 38.0, 8.0)]
        {
            let figures =
                FlightFigures { span_m, area_m2, tau: 0.0, arch_radius_m: None, mass_kg, trim_speed_kmh, glide };
            let found = figures.extremes().unwrap();
            let heavy = 2.0 * mass_kg * GRAVITY_M_S2 / (area_m2 * (trim_speed_kmh / 3.6_f64).powi(2));
            for _ in 0..2000 {
                let mut within = |[low, high]: [f64; 2]| low + rng.random::<f64>() * (high - low);
                let density = isa_density_kg_m3(within(HEIGHT_M)).unwrap();
                let [aoa, speed] = figures
                    .response(
                        span_m * span_m / area_m2,
                        heavy / density,
                        within(SECTION_SLOPE_PER_RAD),
                        within(ARCH_RADIUS_OVER_SPAN) * span_m,
                        within(SPAN_EFFICIENCY),
                        [within(HANGING_DRAG), within(SECTION_MOMENT)],
                    )
                    .unwrap();
                assert!(aoa >= found.aoa[0] && aoa <= found.aoa[1]);
                assert!(speed >= found.speed[0] && speed <= found.speed[1]);
            }
        }
    }
}
