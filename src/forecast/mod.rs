//! When to look again: first crossing of a limit, and the next check due.
//!
//! [`CrossingSpec`] takes joint draws of a wing's line paths and finds where each first crosses one of the [`Limits`].

mod crossing;
mod error;
mod first_crossing;
mod limits;
mod normal_tail;
mod outcome;
mod passage;
mod wiener;

pub use crossing::CrossingSpec;
pub use error::ForecastError;
pub use first_crossing::{Cause, CauseShare, CrossingDraw, FirstCrossing, RiskHours};
pub use limits::Limits;
pub use outcome::{Basis, CrossingHours, DueRow, Reason};
pub use passage::{GaussianPath, SlopePassage};
pub use wiener::WienerPassage;
