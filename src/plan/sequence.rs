//! The order of work, with the values to expect.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::{Plan, PlannedAction};
use crate::wing::Side;

/// A line that an action moves.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MovedLine {
    /// Line name.
    pub line: String,
    /// Value to expect on the instrument after this action and those before it, mm (`None`: the line has no good reading).
    pub expected_reading_mm: Option<f64>,
}

/// One step of the work.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WorkStep {
    /// Count from 1.
    pub number: usize,
    /// The action.
    pub action: PlannedAction,
    /// The lines that it moves.
    pub lines: Vec<MovedLine>,
}

impl Plan {
    /// The order of work: one side after the other, from the riser outwards, front row first; each action with the lines
    /// that it moves and what the instrument should then show, at the datum, load and temperature of the check.
    #[must_use]
    pub fn sequence(&self) -> Vec<WorkStep> {
        let mut moved = vec![0.0; self.lines.len()];
        let mut steps = Vec::with_capacity(self.actions.len());
        for (at, action) in self.actions.iter().enumerate() {
            for (line, sum) in self.lines.iter().zip(&mut moved) {
                if line.side == action.side && action.lines.contains(&line.line) {
                    *sum += action.change_mm;
                }
            }
            let expected = |side: Side, name: &str| {
                let known = self.lines.iter().zip(&moved).find(|(line, _)| line.side == side && line.line == name);
                // the reading as it was, plus what was done up to here
                known.map(|(line, sum)| line.expected_reading_mm - (line.after_mm - line.before_mm) + sum)
            };
            let lines = action
                .lines
                .iter()
                .map(|name| MovedLine { line: name.clone(), expected_reading_mm: expected(action.side, name) })
                .collect();
            steps.push(WorkStep { number: at + 1, action: action.clone(), lines });
        }
        steps
    }
}

/// What an action is called on paper.
pub(super) fn words(action: &PlannedAction) -> String {
    use crate::check::ActionKind;
    let turns = action.turns.unsigned_abs();
    let plural = if turns == 1 { "" } else { "s" };
    match action.kind {
        ActionKind::Turn => format!("lay {turns} extra turn{plural}"),
        ActionKind::RemoveLoop => format!("take out {turns} turn{plural}"),
        ActionKind::LarksHead => "lay a lark's head".to_owned(),
        ActionKind::SmallLink if action.change_mm < 0.0 => "take out the small link".to_owned(),
        ActionKind::SmallLink => "put in a small link".to_owned(),
        ActionKind::LargerLink if action.change_mm < 0.0 => "put the usual link back".to_owned(),
        ActionKind::LargerLink => "put in a larger link".to_owned(),
        ActionKind::Splice => "re-splice".to_owned(),
        ActionKind::Replace => "replace".to_owned(),
        ActionKind::ReplaceLine => "replace or re-splice".to_owned(),
        ActionKind::BrakeHandle if action.change_mm < 0.0 => "take up at the handle".to_owned(),
        ActionKind::BrakeHandle => "let out at the handle".to_owned(),
        ActionKind::Riser => "set the riser".to_owned(),
        ActionKind::Stretch => "stretch under load".to_owned(),
    }
}

impl WorkStep {
    /// What is to be done, in words, such as `lay 2 extra turns`.
    #[must_use]
    pub fn what(&self) -> String {
        words(&self.action)
    }
}

impl fmt::Display for WorkStep {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let segment = self.action.segment.as_deref().unwrap_or("(all)");
        write!(
            f,
            "{}. {} {}: {} ({:+.1} mm)",
            self.number,
            self.action.side,
            segment,
            words(&self.action),
            self.action.change_mm
        )?;
        for line in &self.lines {
            match line.expected_reading_mm {
                Some(expected) => write!(f, "\n   {:<8} expect {expected:.0} mm", line.line)?,
                None => write!(f, "\n   {:<8} no good reading", line.line)?,
            }
        }
        Ok(())
    }
}
