//! How much wings, checks, lines and readings differ.

use serde::{Deserialize, Serialize};

/// True spreads: standard deviations of the random effects, and the correlation of the wing's two.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Spreads {
    /// Offset of a whole wing, mm.
    pub wing_offset_mm: f64,
    /// Rate of a whole wing, mm per metre in the first 100 h.
    pub wing_rate_mm_per_m: f64,
    /// Correlation of a wing's offset and rate, −1 … 1.
    pub wing_correlation: f64,
    /// Rate of one row of one wing, mm per metre in the first 100 h.
    pub wing_row_mm_per_m: f64,
    /// Rate of one line of one wing, mm per metre in the first 100 h.
    #[serde(default)]
    pub line_rate_mm_per_m: f64,
    /// Rate of one material in one row of one model, beyond the fleet's, mm per metre of that material in the first 100 h.
    #[serde(default)]
    pub model_rate_mm_per_m: f64,
    /// Offset of a whole check, mm.
    pub check_offset_mm: f64,
    /// Offset of one line as built, mm.
    pub line_offset_mm: f64,
    /// Error of one reading, mm.
    pub reading_mm: f64,
}

impl Spreads {
    /// Nothing varies and nothing is read wrongly: for tests against the plain formula.
    pub const NONE: Spreads = Spreads {
        wing_offset_mm: 0.0,
        wing_rate_mm_per_m: 0.0,
        wing_correlation: 0.0,
        wing_row_mm_per_m: 0.0,
        line_rate_mm_per_m: 0.0,
        model_rate_mm_per_m: 0.0,
        check_offset_mm: 0.0,
        line_offset_mm: 0.0,
        reading_mm: 0.0,
    };
}

impl Default for Spreads {
    /// Wing 1.5 mm and 0.18 mm/m (correlation 0.3), rates of rows of a wing, of lines and of models 0, check 1.6 mm, line 2.2 mm, reading 1.9 mm.
    fn default() -> Self {
        Self {
            wing_offset_mm: 1.5,
            wing_rate_mm_per_m: 0.18,
            wing_correlation: 0.3,
            wing_row_mm_per_m: 0.0,
            line_rate_mm_per_m: 0.0,
            model_rate_mm_per_m: 0.0,
            check_offset_mm: 1.6,
            line_offset_mm: 2.2,
            reading_mm: 1.9,
        }
    }
}
