//! Result tables: one row per line, row, check, term, spread or wing, each column with its unit in its name.

use super::table::Table;
use crate::forecast::{DueRow, ForecastScore};
use crate::simulate::PolicyRow;
use crate::trim::{Interval, Trim};
use crate::wear::{SpreadRow, TermRow};

/// One row per line of each check: deviation, relative deviation, uncertainty, tolerance (mm) and the verdict.
#[must_use]
pub fn lines(trims: &[Trim]) -> Table {
    let all: Vec<_> = trims.iter().flat_map(|trim| trim.lines.iter().map(move |line| (trim, line))).collect();
    Table::new("trim_lines")
        .text("check", all.iter().map(|(trim, _)| Some(trim.check.as_str())))
        .text("wing", all.iter().map(|(trim, _)| Some(trim.wing.as_str())))
        .text("side", all.iter().map(|(_, line)| Some(line.side.name())))
        .text("line", all.iter().map(|(_, line)| Some(line.line.as_str())))
        .text("row", all.iter().map(|(_, line)| Some(line.row.name())))
        .number("span", all.iter().map(|(_, line)| Some(line.span)))
        .number("deviation_mm", all.iter().map(|(_, line)| Some(line.deviation_mm)))
        .number("relative_mm", all.iter().map(|(_, line)| Some(line.relative_mm)))
        .number("uncertainty_mm", all.iter().map(|(_, line)| Some(line.uncertainty_mm)))
        .number("tolerance_mm", all.iter().map(|(_, line)| Some(line.tolerance_mm)))
        .text("verdict", all.iter().map(|(_, line)| named(line.verdict)))
        .number("wrong_probability", all.iter().map(|(_, line)| line.wrong_probability))
}

/// One row per row and side of each check: plain mean, effective mean and standard error, mm.
#[must_use]
pub fn rows(trims: &[Trim]) -> Table {
    let all: Vec<_> = trims.iter().flat_map(|trim| trim.rows.iter().map(move |row| (trim, row))).collect();
    Table::new("trim_rows")
        .text("check", all.iter().map(|(trim, _)| Some(trim.check.as_str())))
        .text("wing", all.iter().map(|(trim, _)| Some(trim.wing.as_str())))
        .text("row", all.iter().map(|(_, row)| Some(row.row.name())))
        .text("side", all.iter().map(|(_, row)| Some(row.side.as_str())))
        .number("mean_mm", all.iter().map(|(_, row)| Some(row.mean_mm)))
        .number("effective_mm", all.iter().map(|(_, row)| row.effective_mm))
        .number("se_mm", all.iter().map(|(_, row)| Some(row.se_mm)))
        .count("lines", all.iter().map(|(_, row)| i64::try_from(row.lines).ok()))
}

/// One row per check: common offset (mm), incidence and angle-of-attack change (degrees), speed change (per cent).
#[must_use]
pub fn checks(trims: &[Trim]) -> Table {
    let table = Table::new("trim_checks")
        .text("check", trims.iter().map(|trim| Some(trim.check.as_str())))
        .text("wing", trims.iter().map(|trim| Some(trim.wing.as_str())))
        .number("hours_h", trims.iter().map(|trim| Some(trim.hours)))
        .text("stage", trims.iter().map(|trim| Some(trim.stage.name())))
        .number("common_mm", trims.iter().map(|trim| trim.common_mm));
    let table = interval(table, "incidence_change", "deg", trims.iter().map(|trim| trim.incidence_change_deg));
    let table = interval(table, "aoa_change", "deg", trims.iter().map(|trim| trim.aoa_change_deg));
    let table = interval(table, "speed_change", "pct", trims.iter().map(|trim| trim.speed_change_pct));
    interval(table, "asymmetry", "deg", trims.iter().map(|trim| trim.asymmetry_deg))
}

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

