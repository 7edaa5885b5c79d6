//! Numbers only: the minimiser and the mixed-model engine. This room knows no wings.

mod dense;
mod minimise;
pub mod mixed;

pub use minimise::{Minimum, StopReason};
