//! The plan on one screen.

use std::fmt::{self, Write};

use super::outcome::STEP_COVERAGE;
use super::sequence::words;
use super::{AimResult, Plan, PlannedAction, PlannedLine, PlannedState};
use crate::wing::{Side, shown};

/// What every plan says at its end.
pub(super) const CAUTION: &str = "Adjustments are to be done or checked by a qualified workshop. Measure again after them: \
                                  the values here are predictions, and no statement on fitness to fly.";
/// Steps and readings shown before the rest is only counted.
const MOST_SHOWN: usize = 40;
/// Lines to measure again that are named.
const MOST_AGAIN: usize = 8;

/// Columns of the screen.
const COLUMNS: usize = 80;

/// Writes a line within the columns, broken at spaces and continued two columns in; hidden characters become `?`.
fn wrapped(f: &mut fmt::Formatter<'_>, line: &str) -> fmt::Result {
    let clean = shown(line);
    let mut rest = clean.as_str();
    let mut room = COLUMNS;
    loop {
        let Some((limit, _)) = rest.char_indices().nth(room) else { return f.write_str(rest) };
        let head = &rest[..limit];
        // a break inside the indent would leave an empty line
        let indent = head.len() - head.trim_start().len();
        let end = if rest[limit..].starts_with(' ') {
            limit
        } else {
            head.rfind(' ').filter(|at| *at > indent).unwrap_or(limit)
        };
        write!(f, "{}\n  ", rest[..end].trim_end())?;
        rest = rest[end..].trim_start();
        room = COLUMNS - 2;
    }
}

impl fmt::Display for Plan {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut text = String::new();
        self.screen(&mut text)?;
        for line in text.lines() {
            wrapped(f, line)?;
            f.write_str("\n")?;
        }
        wrapped(f, CAUTION)
    }
}

pub(super) fn count(number: usize, one: &str, many: &str) -> String {
    format!("{number} {}", if number == 1 { one } else { many })
}

fn degrees(value: Option<f64>) -> String {
    value.map_or_else(|| "not known".to_owned(), |deg| format!("{deg:+.2}°"))
}

/// The same work on both sides is one step on paper.
struct Job<'a> {
    action: &'a PlannedAction,
    side: &'static str,
}

