//! What can be wrong with a fleet asked for.

use thiserror::Error;

use crate::check::FleetError;
use crate::wing::LineSetError;

/// Why a fleet cannot be simulated.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum SimulateError {
    /// A setting outside what it may be.
    #[error("{what} is {value}, expected {expected}")]
    OutOfRange {
        /// Name of the setting.
        what: &'static str,
        /// Its value.
        value: f64,
        /// What would have been right.
        expected: &'static str,
    },
    /// A day past the calendar's end.
    #[error("wing `{wing}`: {days} days after {from} is no date")]
    NoDate {
        /// The wing.
        wing: String,
        /// Day counted from.
        from: crate::Date,
        /// Days added.
        days: i64,
    },
    /// The invented fleet gives no forecast.
    #[error("no forecast on the invented fleet: {reason}")]
    NoForecast {
        /// Why.
        reason: String,
    },
    /// A question that the fits of invented fleets cannot answer.
    #[error("the question cannot be put to an invented fleet: {reason}")]
    NoAnswer {
        /// Why.
        reason: String,
    },
    /// Settings that cannot be read.
    #[error("{reason}")]
    Settings {
        /// Where and why.
        reason: String,
    },
    /// The invented line set does not hold together.
    #[error(transparent)]
    LineSet(#[from] LineSetError),
    /// The invented fleet does not hold together.
    #[error(transparent)]
    Fleet(#[from] FleetError),
}