/// One row per wing: when its next check is due, hours and day, and why.
#[must_use]
pub fn due(due: &[DueRow]) -> Table {
    Table::new("due")
        .text("wing", due.iter().map(|row| Some(row.wing.as_str())))
        .text("model", due.iter().map(|row| Some(row.model.as_str())))
        .text("basis", due.iter().map(|row| named(row.basis)))
        .number("now_h", due.iter().map(|row| Some(row.hours_now)))
        .number("due_h", due.iter().map(|row| Some(row.due_hours)))
        .text("due_date", due.iter().map(|row| row.due_date.map(|day| day.to_string())))
        .text("reason", due.iter().map(|row| named(row.reason)))
        .number("crossing_p10_h", due.iter().map(|row| row.crossing_hours.p10))
        .number("crossing_p50_h", due.iter().map(|row| row.crossing_hours.p50))
        .number("crossing_p90_h", due.iter().map(|row| row.crossing_hours.p90))
        .number("risk_now", due.iter().map(|row| row.risk_now))
}

/// One row per forecast of a backtest: what was measured, the forecast's median and intervals, and the scores, mm.
#[must_use]
pub fn backtest(scores: &[ForecastScore]) -> Table {
    let number = |of: fn(&ForecastScore) -> f64| scores.iter().map(move |score| Some(of(score)));
    Table::new("backtest")
        .text("wing", scores.iter().map(|score| Some(score.wing.as_str())))
        .text("model", scores.iter().map(|score| Some(score.model.as_str())))
        .text("check", scores.iter().map(|score| Some(score.check.as_str())))
        .text("date", scores.iter().map(|score| Some(score.date.to_string())))
        .text("row", scores.iter().map(|score| Some(score.row.name())))
        .text("material", scores.iter().map(|score| Some(score.material.as_str())))
        .text("basis", scores.iter().map(|score| named(score.basis)))
        .number("ahead_h", number(|score| score.hours_ahead_h))
        .number("measured_mm", number(|score| score.measured_mm))
        .number("median_mm", number(|score| score.median_mm))
        .number("lower50_mm", number(|score| score.lower50_mm))
        .number("upper50_mm", number(|score| score.upper50_mm))
        .number("lower80_mm", number(|score| score.lower80_mm))
        .number("upper80_mm", number(|score| score.upper80_mm))
        .number("lower95_mm", number(|score| score.lower95_mm))
        .number("upper95_mm", number(|score| score.upper95_mm))
        .number("pit", number(|score| score.pit))
        .number("crps_linedrift_mm", number(|score| score.crps_mm.linedrift))
        .number("crps_last_value_mm", number(|score| score.crps_mm.last_value))
        .number("crps_own_points_mm", number(|score| score.crps_mm.own_points))
        .number("crps_fleet_mean_mm", number(|score| score.crps_mm.fleet_mean))
}

/// One row per policy: checks made, hours flown out of trim, and how many checks found the wing out.
#[must_use]
pub fn policies(rows: &[PolicyRow]) -> Table {
    Table::new("policies")
        .text("policy", rows.iter().map(|row| Some(row.policy.name())))
        .number("checks_per_100_h", rows.iter().map(|row| Some(row.checks_per_100_h)))
        .number("out_of_trim_pct", rows.iter().map(|row| Some(row.out_of_trim_pct)))
        .number("out_of_trim_se_pct", rows.iter().map(|row| Some(row.out_of_trim_se_pct)))
        .number("found_out_pct", rows.iter().map(|row| Some(row.found_out_pct)))
}

fn interval(table: Table, name: &str, unit: &str, all: impl Iterator<Item = Interval> + Clone) -> Table {
    table
        .number(&format!("{name}_{unit}"), all.clone().map(|interval| interval.value))
        .number(&format!("{name}_lower_{unit}"), all.clone().map(|interval| interval.lower))
        .number(&format!("{name}_upper_{unit}"), all.map(|interval| interval.upper))
}

/// The name that a value has in JSON, so that tables and documents use one word.
fn named<T: serde::Serialize>(value: T) -> Option<String> {
    serde_json::to_value(value).ok()?.as_str().map(str::to_owned)
}
