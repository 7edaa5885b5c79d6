//! What can be wrong with a forecast's input.

use thiserror::Error;

use crate::check::FleetError;
use crate::wear::{SavedFitError, WearError};

/// Why a forecast cannot be made.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum ForecastError {
    /// The accepted risk is not a probability between 0 and 1, ends left out.
    #[error("the accepted risk is {value}, expected a number above 0 and below 1")]
    Risk {
        /// The value.
        value: f64,
    },
    /// A setting that must be a finite number above zero is not.
    #[error("{what} is {value}, expected a finite number above 0")]
    NotPositive {
        /// Name of the setting, with its unit.
        what: &'static str,
        /// The value.
        value: f64,
    },
    /// Hours that are negative or not finite.
    #[error("{what} is {value} h, expected a finite number of at least 0")]
    Hours {
        /// Which hours.
        what: &'static str,
        /// The value.
        value: f64,
    },
    /// An interval of a wing or its model that is not a finite number above zero.
    #[error("wing `{wing}`: {what} is {value}, expected a finite number above 0")]
    Interval {
        /// The wing.
        wing: String,
        /// Column of the figure.
        what: &'static str,
        /// The value.
        value: f64,
    },
    /// A wing of a class of use that has no rule.
    #[error("wing `{wing}` is in use as `{class}`, expected one of {known}, or a rule for it")]
    Class {
        /// The wing.
        wing: String,
        /// The class.
        class: String,
        /// The classes with a rule.
        known: String,
    },
    /// An event that has no rule.
    #[error("wing `{wing}` has the event `{event}`, expected one of {known}, or a rule for it")]
    Event {
        /// The wing.
        wing: String,
        /// The event.
        event: String,
        /// The events with a rule.
        known: String,
    },
    /// A file of rules that cannot be read.
    #[error("the rules: {what}")]
    Rules {
        /// What is wrong, and where.
        what: String,
    },
    /// Draws whose parts do not fit together.
    #[error("the draws hold {got} {what}, expected {expected}")]
    Draws {
        /// What was counted.
        what: &'static str,
        /// How many there are.
        got: usize,
        /// How many there should be.
        expected: usize,
    },
    /// Draws of a line that its line set does not have.
    #[error("the draws name line {line}, of {lines}")]
    NoLine {
        /// Index of the line.
        line: usize,
        /// Lines in the set.
        lines: usize,
    },
    /// Draws with a number that is not finite.
    #[error("the draws of line `{line}` hold a number that is not finite")]
    NotFinite {
        /// The line.
        line: String,
    },
    /// The wear model gives no paths for a wing.
    #[error("wing `{wing}`: {source}")]
    Wear {
        /// The wing.
        wing: String,
        /// Why.
        source: WearError,
    },
    /// A wing's history does not stand by itself.
    #[error("wing `{wing}`: {source}")]
    Alone {
        /// The wing.
        wing: String,
        /// Why.
        source: FleetError,
    },
    /// No hidden check that all methods can forecast.
    #[error(
        "no check could be forecast ({skipped} left out): a wing with two checks or more is needed, and five wings"
    )]
    NothingToForecast {
        /// Checks left out.
        skipped: usize,
    },
    /// A wing that the fleet does not have.
    #[error("wing `{wing}` is not in the fleet of {wings} wings")]
    NoWing {
        /// The wing.
        wing: String,
        /// How many wings the fleet has.
        wings: usize,
    },
    /// Hours before a wing's last check.
    #[error("{value} h is before the wing's last check at {last_h} h")]
    BeforeLastCheck {
        /// The hours given.
        value: f64,
        /// Hours of the last check.
        last_h: f64,
    },
    /// A fit without a rate for some material of a wing.
    #[error("wing `{wing}`: the wear fit has no rate for some of its materials in their rows")]
    NotInFit {
        /// The wing.
        wing: String,
    },
    /// A wing without two rows among A–D.
    #[error("wing `{wing}` has fewer than two rows among A to D: it has no row trim")]
    NoRowTrim {
        /// The wing.
        wing: String,
    },
    /// A saved fit that may not serve.
    #[error(transparent)]
    Saved(#[from] SavedFitError),
    /// Parameters that are no distribution.
    #[error("{what} is {value}, expected {expected}")]
    Parameter {
        /// Name of the parameter.
        what: &'static str,
        /// The value.
        value: f64,
        /// What would have been right.
        expected: &'static str,
    },
}

/// The value, if it is finite and above zero.
pub(super) fn positive(what: &'static str, value: f64) -> Result<f64, ForecastError> {
    if value.is_finite() && value > 0.0 { Ok(value) } else { Err(ForecastError::NotPositive { what, value }) }
}
