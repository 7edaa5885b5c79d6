//! The page's part on the plan of one wing.

use super::draft::Draft;
use super::table::Cell;
use crate::plan::{AimResult, PlannedState, WorkStep};
use crate::report::ReportError;
use crate::report::build::WingPlan;
use crate::report::figures::{curve_figure, plan_figure};
use crate::report::words::{interval, number, signed};

/// Most lines whose expected reading a step lists; the others follow from the step.
const LINES_A_STEP: usize = 6;

pub(super) fn part(draft: &mut Draft, planned: &WingPlan, place: usize, pictured: bool) -> Result<(), ReportError> {
    let plan = &planned.plan;
    draft.heading(&format!("plan-{place}"), "Plan");
    draft.text(&plan.answer());
    if !plan.actions.is_empty() {
        let rows: Vec<Vec<Cell>> = plan.sequence().iter().map(step).collect();
        draft.table(
            "What to do, in the order of work",
            &["No.", "Side", "Where", "What", "Change, mm (95 %)", "Then expect on the instrument, mm"],
            &rows,
        );
    }
    draft.table(
        "Before and after",
        &[
            "State",
            "Lines off by more than tolerance",
            "Furthest, mm",
            "Incidence change, \u{b0} (95 %)",
            "Left less right, \u{b0} (95 %)",
        ],
        &[state("as measured", &plan.before), state("to expect after", &plan.after)],
    );
    if !plan.alternatives.is_empty() {
        let own = std::iter::once(plan.in_short());
        let rows: Vec<Vec<Cell>> = own.chain(plan.alternatives.iter().copied()).map(aim).collect();
        draft.table(
            "The best plan for each aim, the recommended one first",
            &[
                "Aim",
                "Actions",
                "Lines outside after",
                "Incidence change after, \u{b0}",
                "Left less right after, \u{b0}",
            ],
            &rows,
        );
    }
    for note in &plan.notes {
        draft.note(&note.message);
    }
    if !pictured || plan.actions.is_empty() {
        return Ok(());
    }
    if let Some(figure) = plan_figure(plan)? {
        let key = "Ring: as measured. Filled: to expect after, with its 95 % interval. Grey: not moved. Shaded: narrowest tolerance. Cross: still \
                   outside its own.";
        draft.whole("Each line before and after", key, &format!("plan-lines-{place}"), figure);
    }
    if let Some(figure) = curve_figure(&planned.curve)? {
        let key = "The best plan with so many adjustments. Beside each dot its worst line, mm.";
        draft.panels("Fewer adjustments or a better trim", key, &format!("plan-curve-{place}"), vec![figure]);
    }
    Ok(())
}

fn aim(of: AimResult) -> Vec<Cell> {
    let degrees = |value: Option<f64>| value.map_or_else(|| "\u{2013}".to_owned(), |deg| signed(deg, 2));
    vec![
        Cell::words(of.aim.words()),
        Cell::figure(of.actions.to_string()),
        Cell::figure(of.outside.to_string()),
        Cell::figure(degrees(of.incidence_change_deg)),
        Cell::figure(degrees(of.asymmetry_deg)),
    ]
}

fn step(step: &WorkStep) -> Vec<Cell> {
    let action = &step.action;
    let mut expect: Vec<String> = step
        .lines
        .iter()
        .take(LINES_A_STEP)
        .map(|line| match line.expected_reading_mm {
            Some(mm) => format!("{} {}", line.line, number(mm, 0)),
            None => format!("{} –", line.line),
        })
        .collect();
    if step.lines.len() > LINES_A_STEP {
        expect.push(format!("and {} more", step.lines.len() - LINES_A_STEP));
    }
    vec![
        Cell::words(step.number.to_string()),
        Cell::short(action.side.name()),
        Cell::short(action.segment.as_deref().unwrap_or("all")),
        Cell::short(step.what()),
        Cell::figure(interval(&action.change_interval_mm(), 1)),
        Cell::long(expect.join(", ")),
    ]
}

fn state(name: &str, state: &PlannedState) -> Vec<Cell> {
    vec![
        Cell::words(name),
        Cell::figure(state.outside.to_string()),
        Cell::figure(signed(state.worst_mm, 1)),
        Cell::figure(interval(&state.incidence_change_deg, 2)),
        Cell::figure(interval(&state.asymmetry_deg, 2)),
    ]
}
