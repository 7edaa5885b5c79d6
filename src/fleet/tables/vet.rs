//! Doubtful readings.

use super::count;
use crate::check::doubt::{Doubts, Finding};
use crate::fleet::table::Table;

/// One row per doubtful reading: what was read, what was expected and what it probably is.
#[must_use]
pub fn vet_findings(doubts: &[Doubts]) -> Table {
    let all: Vec<&Finding> = doubts.iter().flat_map(Doubts::findings).collect();
    let other = |finding: &&Finding| finding.explanation.other.clone();
    Table::new("vet_findings")
        .text("check", all.iter().map(|finding| Some(finding.check.as_str())))
        .text("side", all.iter().map(|finding| Some(finding.side.name())))
        .text("line", all.iter().map(|finding| Some(finding.line.as_str())))
        .count("repeat", all.iter().map(|finding| Some(i64::from(finding.repeat))))
        .number("reading_mm", all.iter().map(|finding| Some(finding.reading_mm)))
        .number("expected_mm", all.iter().map(|finding| Some(finding.expected_mm)))
        .number("expected_sd_mm", all.iter().map(|finding| Some(finding.expected_sd_mm)))
        .number("score", all.iter().map(|finding| Some(finding.score)))
        .text("kind", all.iter().map(|finding| Some(finding.kind().name())))
        .number("suggested_mm", all.iter().map(|finding| finding.suggested_mm()))
        .text("other_side", all.iter().map(|finding| other(finding).map(|other| other.side.name())))
        .text("other_line", all.iter().map(|finding| other(finding).map(|other| other.line)))
        .number("probability", all.iter().map(|finding| Some(finding.explanation.probability)))
}

/// One row per check looked through: how many readings, how many doubtful, and the scatter of its lines.
#[must_use]
pub fn vet_checks(doubts: &[Doubts]) -> Table {
    let notes = |one: &Doubts| {
        let codes: Vec<&str> = one.notes().iter().map(|note| note.code.as_str()).collect();
        (!codes.is_empty()).then(|| codes.join(" "))
    };
    Table::new("vet_checks")
        .text("check", doubts.iter().map(|one| Some(one.check())))
        .count("readings", doubts.iter().map(|one| count(one.readings())))
        .count("doubtful", doubts.iter().map(|one| count(one.findings().len())))
        .number("scale_mm", doubts.iter().map(|one| Some(one.scale_mm())))
        .text("notes", doubts.iter().map(notes))
}
