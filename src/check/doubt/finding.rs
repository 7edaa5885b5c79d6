//! A doubtful reading and what it probably is.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::{Expectation, Fact};
use crate::wing::Side;

/// What a doubtful reading probably is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum FindingKind {
    /// Two neighbouring digits changed places.
    DigitsSwapped,
    /// A hundred too many or too few.
    HundredOff,
    /// A thousand too many or too few.
    ThousandOff,
    /// The value of another line.
    OtherLine,
    /// The values of left and right have changed places, over several lines.
    SidesSwapped,
    /// The values of several lines stand one line too far in or out.
    RowShifted,
    /// Written in cm, m or inches.
    Unit,
    /// The decimal point stands wrong.
    Decimal,
    /// None of these: a rare slip, or the line truly is so.
    Odd,
}

impl FindingKind {
    /// All kinds.
    pub const ALL: [FindingKind; 9] = [
        FindingKind::DigitsSwapped,
        FindingKind::HundredOff,
        FindingKind::ThousandOff,
        FindingKind::OtherLine,
        FindingKind::SidesSwapped,
        FindingKind::RowShifted,
        FindingKind::Unit,
        FindingKind::Decimal,
        FindingKind::Odd,
    ];

    /// The name used in documents, such as `digits-swapped`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            FindingKind::DigitsSwapped => "digits-swapped",
            FindingKind::HundredOff => "hundred-off",
            FindingKind::ThousandOff => "thousand-off",
            FindingKind::OtherLine => "other-line",
            FindingKind::SidesSwapped => "sides-swapped",
            FindingKind::RowShifted => "row-shifted",
            FindingKind::Unit => "unit",
            FindingKind::Decimal => "decimal",
            FindingKind::Odd => "odd",
        }
    }
}

impl fmt::Display for FindingKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// A line that a value may belong to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct OtherLine {
    /// Side of the wing.
    pub side: Side,
    /// Line name.
    pub line: String,
}

/// One explanation of a doubtful reading.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Explanation {
    /// What happened.
    pub kind: FindingKind,
    /// What the reading would have been without it, mm: exact for a slip of the pen; for a value that belongs to another
    /// line, that line's own reading when the two were exchanged, otherwise what this line is expected to show, to the
    /// whole millimetre. `None` for `odd`.
    pub suggested_mm: Option<f64>,
    /// The line whose value it is.
    pub other: Option<OtherLine>,
    /// Probability given the reading, 0 … 1; those of all explanations and of a right reading add to one.
    pub probability: f64,
}

/// One doubtful reading.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// Check id.
    pub check: String,
    /// Side of the wing.
    pub side: Side,
    /// Line name.
    pub line: String,
    /// Index of the line in its line set.
    pub line_index: usize,
    /// Which repeat, from 1.
    pub repeat: u32,
    /// What was read, mm.
    pub reading_mm: f64,
    /// What was expected on the instrument, mm.
    pub expected_mm: f64,
    /// Standard deviation of a right reading about that, mm.
    pub expected_sd_mm: f64,
    /// `|reading − expected| / sd`.
    pub score: f64,
    /// What it most probably is.
    pub explanation: Explanation,
    /// Other explanations of at least 1 % probability, the likeliest first.
    pub alternatives: Vec<Explanation>,
}

impl Finding {
    /// What it most probably is.
    #[must_use]
    pub fn kind(&self) -> FindingKind {
        self.explanation.kind
    }

    /// What it should probably read, mm.
    #[must_use]
    pub fn suggested_mm(&self) -> Option<f64> {
        self.explanation.suggested_mm
    }
}

/// What is doubtful about a check as a whole, without a reading to point at.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct DoubtNote {
    /// Code, such as `sides_contradict`.
    pub code: String,
    /// What it means and what to do.
    pub message: String,
}

/// The doubtful readings of one check.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Doubts {
    pub(super) check: String,
    pub(super) readings: usize,
    pub(super) scale_mm: f64,
    pub(super) expected: Vec<Expectation>,
    pub(super) findings: Vec<Finding>,
    pub(super) facts: Vec<Fact>,
    pub(super) notes: Vec<DoubtNote>,
}

impl Doubts {
    /// Check id.
    #[must_use]
    pub fn check(&self) -> &str {
        &self.check
    }

    /// How many readings were looked at.
    #[must_use]
    pub fn readings(&self) -> usize {
        self.readings
    }

    /// Robust standard deviation of this check's lines about the smooth level of their rows, mm.
    #[must_use]
    pub fn scale_mm(&self) -> f64 {
        self.scale_mm
    }

    /// What is expected of every line of the set, read or not, left before right: deviation from nominal with this
    /// check's common offset in it, and the standard deviation of a right reading about it.
    #[must_use]
    pub fn expected(&self) -> &[Expectation] {
        &self.expected
    }

