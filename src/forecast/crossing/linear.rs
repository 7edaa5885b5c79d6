//! A quantity that is linear in the time shape.

/// A quantity of one draw, `at + per_g · g`.
#[derive(Debug, Clone, Copy, Default)]
pub(in crate::forecast) struct Linear {
    pub(in crate::forecast) at: f64,
    pub(in crate::forecast) per_g: f64,
}

impl Linear {
    pub(super) fn less(self, other: Self) -> Self {
        Self { at: self.at - other.at, per_g: self.per_g - other.per_g }
    }

    pub(super) fn over(self, count: f64) -> Self {
        Self { at: self.at / count, per_g: self.per_g / count }
    }

    pub(super) fn value(self, g: f64) -> f64 {
        self.at + self.per_g * g
    }

    /// How far ahead in `g` the quantity first leaves `±limit`: 0 already, infinite never.
    #[inline]
    pub(super) fn ahead(self, now: f64, limit: f64) -> f64 {
        let value = self.value(now);
        if value.abs() >= limit { 0.0 } else { (limit - value * self.per_g.signum()) / self.per_g.abs() }
    }

    /// How far ahead in `g` the quantity first falls to `floor`.
    pub(super) fn ahead_down(self, now: f64, floor: f64) -> f64 {
        let value = self.value(now);
        if value <= floor {
            0.0
        } else if self.per_g < 0.0 {
            (floor - value) / self.per_g
        } else {
            f64::INFINITY
        }
    }
}