impl Plan {
    /// Steps as they are counted on paper: what is done alike on both sides is one.
    fn jobs(&self) -> Vec<Job<'_>> {
        let same = |one: &PlannedAction, other: &PlannedAction| {
            (&one.segment, one.kind, one.turns) == (&other.segment, other.kind, other.turns)
                && (one.change_mm - other.change_mm).abs() < 0.05
        };
        let mut jobs: Vec<Job<'_>> = Vec::new();
        for action in &self.actions {
            match jobs.iter_mut().find(|job| same(job.action, action) && job.action.side != action.side) {
                Some(job) => job.side = "both",
                None => jobs.push(Job { action, side: action.side.name() }),
            }
        }
        jobs.sort_by_key(|job| job.action.level);
        jobs
    }

    /// What the plan comes to, in a sentence or two.
    #[must_use]
    pub fn answer(&self) -> String {
        let state = |state: &PlannedState| {
            let degrees =
                |what: &str, value: Option<f64>| value.map(|deg| format!(", {what} {deg:+.2}°")).unwrap_or_default();
            format!(
                "{} outside{}{}",
                count(state.outside, "line", "lines"),
                degrees("incidence change", state.incidence_change_deg.value),
                degrees("left less right", state.asymmetry_deg.value)
            )
        };
        let jobs = self.jobs().len();
        if jobs == 0 {
            let left = state(&self.before);
            return if self.before.outside == 0 && self.before.past_a_limit().is_none() {
                format!("Nothing to adjust: {left}.")
            } else {
                format!("No step at hand makes it better: {left}.")
            };
        }
        let actions = self.actions.len();
        let hands = if actions == jobs { String::new() } else { format!(" ({actions} actions, both sides counted)") };
        format!("{}{hands}: from {} to {}.", count(jobs, "step", "steps"), state(&self.before), state(&self.after))
    }

    fn screen(&self, f: &mut String) -> fmt::Result {
        writeln!(f, "Plan for wing {}, check {}: {}", self.wing, self.check, self.aim.words())?;
        writeln!(f, "{}", self.answer())?;
        if !self.remeasure.is_empty() {
            let names: Vec<String> =
                self.remeasure.iter().take(MOST_AGAIN).map(|line| format!("{} {}", line.side, line.line)).collect();
            let more = self.remeasure.len().saturating_sub(MOST_AGAIN);
            let rest = if more > 0 { format!(" and {more} more") } else { String::new() };
            writeln!(f, "Measure again first: {}{rest}", names.join(", "))?;
        }
        self.steps(f)?;
        self.readings(f)?;
        self.others(f)?;
        self.notes.iter().try_for_each(|note| writeln!(f, "Note: {}", note.message))
    }

    fn steps(&self, f: &mut String) -> fmt::Result {
        let jobs = self.jobs();
        if !jobs.is_empty() {
            writeln!(f, "\nSteps, in the order of work")?;
        }
        for (at, Job { action, side }) in jobs.iter().enumerate().take(MOST_SHOWN) {
            let place = action.segment.as_deref().unwrap_or("(all)");
            let place = format!("{side} {place}");
            let half = STEP_COVERAGE * action.standard_mm;
            let what = words(action);
            writeln!(f, "{:>3}. {place:<17} {what:<24} {:+6.1} mm ± {half:.1}", at + 1, action.change_mm)?;
        }
        let more = jobs.len().saturating_sub(MOST_SHOWN);
        if more > 0 { writeln!(f, "     and {more} more") } else { Ok(()) }
    }

    /// Lines that the steps move, with what the instrument showed and should show after them all.
    fn readings(&self, f: &mut String) -> fmt::Result {
        let moved = |line: &&PlannedLine| (line.after_mm - line.before_mm).abs() > 1e-9;
        let lines: Vec<&PlannedLine> = self.lines.iter().filter(moved).collect();
        let mut names: Vec<&str> = Vec::new();
        for line in &lines {
            if !names.contains(&line.line.as_str()) {
                names.push(&line.line);
            }
        }
        if names.is_empty() {
            return Ok(());
        }
        writeln!(f, "\nReadings to expect after all of them, mm (at datum, load and warmth of the check)")?;
        writeln!(f, "  {:<10}{:>10}{:>10}{:>14}{:>10}", "line", "left", "was", "right", "was")?;
        let cell = |name: &str, side: Side| {
            let line = lines.iter().find(|line| line.line == name && line.side == side);
            let values = line.map(|line| {
                let was = line.expected_reading_mm - (line.after_mm - line.before_mm);
                (format!("{:.0}", line.expected_reading_mm), format!("{was:.0}"))
            });
            values.unwrap_or_default()
        };
        for name in names.iter().take(MOST_SHOWN) {
            let ((left, was_left), (right, was_right)) = (cell(name, Side::Left), cell(name, Side::Right));
            let row = format!("  {name:<10}{left:>10}{was_left:>10}{right:>14}{was_right:>10}");
            writeln!(f, "{}", row.trim_end())?;
        }
        let more = names.len().saturating_sub(MOST_SHOWN);
        if more > 0 { writeln!(f, "  and {more} more") } else { Ok(()) }
    }

    /// The plans for the other aims, a line each, and what none of them can better.
    fn others(&self, f: &mut String) -> fmt::Result {
        let own = self.in_short();
        let same = |other: &&AimResult| AimResult { aim: own.aim, ..**other } == own;
        if !self.alternatives.is_empty() {
            writeln!(f)?;
        }
        for other in &self.alternatives {
            if same(&other) {
                writeln!(f, "{} ({}): comes to the same", capital(other.aim.words()), other.aim)?;
                continue;
            }
            writeln!(
                f,
                "{} ({}): {}, {} outside, incidence change {}, left less right {}",
                capital(other.aim.words()),
                other.aim,
                count(other.actions, "action", "actions"),
                count(other.outside, "line", "lines"),
                degrees(other.incidence_change_deg),
                degrees(other.asymmetry_deg)
            )?;
        }
        if self.optimal {
            writeln!(f, "Among the steps that are possible none serves this aim better.")
        } else {
            Ok(())
        }
    }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
