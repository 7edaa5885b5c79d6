//! What deviations mean in flight: row trim, incidence, twist, asymmetry, and bands for angle of attack and speed.
//!
//! [`TrimSpec`] says how a check is judged; [`TrimSpec::run`] gives a [`Trim`]. For many checks of one model,
//! [`TrimSpec::prepare`] does once what depends on the line set alone. Every output is a linear combination of the
//! lines' deviations, so its uncertainty follows from theirs by the budget, see [`crate::check::Budget`].

mod bands;
mod chordwise;
mod error;
mod incidence;
mod measured;
mod model;
mod outcome;
mod rows;
mod span;
mod spec;

pub use crate::check::Verdict;
pub use chordwise::{ChordFit, ChordPoint, chord_fit};
pub use error::TrimError;
pub use model::TrimModel;
pub use outcome::{
    IncidenceShare, Interval, LineVerdict, RowDifference, RowTrim, ShapeResidual, SideDifference, Trim, TrimNote,
    TwistStation,
};
pub use spec::{ToleranceOn, TrimSpec};
