//! Paraglider line checks turned into trim, wear and the next date, with honest intervals.
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used, clippy::float_cmp))]

pub mod check;
mod error;
#[cfg(feature = "frames")]
pub mod fleet;
pub mod forecast;
pub mod plan;
pub mod report;
pub mod simulate;
pub mod stats;
pub mod trim;
pub mod wear;
pub mod wing;

pub use error::{Error, Result};
pub use jiff::civil::Date;
