//! Judged checks.

use std::borrow::Borrow;

use super::{count, interval, named};
use crate::fleet::table::Table;
use crate::trim::{Diagnosis, Trim};
use crate::wing::{Row, Side};

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

/// One row per line of each check: deviation, relative deviation, uncertainty, tolerance (mm) and the verdict.
#[must_use]
pub fn lines<T: Borrow<Trim>>(trims: &[T]) -> Table {
    let trims: Vec<&Trim> = trims.iter().map(Borrow::borrow).collect();
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
        .text("verdict", all.iter().map(|(_, line)| line.verdict.and_then(named)))
        .number("chance_outside", all.iter().map(|(_, line)| Some(line.chance_outside)))
        .text("near", all.iter().map(|(_, line)| Some(if line.near { "true" } else { "false" })))
        .text("doubted", all.iter().map(|(_, line)| Some(if line.doubted { "true" } else { "false" })))
}

/// One row per thing that is off, most important first.
#[must_use]
pub fn diagnosis<T: Borrow<Trim>>(trims: &[T]) -> Table {
    let trims: Vec<&Trim> = trims.iter().map(Borrow::borrow).collect();
    let all: Vec<_> = trims
        .iter()
        .flat_map(|trim| trim.diagnosis.iter().enumerate().map(move |(place, one)| (trim, place + 1, one)))
        .collect();
    let lines = |one: &Diagnosis| {
        let names: Vec<String> = one.lines.iter().map(|on| format!("{}:{}", on.side, on.line)).collect();
        (!names.is_empty()).then(|| names.join(" "))
    };
    Table::new("trim_diagnosis")
        .text("check", all.iter().map(|(trim, ..)| Some(trim.check.as_str())))
        .text("wing", all.iter().map(|(trim, ..)| Some(trim.wing.as_str())))
        .count("place", all.iter().map(|(_, place, _)| count(*place)))
        .text("code", all.iter().map(|(.., one)| Some(one.code.name())))
        .text("text", all.iter().map(|(.., one)| Some(one.text.as_str())))
        .number("value_mm", all.iter().map(|(.., one)| one.value_mm))
        .number("lower_mm", all.iter().map(|(.., one)| one.lower_mm))
        .number("upper_mm", all.iter().map(|(.., one)| one.upper_mm))
        .text("side", all.iter().map(|(.., one)| one.side.map(Side::name)))
        .text("row", all.iter().map(|(.., one)| one.row.map(Row::name)))
        .text("segment", all.iter().map(|(.., one)| one.segment.as_deref()))
        .text("lines", all.iter().map(|(.., one)| lines(one)))
}

/// One row per row and side of each check: plain mean, effective mean and standard error, mm.
#[must_use]
pub fn rows<T: Borrow<Trim>>(trims: &[T]) -> Table {
    let trims: Vec<&Trim> = trims.iter().map(Borrow::borrow).collect();
    let all: Vec<_> = trims.iter().flat_map(|trim| trim.rows.iter().map(move |row| (trim, row))).collect();
    Table::new("trim_rows")
        .text("check", all.iter().map(|(trim, _)| Some(trim.check.as_str())))
        .text("wing", all.iter().map(|(trim, _)| Some(trim.wing.as_str())))
        .text("row", all.iter().map(|(_, row)| Some(row.row.name())))
        .text("side", all.iter().map(|(_, row)| Some(row.side.as_str())))
        .number("mean_mm", all.iter().map(|(_, row)| Some(row.mean_mm)))
        .number("effective_mm", all.iter().map(|(_, row)| row.effective_mm))
        .number("se_mm", all.iter().map(|(_, row)| Some(row.se_mm)))
        .count("lines", all.iter().map(|(_, row)| count(row.lines)))
}

/// One row per check: common offset (mm), incidence and angle-of-attack change (degrees), speed change (per cent).
#[must_use]
pub fn checks<T: Borrow<Trim>>(trims: &[T]) -> Table {
    let trims: Vec<&Trim> = trims.iter().map(Borrow::borrow).collect();
    let table = Table::new("trim_checks")
        .text("check", trims.iter().map(|trim| Some(trim.check.as_str())))
        .text("wing", trims.iter().map(|trim| Some(trim.wing.as_str())))
        .number("hours_h", trims.iter().map(|trim| Some(trim.hours)))
        .text("stage", trims.iter().map(|trim| Some(trim.stage.name())))
        .text("state", trims.iter().map(|trim| Some(trim.state.name())))
        .text("summary", trims.iter().map(|trim| Some(trim.summary.as_str())))
        .count("outside", trims.iter().map(|trim| count(trim.counts().outside)))
        .count("doubted", trims.iter().map(|trim| count(trim.counts().doubted)))
        .number("common_mm", trims.iter().map(|trim| trim.common_mm));
    let table = interval(table, "incidence_change", "deg", trims.iter().map(|trim| trim.incidence_change_deg));
    let table = interval(table, "aoa_change", "deg", trims.iter().map(|trim| trim.aoa_change_deg));
    let table = interval(table, "speed_change", "pct", trims.iter().map(|trim| trim.speed_change_pct));
    interval(table, "asymmetry", "deg", trims.iter().map(|trim| trim.asymmetry_deg))
}

/// One row per span station and side of each check: incidence change with its standard error and the half width of its 95 %
/// interval, degrees nose-up.
#[must_use]
pub fn twist<T: Borrow<Trim>>(trims: &[T]) -> Table {
    let trims: Vec<&Trim> = trims.iter().map(Borrow::borrow).collect();
    let all: Vec<_> = trims.iter().flat_map(|trim| trim.twist.iter().map(move |station| (trim, station))).collect();
    Table::new("trim_twist")
        .text("check", all.iter().map(|(trim, _)| Some(trim.check.as_str())))
        .text("wing", all.iter().map(|(trim, _)| Some(trim.wing.as_str())))
        .text("side", all.iter().map(|(_, station)| Some(station.side.name())))
        .number("span", all.iter().map(|(_, station)| Some(station.span)))
        .number("incidence_deg", all.iter().map(|(_, station)| Some(station.incidence_deg)))
        .number("se_deg", all.iter().map(|(_, station)| Some(station.se_deg)))
        .number("reach_deg", all.iter().map(|(_, station)| Some(station.reach_deg)))
}
