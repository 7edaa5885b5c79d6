//! What a wing is held to: the limits, and a file of them.

mod set;
mod table;

pub use set::Limits;
pub use table::{LimitsError, LimitsTable};
