//! What a fleet holds.

use super::count;
use crate::fleet::holdings::FleetSummary;
use crate::fleet::table::Table;

/// One row per line set: wings, checks, readings, and the days and hours they cover.
#[must_use]
pub fn summary_models(summary: &FleetSummary) -> Table {
    let all = &summary.models;
    Table::new("summary_models")
        .text("model", all.iter().map(|model| Some(model.model.as_str())))
        .text("table_version", all.iter().map(|model| model.table_version.as_deref()))
        .count("lines", all.iter().map(|model| count(model.lines)))
        .text("materials", all.iter().map(|model| Some(model.materials.join(" "))))
        .count("wings", all.iter().map(|model| count(model.holds.wings)))
        .count("checks", all.iter().map(|model| count(model.holds.checks)))
        .count("as_left", all.iter().map(|model| count(model.holds.as_left)))
        .count("readings", all.iter().map(|model| count(model.holds.readings)))
        .count("fewest_readings", all.iter().map(|model| model.holds.fewest_readings.and_then(count)))
        .count("most_readings", all.iter().map(|model| model.holds.most_readings.and_then(count)))
        .count("actions", all.iter().map(|model| count(model.holds.actions)))
        .text("first_date", all.iter().map(|model| model.holds.first_date.map(|day| day.to_string())))
        .text("last_date", all.iter().map(|model| model.holds.last_date.map(|day| day.to_string())))
        .number("least_hours_h", all.iter().map(|model| model.holds.least_hours))
        .number("most_hours_h", all.iter().map(|model| model.holds.most_hours))
}

/// One row per row and material: verdicts on the lines of each wing's latest check.
#[must_use]
pub fn summary_rows(summary: &FleetSummary) -> Table {
    let all = &summary.rows;
    Table::new("summary_rows")
        .text("row", all.iter().map(|row| Some(row.row.name())))
        .text("material", all.iter().map(|row| Some(row.material.as_str())))
        .count("lines", all.iter().map(|row| count(row.lines)))
        .count("within", all.iter().map(|row| count(row.within)))
        .count("outside", all.iter().map(|row| count(row.outside)))
        .count("doubted", all.iter().map(|row| count(row.doubted)))
        .number("within_pct", all.iter().map(|row| Some(row.within_pct())))
}
