//! What an incidence change does to angle of attack and speed: bands.

use super::Interval;

/// A factor known within limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Factor {
    pub(super) lower: f64,
    pub(super) centre: f64,
    pub(super) upper: f64,
}

/// Degrees of angle of attack per degree of incidence: 0.93 … 1.25 for published polars by the pitch balance, taken wider.
pub(super) const AOA: Factor = Factor { lower: 0.9, centre: 1.075, upper: 1.25 };
/// Per cent of speed per degree of incidence, nose-up is slower.
pub(super) const SPEED: Factor = Factor { lower: 3.4, centre: 4.7, upper: 6.3 };

/// The extremes of the product of an interval and a factor's range; the value takes the factor's centre.
pub(super) fn band(incidence: Interval, factor: Factor, sign: f64) -> Interval {
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
