//! A deviation that is taken for a fact about the wing.

use serde::{Deserialize, Serialize};

use super::evidence::{Because, Known};
use super::finding::DoubtNote;
use super::groups::Tie;
use crate::wing::{Row, Side};

/// What makes a deviation a fact.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum FactKind {
    /// All lines of a segment are off together.
    Segment,
    /// Neighbours are off together.
    Neighbours,
    /// The outermost lines of the rows are off together.
    Tips,
    /// A row is off on one side.
    Row,
    /// A line is off alike on both sides.
    Mirror,
    /// An earlier check says the same, with no work between.
    Earlier,
    /// It was worked on since the check before.
    Worked,
    /// Repeats agree.
    Repeats,
    /// Somebody measured again and confirmed it.
    Confirmed,
}

/// Lines that truly are off: what would take several slips that agree.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Fact {
    /// What makes it one.
    pub kind: FactKind,
    /// Side; `None`: both.
    pub side: Option<Side>,
    /// Row of its lines (a segment may carry several: the first's).
    pub row: Option<Row>,
    /// Names of its lines.
    pub lines: Vec<String>,
    /// The segment or main that carries them.
    pub segment: Option<String>,
    /// By how much they are off from what is expected without it, mm.
    pub step_mm: f64,
    /// The line with which this one seems exchanged, in the table or on the wing.
    pub exchanged_with: Option<String>,
}

impl Fact {
    pub(super) fn new(known: &Known, lines: Vec<String>, row: Option<Row>, exchanged_with: Option<String>) -> Self {
        let kind = match (known.why, &known.tie, known.sides.len()) {
            (Because::Confirmed, ..) => FactKind::Confirmed,
            (Because::Repeats, ..) => FactKind::Repeats,
            (Because::Earlier, ..) => FactKind::Earlier,
            (Because::Worked, ..) => FactKind::Worked,
            (Because::Together, Tie::Segment(_), _) => FactKind::Segment,
            (Because::Together, Tie::Run, _) => FactKind::Neighbours,
            (Because::Together, Tie::Tips, _) => FactKind::Tips,
            (Because::Together, Tie::Row, _) => FactKind::Row,
            (Because::Together, Tie::Line, _) => FactKind::Mirror,
        };
        let segment = match &known.tie {
            Tie::Segment(name) => Some(name.clone()),
            _ => None,
        };
        let side = match known.sides {
            [one] => Some(*one),
            _ => None,
        };
        Self { kind, side, row, lines, segment, step_mm: known.step_mm, exchanged_with }
    }

    /// Code of its note.
    #[must_use]
    pub const fn code(&self) -> &'static str {
        match self.kind {
            FactKind::Segment => "lines_moved",
            FactKind::Neighbours | FactKind::Mirror | FactKind::Tips | FactKind::Row => "lines_alike",
            FactKind::Earlier => "as_before",
            FactKind::Worked => "worked_on",
            FactKind::Repeats => "repeats_agree",
            FactKind::Confirmed => "confirmed",
        }
    }

    /// What it is and where it may come from, in words.
    #[must_use]
    pub fn note(&self) -> DoubtNote {
        let side = self.side.map_or_else(|| "left and right".to_owned(), |side| side.to_string());
        let (size, long) = (self.step_mm.abs(), if self.step_mm > 0.0 { "long" } else { "short" });
        let what = match (&self.segment, self.lines.as_slice()) {
            (Some(segment), lines) => {
                format!("{segment} {side}: its {} lines are all {size:.0} mm {long}", lines.len())
            }
            (None, [line]) => format!("{line} {side}: {size:.0} mm {long}"),
            (None, lines) => format!("{} {side}: all {size:.0} mm {long}", lines.join(", ")),
        };
        let because = match self.kind {
            FactKind::Segment if self.side.is_none() => {
                ", alike on both sides: a fact, not a misreading. Likely an adjustment that is not recorded, lines made or \
                 replaced to another length, or another version of the table."
            }
            FactKind::Segment => {
                ": a fact, not a misreading. Likely an adjustment that is not recorded, or a loop or tangle below them: look \
                 there."
            }
            FactKind::Neighbours if self.side.is_some() => {
                ": neighbours that agree are no misreading. Likely wrongly made or replaced lines, or lines hung in another \
                 order: look at them."
            }
            FactKind::Neighbours | FactKind::Mirror => {
                ", alike on both sides: a fact, not a misreading. Likely another version of the table, wrongly made or \
                 replaced lines, or an adjustment that is not recorded."
            }
            FactKind::Tips => ": the tips together, a fact and not a misreading.",
            FactKind::Row => ": the whole row on that side, a fact and not a misreading. Look at its riser too.",
            FactKind::Earlier => {
                ", as at an earlier check, and no work is recorded between: a fact, not a misreading."
            }
            FactKind::Worked => {
                ": it was worked on since the check before, so the line is wrongly made or set rather than misread."
            }
            FactKind::Repeats => ": readings taken again agree, so it is so. Look at the line itself.",
            FactKind::Confirmed => ": measured again and confirmed.",
        };
        let exchanged = self.exchanged_with.as_ref().map_or_else(String::new, |other| {
            let where_to = if self.side.is_none() {
                "their lengths are swapped in the table, or the lines are swapped on both sides"
            } else {
                "the two lines are swapped"
            };
            format!(" It has the length of {other}: perhaps {where_to}.")
        });
        DoubtNote { code: self.code().to_owned(), message: format!("{what}{because}{exchanged}") }
    }
}
