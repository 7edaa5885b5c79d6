//! Doubtful readings: each reading against what is known of it, and what a doubtful one probably is.
//!
//! Expected of a reading is: its nominal length and datum; the level of its row at this check, smooth along the span and
//! taken from both sides; what this very line was off from that level at the wing's earlier checks, as long as nothing was
//! adjusted on its path since; and an expectation that the caller passes in. What differs by many standard deviations is
//! weighed: a slip, and then a likelihood over the slips that hands make says what it probably is, or a [`Fact`] about the
//! wing, when several slips would have to agree. A finding never alters data.

mod blocks;
mod epochs;
mod evidence;
mod explain;
mod fact;
mod finding;
mod ground;
mod groups;
mod hypothesis;
mod layout;
mod level;
mod past;
mod search;
mod spec;
mod table;

pub use fact::{Fact, FactKind};
pub use finding::{
    DoubtNote, Doubts, Explanation, Finding, FindingKind, OtherLine, VetDocument, VetFinding, VetNote,
};
pub(crate) use groups::{Group, Tie, line_groups};
pub use spec::{DoubtError, DoubtSpec, Expectation};
