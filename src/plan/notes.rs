//! Remarks on a plan.

use super::case::Case;
use super::text::count;
use super::{Plan, PlanNote, PlannedAction, RemeasureReason, Sides};
use crate::check::ActionKind;
use crate::wing::{Row, Side};

/// Differences of the sides that are named before the rest is only counted.
const SIDES_SHOWN: usize = 3;

fn note(notes: &mut Vec<PlanNote>, code: &str, message: String) {
    notes.push(PlanNote { code: code.to_owned(), message });
}

/// What is to be said of a plan.
pub(super) fn notes(case: &Case<'_>, plan: &Plan) -> Vec<PlanNote> {
    let mut notes = Vec::new();
    sides(case, plan, &mut notes);
    replaced(plan, &mut notes);
    again(plan, &mut notes);
    if !case.map.knows_groups(case.set) {
        note(
            &mut notes,
            "no_places",
            "No plan: nothing says which lines hang together. Fill in the column `main` of `lines`, or give the table \
             `segments`."
                .to_owned(),
        );
    } else if !case.set.has_cascade() {
        note(
            &mut notes,
            "no_cascade",
            "Only the mains are known, so work is planned at the mains alone. The table `segments` would allow more."
                .to_owned(),
        );
    }
    if case.common_mm.abs() > case.spec.offset_limit_mm() {
        note(
            &mut notes,
            "common_offset",
            format!(
                "The whole set is off by {:.0} mm, past {:.0} mm: check datum and instrument before any work.",
                case.common_mm,
                case.spec.offset_limit_mm()
            ),
        );
    }
    coarse(plan, &mut notes);
    if let Some(gap) = plan.gap.filter(|gap| *gap > 0.0) {
        let message = format!(
            "The search was cut short: a better plan may exist, at most by what {:.1} actions are worth. Offer fewer steps, \
             or forbid places.",
            gap / (case.weights.price * case.spec.price.max(1e-9))
        );
        note(&mut notes, "not_exhausted", message);
    } else if !plan.optimal && plan.states > 0 {
        let message = "The search was cut short: a better plan may exist. Offer fewer steps, or forbid places.";
        note(&mut notes, "not_exhausted", message.to_owned());
    }
    if only_side(case).is_none() || case.spec.sides == Sides::Separate {
        stuck(plan, &mut notes);
    }
    by_kind(plan, &mut notes);
    unread(plan, &mut notes);
    if let Some(left_off) = plan.after.past_a_limit() {
        note(&mut notes, "left_off", format!("What stays past a limit: {left_off}"));
    } else if plan.actions.is_empty() && plan.after.outside == 0 {
        note(
            &mut notes,
            "nothing_to_do",
            "Every line read is within tolerance of the target: no action pays.".to_owned(),
        );
    }
    notes
}

/// The side that was read, where the other was not.
fn only_side(case: &Case<'_>) -> Option<Side> {
    let is_read = |side: Side| case.lines.iter().any(|line| line.side == side);
    let is_there = |side: Side| (0..case.set.lines().len()).any(|line| case.set.has(line, side));
    Side::BOTH.into_iter().find(|side| !is_read(*side) && is_there(*side)).map(Side::mirror)
}

/// How the sides compare.
fn sides(case: &Case<'_>, plan: &Plan, notes: &mut Vec<PlanNote>) {
    if let Some(side) = only_side(case).filter(|_| case.spec.sides != Sides::Separate) {
        let message = format!(
            "Only the {side} side was read. What is done to one side alone turns the wing: read the {} side too, then plan \
             again.",
            side.mirror()
        );
        note(notes, "one_side", message);
    }
    if case.spec.sides != Sides::Auto || plan.actions.is_empty() {
        return;
    }
    differ(case, notes);
}

/// Where left and right differ, so that each side gets its own work.
fn differ(case: &Case<'_>, notes: &mut Vec<PlanNote>) {
    let differ = |one: &super::sides::SideDifference| {
        let way = if one.difference_mm < 0.0 { "shorter" } else { "longer" };
        let (mm, limit) = (one.difference_mm.abs(), one.limit_mm);
        format!("{} left {mm:.1} mm {way} than right (chance explains {limit:.1})", case.map.get(one.place).name)
    };
    let found = &case.sides.found;
    if found.is_empty() {
        return;
    }
    let shown: Vec<String> = found.iter().take(SIDES_SHOWN).map(differ).collect();
    let more = found.len().saturating_sub(SIDES_SHOWN);
    let rest = if more > 0 {
        format!("; and at {more} more place{}", if more == 1 { "" } else { "s" })
    } else {
        String::new()
    };
    let message = format!("The sides differ, so each gets its own work there: {}{rest}.", shown.join("; "));
    note(notes, "sides_differ", message);
}

