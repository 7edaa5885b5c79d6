//! Judged checks.

use std::borrow::Borrow;

use super::{CHECK, HOURS, LINE, ROW, ROWS, SIDE, SIDES, TRUTH, WING, listing, named};
use crate::fleet::write::table::Table;
use crate::trim::{Diagnosis, Trim};

/// A table of judged checks.
pub type TrimTable = fn(&[&Trim]) -> Table;

/// Every table of judged checks.
pub const TRIM: [TrimTable; 5] = [
    |trims| checks(trims),
    |trims| diagnosis(trims),
    |trims| rows(trims),
    |trims| lines(trims),
    |trims| twist(trims),
];

/// Parts of judged checks, each with its check.
fn parts<'a, T: Borrow<Trim>, U: 'a>(
    trims: &'a [T],
    of: impl Fn(&'a Trim) -> &'a [U] + Copy,
) -> impl Iterator<Item = (&'a Trim, &'a U)> {
    let trims = trims.iter().map(Borrow::borrow);
    trims.flat_map(move |trim: &Trim| of(trim).iter().map(move |part| (trim, part)))
}

listing! {
    /// One row per check: common offset (mm), incidence and angle-of-attack change (degrees), speed change (per cent).
    CHECKS = "trim_checks", "judged check";
    pub fn checks[T: Borrow<Trim>](trims: &[T]) for trim in trims.iter().map(Borrow::<Trim>::borrow);
    text "check", "", CHECK => &trim.check;
    text "wing", "", WING => &trim.wing;
    number "hours_h", "h", HOURS => trim.hours;
    text "stage", "`as_found`, `as_left`", "before or after adjusting" => trim.stage.name();
    text "state", "`in-trim`, `adjust`, `measure-again`, `not-judged`", "what is to be done" => trim.state.name();
    text "summary", "", "the same in one sentence" => &trim.summary;
    whole "outside", "", "lines outside tolerance" => trim.counts().outside;
    whole "doubted", "", "lines whose reading is doubted, counted apart" => trim.counts().doubted;
    number "common_mm", "mm", "common offset of the lines A–D" => trim.common_mm;
    number "incidence_change_deg", "°", "change of effective incidence against the maker's table, nose-up" => trim.incidence_change_deg.value;
    number "incidence_change_lower_deg", "°", "lower end of its 95 % interval" => trim.incidence_change_deg.lower;
    number "incidence_change_upper_deg", "°", "upper end of its 95 % interval" => trim.incidence_change_deg.upper;
    number "aoa_change_deg", "°", "change of the angle of attack at trim" => trim.aoa_change_deg.value;
    number "aoa_change_lower_deg", "°", "lower end of its band" => trim.aoa_change_deg.lower;
    number "aoa_change_upper_deg", "°", "upper end of its band" => trim.aoa_change_deg.upper;
    number "speed_change_pct", "%", "change of trim speed" => trim.speed_change_pct.value;
    number "speed_change_lower_pct", "%", "lower end of its band" => trim.speed_change_pct.lower;
    number "speed_change_upper_pct", "%", "upper end of its band" => trim.speed_change_pct.upper;
    number "asymmetry_deg", "°", "left less right change of effective incidence" => trim.asymmetry_deg.value;
    number "asymmetry_lower_deg", "°", "lower end of its 95 % interval" => trim.asymmetry_deg.lower;
    number "asymmetry_upper_deg", "°", "upper end of its 95 % interval" => trim.asymmetry_deg.upper;
}

listing! {
    /// One row per row and side of each check: plain mean, effective mean and standard error, mm.
    TRIM_ROWS = "trim_rows", "row and side of a judged check";
    pub fn rows[T: Borrow<Trim>](trims: &[T]) for (trim, row) in parts(trims, |trim| &trim.rows);
    text "check", "", CHECK => &trim.check;
    text "wing", "", WING => &trim.wing;
    text "row", ROWS, ROW => row.row;
    text "side", "`left`, `right`, `both`", "side, or both" => row.side.as_str();
    number "mean_mm", "mm", "plain mean of the deviations from nominal" => row.mean_mm;
    number "effective_mm", "mm", "span-weighted mean; empty outside A–D" => row.effective_mm;
    number "se_mm", "mm", "standard error of the plain mean, common parts left out" => row.se_mm;
    whole "lines", "", "lines that it is the mean of" => row.lines;
}

listing! {
    /// One row per line of each check: deviation, relative deviation, uncertainty, tolerance (mm) and the verdict.
    TRIM_LINES = "trim_lines", "line of a judged check";
    pub fn lines[T: Borrow<Trim>](trims: &[T]) for (trim, line) in parts(trims, |trim| &trim.lines);
    text "check", "", CHECK => &trim.check;
    text "wing", "", WING => &trim.wing;
    text "side", SIDES, SIDE => line.side;
    text "line", "", LINE => &line.line;
    text "row", ROWS, ROW => line.row;
    number "span", "0 … 1", "place along the half span" => line.span;
    number "deviation_mm", "mm", "deviation from nominal; positive is longer" => line.deviation_mm;
    number "relative_mm", "mm", "deviation less the check's common offset" => line.relative_mm;
    number "uncertainty_mm", "mm", "expanded uncertainty (95 %) that the verdict uses" => line.uncertainty_mm;
    number "tolerance_mm", "mm", "tolerance that the verdict uses" => line.tolerance_mm;
    text "verdict", "`within`, `outside`", "verdict on the line (`undecided` by the guarded rule); empty: doubted" => line.verdict.and_then(named);
    number "chance_outside", "0 … 1", "chance that the line truly is outside" => line.chance_outside;
    text "near", TRUTH, "that chance lies between 5 and 95 %" => line.near;
    text "doubted", TRUTH, "the reading is doubted, and nothing rests on it" => line.doubted;
}

listing! {
    /// One row per thing that is off, most important first.
    DIAGNOSIS = "trim_diagnosis", "thing that is off at a judged check, most important first";
    pub fn diagnosis[T: Borrow<Trim>](trims: &[T]) for (trim, place, one) in trims.iter().map(Borrow::borrow).flat_map(
        |trim: &Trim| trim.diagnosis.iter().enumerate().map(move |(place, one)| (trim, place + 1, one)),
    );
    text "check", "", CHECK => &trim.check;
    text "wing", "", WING => &trim.wing;
    whole "place", "1, 2, …", "place in the check's list" => *place;
    text "code", "`row` … `whole-set`", "what it is about" => one.code.name();
    text "text", "", "one sentence" => &one.text;
    number "value_mm", "mm", "by how much, where it is a length" => one.value_mm;
    number "lower_mm", "mm", "lower end of its 95 % interval" => one.lower_mm;
    number "upper_mm", "mm", "upper end of its 95 % interval" => one.upper_mm;
    text "side", SIDES, "side; empty: both, or none is meant" => one.side;
    text "row", ROWS, "row, where it is about one" => one.row;
    text "segment", "", "segment or main, where it is about one" => one.segment.as_deref();
    text "lines", "", "lines it is about, as `side:line` with blanks between" => about(one);
}

fn about(one: &Diagnosis) -> Option<String> {
    let names: Vec<String> = one.lines.iter().map(|on| format!("{}:{}", on.side, on.line)).collect();
    (!names.is_empty()).then(|| names.join(" "))
}

listing! {
    /// One row per span station and side of each check: incidence change with its standard error and the half width of its 95 %
    /// interval, degrees nose-up.
    TWIST = "trim_twist", "span station and side of a judged check";
    pub fn twist[T: Borrow<Trim>](trims: &[T]) for (trim, station) in parts(trims, |trim| &trim.twist);
    text "check", "", CHECK => &trim.check;
    text "wing", "", WING => &trim.wing;
    text "side", SIDES, SIDE => station.side;
    number "span", "0 … 1", "place along the half span" => station.span;
    number "incidence_deg", "°", "change of incidence there, nose-up" => station.incidence_deg;
    number "se_deg", "°", "its standard error" => station.se_deg;
    number "reach_deg", "°", "half width of its 95 % interval" => station.reach_deg;
}
