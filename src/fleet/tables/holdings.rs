//! What a fleet holds.

use super::{MODEL, ROW, ROWS, listing};
use crate::fleet::holdings::FleetSummary;

listing! {
    /// One row per line set: wings, checks, readings, and the days and hours they cover.
    SUMMARY_MODELS = "summary_models", "line set of the fleet";
    pub fn summary_models[](summary: &FleetSummary) for model in &summary.models;
    text "model", "", MODEL => &model.model;
    text "table_version", "", "version of the maker's table" => model.table_version.as_deref();
    whole "lines", "", "lines on one side (a set that is not symmetric: on both)" => model.lines;
    text "materials", "", "materials, with blanks between" => model.materials.join(" ");
    whole "wings", "", "wings" => model.holds.wings;
    whole "checks", "", "checks, both stages" => model.holds.checks;
    whole "as_left", "", "checks after adjusting" => model.holds.as_left;
    whole "readings", "", "readings" => model.holds.readings;
    whole "fewest_readings", "", "fewest readings of a check that has any" => model.holds.fewest_readings;
    whole "most_readings", "", "most readings of a check" => model.holds.most_readings;
    whole "actions", "", "adjustments recorded" => model.holds.actions;
    text "first_date", "date", "day of the first check" => model.holds.first_date;
    text "last_date", "date", "day of the last check" => model.holds.last_date;
    number "least_hours_h", "h", "fewest hours flown at a check" => model.holds.least_hours;
    number "most_hours_h", "h", "most hours flown at a check" => model.holds.most_hours;
}

listing! {
    /// One row per row and material: verdicts on the lines of each wing's latest check.
    SUMMARY_ROWS = "summary_rows", "row and material of the fleet";
    pub fn summary_rows[](summary: &FleetSummary) for row in &summary.rows;
    text "row", ROWS, ROW => row.row;
    text "material", "", "material of the longest part of the line" => &row.material;
    whole "lines", "", "lines of each wing's latest check" => row.lines;
    whole "within", "", "of these, within tolerance" => row.within;
    whole "outside", "", "outside tolerance" => row.outside;
    whole "doubted", "", "with a doubted reading, counted apart" => row.doubted;
    number "within_pct", "%", "share of the judged ones within tolerance" => row.within_pct();
}
