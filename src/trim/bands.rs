//! What an incidence change does to angle of attack and speed: bands.

use serde::{Deserialize, Serialize};

use super::Interval;

/// A factor known within limits.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Factor {
    /// Smallest.
    pub lower: f64,
    /// The one that the value of a band takes.
    pub centre: f64,
    /// Largest.
    pub upper: f64,
}

/// What the factors of a band rest on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum BandBasis {
    /// The range over published wings.
    Published,
    /// The pitch balance with this wing's own figures, within the range over published wings.
    Wing,
}

/// Factors from incidence to angle of attack and speed.
///
/// ```
/// use linedrift::trim::{FlightBands, Interval};
/// let incidence = Interval { value: Some(0.5), lower: Some(0.4), upper: Some(0.6) };
/// let speed = FlightBands::published().speed_pct(incidence, 1.0);
/// // nose-up is slower
/// assert!(speed.upper.is_some_and(|pct| pct < 0.0));
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FlightBands {
    /// What they rest on.
    pub basis: BandBasis,
    /// Degrees of angle of attack per degree of incidence.
    pub aoa_deg_per_deg: Factor,
    /// Per cent of trim speed lost per degree of incidence nose-up.
    pub speed_pct_per_deg: Factor,
}

/// Degrees of angle of attack per degree of incidence: 0.93 … 1.25 for published polars by the pitch balance, taken wider.
const AOA: Factor = Factor { lower: 0.9, centre: 1.075, upper: 1.25 };
/// Per cent of speed per degree of incidence, nose-up is slower.
const SPEED: Factor = Factor { lower: 3.4, centre: 4.7, upper: 6.3 };

impl Factor {
    /// The part of this factor's range that lies within another, its centre moved into it; `None` when they do not meet.
    pub(super) fn within(self, other: Factor) -> Option<Factor> {
        let (lower, upper) = (self.lower.max(other.lower), self.upper.min(other.upper));
        (lower < upper).then(|| Factor { lower, centre: other.centre.clamp(lower, upper), upper })
    }

    /// The extremes of the product with an interval; the value takes the factor's centre.
    fn times(self, incidence: Interval, sign: f64) -> Interval {
        let (Some(value), Some(lower), Some(upper)) = (incidence.value, incidence.lower, incidence.upper) else {
            return Interval::default();
        };
        let corners = [lower * self.lower, lower * self.upper, upper * self.lower, upper * self.upper];
        let signed = corners.map(|corner| sign * corner + 0.0);
        Interval {
            value: Some(sign * value * self.centre + 0.0),
            lower: signed.into_iter().reduce(f64::min),
            upper: signed.into_iter().reduce(f64::max),
        }
    }
}

impl FlightBands {
    /// The range over published wings: 0.9 … 1.25 degrees of angle of attack per degree (the pitch balance for published
    /// polars gives 0.93 … 1.25; Heatwole, derived), and 3.4 … 6.3 % of speed per degree.
    #[must_use]
    pub const fn published() -> Self {
        Self { basis: BandBasis::Published, aoa_deg_per_deg: AOA, speed_pct_per_deg: SPEED }
    }

    /// Change of the angle of attack at trim from an incidence change, degrees: the extremes of the product of the interval
    /// and the factor's range. Nothing is stated when the incidence change is past ±`range_deg`.
    #[must_use]
    pub fn aoa_deg(&self, incidence_deg: Interval, range_deg: f64) -> Interval {
        if past(incidence_deg, range_deg) {
            Interval::default()
        } else {
            self.aoa_deg_per_deg.times(incidence_deg, 1.0)
        }
    }

    /// Change of trim speed from an incidence change, per cent: slower by the factor per degree nose-up. Nothing is stated
    /// when the incidence change is past ±`range_deg`.
    #[must_use]
    pub fn speed_pct(&self, incidence_deg: Interval, range_deg: f64) -> Interval {
        if past(incidence_deg, range_deg) {
            Interval::default()
        } else {
            self.speed_pct_per_deg.times(incidence_deg, -1.0)
        }
    }
}

/// Change of the angle of attack at trim from an incidence change, degrees, by [`FlightBands::published`].
#[must_use]
pub fn aoa_band_deg(incidence_deg: Interval, range_deg: f64) -> Interval {
    FlightBands::published().aoa_deg(incidence_deg, range_deg)
}

/// Change of trim speed from an incidence change, per cent, by [`FlightBands::published`].
#[must_use]
pub fn speed_band_pct(incidence_deg: Interval, range_deg: f64) -> Interval {
    FlightBands::published().speed_pct(incidence_deg, range_deg)
}

/// Whether an incidence change is past the range in which the bands hold.
pub(super) fn past(incidence_deg: Interval, range_deg: f64) -> bool {
    incidence_deg.value.is_none_or(|value| value.is_nan() || value.abs() > range_deg)
}
