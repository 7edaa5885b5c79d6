//! Plans and what is in them.

use super::{CHECK, LINE, ROW, ROWS, SIDE, SIDES, TRUTH, WING, listing, within};
use crate::plan::Plan;

listing! {
    /// One row per plan: the wing before and after, and how much is to do.
    PLANS = "plans", "plan";
    pub fn plans[](plans: &[Plan]) for plan in plans;
    text "check", "", CHECK => &plan.check;
    text "wing", "", WING => &plan.wing;
    text "target", "`common`, `maker`, `free`, `rows`", "what the lines are brought to" => plan.target.as_str();
    number "target_mm", "mm", "common deviation aimed at" => plan.target_mm;
    whole "remeasure", "", "lines to measure again first" => plan.remeasure.len();
    whole "actions", "", "things to do" => plan.actions.len();
    whole "outside_before", "", "lines further from the target than their tolerance, as read" => plan.before.outside;
    whole "outside_after", "", "the same, predicted after the work" => plan.after.outside;
    number "worst_before_mm", "mm", "distance from the target of the line furthest from it, as read" => plan.before.worst_mm;
    number "worst_after_mm", "mm", "the same, predicted after the work" => plan.after.worst_mm;
    number "incidence_before_deg", "°", "change of effective incidence, as read" => plan.before.incidence_change_deg.value;
    number "incidence_after_deg", "°", "the same, predicted after the work" => plan.after.incidence_change_deg.value;
    number "incidence_after_lower_deg", "°", "lower end of its 95 % interval" => plan.after.incidence_change_deg.lower;
    number "incidence_after_upper_deg", "°", "upper end of its 95 % interval" => plan.after.incidence_change_deg.upper;
    text "optimal", TRUTH, "whether no better plan exists among the possible steps" => plan.optimal;
}

listing! {
    /// One row per action of each plan, in the order of work.
    PLAN_ACTIONS = "plan_actions", "action of a plan";
    pub fn plan_actions[](plans: &[Plan]) for (plan, at, action) in plans
        .iter()
        .flat_map(|plan| plan.actions.iter().enumerate().map(move |(at, action)| (plan, at, action)));
    text "check", "", CHECK => &plan.check;
    text "wing", "", WING => &plan.wing;
    whole "step", "1, 2, …", "place in the order of work" => at + 1;
    text "side", SIDES, SIDE => action.side;
    text "segment", "", "segment to work on" => action.segment.as_deref();
    text "action", "as in `actions`", "what to do" => action.kind.name();
    whole "turns", "", "turns laid on (positive) or taken off (negative)" => action.turns;
    number "change_mm", "mm", "change of length; negative shortens" => action.change_mm;
    number "standard_mm", "mm", "standard uncertainty of the change" => action.standard_mm;
    whole "lines", "", "lines that it moves" => action.lines.len();
}

listing! {
    /// One row per line that each plan rests on: its distance from the target before and after, and what the instrument should
    /// then show, mm.
    PLAN_LINES = "plan_lines", "line that a plan rests on";
    pub fn plan_lines[](plans: &[Plan]) for (plan, line) in within(plans, |plan| &plan.lines);
    text "check", "", CHECK => &plan.check;
    text "wing", "", WING => &plan.wing;
    text "side", SIDES, SIDE => line.side;
    text "line", "", LINE => &line.line;
    text "row", ROWS, ROW => line.row;
    number "before_mm", "mm", "distance from the target, as read" => line.before_mm;
    number "after_mm", "mm", "distance from the target, predicted after the work" => line.after_mm;
    number "tolerance_mm", "mm", "tolerance" => line.tolerance_mm;
    number "uncertainty_after_mm", "mm", "expanded uncertainty (95 %) of the prediction" => line.uncertainty_after_mm;
    number "chance_within", "0 … 1", "chance to end within tolerance" => line.chance_after;
    number "expected_reading_mm", "mm", "value to expect on the instrument after the work" => line.expected_reading_mm;
}
