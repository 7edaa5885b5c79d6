//! Why a model of a table could not be made.

use thiserror::Error;

use crate::stats::mixed::MixedError;

/// Why a model of a table could not be made.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum ModelError {
    /// A column with another number of rows than the table.
    #[error("column `{column}` has {got} rows, the table {expected}")]
    Rows {
        /// The column.
        column: String,
        /// Its rows.
        got: usize,
        /// Rows of the table.
        expected: usize,
    },
    /// A number that is not finite.
    #[error("column `{column}`, row {row}: {value} is no number to reckon with: leave such rows out")]
    NotFinite {
        /// The column.
        column: String,
        /// The row, from 1.
        row: usize,
        /// What stands there.
        value: f64,
    },
    /// Two columns of one name.
    #[error("the table has a column `{column}` already")]
    Twice {
        /// The column.
        column: String,
    },
    /// A column that the table does not have.
    #[error("the table has no column `{column}`; it has {known}")]
    NoColumn {
        /// The column.
        column: String,
        /// The columns there are.
        known: String,
    },
    /// Text where a number is needed.
    #[error("column `{column}` is text, a number is needed there")]
    NotNumber {
        /// The column.
        column: String,
    },
    /// A level that the fit has never seen.
    #[error("column `{column}`: the fit has never seen the level `{level}`")]
    UnseenLevel {
        /// The column.
        column: String,
        /// The level.
        level: String,
    },
    /// A fixed effect that the fit does not have.
    #[error("the fit has no coefficient `{name}`; it has {known}")]
    NoCoefficient {
        /// The name.
        name: String,
        /// The coefficients there are.
        known: String,
    },
    /// Two models of which neither contains the other, or that are not of the same rows.
    #[error("the models cannot be tested against each other: {what}")]
    NotNested {
        /// Why.
        what: String,
    },
    /// A level of intervals that is not within 0 and 1, or no replicates.
    #[error("{what} is {got}: {expected}")]
    Setting {
        /// The setting.
        what: &'static str,
        /// What was given.
        got: f64,
        /// What is expected.
        expected: &'static str,
    },
    /// Too few simulated sets could be fitted.
    #[error("of {replicates} simulated sets only {fitted} could be fitted")]
    Bootstrap {
        /// Sets fitted.
        fitted: usize,
        /// Sets simulated.
        replicates: usize,
    },
    /// The engine's own.
    #[error(transparent)]
    Fit(#[from] MixedError),
}
