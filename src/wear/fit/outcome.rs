//! Rows of a wear fit, as reported.

use serde::{Deserialize, Serialize};

/// One fixed term.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TermRow {
    /// `offset`, `rate:{material}:{row}` or `span:{row}`.
    pub term: String,
    /// Estimate: mm for the offset, mm per metre of line in the first 100 h for rates.
    pub estimate: f64,
    /// Standard error, same unit.
    pub se: f64,
    /// Lower end of the 95 % interval.
    pub lower: f64,
    /// Upper end of the 95 % interval.
    pub upper: f64,
    /// Satterthwaite degrees of freedom of the standard error (a million stands for normal).
    pub df: f64,
    /// Two-sided p value of no such effect.
    pub p: f64,
}

/// One spread (standard deviation) or correlation of the random part.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SpreadRow {
    /// `wing`, `wing:row`, `check`, `line`, `model` or `reading`.
    pub group: String,
    /// `offset` (mm), `rate` (mm/m in the first 100 h) or `offset,rate` (the correlation).
    pub effect: String,
    /// Standard deviation (`None` on a correlation row).
    pub sd: Option<f64>,
    /// Correlation (`None` on other rows).
    pub correlation: Option<f64>,
}

/// A remark on a fit: a stable code and a sentence that says what to do.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Diagnostic {
    /// Stable code, such as `boundary`, `not_separable`, `few_wings`.
    pub code: String,
    /// The sentence.
    pub message: String,
}
