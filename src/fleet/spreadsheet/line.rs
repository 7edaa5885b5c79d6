//! The lines of a spreadsheet, as they are understood.

use serde::{Deserialize, Serialize};

use crate::wing::{Row, Side};

/// One reading of one line, as a spreadsheet gives it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SheetReading {
    /// Side of the wing.
    pub side: Side,
    /// What was read, mm.
    pub reading_mm: f64,
    /// Which repeat, from 1.
    pub repeat: u32,
    /// Who read it.
    pub operator: Option<String>,
    /// The cell, such as `C7`.
    pub place: String,
}

/// A piece below a line, as a spreadsheet gives it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct SheetPiece {
    /// Its name; none where the line has no such piece.
    pub name: Option<String>,
    /// Its material.
    pub material: Option<String>,
    /// Its length, mm.
    pub length_mm: Option<f64>,
}

/// One line, as a spreadsheet gives it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SheetLine {
    /// Name.
    pub name: String,
    /// Row of lines.
    pub row: Row,
    /// The maker's length for left and right, mm.
    pub nominal_mm: [Option<f64>; 2],
    /// What the instrument was expected to show, left and right, mm: the maker's length and one datum.
    pub expected_mm: [Option<f64>; 2],
    /// The readings.
    pub readings: Vec<SheetReading>,
    /// The main that it hangs on.
    pub main: SheetPiece,
    /// The piece between line and main.
    pub middle: SheetPiece,
    /// Name of the piece below it, where names are indented or a column says so.
    pub parent: Option<String>,
    /// Material of its own piece.
    pub material: Option<String>,
    /// The maker's tolerance, mm.
    pub tolerance_mm: Option<f64>,
    /// Place along the half span, 0 … 1.
    pub span: Option<f64>,
    /// Place along the chord, 0 … 1.
    pub chord: Option<f64>,
    /// Place in its row from the centre, where a column gives it.
    pub rank: Option<u32>,
    /// Length of the piece itself, mm.
    pub piece_mm: Option<f64>,
    /// The cell of its name.
    pub place: String,
}

impl SheetLine {
    /// The maker's length on a side, mm: its own, else that of the other side.
    #[must_use]
    pub(crate) fn nominal_on(&self, side: Side) -> Option<f64> {
        self.nominal_mm[side.index()].or(self.nominal_mm[side.mirror().index()])
    }
}

/// A name as it is compared: no blanks, dashes or zeros in front of a number, capitals.
pub(super) fn plain(name: &str) -> String {
    let letters = name.chars().filter(|letter| !matches!(letter, ' ' | '-' | '_' | '\u{a0}' | '/'));
    let mut out = String::new();
    for letter in letters.flat_map(char::to_uppercase) {
        let after_digit = out.ends_with(|before: char| before.is_ascii_digit());
        if letter == '0' && !after_digit && !out.is_empty() {
            // a zero in front of more digits says nothing; kept when it stands alone
            out.push('\u{1}');
            continue;
        }
        if letter.is_ascii_digit() {
            out = out.replace('\u{1}', "");
        }
        out.push(letter);
    }
    out.replace('\u{1}', "0")
}