    /// The findings, in the order of the readings.
    #[must_use]
    pub fn findings(&self) -> &[Finding] {
        &self.findings
    }

    /// What is off but no misreading, in the order found.
    #[must_use]
    pub fn facts(&self) -> &[Fact] {
        &self.facts
    }

    /// Whether a line's reading is doubted, and nothing should rest on it.
    #[must_use]
    pub fn doubts_line(&self, side: Side, line: usize) -> bool {
        self.findings.iter().any(|finding| finding.side == side && finding.line_index == line)
    }

    /// With what there is to ask about the check as a whole before its notes.
    #[cfg(feature = "frames")]
    #[must_use]
    pub(crate) fn with_notes_first(mut self, mut notes: Vec<DoubtNote>) -> Self {
        notes.append(&mut self.notes);
        self.notes = notes;
        self
    }

    /// What is doubtful about the check as a whole.
    #[must_use]
    pub fn notes(&self) -> &[DoubtNote] {
        &self.notes
    }
}

impl fmt::Display for Doubts {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "check {}: {} readings, {} doubtful", self.check, self.readings, self.findings.len())?;
        for finding in &self.findings {
            write!(
                f,
                "  {} {}: read {:.1}, expected {:.1} ± {:.1} mm: {}",
                finding.side,
                finding.line,
                finding.reading_mm,
                finding.expected_mm,
                2.0 * finding.expected_sd_mm,
                finding.kind()
            )?;
            if let Some(other) = &finding.explanation.other {
                write!(f, " ({} {})", other.side, other.line)?;
            }
            match finding.suggested_mm() {
                Some(suggested) => writeln!(f, ", probably {suggested:.1}; measure again")?,
                None => writeln!(f, "; measure again")?,
            }
        }
        for note in &self.notes {
            writeln!(f, "  {}", note.message)?;
        }
        Ok(())
    }
}

/// One finding as the `vet` document gives it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct VetFinding {
    /// Check id.
    pub check: String,
    /// Side of the wing.
    pub side: Side,
    /// Line name.
    pub line: String,
    /// Which repeat, from 1.
    pub repeat: u32,
    /// What was read, mm.
    pub reading_mm: f64,
    /// What was expected on the instrument, mm.
    pub expected_mm: f64,
    /// What it probably is.
    pub kind: FindingKind,
    /// What it should probably read, mm.
    pub suggested_mm: Option<f64>,
    /// The line whose value it is.
    pub other: Option<OtherLine>,
    /// `|reading − expected| / sd`.
    pub score: f64,
    /// Probability of the kind, 0 … 1.
    pub probability: f64,
}

/// The document `linedrift.vet/1`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct VetDocument {
    /// `linedrift.vet/1`.
    pub schema: String,
    /// `true` on the bundled invented demo; not written otherwise.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub demo: Option<bool>,
    /// The findings, check by check.
    pub findings: Vec<VetFinding>,
    /// What is doubtful about whole checks or groups of lines.
    pub notes: Vec<VetNote>,
}

/// One note as the `vet` document gives it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct VetNote {
    /// Check id.
    pub check: String,
    /// Code: `sides_contradict`, or of a fact `lines_moved`, `lines_alike`, `as_before`, `repeats_agree`, `confirmed`.
    pub code: String,
    /// What it means and what to do.
    pub message: String,
}

impl VetDocument {
    /// The document of some checks' doubts.
    #[must_use]
    pub fn new<'a>(doubts: impl IntoIterator<Item = &'a Doubts>) -> Self {
        let doubts: Vec<&Doubts> = doubts.into_iter().collect();
        let notes = doubts
            .iter()
            .flat_map(|one| one.notes.iter().map(move |note| (*one, note)))
            .map(|(one, note)| VetNote {
                check: one.check.clone(),
                code: note.code.clone(),
                message: note.message.clone(),
            })
            .collect();
        let findings = doubts
            .into_iter()
            .flat_map(|one| &one.findings)
            .map(|finding| VetFinding {
                check: finding.check.clone(),
                side: finding.side,
                line: finding.line.clone(),
                repeat: finding.repeat,
                reading_mm: finding.reading_mm,
                expected_mm: finding.expected_mm,
                kind: finding.kind(),
                suggested_mm: finding.suggested_mm(),
                other: finding.explanation.other.clone(),
                score: finding.score,
                probability: finding.explanation.probability,
            })
            .collect();
        Self { schema: "linedrift.vet/1".to_owned(), demo: None, findings, notes }
    }

    /// The same, marked as of the bundled invented demo.
    #[must_use]
    pub fn marked_demo(mut self) -> Self {
        self.demo = Some(true);
        self
    }
}
