//! Readings spoilt as hands spoil them.

use rand::{Rng, RngExt};
use serde::{Deserialize, Serialize};

use crate::wing::Side;

/// How a reading was spoilt.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum MisreadingKind {
    /// Two neighbouring digits changed places.
    DigitsSwapped,
    /// A hundred too many or too few.
    HundredOff,
    /// A thousand too many or too few.
    ThousandOff,
    /// The neighbouring line's value.
    OtherLine,
}

/// One reading spoilt on purpose.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Misreading {
    /// Check id.
    pub check: String,
    /// Side of the wing.
    pub side: Side,
    /// Line name.
    pub line: String,
    /// Which repeat, from 1.
    pub repeat: u32,
    /// How it was spoilt.
    pub kind: MisreadingKind,
    /// What should have been written down, mm.
    pub right_mm: f64,
    /// What was written down, mm.
    pub reading_mm: f64,
}

/// A spoilt reading: how, and what was written.
pub(super) struct Spoilt {
    pub(super) kind: MisreadingKind,
    pub(super) reading_mm: f64,
}

/// Spoils a reading; `neighbour_mm` is what the next line of the row shows, where there is one. The value changes by
/// half a millimetre at least.
pub(super) fn spoil(rng: &mut impl Rng, right_mm: f64, neighbour_mm: Option<f64>) -> Spoilt {
    let sign = if rng.random::<bool>() { 1.0 } else { -1.0 };
    let place = if rng.random::<bool>() { 1.0 } else { 10.0 };
    let spoilt = match rng.random_range(0..4u8) {
        0 => Spoilt { kind: MisreadingKind::DigitsSwapped, reading_mm: swap_digits(right_mm, place) },
        1 => Spoilt { kind: MisreadingKind::OtherLine, reading_mm: neighbour_mm.unwrap_or(right_mm) },
        2 => Spoilt { kind: MisreadingKind::ThousandOff, reading_mm: right_mm + sign * 1000.0 },
        _ => Spoilt { kind: MisreadingKind::HundredOff, reading_mm: right_mm + sign * 100.0 },
    };
    if (spoilt.reading_mm - right_mm).abs() < 0.5 {
        return Spoilt { kind: MisreadingKind::HundredOff, reading_mm: right_mm + sign * 100.0 };
    }
    spoilt
}

/// The digits at `place` (1: ones, 10: tens, …) and the next higher one change places.
fn swap_digits(value: f64, place: f64) -> f64 {
    let digit = |place: f64| (value / place).floor().rem_euclid(10.0);
    value + 9.0 * place * (digit(place) - digit(10.0 * place))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_change_places() {
        assert_eq!(swap_digits(6473.0, 1.0), 6437.0);
        assert_eq!(swap_digits(6473.0, 10.0), 6743.0);
        assert_eq!(swap_digits(6473.5, 1.0), 6437.5);
        assert_eq!(swap_digits(6477.0, 1.0), 6477.0);
    }
}
