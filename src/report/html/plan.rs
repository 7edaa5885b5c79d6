//! The page's part on the plan of one wing.

use maud::{Markup, html};

use super::draft::{Draft, Layout, note};
use super::table::{Cell, table};
use crate::plan::{AimResult, PlannedState, WorkStep};
use crate::report::ReportError;
use crate::report::build::WingPlan;
use crate::report::figures::{curve_figure, plan_figure};
use crate::report::words::{interval, number, signed};

/// Most lines whose expected reading a step lists; the others follow from the step.
const LINES_A_STEP: usize = 6;

pub(super) fn part(
    draft: &mut Draft,
    planned: &WingPlan,
    place: usize,
    pictured: bool,
) -> Result<Markup, ReportError> {
    let plan = &planned.plan;
    let drawn = pictured && !plan.actions.is_empty();
    let lines = if drawn { plan_figure(plan)? } else { None };
    let lines = draft.figures(
        Layout::Whole,
        "Each line before and after",
        "Ring: as measured. Filled: expected after the work, with its 95 % interval. Grey: not moved. Shaded: narrowest tolerance. \
         Cross: still outside its own.",
        &format!("plan-lines-{place}"),
        lines.into_iter().collect(),
    );
    let curve = if drawn { curve_figure(&planned.curve)? } else { None };
    let curve = draft.figures(
        Layout::Panels,
        "Fewer adjustments, or a better trim",
        "The best plan for each number of adjustments. Beside each dot its worst line, mm.",
        &format!("plan-curve-{place}"),
        curve.into_iter().collect(),
    );
    let own = std::iter::once(plan.in_short());
    let aims: Vec<Vec<Cell>> = own.chain(plan.alternatives.iter().copied()).map(aim).collect();
    let steps: Vec<Vec<Cell>> = plan.sequence().iter().map(step).collect();
    Ok(html! {
        (draft.heading(&format!("plan-{place}"), "Plan"))
        p { (plan.answer()) }
        div .split {
            @if !plan.actions.is_empty() {
                (table(
                    "What to do, in the order of work",
                    &["No.", "Side", "Where", "What", "Change, mm (95 %)", "Then expect on the instrument, mm"],
                    &steps,
                ))
            }
            div {
                @if !plan.actions.is_empty() { (states(&plan.before, &plan.after)) }
                @if !plan.alternatives.is_empty() {
                    (table(
                        "The best plan for each aim, the recommended one first",
                        &["Aim", "Actions", "Lines outside after", "Incidence change after, \u{b0}", "Left minus right after, \u{b0}"],
                        &aims,
                    ))
                }
                @for one in &plan.notes { (note(&one.message)) }
            }
        }
        div .beside.even { (lines) (curve) }
    })
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
            None => format!("{} \u{2013}", line.line),
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

/// The wing as measured and as it should be after the work.
fn states(before: &PlannedState, after: &PlannedState) -> Markup {
    let row = |name: &str, of: fn(&PlannedState) -> String| {
        vec![Cell::words(name), Cell::figure(of(before)), Cell::figure(of(after))]
    };
    table(
        "Before and after",
        &["", "As measured", "Expected after"],
        &[
            row("Lines outside tolerance", |state| state.outside.to_string()),
            row("Furthest line, mm", |state| signed(state.worst_mm, 1)),
            row("Incidence change, \u{b0} (95 %)", |state| interval(&state.incidence_change_deg, 2)),
            row("Left minus right, \u{b0} (95 %)", |state| interval(&state.asymmetry_deg, 2)),
        ],
    )
}
