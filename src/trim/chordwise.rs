//! The straight line through the rows of one span station.

use serde::{Deserialize, Serialize};

/// Deviation of one row at one span station.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ChordPoint {
    /// Position along the local chord, 0 leading … 1 trailing edge.
    pub chord: f64,
    /// Deviation, mm.
    pub deviation_mm: f64,
}

/// Least-squares line through the rows of one span station.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ChordFit {
    /// Mean deviation, mm: moves the wing along its lines, no trim effect.
    pub mean_mm: f64,
    /// Slope, mm per mm of chord, positive when the rear is long.
    pub slope: f64,
    /// Incidence change, the slope as an angle with its sign turned, degrees nose-up.
    pub incidence_deg: f64,
    /// What the line leaves, per point in the order given, mm. Zero with two rows, by construction.
    pub residual_mm: Vec<f64>,
}

/// Coefficients `c_r` of the slope per unit of chord position, `slope = Σ c_r d_r`, `c_r = (x_r − x̄)/Σ(x − x̄)²`, written
/// over `positions`; `None` (and `positions` spoilt) with fewer than two positions apart.
pub(super) fn slope_coefficients(positions: &mut [f64]) -> Option<()> {
    // rows nearer than about 3 % of the chord (√2 · 0.02 for two) turn a millimetre into degrees: no incidence from them
    const NEAREST: f64 = 0.02;
    let mean = positions.iter().sum::<f64>() / positions.len().max(1) as f64;
    let spread: f64 = positions.iter().map(|x| (x - mean).powi(2)).sum();
    if positions.len() < 2 || !(spread.is_finite() && spread > NEAREST * NEAREST) {
        return None;
    }
    for x in positions {
        *x = (*x - mean) / spread;
    }
    Some(())
}

/// Fits `d = mean + slope · chord · (x − x̄)` by least squares with equal weights; `chord_mm` is the local chord.
/// The incidence change is `−slope` in radians, turned into degrees.
///
/// `None` with fewer than two positions apart (about 3 % of the chord) or a chord that is not positive.
///
/// ```
/// use linedrift::trim::{ChordPoint, chord_fit};
/// let rows = [ChordPoint { chord: 0.12, deviation_mm: -5.0 }, ChordPoint { chord: 0.62, deviation_mm: 0.0 }];
/// let fit = chord_fit(&rows, 2500.0).unwrap();
/// assert!((fit.incidence_deg + 0.229_183).abs() < 1e-6);
/// ```
#[must_use]
pub fn chord_fit(points: &[ChordPoint], chord_mm: f64) -> Option<ChordFit> {
    let mut coefficients: Vec<f64> = points.iter().map(|point| point.chord).collect();
    slope_coefficients(&mut coefficients)?;
    let n = points.len() as f64;
    let mean_mm = points.iter().map(|point| point.deviation_mm).sum::<f64>() / n;
    let centre = points.iter().map(|point| point.chord).sum::<f64>() / n;
    let along: f64 = coefficients.iter().zip(points).map(|(c, point)| c * (point.deviation_mm - mean_mm)).sum();
    let slope = along / chord_mm;
    let fit = ChordFit {
        mean_mm,
        slope,
        incidence_deg: 0.0 - slope.to_degrees(),
        residual_mm: points
            .iter()
            .map(|point| point.deviation_mm - mean_mm - along * (point.chord - centre))
            .collect(),
    };
    (chord_mm > 0.0 && fit.slope.is_finite()).then_some(fit)
}
