//! Plans and what is in them.

use super::count;
use crate::fleet::table::Table;
use crate::plan::Plan;

/// One row per plan: the wing before and after, and how much is to do.
#[must_use]
pub fn plans(plans: &[Plan]) -> Table {
    let number = |of: fn(&Plan) -> Option<f64>| plans.iter().map(of);
    Table::new("plans")
        .text("check", plans.iter().map(|plan| Some(plan.check.as_str())))
        .text("wing", plans.iter().map(|plan| Some(plan.wing.as_str())))
        .text("target", plans.iter().map(|plan| Some(plan.target.as_str())))
        .number("target_mm", number(|plan| Some(plan.target_mm)))
        .count("remeasure", plans.iter().map(|plan| count(plan.remeasure.len())))
        .count("actions", plans.iter().map(|plan| count(plan.actions.len())))
        .count("outside_before", plans.iter().map(|plan| count(plan.before.outside)))
        .count("outside_after", plans.iter().map(|plan| count(plan.after.outside)))
        .number("worst_before_mm", number(|plan| Some(plan.before.worst_mm)))
        .number("worst_after_mm", number(|plan| Some(plan.after.worst_mm)))
        .number("incidence_before_deg", number(|plan| plan.before.incidence_change_deg.value))
        .number("incidence_after_deg", number(|plan| plan.after.incidence_change_deg.value))
        .number("incidence_after_lower_deg", number(|plan| plan.after.incidence_change_deg.lower))
        .number("incidence_after_upper_deg", number(|plan| plan.after.incidence_change_deg.upper))
        .text("optimal", plans.iter().map(|plan| Some(if plan.optimal { "true" } else { "false" })))
}

/// One row per action of each plan, in the order of work.
#[must_use]
pub fn plan_actions(plans: &[Plan]) -> Table {
    let all: Vec<_> = plans
        .iter()
        .flat_map(|plan| plan.actions.iter().enumerate().map(move |(at, action)| (plan, at, action)))
        .collect();
    Table::new("plan_actions")
        .text("check", all.iter().map(|(plan, ..)| Some(plan.check.as_str())))
        .text("wing", all.iter().map(|(plan, ..)| Some(plan.wing.as_str())))
        .count("step", all.iter().map(|(_, at, _)| count(at + 1)))
        .text("side", all.iter().map(|(.., action)| Some(action.side.name())))
        .text("segment", all.iter().map(|(.., action)| action.segment.as_deref()))
        .text("action", all.iter().map(|(.., action)| Some(action.kind.name())))
        .count("turns", all.iter().map(|(.., action)| Some(i64::from(action.turns))))
        .number("change_mm", all.iter().map(|(.., action)| Some(action.change_mm)))
        .number("standard_mm", all.iter().map(|(.., action)| Some(action.standard_mm)))
        .count("lines", all.iter().map(|(.., action)| count(action.lines.len())))
}

/// One row per line that each plan rests on: its distance from the target before and after, and what the instrument should
/// then show, mm.
#[must_use]
pub fn plan_lines(plans: &[Plan]) -> Table {
    let all: Vec<_> = plans.iter().flat_map(|plan| plan.lines.iter().map(move |line| (plan, line))).collect();
    Table::new("plan_lines")
        .text("check", all.iter().map(|(plan, _)| Some(plan.check.as_str())))
        .text("wing", all.iter().map(|(plan, _)| Some(plan.wing.as_str())))
        .text("side", all.iter().map(|(_, line)| Some(line.side.name())))
        .text("line", all.iter().map(|(_, line)| Some(line.line.as_str())))
        .text("row", all.iter().map(|(_, line)| Some(line.row.name())))
        .number("before_mm", all.iter().map(|(_, line)| Some(line.before_mm)))
        .number("after_mm", all.iter().map(|(_, line)| Some(line.after_mm)))
        .number("tolerance_mm", all.iter().map(|(_, line)| Some(line.tolerance_mm)))
        .number("uncertainty_after_mm", all.iter().map(|(_, line)| Some(line.uncertainty_after_mm)))
        .number("chance_within", all.iter().map(|(_, line)| Some(line.chance_after)))
        .number("expected_reading_mm", all.iter().map(|(_, line)| Some(line.expected_reading_mm)))
}
