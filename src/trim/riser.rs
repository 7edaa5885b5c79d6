//! The triangle of riser, front row and rear row: exact rotation of the wing.

use serde::{Deserialize, Serialize};

/// Wing section hung from one riser by a front and a rear row; all lengths in chords.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RiserTriangle {
    /// Chord position of the front row.
    pub front: f64,
    /// Chord position of the rear row.
    pub rear: f64,
    /// Length of the front row with its riser, chords.
    pub front_length: f64,
    /// Length of the rear row with its riser, chords.
    pub rear_length: f64,
}

/// Where the riser hangs, seen from the section.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RiserPoint {
    /// Along the chord from the leading edge, chords.
    pub along: f64,
    /// Below the chord, chords.
    pub below: f64,
}

/// Rotation of the section about its quarter chord, both ways of working it out.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RiserRotation {
    /// From the triangle, degrees nose-up.
    pub exact_deg: f64,
    /// From the slope of the deviations at small angles, degrees nose-up.
    pub slope_deg: f64,
}

impl RiserTriangle {
    /// The triangle that hangs from a riser at a known place. Source of the geometry: Heatwole, accelerator section.
    #[must_use]
    pub fn hung_from(point: RiserPoint, front: f64, rear: f64) -> Self {
        Self {
            front,
            rear,
            front_length: (point.along - front).hypot(point.below),
            rear_length: (rear - point.along).hypot(point.below),
        }
    }

    /// The same triangle with the rows longer by so many chords.
    #[must_use]
    pub fn longer(self, front: f64, rear: f64) -> Self {
        Self { front_length: self.front_length + front, rear_length: self.rear_length + rear, ..self }
    }

    /// Where the riser hangs: `x = x_A + (l_A² − l_C² + w²)/(2w)`, `z = √(l_A² − (x − x_A)²)`, `w = x_C − x_A`.
    /// `None` when the lengths do not close the triangle.
    #[must_use]
    pub fn point(&self) -> Option<RiserPoint> {
        let base = self.rear - self.front;
        let from_front = (self.front_length.powi(2) - self.rear_length.powi(2) + base * base) / (2.0 * base);
        let below = (self.front_length.powi(2) - from_front * from_front).sqrt();
        (base > 0.0 && below > 0.0 && below.is_finite())
            .then_some(RiserPoint { along: self.front + from_front, below })
    }

    /// Rotation when front and rear rows become longer by so many chords: the change of the direction from the quarter
    /// chord to the riser, and `(front − rear)/(x_C − x_A)` for small angles.
    #[must_use]
    pub fn rotation(&self, front: f64, rear: f64) -> Option<RiserRotation> {
        let lean = |point: RiserPoint| (point.along - 0.25).atan2(point.below);
        let (before, after) = (self.point()?, self.longer(front, rear).point()?);
        Some(RiserRotation {
            exact_deg: (lean(after) - lean(before)).to_degrees(),
            slope_deg: ((front - rear) / (self.rear - self.front)).to_degrees(),
        })
    }
}
