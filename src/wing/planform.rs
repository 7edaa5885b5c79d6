//! Chord along the span, flat span and area, arch.

use std::f64::consts::PI;

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::ModelData;

/// Why numbers do not make a planform.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum PlanformError {
    /// A length or area that is not a positive finite number.
    #[error("{what} is {value}: expected a positive number")]
    NotPositive {
        /// Name of the figure.
        what: &'static str,
        /// Its value.
        value: f64,
    },
    /// Fewer than two stations, or two stations at one place.
    #[error(
        "station {station} of {stations}: expected at least two, from the centre outwards, each apart from the last"
    )]
    Stations {
        /// Number of the station, from 1.
        station: usize,
        /// How many were given.
        stations: usize,
    },
}

/// One station of the half wing, seen from the front.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PlanformStation {
    /// Distance from the plane of symmetry, m.
    pub y_m: f64,
    /// Height, m (only differences count; zero throughout for a flat wing).
    pub z_m: f64,
    /// Chord, m.
    pub chord_m: f64,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
enum Shape {
    Elliptic { root_chord_m: f64 },
    // span fraction and chord in metres, from the centre outwards
    Stations { span: Vec<f64>, chord_m: Vec<f64> },
}

/// The wing laid flat: chord as a function of the position along the half span, 0 centre … 1 tip.
///
/// Elliptic by default, `c(η) = c₀ √(1 − η²)`; or linear between given stations.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "PlanformRead")]
pub struct Planform {
    shape: Shape,
    span_m: Option<f64>,
    area_m2: Option<f64>,
    arch_radius_m: Option<f64>,
}

/// A planform as a document gives it, before it is checked.
#[derive(Deserialize)]
struct PlanformRead {
    shape: Shape,
    span_m: Option<f64>,
    area_m2: Option<f64>,
    arch_radius_m: Option<f64>,
}

impl TryFrom<PlanformRead> for Planform {
    type Error = PlanformError;

    fn try_from(read: PlanformRead) -> Result<Self, PlanformError> {
        let PlanformRead { shape, span_m, area_m2, arch_radius_m } = read;
        for (what, value) in [("span_m", span_m), ("area_m2", area_m2), ("arch radius", arch_radius_m)] {
            value.map_or(Ok(0.0), |value| positive(what, value))?;
        }
        match &shape {
            Shape::Elliptic { root_chord_m } => {
                positive("root_chord_m", *root_chord_m)?;
            }
            Shape::Stations { span, chord_m } => {
                let stations = span.len();
                let fault = |station| PlanformError::Stations { station, stations };
                // from 0 to 1, each past the one before
                let rising = span.windows(2).position(|pair| !(pair[0] < pair[1]));
                if stations < 2
                    || chord_m.len() != stations
                    || span[0].abs() > 0.0
                    || (span[stations - 1] - 1.0).abs() > 0.0
                {
                    return Err(fault(stations));
                }
                if let Some(at) = rising {
                    return Err(fault(at + 2));
                }
                for (at, chord) in chord_m.iter().enumerate() {
                    if at + 1 < stations || *chord != 0.0 {
                        positive("chord_m", *chord)?;
                    }
                }
            }
        }
        Ok(Self { shape, span_m, area_m2, arch_radius_m })
    }
}

fn positive(what: &'static str, value: f64) -> Result<f64, PlanformError> {
    if value.is_finite() && value > 0.0 { Ok(value) } else { Err(PlanformError::NotPositive { what, value }) }
}

impl Planform {
    /// An elliptic wing of that chord at the centre, m. Span and area stay unknown.
    ///
    /// # Errors
    /// [`PlanformError::NotPositive`].
    pub fn elliptic(root_chord_m: f64) -> Result<Self, PlanformError> {
        let root_chord_m = positive("root_chord_m", root_chord_m)?;
        Ok(Self { shape: Shape::Elliptic { root_chord_m }, span_m: None, area_m2: None, arch_radius_m: None })
    }

    /// An elliptic wing of that flat span (m) and area (m²): `c₀ = 4S/(πb)`.
    ///
    /// # Errors
    /// [`PlanformError::NotPositive`].
    pub fn elliptic_of(span_m: f64, area_m2: f64) -> Result<Self, PlanformError> {
        let (span, area) = (positive("span_m", span_m)?, positive("area_m2", area_m2)?);
        let flat = Self::elliptic(4.0 * area / (PI * span))?;
        Ok(Self { span_m: Some(span), area_m2: Some(area), ..flat })
    }

