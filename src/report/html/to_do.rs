//! What to do about a wing, in sentences.

use jiff::civil::Date;
use maud::{Markup, html};

use crate::forecast::Reason;
use crate::plan::{Plan, PlannedState, RemeasureReason};
use crate::report::build::Entry;
use crate::report::words::{self, count, signed};
use crate::trim::{LineVerdict, Trim, TrimState, Verdict};

/// Most lines that a sentence names.
const NAMED: usize = 10;

/// What to do, in order, the next check last.
pub(super) fn part(entry: &Entry<'_>, today: Date) -> Markup {
    html! {
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
        Some(plan) if !plan.actions.is_empty() => out.extend(adjust(trim, plan)),
        Some(plan) if plan.before.outside > 0 => out.push(format!(
            "No adjustment is proposed, although {} outside tolerance: no step at hand makes the trim better, or the measurement \
             cannot show that it would.",
            count(plan.before.outside, "line is", "lines are")
        )),
        Some(_) => out.push("Adjust nothing: no line is outside its tolerance.".to_owned()),
        None if words::verdicts(trim, Verdict::Outside) > 0 => {
            out.push("Have a workshop look at the lines outside tolerance.".to_owned());
        }
        None => {}
    }
    out.extend(next(entry, today));
    out
}

fn named(lines: &[String]) -> String {
    let some: Vec<&str> = lines.iter().take(NAMED).map(String::as_str).collect();
    let more = lines.len().saturating_sub(NAMED);
    if more == 0 { some.join(", ") } else { format!("{} and {more} more", some.join(", ")) }
}

fn measure_again(trim: &Trim, plan: Option<&Plan>) -> Option<String> {
    let of = |verdict| move |line: &&LineVerdict| line.verdict == verdict;
    let names = |verdict| trim.lines.iter().filter(of(verdict)).map(|line| format!("{} {}", line.line, line.side));
    let mut doubtful: Vec<String> = names(None).collect();
    let mut near: Vec<String> = names(Some(Verdict::Undecided)).collect();
    for line in plan.map_or(&[][..], |plan| &plan.remeasure) {
        let name = format!("{} {}", line.line, line.side);
        let list = if line.reason == RemeasureReason::Near { &mut near } else { &mut doubtful };
        if !list.contains(&name) {
            list.push(name);
        }
    }
    let part = |lines: &[String], why: &str| (!lines.is_empty()).then(|| format!("{} ({why})", named(lines)));
    let parts: Vec<String> = [part(&doubtful, "doubtful"), part(&near, "too close to the tolerance to tell")]
        .into_iter()
        .flatten()
        .collect();
    (!parts.is_empty()).then(|| format!("Measure again: {}.", parts.join("; ")))
}

fn adjust(trim: &Trim, plan: &Plan) -> [String; 2] {
    let (before, after) = (&plan.before, &plan.after);
    let incidence = |state: &PlannedState| state.incidence_change_deg.value.map(|deg| signed(deg, 2));
    let degrees = match (incidence(before), incidence(after)) {
        (Some(from), Some(to)) => format!(" and the incidence change from {from}\u{b0} to {to}\u{b0}"),
        _ => String::new(),
    };
    [
        format!(
            "{} {} done or checked by a qualified workshop, in the order of the plan below. The work should bring the lines \
             outside tolerance from {} to {}{degrees}.",
            if trim.state == TrimState::MeasureAgain { "If the new readings say the same, have" } else { "Have" },
            count(plan.actions.len(), "adjustment", "adjustments"),
            before.outside,
            after.outside
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
            "After the work, have the next check worked out again: as found, the wing is over a limit at the accepted risk."
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
