//! Lengths as people write them.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::Found;
use super::delimited::{Column, Record};
use crate::wing::UnknownName;

/// No line is as long as this, mm.
const LONGEST_MM: f64 = 1e6;

/// Unit of the lengths in a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub enum LengthUnit {
    /// Millimetres.
    #[default]
    #[serde(rename = "mm")]
    Millimetre,
    /// Centimetres.
    #[serde(rename = "cm")]
    Centimetre,
    /// Metres.
    #[serde(rename = "m")]
    Metre,
    /// Inches of 25.4 mm.
    #[serde(rename = "in")]
    Inch,
}

impl LengthUnit {
    /// All units.
    pub const ALL: [LengthUnit; 4] =
        [LengthUnit::Millimetre, LengthUnit::Centimetre, LengthUnit::Metre, LengthUnit::Inch];

    /// `mm`, `cm`, `m` or `in`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            LengthUnit::Millimetre => "mm",
            LengthUnit::Centimetre => "cm",
            LengthUnit::Metre => "m",
            LengthUnit::Inch => "in",
        }
    }

    /// Millimetres in one unit.
    #[must_use]
    pub const fn mm(self) -> f64 {
        match self {
            LengthUnit::Millimetre => 1.0,
            LengthUnit::Centimetre => 10.0,
            LengthUnit::Metre => 1000.0,
            LengthUnit::Inch => 25.4,
        }
    }
}

impl fmt::Display for LengthUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

impl FromStr for LengthUnit {
    type Err = UnknownName;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        LengthUnit::ALL
            .into_iter()
            .find(|unit| unit.name() == text)
            .ok_or_else(|| UnknownName { got: text.to_owned(), expected: "mm, cm, m, in" })
    }
}

/// One length as a person types it, in mm: decimal point or comma, nothing between thousands.
///
/// ```
/// use linedrift::check::sheet::{LengthUnit, length_mm};
///
/// assert_eq!(length_mm("6472,5", LengthUnit::Millimetre), Ok(6472.5));
/// assert!(length_mm("6,472", LengthUnit::Millimetre).is_err());
/// ```
///
/// # Errors
/// What would have been right, in words.
pub fn length_mm(text: &str, unit: LengthUnit) -> Result<f64, String> {
    Lengths::new(unit).parse(text.trim())
}

/// Reads the lengths of one text: one unit, one decimal mark.
#[derive(Debug)]
pub(super) struct Lengths {
    unit: LengthUnit,
    mark: Option<char>,
}

impl Lengths {
    pub(super) fn new(unit: LengthUnit) -> Self {
        Self { unit, mark: None }
    }

    /// The length in a cell, mm; `None` for an empty cell and for a fault, which is noted.
    pub(super) fn read(&mut self, record: &Record, column: &Column, found: &mut Found) -> Option<f64> {
        let text = record.cell(column);
        if text.is_empty() {
            return None;
        }
        match self.parse(text) {
            Ok(value) => Some(value),
            Err(expected) => {
                found.add(record.row, &column.name, text, expected);
                None
            }
        }
    }

    fn parse(&mut self, text: &str) -> Result<f64, String> {
        let marks: Vec<char> = text.chars().filter(|letter| ['.', ','].contains(letter)).collect();
        let unit = self.unit;
        let plain = text.strip_prefix(['+', '-']).unwrap_or(text);
        if plain.is_empty() || !plain.chars().all(|letter| letter.is_ascii_digit() || ['.', ','].contains(&letter)) {
            return Err(format!("a length in {unit}"));
        }
        if let Some(mark) = marks.first().copied() {
            if marks.len() > 1 {
                return Err(format!("a length in {unit} with one decimal mark and nothing between thousands"));
            }
            let (whole, rest) = plain.split_once(mark).unwrap_or((plain, ""));
            if unit == LengthUnit::Millimetre && rest.len() == 3 && (1..=3).contains(&whole.len()) {
                return Err(format!(
                    "a length in mm: this may be {whole}{rest} mm with a mark between the thousands, or {whole}.{rest} m"
                ));
            }
            match self.mark {
                Some(known) if known != mark => {
                    return Err(format!("`{known}` as the decimal mark, as before in this file"));
                }
                _ => self.mark = Some(mark),
            }
        }
        let value: f64 = text.replace(',', ".").parse().map_err(|_| format!("a length in {unit}"))?;
        // to a micrometre, so that no dust of the conversion remains
        let mm = (value * unit.mm() * 1e3).round() / 1e3;
        if mm > 0.0 && mm < LONGEST_MM { Ok(mm) } else { Err(format!("a length above 0 and below 1 km, in {unit}")) }
    }
}
