//! What to do about a wing, in sentences.

use jiff::civil::Date;
use maud::{Markup, html};

use super::draft::Draft;
use crate::forecast::Reason;
use crate::plan::Plan;
use crate::report::build::Entry;
use crate::report::words::{self, count, interval, signed};
use crate::trim::{Trim, Verdict};

/// Most lines that a sentence names.
const NAMED: usize = 10;

/// What to do, in order, the next check last.
pub(super) fn part(draft: &Draft, entry: &Entry<'_>, place: usize, today: Date) -> Markup {
    html! {
        (draft.heading(&format!("do-{place}"), "What to do"))
        ol .todo { @for sentence in sentences(entry, today) { li { (sentence) } } }
        "\n"
    }
}

fn sentences(entry: &Entry<'_>, today: Date) -> Vec<String> {
    let mut out = Vec::new();
    let Some(trim) = entry.trim else {
        out.push("Measure the wing: without a check nothing is known about its lines.".to_owned());
        out.extend(next(entry, today));
        return out;
    };
    let plan = entry.plan.map(|planned| &planned.plan);
    out.extend(measure_again(trim, plan));
    match plan {
        Some(plan) if !plan.actions.is_empty() => out.extend(adjust(plan)),
        Some(plan) if plan.before.outside > 0 => out.push(format!(
            "No adjustment is proposed, although {}: none of the steps available makes the trim better, or the measurement \
             cannot show that it would.",
            off(plan.before.outside)
        )),
        Some(_) => out.push("Adjust nothing: no line is off by more than its tolerance.".to_owned()),
        None if words::verdicts(trim, Verdict::Outside) > 0 => {
            out.push("Have a workshop look at the lines outside tolerance.".to_owned());
        }
        None => {}
    }
    out.extend(next(entry, today));
    out
}

fn off(lines: usize) -> String {
    format!("{} off the target by more than the tolerance", count(lines, "line is", "lines are"))
}

fn named(lines: &[String]) -> String {
    let some: Vec<&str> = lines.iter().take(NAMED).map(String::as_str).collect();
    let more = lines.len().saturating_sub(NAMED);
    if more == 0 { some.join(", ") } else { format!("{} and {more} more", some.join(", ")) }
}

fn measure_again(trim: &Trim, plan: Option<&Plan>) -> Option<String> {
    let of = |verdict: Option<Verdict>| trim.lines.iter().filter(move |line| line.verdict == verdict);
    let mut doubtful: Vec<String> = of(None).map(|line| format!("{} {}", line.line, line.side)).collect();
    for line in plan.map_or(&[][..], |plan| &plan.remeasure) {
        let name = format!("{} {}", line.line, line.side);
        if !doubtful.contains(&name) {
            doubtful.push(name);
        }
    }
    let undecided: Vec<String> =
        of(Some(Verdict::Undecided)).map(|line| format!("{} {}", line.line, line.side)).collect();
    let mut parts = Vec::new();
    if !doubtful.is_empty() {
        parts.push(format!("{}, whose readings are doubtful", named(&doubtful)));
    }
    if !undecided.is_empty() {
        parts.push(format!("{}, too close to the tolerance to tell", named(&undecided)));
    }
    (!parts.is_empty()).then(|| format!("Measure again: {}.", parts.join("; and ")))
}

fn adjust(plan: &Plan) -> [String; 2] {
    let incidence = |state: &crate::plan::PlannedState| interval(&state.incidence_change_deg, 2);
    let degrees = if plan.before.incidence_change_deg.value.is_some() {
        format!(
            "; incidence change from {}\u{b0} to {}\u{b0} (95 %)",
            incidence(&plan.before),
            incidence(&plan.after)
        )
    } else {
        String::new()
    };
    let worst = if signed(plan.before.worst_mm, 1) == signed(plan.after.worst_mm, 1) {
        String::new()
    } else {
        format!(
            "; the furthest line from {} to {} mm",
            signed(plan.before.worst_mm, 1),
            signed(plan.after.worst_mm, 1)
        )
    };
    [
        format!(
            "Have {} done or checked by a qualified workshop, in the order of the plan below. Expected after the work: {} off \
             by more than their tolerance, instead of {}{worst}{degrees}.",
            count(plan.actions.len(), "adjustment", "adjustments"),
            count(plan.after.outside, "line", "lines"),
            plan.before.outside
        ),
        "Measure the whole wing again after adjusting, record it as left, and fly it first with plenty of margin."
            .to_owned(),
    ]
}

fn next(entry: &Entry<'_>, today: Date) -> Option<String> {
    let row = entry.due?;
    let when = words::due(row, today);
    let adjusting = entry.plan.is_some_and(|planned| !planned.plan.actions.is_empty());
    Some(match row.reason {
        Reason::AlreadyOver if adjusting => {
            "After the work, work out the next check again: as found, the wing is over a limit at the accepted risk."
                .to_owned()
        }
        Reason::AlreadyOver => "Next check: now. At the accepted risk the wing is already over a limit.".to_owned(),
        reason => format!("Next check: {}. What decides is the {}.", next_when(&when), words::decides(reason)),
    })
}

fn next_when(when: &str) -> String {
    match when.strip_prefix("now (since ") {
        Some(rest) => format!("now, and due since {}", rest.trim_end_matches(')')),
        None if when.starts_with("at ") => when.to_owned(),
        None => format!("on {when}"),
    }
}
