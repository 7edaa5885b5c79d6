//! A quantity that is linear in the time shape.

/// A quantity of one draw, `at + per_g · g`.
#[derive(Debug, Clone, Copy, Default)]
pub(in crate::forecast) struct Linear {
    pub(in crate::forecast) at: f64,
    pub(in crate::forecast) per_g: f64,
}

impl Linear {
    pub(super) fn plus(self, other: Self) -> Self {
        Self { at: self.at + other.at, per_g: self.per_g + other.per_g }
    }

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

    /// The same with a limit of its own on either side.
    pub(super) fn ahead_between(self, now: f64, [low, high]: [f64; 2]) -> f64 {
        let middle = f64::midpoint(low, high);
        Self { at: self.at - middle, ..self }.ahead(now, high - middle)
    }
}