/// What no step reaches, or no loop can be laid for.
fn replaced(plan: &Plan, notes: &mut Vec<PlanNote>) {
    let replacing = |action: &&super::PlannedAction| action.kind == ActionKind::ReplaceLine;
    for (at, action) in plan.actions.iter().enumerate().filter(|(_, action)| replacing(action)) {
        let like = |other: &super::PlannedAction| replacing(&other) && other.segment == action.segment;
        if plan.actions.iter().take(at).any(like) {
            continue;
        }
        let twice = plan.actions.iter().skip(at + 1).any(like);
        let side = if twice { "both sides".to_owned() } else { format!("the {}", action.side) };
        let way = if action.change_mm < 0.0 { "long" } else { "short" };
        let name = action.segment.as_deref().unwrap_or("(all)");
        let mm = action.change_mm.abs();
        let message =
            format!("{name} is {mm:.0} mm too {way} on {side}: replace it, or re-splice it, to that length.");
        note(notes, "replace", message);
    }
    for side in Side::BOTH {
        for row in Row::ALL {
            let of_row = || plan.lines.iter().filter(|line| line.side == side && line.row == row);
            let is_new = |line: &&super::PlannedLine| {
                plan.actions.iter().filter(replacing).any(|one| one.side == side && one.lines.contains(&line.line))
            };
            if of_row().count() > 3 && 2 * of_row().filter(is_new).count() > of_row().count() {
                let message = format!(
                    "Most of row {row} on the {side} would be replaced: a new row, or a new set, is the better answer."
                );
                note(notes, "replace_row", message);
            }
        }
    }
}

fn again(plan: &Plan, notes: &mut Vec<PlanNote>) {
    let of = |reason| plan.remeasure.iter().filter(|line| line.reason == reason).count();
    let far = of(RemeasureReason::FarOff);
    let doubted = of(RemeasureReason::Finding) + far;
    if doubted > 0 {
        let why = if far > 0 { format!(" ({far} of them too far off to be drift)") } else { String::new() };
        let message = format!(
            "Measure {} again first{why}, then plan again: nothing here rests on a doubtful reading.",
            count(doubted, "line", "lines")
        );
        note(notes, "remeasure", message);
    }
    let near = of(RemeasureReason::Near);
    if near > 0 {
        let message = format!(
            "{} too close to tolerance to tell, and a step depends on {}: measure again.",
            count(near, "line is", "lines are"),
            if near == 1 { "it" } else { "them" }
        );
        note(notes, "remeasure_near", message);
    }
}

/// What goes with some kinds of work.
fn by_kind(plan: &Plan, notes: &mut Vec<PlanNote>) {
    let has = |kind| plan.actions.iter().any(|action| action.kind == kind);
    if has(ActionKind::BrakeHandle) {
        let message = "Set the brake lines at the handle, both sides alike, and check the free travel with the brakes \
                       released: the brakes must not pull.";
        note(notes, "brake_handle", message.to_owned());
    }
    if has(ActionKind::Riser) {
        let message = "A riser's adjuster moves its whole row: lock it, and check that both sides stand alike.";
        note(notes, "riser", message.to_owned());
    }
    if has(ActionKind::Stretch) {
        let message = "A stretch does not last: measure again after the first hours. It may cost strength; the maker's manual \
                       comes first.";
        note(notes, "stretch", message.to_owned());
    }
}

/// Lines of which the measurement cannot tell whether they are within tolerance at all.
fn coarse(plan: &Plan, notes: &mut Vec<PlanNote>) {
    let coarse = plan.lines.iter().filter(|line| line.uncertainty_before_mm >= line.tolerance_mm).count();
    if coarse > 0 {
        note(
            notes,
            "uncertainty",
            format!(
                "For {} the uncertainty of the measurement is not smaller than the tolerance: measure more \
                 exactly, or several times, before any single line is judged.",
                count(coarse, "line", "lines")
            ),
        );
    }
}

/// Lines that stay outside.
fn stuck(plan: &Plan, notes: &mut Vec<PlanNote>) {
    let outside: Vec<String> = plan
        .lines
        .iter()
        .filter(|line| line.after_mm.abs() > line.tolerance_mm)
        .map(|line| format!("{} {}", line.side, line.line))
        .collect();
    if outside.is_empty() {
        return;
    }
    let shown = outside.iter().take(6).cloned().collect::<Vec<_>>().join(", ");
    let more = if outside.len() > 6 { format!(" and {} more", outside.len() - 6) } else { String::new() };
    let why = if plan.optimal {
        "as no possible step brings them in so clearly that the measurement can show it"
    } else {
        "with these actions"
    };
    note(
        notes,
        "outside_left",
        format!("{} outside, {why}: {shown}{more}.", count(outside.len(), "line stays", "lines stay")),
    );
}

/// Actions that move lines nobody has read.
fn unread(plan: &Plan, notes: &mut Vec<PlanNote>) {
    let read = |side: Side, name: &String| plan.lines.iter().any(|line| line.side == side && line.line == *name);
    let blind = |action: &&PlannedAction| !action.lines.iter().all(|name| read(action.side, name));
    let places: Vec<String> = plan
        .actions
        .iter()
        .filter(blind)
        .map(|action| format!("{} {}", action.side, action.segment.as_deref().unwrap_or("(all)")))
        .collect();
    if !places.is_empty() {
        let message =
            format!("Work at {} also moves lines without a good reading: read them first.", places.join(", "));
        note(notes, "moves_unread", message);
    }
}
