//! A check and its readings.

use std::fmt;
use std::str::FromStr;

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use crate::wing::{Row, Side, UnknownName};

/// Whether a check was taken before or after adjusting.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Stage {
    /// As the wing came in.
    #[default]
    AsFound,
    /// After adjusting, at the same hours.
    AsLeft,
}

impl Stage {
    /// `as_found` or `as_left`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Stage::AsFound => "as_found",
            Stage::AsLeft => "as_left",
        }
    }
}

impl fmt::Display for Stage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

impl FromStr for Stage {
    type Err = UnknownName;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        match text {
            "as_found" => Ok(Stage::AsFound),
            "as_left" => Ok(Stage::AsLeft),
            _ => Err(UnknownName { got: text.to_owned(), expected: "as_found, as_left" }),
        }
    }
}

/// Whether the lines were dry when measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Condition {
    /// Dry.
    Dry,
    /// Damp.
    Damp,
    /// Wet.
    Wet,
}

impl Condition {
    /// `dry`, `damp` or `wet`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Condition::Dry => "dry",
            Condition::Damp => "damp",
            Condition::Wet => "wet",
        }
    }
}

impl FromStr for Condition {
    type Err = UnknownName;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        [Condition::Dry, Condition::Damp, Condition::Wet]
            .into_iter()
            .find(|known| known.name() == text)
            .ok_or_else(|| UnknownName { got: text.to_owned(), expected: "dry, damp, wet" })
    }
}

/// One value read off the instrument.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// Side of the wing.
    pub side: Side,
    /// Index of the line in its line set.
    pub line: usize,
    /// The value read, mm.
    pub reading_mm: f64,
    /// Which repeat, from 1.
    pub repeat: u32,
    /// Who read it.
    pub operator: Option<String>,
}

/// What was said of one riser at a check.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RiserReading {
    /// Side of the wing.
    pub side: Side,
    /// Row whose riser it is.
    pub row: Row,
    /// Datum of this row's readings, in place of the check's, mm.
    pub datum_mm: Option<f64>,
    /// Measured length of the riser, mm.
    pub riser_mm: Option<f64>,
}

/// A line that was measured again at a check and is as read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct ConfirmedLine {
    /// Side of the wing.
    pub side: Side,
    /// Index of the line in its line set.
    pub line: usize,
}

/// One check of one wing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Check {
    /// The check's id, unique in its fleet.
    pub id: String,
    /// Day of the check.
    pub date: Date,
    /// Hours flown since new, h.
    pub hours_h: f64,
    /// As found or as left.
    pub stage: Stage,
    /// Measuring load, N.
    pub load_n: f64,
    /// What each reading includes beyond the maker's datum, mm (may be negative).
    pub datum_mm: f64,
    /// Temperature, °C.
    pub temperature_c: f64,
    /// State of the lines.
    pub condition: Option<Condition>,
    /// Free length given to the brake line at the handle, mm.
    pub brake_setting_mm: Option<f64>,
    /// What was said of single risers.
    pub risers: Vec<RiserReading>,
    /// Lines that were measured again and are as read, however odd.
    #[serde(default)]
    pub confirmed: Vec<ConfirmedLine>,
    /// The readings, in table order.
    pub readings: Vec<Reading>,
}

impl Check {
    /// An `as_found` check with the defaults of the `checks` table (50 N, datum 0, 20 °C) and no readings.
    #[must_use]
    pub fn new(id: &str, date: Date, hours_h: f64) -> Self {
        Self {
            id: id.to_owned(),
            date,
            hours_h,
            stage: Stage::AsFound,
            load_n: 50.0,
            datum_mm: 0.0,
            temperature_c: 20.0,
            condition: None,
            brake_setting_mm: None,
            risers: Vec::new(),
            confirmed: Vec::new(),
            readings: Vec::new(),
        }
    }

    /// Whether a line was measured again and is as read.
    #[must_use]
    pub fn is_confirmed(&self, side: Side, line: usize) -> bool {
        self.confirmed.contains(&ConfirmedLine { side, line })
    }

    /// Datum of a row's readings on a side, mm: its riser's own, else the check's.
    #[must_use]
    pub fn datum_mm(&self, side: Side, row: Row) -> f64 {
        self.risers
            .iter()
            .find(|riser| riser.side == side && riser.row == row)
            .and_then(|riser| riser.datum_mm)
            .unwrap_or(self.datum_mm)
    }
}
