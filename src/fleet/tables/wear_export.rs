//! What others need of a wear fit: model frame, design, effects, covariance, contrasts, curves, draws.

use super::count;
use crate::fleet::table::Table;
use crate::simulate::{Power, PowerRow};
use crate::wear::{
    ComparedModel, FleetInfluence, ProfileCurve, ResidualRow, TermDraws, TermRow, WearContrasts, WearFit, WearFrame,
};

/// One row per contrast of a wear fit.
#[must_use]
pub fn contrasts(found: &WearContrasts) -> Table {
    let rows = || found.rows().iter().map(|row| &row.row);
    let all = || rows().map(|row| row.simultaneous);
    Table::new("wear_contrasts")
        .text("contrast", rows().map(|row| Some(row.contrast.as_str())))
        .text("unit", found.rows().iter().map(|row| Some(row.unit.as_str())))
        .number("estimate", rows().map(|row| Some(row.estimate)))
        .number("se", rows().map(|row| Some(row.se)))
        .number("df", rows().map(|row| Some(row.df)))
        .number("lower", rows().map(|row| Some(row.lower)))
        .number("upper", rows().map(|row| Some(row.upper)))
        .number("p", rows().map(|row| row.p))
        .count("family", all().map(|all| all.and_then(|all| count(all.family))))
        .number("simultaneous_lower", all().map(|all| all.map(|all| all.lower)))
        .number("simultaneous_upper", all().map(|all| all.map(|all| all.upper)))
        .number("simultaneous_p", all().map(|all| all.and_then(|all| all.p)))
}

/// One row per model compared with the first.
#[must_use]
pub fn compared(models: &[ComparedModel]) -> Table {
    let test = || models.iter().map(|model| model.test.as_ref());
    Table::new("wear_compared")
        .text("change", models.iter().map(|model| Some(model.change.as_str())))
        .text("shape", models.iter().map(|model| Some(model.shape.as_str())))
        .number("scale_h", models.iter().map(|model| model.scale_h))
        .count("parameters", models.iter().map(|model| count(model.parameters)))
        .number("deviance", models.iter().map(|model| Some(model.deviance)))
        .number("aic", models.iter().map(|model| Some(model.aic)))
        .number("bic", models.iter().map(|model| Some(model.bic)))
        .number("weight", models.iter().map(|model| Some(model.weight)))
        .number("statistic", test().map(|test| test.map(|test| test.statistic)))
        .count("freedom", test().map(|test| test.and_then(|test| count(test.freedom))))
        .number("p", test().map(|test| test.map(|test| test.p_value)))
}

/// One row per pair of fixed terms: their covariance.
#[must_use]
pub fn covariance(fit: &WearFit) -> Table {
    let terms = fit.terms();
    let n = terms.len();
    let covariance = fit.covariance();
    let pairs = || (0..n).flat_map(move |i| (0..n).map(move |j| (i, j)));
    let name = |at: usize| Some(terms[at].term.as_str());
    Table::new("wear_covariance")
        .text("term", pairs().map(|(i, _)| name(i)))
        .text("other", pairs().map(|(_, j)| name(j)))
        .number("covariance", pairs().map(|(i, j)| Some(covariance[[i, j]])))
        .number("correlation", pairs().map(|(i, j)| Some(covariance[[i, j]] / (terms[i].se * terms[j].se))))
}

/// One row per line and check of the model frame.
#[must_use]
pub fn frame(frame: &WearFrame) -> Table {
    let rows = frame.rows();
    let less =
        |part: fn(&crate::wear::FrameRow) -> f64| rows.iter().map(move |row| Some(row.deviation_mm - part(row)));
    Table::new("wear_frame")
        .count("frame_row", (0..rows.len()).map(count))
        .text("wing", rows.iter().map(|row| Some(row.wing.as_str())))
        .text("model", rows.iter().map(|row| Some(row.model.as_str())))
        .text("check", rows.iter().map(|row| Some(row.check.as_str())))
        .text("side", rows.iter().map(|row| Some(row.side.name())))
        .text("line", rows.iter().map(|row| Some(row.line.as_str())))
        .text("row", rows.iter().map(|row| Some(row.row.name())))
        .count("restart", rows.iter().map(|row| count(row.restart)))
        .number("hours_h", rows.iter().map(|row| Some(row.hours_h)))
        .number("g", rows.iter().map(|row| Some(row.g)))
        .number("length_g_m", rows.iter().map(|row| Some(row.length_g_m)))
        .count("readings", rows.iter().map(|row| count(row.readings)))
        .number("deviation_mm", rows.iter().map(|row| Some(row.deviation_mm)))
        .number("sd_mm", rows.iter().map(|row| row.sd_mm))
        .number("fixed_mm", rows.iter().map(|row| Some(row.fixed_mm)))
        .number("wing_mm", rows.iter().map(|row| Some(row.wing_mm)))
        .number("fitted_mm", rows.iter().map(|row| Some(row.fitted_mm)))
        .number("residual_fixed_mm", less(|row| row.fixed_mm))
        .number("residual_wing_mm", less(|row| row.wing_mm))
        .number("residual_mm", less(|row| row.fitted_mm))
}

