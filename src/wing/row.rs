//! Rows and sides by their trade names.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use thiserror::Error;

/// A row of lines by its trade name. `A` is the front row; `stabilo` and `brake` never enter the chordwise trim.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Row {
    /// Front row.
    A,
    /// Second row.
    B,
    /// Third row.
    C,
    /// Fourth row.
    D,
    /// Lines of the wing tip.
    #[serde(rename = "stabilo")]
    Stabilo,
    /// Lines of the trailing edge, pulled to steer.
    #[serde(rename = "brake")]
    Brake,
}

impl Row {
    /// All rows, front to rear, then stabilo and brake.
    pub const ALL: [Row; 6] = [Row::A, Row::B, Row::C, Row::D, Row::Stabilo, Row::Brake];

    /// Whether the row carries the chordwise trim (A–D).
    #[must_use]
    pub const fn is_trim(self) -> bool {
        matches!(self, Row::A | Row::B | Row::C | Row::D)
    }

    /// The name used in tables: `A`, `B`, `C`, `D`, `stabilo`, `brake`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Row::A => "A",
            Row::B => "B",
            Row::C => "C",
            Row::D => "D",
            Row::Stabilo => "stabilo",
            Row::Brake => "brake",
        }
    }

    /// Position in [`Row::ALL`], 0 to 5.
    #[must_use]
    pub const fn index(self) -> usize {
        self as usize
    }
}

impl fmt::Display for Row {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// A name that is none of the known ones.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("`{got}` is not one of {expected}")]
pub struct UnknownName {
    /// What was read.
    pub got: String,
    /// The names that would have been right.
    pub expected: &'static str,
}

impl FromStr for Row {
    type Err = UnknownName;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        Row::ALL
            .into_iter()
            .find(|row| row.name() == text)
            .ok_or_else(|| UnknownName { got: text.to_owned(), expected: "A, B, C, D, stabilo, brake" })
    }
}

/// Side of the wing, seen by the pilot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Side {
    /// The pilot's left.
    Left,
    /// The pilot's right.
    Right,
}

impl Side {
    /// Left, then right.
    pub const BOTH: [Side; 2] = [Side::Left, Side::Right];

    /// The other side.
    #[must_use]
    pub const fn mirror(self) -> Side {
        match self {
            Side::Left => Side::Right,
            Side::Right => Side::Left,
        }
    }

    /// `left` or `right`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Side::Left => "left",
            Side::Right => "right",
        }
    }

    /// 0 for left, 1 for right.
    #[must_use]
    pub const fn index(self) -> usize {
        self as usize
    }
}

impl fmt::Display for Side {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

impl FromStr for Side {
    type Err = UnknownName;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        Side::BOTH
            .into_iter()
            .find(|side| side.name() == text)
            .ok_or_else(|| UnknownName { got: text.to_owned(), expected: "left, right" })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_round_trip_and_wrong_ones_are_refused() {
        for row in Row::ALL {
            assert_eq!(row.name().parse::<Row>(), Ok(row));
            assert_eq!(Row::ALL[row.index()], row);
        }
        for side in Side::BOTH {
            assert_eq!(side.name().parse::<Side>(), Ok(side));
            assert_eq!(side.mirror().mirror(), side);
        }
        assert!("a".parse::<Row>().is_err());
        assert!("Left".parse::<Side>().is_err());
    }
}
