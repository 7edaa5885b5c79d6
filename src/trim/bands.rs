//! What an incidence change does to angle of attack and speed: bands.

use super::Interval;

/// A factor known within limits.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Factor {
    lower: f64,
    centre: f64,
    upper: f64,
}

/// Degrees of angle of attack per degree of incidence: 0.93 … 1.25 for published polars by the pitch balance, taken wider.
const AOA: Factor = Factor { lower: 0.9, centre: 1.075, upper: 1.25 };
/// Per cent of speed per degree of incidence, nose-up is slower.
const SPEED: Factor = Factor { lower: 3.4, centre: 4.7, upper: 6.3 };

/// The extremes of the product of an interval and a factor's range; the value takes the factor's centre.
fn band(incidence: Interval, factor: Factor, sign: f64) -> Interval {
    let (Some(value), Some(lower), Some(upper)) = (incidence.value, incidence.lower, incidence.upper) else {
        return Interval::default();
    };
    let corners = [lower * factor.lower, lower * factor.upper, upper * factor.lower, upper * factor.upper];
    let signed = corners.map(|corner| sign * corner + 0.0);
    Interval {
        value: Some(sign * value * factor.centre + 0.0),
        lower: signed.into_iter().reduce(f64::min),
        upper: signed.into_iter().reduce(f64::max),
    }
}

/// Change of the angle of attack at trim from an incidence change, degrees: the extremes of the product of the interval
/// and 0.9 … 1.25, the range of `dα/di` by the pitch balance for published polars (Heatwole; derived), a little wider.
/// Nothing is stated when the incidence change is past ±`range_deg`.
#[must_use]
pub fn aoa_band_deg(incidence_deg: Interval, range_deg: f64) -> Interval {
    if past(incidence_deg, range_deg) { Interval::default() } else { band(incidence_deg, AOA, 1.0) }
}

/// Change of trim speed from an incidence change, per cent: 3.4 … 6.3 % slower per degree nose-up, centre 4.7.
/// Nothing is stated when the incidence change is past ±`range_deg`.
#[must_use]
pub fn speed_band_pct(incidence_deg: Interval, range_deg: f64) -> Interval {
    if past(incidence_deg, range_deg) { Interval::default() } else { band(incidence_deg, SPEED, -1.0) }
}

/// Whether an incidence change is past the range in which the bands hold.
pub(super) fn past(incidence_deg: Interval, range_deg: f64) -> bool {
    incidence_deg.value.is_none_or(|value| value.is_nan() || value.abs() > range_deg)
}
