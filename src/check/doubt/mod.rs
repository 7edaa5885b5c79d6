//! Doubtful readings: each reading against what is known of it, and what a doubtful one probably is.
//!
//! Expected of a reading is: its nominal length and datum; the level of its row at this check, smooth along the span and
//! taken from both sides; what this very line was off from that level at the wing's earlier checks, as long as nothing was
//! adjusted on its path since; and an expectation that the caller passes in. Whoever differs by many standard deviations is
//! a finding, and a likelihood over the slips that hands make says what it probably is. A finding never alters data.

mod blocks;
mod epochs;
mod finding;
mod hypothesis;
mod level;
mod past;
mod search;
mod spec;
mod table;
mod together;

pub use finding::{
    DoubtNote, Doubts, Explanation, Finding, FindingKind, OtherLine, VetDocument, VetFinding, VetNote,
};
pub use spec::{DoubtError, DoubtSpec, Expectation};
