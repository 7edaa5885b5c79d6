//! What was done to a wing, and what hangs on its links.

use std::fmt;
use std::str::FromStr;

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use super::{Check, Stage};
use crate::wing::{Side, UnknownName};

/// Kind of an adjustment.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ActionKind {
    /// An extra turn of the line's end on the link: shorter.
    Turn,
    /// A lark's head on the link: shorter.
    LarksHead,
    /// An existing loop taken out: longer.
    RemoveLoop,
    /// A small link of given length put in: longer; taken out again: shorter.
    SmallLink,
    /// A larger link in place of the one there: longer; the usual one back in its place: shorter.
    LargerLink,
    /// A splice done anew to a length.
    Splice,
    /// The segment (or the whole set) replaced by a new one.
    Replace,
    /// The segment replaced, or spliced anew, so that the lines on it have the length they should have.
    ReplaceLine,
    /// The brake line set at its handle.
    BrakeHandle,
    /// The riser set by its adjuster.
    Riser,
    /// Lines stretched under load: longer, for a time.
    Stretch,
}

impl ActionKind {
    /// All kinds.
    pub const ALL: [ActionKind; 11] = [
        ActionKind::Turn,
        ActionKind::LarksHead,
        ActionKind::RemoveLoop,
        ActionKind::SmallLink,
        ActionKind::LargerLink,
        ActionKind::Splice,
        ActionKind::Replace,
        ActionKind::ReplaceLine,
        ActionKind::BrakeHandle,
        ActionKind::Riser,
        ActionKind::Stretch,
    ];

    /// The name used in tables.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            ActionKind::Turn => "turn",
            ActionKind::LarksHead => "larks_head",
            ActionKind::RemoveLoop => "remove_loop",
            ActionKind::SmallLink => "small_link",
            ActionKind::LargerLink => "larger_link",
            ActionKind::Splice => "splice",
            ActionKind::Replace => "replace",
            ActionKind::ReplaceLine => "replace_line",
            ActionKind::BrakeHandle => "brake_handle",
            ActionKind::Riser => "riser",
            ActionKind::Stretch => "stretch",
        }
    }
}

impl fmt::Display for ActionKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

impl FromStr for ActionKind {
    type Err = UnknownName;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        ActionKind::ALL.into_iter().find(|kind| kind.name() == text).ok_or_else(|| UnknownName {
            got: text.to_owned(),
            expected: "turn, larks_head, remove_loop, small_link, larger_link, splice, replace, replace_line, brake_handle, \
                       riser, stretch",
        })
    }
}

/// One adjustment done to a wing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Action {
    /// Day of the work.
    pub date: Date,
    /// Hours flown since new, h.
    pub hours_h: f64,
    /// Side of the wing.
    pub side: Side,
    /// Index of the segment in the wing's line set (`None`: the whole set of that side).
    pub segment: Option<usize>,
    /// What was done.
    pub kind: ActionKind,
    /// Intended change of length, mm (negative shortens).
    pub change_mm: f64,
    /// Number of turns.
    pub turns: Option<f64>,
    /// Id of the `as_left` check taken after it.
    pub check: Option<String>,
}

impl Action {
    /// Index of the first of a wing's checks (in their order) that sees the action: the one it names, else the first
    /// `as_left` check at its hours, else the first check after them; the number of checks when none does.
    #[must_use]
    pub(crate) fn first_check_after(&self, checks: &[Check]) -> usize {
        let named = self.check.as_ref().and_then(|id| checks.iter().position(|check| check.id == *id));
        let seen = |check: &Check| {
            let at_once = check.stage == Stage::AsLeft
                && check.hours_h.total_cmp(&self.hours_h).is_eq()
                && check.date >= self.date;
            at_once || check.hours_h > self.hours_h
        };
        named.or_else(|| checks.iter().position(seen)).unwrap_or(checks.len())
    }
}

/// What hangs on one segment's link now.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Fitting {
    /// Side of the wing.
    pub side: Side,
    /// Index of the segment in the wing's line set.
    pub segment: usize,
    /// Extra turns on it now.
    pub turns: Option<f64>,
    /// Loop length that can be given, mm.
    pub spare_mm: Option<f64>,
    /// Whether a loop can be laid here (overrides the model's).
    pub can_loop: Option<bool>,
    /// Diameter of the link's rod, mm.
    pub link_diameter_mm: Option<f64>,
    /// This wing's own measured step of one turn, mm.
    pub step_mm: Option<f64>,
}
