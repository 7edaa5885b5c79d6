//! The plan on one screen.

use std::fmt::{self, Write};

use super::outcome::STEP_COVERAGE;
use super::sequence::words;
use super::{Plan, PlannedState};
use crate::trim::Interval;
use crate::wing::shown;

/// What every plan says at its end.
pub(super) const CAUTION: &str = "Adjustments are to be done or checked by a qualified workshop. Measure again after them: \
                                  the values here are predictions, and no statement on fitness to fly.";
/// Actions shown before the rest is only counted.
const MOST_SHOWN: usize = 20;

struct Degrees(Interval);

impl fmt::Display for Degrees {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.0.value, self.0.lower, self.0.upper) {
            (Some(value), Some(lower), Some(upper)) => write!(f, "{value:+.2}° ({lower:+.2} … {upper:+.2})"),
            _ => f.write_str("not known"),
        }
    }
}

fn state(f: &mut String, name: &str, state: &PlannedState) -> fmt::Result {
    writeln!(
        f,
        "{name:<7} {:>3} outside, worst {:+.1} mm, incidence change {}",
        state.outside,
        state.worst_mm,
        Degrees(state.incidence_change_deg)
    )
}

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

impl Plan {
    fn screen(&self, f: &mut String) -> fmt::Result {
        writeln!(
            f,
            "Plan for wing {}, check {} (target {}: {:+.1} mm)",
            self.wing, self.check, self.target, self.target_mm
        )?;
        if !self.remeasure.is_empty() {
            let names: Vec<String> =
                self.remeasure.iter().take(8).map(|line| format!("{} {}", line.side, line.line)).collect();
            let more = self.remeasure.len().saturating_sub(8);
            let rest = if more > 0 { format!(" and {more} more") } else { String::new() };
            writeln!(f, "Measure again first: {}{rest}", names.join(", "))?;
        }
        state(f, "Before", &self.before)?;
        state(f, "After", &self.after)?;
        if self.actions.is_empty() {
            writeln!(f, "No action.")?;
        }
        for action in self.actions.iter().take(MOST_SHOWN) {
            writeln!(
                f,
                "  {:<5} {:<8} {:<20} {:+6.1} mm ± {:.1}  moves {}",
                action.side,
                action.segment.as_deref().unwrap_or("(all)"),
                words(action),
                action.change_mm,
                STEP_COVERAGE * action.standard_mm,
                action.lines.len()
            )?;
        }
        if self.actions.len() > MOST_SHOWN {
            writeln!(f, "  and {} more", self.actions.len() - MOST_SHOWN)?;
        }
        if !self.lines.is_empty() {
            let sure = self.lines.iter().filter(|line| line.chance_after >= 0.95).count();
            writeln!(
                f,
                "Lines that end within tolerance with a chance of at least 95 %: {sure} of {}",
                self.lines.len()
            )?;
        }
        if self.optimal {
            writeln!(
                f,
                "No better plan exists among the steps that are possible ({} states searched).",
                self.states
            )?;
        }
        for note in self.notes.iter().take(6) {
            writeln!(f, "Note: {}", note.message)?;
        }
        Ok(())
    }
}
