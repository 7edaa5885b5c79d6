//! Time shapes of wear.

use serde::{Deserialize, Serialize};

/// Time shape of wear, normalised so that `g(100 h) = 1`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "lowercase")]
pub enum Shape {
    /// `h/100`.
    Linear {
        /// Always `None`: the linear shape has no scale.
        scale_h: Option<f64>,
    },
    /// `ln(1 + h/s) / ln(1 + 100/s)`.
    Log {
        /// Scale `s`, h.
        scale_h: f64,
    },
    /// `(1 − e^(−h/s)) / (1 − e^(−100/s))`.
    Saturating {
        /// Scale `s`, h.
        scale_h: f64,
    },
}

impl Shape {
    /// The linear shape.
    pub const LINEAR: Shape = Shape::Linear { scale_h: None };

    /// `linear`, `log` or `saturating`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Shape::Linear { .. } => "linear",
            Shape::Log { .. } => "log",
            Shape::Saturating { .. } => "saturating",
        }
    }

    /// Scale, h (`None` for linear).
    #[must_use]
    pub const fn scale_h(self) -> Option<f64> {
        match self {
            Shape::Linear { .. } => None,
            Shape::Log { scale_h } | Shape::Saturating { scale_h } => Some(scale_h),
        }
    }

    /// `g(h)`, with `g(0) = 0` and `g(100) = 1`.
    #[must_use]
    pub fn at(self, hours_h: f64) -> f64 {
        match self {
            Shape::Linear { .. } => hours_h / 100.0,
            Shape::Log { scale_h } => (hours_h / scale_h).ln_1p() / (100.0 / scale_h).ln_1p(),
            Shape::Saturating { scale_h } => (-hours_h / scale_h).exp_m1() / (-100.0 / scale_h).exp_m1(),
        }
    }

    /// Hours at which `g` reaches a value (`None` when it never does, or the value is negative).
    #[must_use]
    pub fn hours_at(self, g: f64) -> Option<f64> {
        if !(g >= 0.0) {
            return None;
        }
        let hours = match self {
            Shape::Linear { .. } => 100.0 * g,
            Shape::Log { scale_h } => scale_h * (g * (100.0 / scale_h).ln_1p()).exp_m1(),
            Shape::Saturating { scale_h } => -scale_h * (g * (-100.0 / scale_h).exp_m1()).ln_1p(),
        };
        hours.is_finite().then_some(hours)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shapes_start_at_zero_reach_one_at_100_h_and_invert() {
        for shape in [Shape::LINEAR, Shape::Log { scale_h: 40.0 }, Shape::Saturating { scale_h: 60.0 }] {
            assert_eq!(shape.at(0.0), 0.0);
            assert!((shape.at(100.0) - 1.0).abs() < 1e-15);
            for hours in [0.0, 3.0, 77.0, 250.0] {
                let back = shape.hours_at(shape.at(hours)).unwrap();
                assert!((back - hours).abs() < 1e-9, "{shape:?} {hours} {back}");
            }
        }
        assert_eq!(Shape::Saturating { scale_h: 60.0 }.hours_at(5.0), None);
    }
}
