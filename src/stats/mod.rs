//! Numbers only: robust location and scale, the minimiser and the mixed-model engine. This room knows no wings.

pub(crate) mod dense;
mod minimise;
pub mod mixed;
pub mod robust;
pub(crate) mod twofold;

pub use minimise::{Minimum, StopReason};
