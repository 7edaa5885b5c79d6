//! The wear model: terms, spreads, drift of rows, predictions.

use crate::fleet::table::Table;
use crate::wear::{DriftRow, PredictionRow, SpreadRow, TermRow};

/// One row per fixed term of a wear fit; `unit` says in what it is (rates: mm per metre of line in the first 100 h).
#[must_use]
pub fn terms(terms: &[TermRow]) -> Table {
    let unit = |term: &TermRow| if term.term.starts_with("offset") { "mm" } else { "mm/m in the first 100 h" };
    Table::new("wear_terms")
        .text("term", terms.iter().map(|term| Some(term.term.as_str())))
        .text("unit", terms.iter().map(|term| Some(unit(term))))
        .number("estimate", terms.iter().map(|term| Some(term.estimate)))
        .number("se", terms.iter().map(|term| Some(term.se)))
        .number("lower", terms.iter().map(|term| Some(term.lower)))
        .number("upper", terms.iter().map(|term| Some(term.upper)))
        .number("df", terms.iter().map(|term| Some(term.df)))
        .number("p", terms.iter().map(|term| Some(term.p)))
}

/// One row per spread of a wear fit; `unit` says in what the standard deviation is.
#[must_use]
pub fn spread(spread: &[SpreadRow]) -> Table {
    let unit = |row: &SpreadRow| match row.effect.as_str() {
        "offset" => "mm",
        "rate" => "mm/m in the first 100 h",
        _ => "1",
    };
    Table::new("wear_spread")
        .text("group", spread.iter().map(|row| Some(row.group.as_str())))
        .text("effect", spread.iter().map(|row| Some(row.effect.as_str())))
        .text("unit", spread.iter().map(|row| Some(unit(row))))
        .number("sd", spread.iter().map(|row| row.sd))
        .number("correlation", spread.iter().map(|row| row.correlation))
}

/// One row per model, row and material: what the row's mean length drifts by over the first 100 h, mm; negative for
/// shrinkage. Without a material it is the whole row.
#[must_use]
pub fn drift(rows: &[DriftRow]) -> Table {
    Table::new("wear_drift")
        .text("model", rows.iter().map(|row| Some(row.model.as_str())))
        .text("row", rows.iter().map(|row| Some(row.row.as_str())))
        .text("material", rows.iter().map(|row| row.material.as_deref()))
        .number("drift_mm", rows.iter().map(|row| Some(row.mm)))
        .number("lower_mm", rows.iter().map(|row| Some(row.lower_mm)))
        .number("upper_mm", rows.iter().map(|row| Some(row.upper_mm)))
}

/// One row per line and hour asked for: what the model expects of its deviation, with the intervals of the true deviation
/// and of a reading, mm.
#[must_use]
pub fn predictions(rows: &[PredictionRow]) -> Table {
    Table::new("wear_predictions")
        .text("wing", rows.iter().map(|row| Some(row.wing.as_str())))
        .text("side", rows.iter().map(|row| Some(row.side.name())))
        .text("line", rows.iter().map(|row| Some(row.line.as_str())))
        .text("row", rows.iter().map(|row| Some(row.row.name())))
        .number("hours_h", rows.iter().map(|row| Some(row.hours_h)))
        .number("mean_mm", rows.iter().map(|row| row.mean_mm))
        .number("lower_mm", rows.iter().map(|row| row.lower_mm))
        .number("upper_mm", rows.iter().map(|row| row.upper_mm))
        .number("reading_lower_mm", rows.iter().map(|row| row.reading_lower_mm))
        .number("reading_upper_mm", rows.iter().map(|row| row.reading_upper_mm))
        .text("own_history", rows.iter().map(|row| Some(if row.own_history { "true" } else { "false" })))
}
