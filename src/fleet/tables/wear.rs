//! The wear model: terms, spreads, drift of rows, predictions.

use super::{LINE, MODEL, ROW, ROWS, SIDE, SIDES, TRUTH, WING, listing};
use crate::wear::{DriftRow, PredictionRow, SpreadRow, TermRow};

const RATE: &str = "mm/m in the first 100 h";

listing! {
    /// One row per fixed term of a wear fit; `unit` says in what it is (rates: mm per metre of line in the first 100 h).
    TERMS = "wear_terms", "fixed term of the wear model";
    pub fn terms[](terms: &[TermRow]) for term in terms;
    text "term", "", "name: `offset`, `rate:MATERIAL:ROW`, `span:ROW`, `covariate:NAME`" => &term.term;
    text "unit", "", "unit of the figures: mm, or mm/m in the first 100 h" => if term.term.starts_with("offset") { "mm" } else { RATE };
    number "estimate", "see `unit`", "estimate; a negative rate is shrinkage" => term.estimate;
    number "se", "see `unit`", "standard error" => term.se;
    number "lower", "see `unit`", "lower end of the 95 % interval" => term.lower;
    number "upper", "see `unit`", "upper end of the 95 % interval" => term.upper;
    number "df", "", "Satterthwaite degrees of freedom; a million stands for normal" => term.df;
    number "p", "0 … 1", "two-sided p-value of zero" => term.p;
}

listing! {
    /// One row per spread of a wear fit; `unit` says in what the standard deviation is.
    SPREAD = "wear_spread", "spread of the wear model";
    pub fn spread[](spread: &[SpreadRow]) for row in spread;
    text "group", "`wing`, `wing:row`, `check`, `line`, `reading`", "what differs" => &row.group;
    text "effect", "`offset`, `rate`, `offset,rate`", "in what it differs" => &row.effect;
    text "unit", "", "unit of the standard deviation" => match row.effect.as_str() { "offset" => "mm", "rate" => RATE, _ => "1" };
    number "sd", "see `unit`", "standard deviation" => row.sd;
    number "correlation", "−1 … 1", "correlation, on the rows of two effects" => row.correlation;
}

listing! {
    /// One row per model, row and material: what the row's mean length drifts by over the first 100 h, mm; negative for
    /// shrinkage. Without a material it is the whole row.
    DRIFT = "wear_drift", "row of a model, and material in it";
    pub fn drift[](rows: &[DriftRow]) for row in rows;
    text "model", "", MODEL => &row.model;
    text "row", "`A` … `brake`, `A−C`", "row name, or front less rear row" => &row.row;
    text "material", "", "part of one material; empty: the whole row" => row.material.as_deref();
    number "drift_mm", "mm", "drift of the mean length over the first 100 h; negative is shrinkage" => row.mm;
    number "lower_mm", "mm", "lower end of its 95 % interval" => row.lower_mm;
    number "upper_mm", "mm", "upper end of its 95 % interval" => row.upper_mm;
}

listing! {
    /// One row per line and hour asked for: what the model expects of its deviation, with the intervals of the true deviation
    /// and of a reading, mm.
    PREDICTIONS = "wear_predictions", "line and hour asked for";
    pub fn predictions[](rows: &[PredictionRow]) for row in rows;
    text "wing", "", WING => &row.wing;
    text "side", SIDES, SIDE => row.side;
    text "line", "", LINE => &row.line;
    text "row", ROWS, ROW => row.row;
    number "hours_h", "h", "hours flown" => row.hours_h;
    number "mean_mm", "mm", "expected deviation from nominal" => row.mean_mm;
    number "lower_mm", "mm", "lower end of the interval of the true deviation" => row.lower_mm;
    number "upper_mm", "mm", "upper end of it" => row.upper_mm;
    number "reading_lower_mm", "mm", "lower end of the interval of a reading" => row.reading_lower_mm;
    number "reading_upper_mm", "mm", "upper end of it" => row.reading_upper_mm;
    text "own_history", TRUTH, "whether the wing's own checks were used" => row.own_history;
}
