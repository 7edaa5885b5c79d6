//! Doubtful readings.

use super::{CHECK, LINE, SIDE, SIDES, listing};
use crate::check::doubt::Doubts;

listing! {
    /// One row per check looked through: how many readings, how many doubtful, and the scatter of its lines.
    VET_CHECKS = "vet_checks", "check looked through for doubtful readings";
    pub fn vet_checks[](doubts: &[Doubts]) for one in doubts;
    text "check", "", CHECK => one.check();
    whole "readings", "", "readings looked at" => one.readings();
    whole "doubtful", "", "doubtful ones" => one.findings().len();
    number "scale_mm", "mm", "robust scatter of the lines about the smooth level of their rows" => one.scale_mm();
    text "notes", "", "codes of remarks on the check as a whole, with blanks between" => notes(one);
}

fn notes(one: &Doubts) -> Option<String> {
    let codes: Vec<&str> = one.notes().iter().map(|note| note.code.as_str()).collect();
    (!codes.is_empty()).then(|| codes.join(" "))
}

listing! {
    /// One row per doubtful reading: what was read, what was expected and what it probably is.
    VET_FINDINGS = "vet_findings", "doubtful reading";
    pub fn vet_findings[](doubts: &[Doubts]) for found in doubts.iter().flat_map(Doubts::findings);
    text "check", "", CHECK => &found.check;
    text "side", SIDES, SIDE => found.side;
    text "line", "", LINE => &found.line;
    whole "repeat", "1, 2, …", "which repeat" => found.repeat;
    number "reading_mm", "mm", "what was read" => found.reading_mm;
    number "expected_mm", "mm", "what was expected on the instrument" => found.expected_mm;
    number "expected_sd_mm", "mm", "standard deviation of a right reading about that" => found.expected_sd_mm;
    number "score", "", "distance from what was expected, in standard deviations" => found.score;
    text "kind", "`digits-swapped` … `odd`", "what it probably is" => found.kind().name();
    number "suggested_mm", "mm", "what it should probably read" => found.suggested_mm();
    text "other_side", SIDES, "side of the line whose value it may be" => found.explanation.other.as_ref().map(|other| other.side);
    text "other_line", "", "line whose value it may be" => found.explanation.other.as_ref().map(|other| &other.line);
    number "probability", "0 … 1", "probability of this explanation" => found.explanation.probability;
}
