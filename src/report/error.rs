//! What can go wrong in drawing and writing a report.

use thiserror::Error;

/// Why a report cannot be made.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum ReportError {
    /// A scale of a figure is empty or not finite.
    #[error("figure `{figure}` cannot be drawn: {reason}")]
    Drawing {
        /// Title of the figure.
        figure: String,
        /// What was wrong with it.
        reason: String,
    },
    /// A document is none that JSON can hold.
    #[error("the document cannot be written as JSON: {reason}")]
    Json {
        /// What the writer said.
        reason: String,
    },
    /// A result names a wing that the fleet does not have.
    #[error("a {what} names wing `{wing}`, which is not in the fleet of {wings} wings")]
    NoWing {
        /// `trim`, `due row`, `plan` or `forecast`.
        what: &'static str,
        /// The wing.
        wing: String,
        /// How many wings the fleet has.
        wings: usize,
    },
    /// A wing has no such check, or none with readings.
    #[error("wing `{wing}` has no {}", match check { Some(id) => format!("check `{id}` with readings"), None => "check with readings".to_owned() })]
    NoCheck {
        /// The wing.
        wing: String,
        /// The check that was asked for.
        check: Option<String>,
    },
}