    /// A wing through stations of its half, from the centre outwards, linear between them. The span runs along the arch:
    /// the distance between two stations is `√(Δy² + Δz²)`.
    ///
    /// # Errors
    /// [`PlanformError`] on fewer than two stations, stations that coincide, or a chord that is not positive (the last
    /// may be zero).
    pub fn through(stations: &[PlanformStation]) -> Result<Self, PlanformError> {
        let count = stations.len();
        let fault = |station| PlanformError::Stations { station, stations: count };
        let mut at = vec![0.0];
        let mut area = 0.0;
        for (i, pair) in stations.windows(2).enumerate() {
            let [inner, outer] = pair else { continue };
            let step = (outer.y_m - inner.y_m).hypot(outer.z_m - inner.z_m);
            if !(step.is_finite() && step > 0.0) {
                return Err(fault(i + 2));
            }
            area += step * (inner.chord_m + outer.chord_m);
            at.push(at[i] + step);
        }
        let half = at.last().copied().filter(|_| count > 1).ok_or_else(|| fault(count))?;
        for (i, station) in stations.iter().enumerate() {
            if i + 1 < count || station.chord_m != 0.0 {
                positive("chord_m", station.chord_m)?;
            }
        }
        let shape = Shape::Stations {
            span: at.iter().map(|y| y / half).collect(),
            chord_m: stations.iter().map(|station| station.chord_m).collect(),
        };
        Ok(Self { shape, span_m: Some(2.0 * half), area_m2: Some(area), arch_radius_m: None })
    }

    /// The elliptic planform that the `models` table allows: its root chord, else `4S/(πb)` from span and area; `None`
    /// when neither is known (figures that are not positive count as unknown).
    #[must_use]
    pub fn of_model(data: &ModelData) -> Option<Self> {
        let known = |value: Option<f64>| value.filter(|v| v.is_finite() && *v > 0.0);
        let (span, area, root) = (known(data.span_m), known(data.area_m2), known(data.root_chord_m));
        match (root, span, area) {
            (Some(root), span_m, area_m2) => {
                let flat = Self::elliptic(root).ok()?;
                let area_m2 = area_m2.or_else(|| Some(PI * span_m? * root / 4.0));
                Some(Self { span_m, area_m2, ..flat })
            }
            (None, Some(span), Some(area)) => Self::elliptic_of(span, area).ok(),
            _ => None,
        }
    }

    /// The same wing with its arch, as the radius of a circle seen from the front, m.
    ///
    /// # Errors
    /// [`PlanformError::NotPositive`].
    pub fn with_arch_radius(mut self, radius_m: f64) -> Result<Self, PlanformError> {
        self.arch_radius_m = Some(positive("arch radius", radius_m)?);
        Ok(self)
    }

    /// Chord at a position along the half span (0 … 1, its sign left out, held at the tip beyond), m.
    #[must_use]
    pub fn chord_m(&self, span: f64) -> f64 {
        let eta = span.abs().min(1.0);
        match &self.shape {
            Shape::Elliptic { root_chord_m } => root_chord_m * (1.0 - eta * eta).sqrt(),
            Shape::Stations { span, chord_m } => {
                let after = span.partition_point(|at| *at <= eta).clamp(1, span.len() - 1);
                let t = (eta - span[after - 1]) / (span[after] - span[after - 1]);
                chord_m[after - 1] + t * (chord_m[after] - chord_m[after - 1])
            }
        }
    }

    /// Chord at the centre, m.
    #[must_use]
    pub fn root_chord_m(&self) -> f64 {
        self.chord_m(0.0)
    }

    /// Flat span, m, where known.
    #[must_use]
    pub fn span_m(&self) -> Option<f64> {
        self.span_m
    }

    /// Flat area, m², where known.
    #[must_use]
    pub fn area_m2(&self) -> Option<f64> {
        self.area_m2
    }

    /// Aspect ratio `b²/S` of the flat wing, where known.
    #[must_use]
    pub fn aspect_ratio(&self) -> Option<f64> {
        Some(self.span_m?.powi(2) / self.area_m2?)
    }

    /// Radius of the arch, m, where given.
    #[must_use]
    pub fn arch_radius_m(&self) -> Option<f64> {
        self.arch_radius_m
    }

    /// Whether the planform is an ellipse.
    #[must_use]
    pub(crate) fn is_elliptic(&self) -> bool {
        matches!(self.shape, Shape::Elliptic { .. })
    }
}
