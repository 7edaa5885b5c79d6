//! The page's part on the plan of one wing.

use maud::{Markup, html};

use super::draft::{Draft, Layout, note};
use super::table::{Cell, table};
use crate::plan::{AimResult, MovedLine, Plan, PlannedState, WorkStep};
use crate::report::ReportError;
use crate::report::build::WingPlan;
use crate::report::figures::{curve_figure, plan_figure};
use crate::report::words::{self, interval, signed, typeset};

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
    Ok(html! {
        (draft.heading(&format!("plan-{place}"), "Plan"))
        p { (typeset(&plan.answer())) }
        div .split {
            @if !plan.actions.is_empty() {
                (table(
                    "What to do, in the order of work",
                    &["No.", "Side", "Where", "What", "Change, mm (95 %)", "Then expect on the instrument, mm (left / right)"],
                    &steps(plan),
                ))
            }
            div {
                @if !plan.actions.is_empty() { (states(&plan.before, &plan.after)) }
                @if !plan.alternatives.is_empty() {
                    div .aims { (table(
                        "The best plan for each aim, the recommended one first",
                        &["Aim", "Actions", "Outside after", "Incidence after, \u{b0}", "Left minus right after, \u{b0}"],
                        &aims,
                    )) }
                }
                div .notes { @for one in &plan.notes { (note(&one.message)) } }
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

/// The steps in the order of work; what is done alike on both sides is one.
fn steps(plan: &Plan) -> Vec<Vec<Cell>> {
    let sequence = plan.sequence();
    let alike = |one: &WorkStep, other: &WorkStep| {
        let (one, what, other, its) = (&one.action, one.what(), &other.action, other.what());
        one.side != other.side
            && (&one.segment, what) == (&other.segment, its)
            && (one.change_mm - other.change_mm).abs() < 0.05
    };
    let first =
        sequence.iter().enumerate().filter(|(at, step)| !sequence.iter().take(*at).any(|one| alike(one, step)));
    first
        .enumerate()
        .map(|(place, (at, one))| step(place + 1, one, sequence.iter().skip(at + 1).find(|other| alike(one, other))))
        .collect()
}

fn step(number: usize, step: &WorkStep, twin: Option<&WorkStep>) -> Vec<Cell> {
    let action = &step.action;
    let mm = |line: Option<&MovedLine>| {
        line.and_then(|line| line.expected_reading_mm)
            .map_or_else(|| "\u{2013}".to_owned(), |mm| words::number(mm, 0))
    };
    let expect = |line: &MovedLine| {
        let other = twin.map(|twin| mm(twin.lines.iter().find(|one| one.line == line.line)));
        format!("{} {}{}", line.line, mm(Some(line)), other.map_or_else(String::new, |mm| format!(" / {mm}")))
    };
    let mut expected: Vec<String> = step.lines.iter().take(LINES_A_STEP).map(expect).collect();
    if step.lines.len() > LINES_A_STEP {
        expected.push(format!("and {} more", step.lines.len() - LINES_A_STEP));
    }
    vec![
        Cell::words(number.to_string()),
        Cell::short(if twin.is_some() { "both" } else { action.side.name() }),
        Cell::short(action.segment.as_deref().unwrap_or("all")),
        Cell::short(step.what()),
        Cell::figure(interval(&action.change_interval_mm(), 1)),
        Cell::long(expected.join(", ")),
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
