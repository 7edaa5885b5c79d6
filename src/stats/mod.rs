//! Numbers only: robust location and scale, the minimiser and the mixed-model engine. This room knows no wings.

pub(crate) mod contrast;
pub(crate) mod dense;
pub(crate) mod double_double;
mod minimise;
pub mod mixed;
pub(crate) mod normal_tail;
pub mod robust;
mod student;

pub use contrast::{ContrastRow, Simultaneous};
pub(crate) use minimise::Precision;
pub use minimise::{Minimum, StopReason};
pub use student::{student_coverage, student_quantile, student_tail};

/// Two-sided 95 % of a normal distribution, in standard deviations.
pub(crate) const NORMAL_95: f64 = 1.959_963_984_540_054;
