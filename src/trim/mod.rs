//! What deviations mean in flight: row trim, incidence, twist, asymmetry, and bands for angle of attack and speed.

mod outcome;

pub use outcome::{Interval, LineVerdict, RowTrim, ShapeResidual, Trim, TrimNote, TwistStation, Verdict};