/// One row per entry of the fixed part's design that is not zero.
#[must_use]
pub fn design(frame: &WearFrame, terms: &[TermRow]) -> Table {
    let entries = frame.design();
    Table::new("wear_design")
        .count("frame_row", entries.iter().map(|entry| count(entry.frame_row)))
        .text("term", entries.iter().map(|entry| terms.get(entry.term).map(|term| term.term.as_str())))
        .number("value", entries.iter().map(|entry| Some(entry.value)))
}

/// One row per random effect.
#[must_use]
pub fn effects(frame: &WearFrame) -> Table {
    let rows = frame.effects();
    Table::new("wear_effects")
        .text("group", rows.iter().map(|row| Some(row.group.as_str())))
        .text("effect", rows.iter().map(|row| Some(row.effect.as_str())))
        .text("wing", rows.iter().map(|row| Some(row.wing.as_str())))
        .text("level", rows.iter().map(|row| (!row.level.is_empty()).then_some(row.level.as_str())))
        .number("value", rows.iter().map(|row| Some(row.value)))
        .number("sd", rows.iter().map(|row| Some(row.sd)))
}

/// One row per effect and reading: what is left at each level, in its own unit and in standard deviations.
#[must_use]
pub fn residuals(rows: &[ResidualRow]) -> Table {
    Table::new("wear_residuals")
        .text("level", rows.iter().map(|row| Some(row.level.name())))
        .text("wing", rows.iter().map(|row| Some(row.wing.as_str())))
        .text("check", rows.iter().map(|row| row.check.as_deref()))
        .text("side", rows.iter().map(|row| row.side.map(crate::wing::Side::name)))
        .text("line", rows.iter().map(|row| row.line.as_deref()))
        .text("row", rows.iter().map(|row| row.row.map(crate::wing::Row::name)))
        .number("value", rows.iter().map(|row| Some(row.value)))
        .number("in_sd", rows.iter().map(|row| Some(row.in_sd)))
}

/// One row per wing: what the fit owes to it.
#[must_use]
pub fn influence(found: &FleetInfluence) -> Table {
    let wings = &found.wings;
    Table::new("wear_influence")
        .text("wing", wings.iter().map(|row| Some(row.wing.as_str())))
        .count("readings", wings.iter().map(|row| count(row.readings)))
        .number("distance", wings.iter().map(|row| row.distance))
        .text("term", wings.iter().map(|row| row.term.as_deref()))
        .number("shift_se", wings.iter().map(|row| row.shift_se))
        .number("deviance", wings.iter().map(|row| row.deviance))
}

/// One row per point of a profile: how much the criterion rises when a parameter is held there.
#[must_use]
pub fn profiles(curves: &[ProfileCurve]) -> Table {
    let points = || curves.iter().flat_map(|curve| curve.points.iter().map(move |point| (curve, point)));
    Table::new("wear_profiles")
        .text("parameter", points().map(|(curve, _)| Some(curve.parameter.as_str())))
        .number("estimate", points().map(|(curve, _)| Some(curve.estimate)))
        .number("value", points().map(|(_, point)| Some(point.value)))
        .number("rise", points().map(|(_, point)| Some(point.rise)))
        .number("root", points().map(|(curve, point)| Some(point.rise.sqrt().copysign(point.value - curve.estimate))))
}

/// One row per draw and fixed term.
#[must_use]
pub fn draws(draws: &TermDraws) -> Table {
    let cells = || (0..draws.values.nrows()).flat_map(|draw| (0..draws.terms.len()).map(move |term| (draw, term)));
    Table::new("wear_draws")
        .count("draw", cells().map(|(draw, _)| count(draw)))
        .text("shape", cells().map(|(draw, _)| Some(draws.shapes[draw].name())))
        .number("scale_h", cells().map(|(draw, _)| draws.shapes[draw].scale_h()))
        .text("term", cells().map(|(_, term)| Some(draws.terms[term].as_str())))
        .number("value", cells().map(|(draw, term)| Some(draws.values[[draw, term]])))
}

/// One row per design of a power study.
#[must_use]
pub fn power(power: &Power) -> Table {
    let rows = power.rows();
    let number =
        |table: Table, name: &str, of: fn(&PowerRow) -> f64| table.number(name, rows.iter().map(|row| Some(of(row))));
    let mut table = Table::new("power")
        .text("contrast", rows.iter().map(|_| Some(power.contrast())))
        .text("unit", rows.iter().map(|_| Some(power.unit())))
        .number("truth", rows.iter().map(|_| Some(power.truth())))
        .count("wings", rows.iter().map(|row| count(row.wings)))
        .count("checks", rows.iter().map(|row| count(row.checks)))
        .count("repeats", rows.iter().map(|row| Some(i64::from(row.repeats))));
    table = number(table, "power", |row| row.power);
    table = number(table, "power_lower", |row| row.power_lower);
    table = number(table, "power_upper", |row| row.power_upper);
    table = number(table, "half_width", |row| row.half_width);
    table = number(table, "coverage", |row| row.coverage);
    table = number(table, "bias", |row| row.bias);
    table.count("fleets", rows.iter().map(|row| count(row.fleets)))
}
