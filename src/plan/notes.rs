//! Remarks on a plan.

use super::case::Case;
use super::{Plan, PlanNote, RemeasureReason};
use crate::wing::{Row, Side};

fn note(notes: &mut Vec<PlanNote>, code: &str, message: String) {
    notes.push(PlanNote { code: code.to_owned(), message });
}

/// What is to be said of a plan.
pub(super) fn notes(case: &Case<'_>, plan: &Plan) -> Vec<PlanNote> {
    let mut notes = Vec::new();
    if !plan.remeasure.is_empty() {
        let far = plan.remeasure.iter().filter(|line| line.reason == RemeasureReason::FarOff).count();
        let why = if far > 0 { format!(" ({far} of them too far off to be drift)") } else { String::new() };
        let count = plan.remeasure.len();
        note(
            &mut notes,
            "remeasure",
            format!("Measure {count} line(s) again first{why}, then plan again: nothing here rests on them."),
        );
    }
    if !case.set.has_cascade() {
        note(
            &mut notes,
            "no_cascade",
            "The cascade is not known, so each line counts as one piece and no action moves several lines: give the \
             segments."
                .to_owned(),
        );
    }
    if case.common_mm.abs() > case.spec.common_limit_mm {
        note(
            &mut notes,
            "common_offset",
            format!(
                "The whole set is off by {:.0} mm, past {:.0} mm: check datum and instrument before any work.",
                case.common_mm, case.spec.common_limit_mm
            ),
        );
    }
    coarse(plan, &mut notes);
    stuck(plan, &mut notes);
    brakes(plan, &mut notes);
    unread(case, plan, &mut notes);
    if plan.actions.is_empty() && plan.after.outside == 0 {
        note(
            &mut notes,
            "nothing_to_do",
            "Every line read is within tolerance of the target: no action pays.".to_owned(),
        );
    }
    notes
}

/// Lines of which the measurement cannot tell whether they are within tolerance at all.
fn coarse(plan: &Plan, notes: &mut Vec<PlanNote>) {
    let coarse = plan.lines.iter().filter(|line| line.uncertainty_before_mm >= line.tolerance_mm).count();
    if coarse > 0 {
        note(
            notes,
            "uncertainty",
            format!(
                "For {coarse} line(s) the uncertainty of the measurement is not smaller than the tolerance: measure more \
                 exactly, or several times, before any single line is judged."
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
        "no step that is possible and that the measurement can tell brings them in: a splice or a new line may be needed"
    } else {
        "with these actions"
    };
    note(notes, "outside_left", format!("{} line(s) stay outside, {why}: {shown}{more}.", outside.len()));
}

/// A whole brake row that is off is set at the handle.
fn brakes(plan: &Plan, notes: &mut Vec<PlanNote>) {
    for side in Side::BOTH {
        let row = || plan.lines.iter().filter(|line| line.side == side && line.row == Row::Brake);
        let count = row().count();
        let off = row().filter(|line| line.before_mm.abs() > line.tolerance_mm).count();
        if count > 1 && 2 * off > count {
            note(
                notes,
                "brake_handle",
                format!(
                    "Most brake lines on the {side} are off together: look at the brake setting at the handle first."
                ),
            );
        }
    }
}

/// Actions that move lines nobody has read.
fn unread(case: &Case<'_>, plan: &Plan, notes: &mut Vec<PlanNote>) {
    for action in &plan.actions {
        let Some(above) = action.segment_index.and_then(|at| case.above[action.side.index()].get(at)) else {
            continue;
        };
        let unknown = above.total - above.known.len();
        if unknown > 0 {
            note(
                notes,
                "moves_unread",
                format!(
                    "The action at {} {} also moves {unknown} line(s) without a good reading: read them first.",
                    action.side,
                    action.segment.as_deref().unwrap_or("(all)")
                ),
            );
        }
    }
}
