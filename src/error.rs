//! One error for the whole crate.

use thiserror::Error;

/// Any error of this crate: each room's own, unchanged.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum Error {
    /// Lines and segments do not make a line set.
    #[error(transparent)]
    LineSet(#[from] crate::wing::LineSetError),
    /// Histories and line sets do not make a fleet.
    #[error(transparent)]
    Fleet(#[from] crate::check::FleetError),
    /// The next check cannot be found.
    #[error(transparent)]
    Forecast(#[from] crate::forecast::ForecastError),
    /// A fleet cannot be simulated.
    #[error(transparent)]
    Simulate(#[from] crate::simulate::SimulateError),
}

/// A result with this crate's [`enum@Error`].
pub type Result<T> = std::result::Result<T, Error>;
