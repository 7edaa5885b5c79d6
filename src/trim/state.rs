//! The state of a wing in a word and a sentence.

#[cfg(feature = "frames")]
use super::Diagnosis;
use super::entry::{Call, Entry};
use super::setup::Asked;
use super::{LineVerdict, Trim, TrimState};
#[cfg(feature = "frames")]
use crate::check::doubt::{DoubtNote, Doubts};

/// Lines named in the sentence; of more only their number is given.
const NAMED: usize = 5;

/// So many of something, with the lines' names where they are few.
fn counted(lines: &[&LineVerdict], one: &str, many: &str) -> String {
    let names: Vec<String> = lines.iter().map(|line| format!("{} {}", line.line, line.side)).collect();
    let names = if names.len() > NAMED { String::new() } else { format!(" ({})", names.join(", ")) };
    if lines.len() == 1 { format!("1 {one}{names}") } else { format!("{} {many}{names}", lines.len()) }
}

impl Trim {
    /// What there is to ask about how the check was set up, as notes beside those that the doubts have already.
    #[cfg(feature = "frames")]
    pub(crate) fn asked(&self, doubts: &Doubts) -> Vec<DoubtNote> {
        let new =
            |one: &&Diagnosis| one.code.is_set_up() && doubts.notes().iter().all(|note| note.message != one.text);
        let note = |one: &Diagnosis| DoubtNote { code: one.code.name().to_owned(), message: one.text.clone() };
        self.diagnosis.iter().filter(new).map(note).collect()
    }

    /// Takes the list in, and states what is to be done.
    pub(super) fn conclude(&mut self, asked: Asked, entries: Vec<Entry>) {
        let again = entries.iter().filter(|entry| entry.call == Call::Again);
        self.again = again.flat_map(|entry| entry.diagnosis.lines.iter().cloned()).collect();
        (self.state, self.summary) = self.state_of(&asked, &entries);
        self.diagnosis = asked.list;
        // what is off on a check that is not judged may be nothing but its mistake
        if self.state == TrimState::NotJudged {
            self.again.clear();
        } else {
            self.diagnosis.extend(entries.into_iter().map(|entry| entry.diagnosis));
        }
    }

    fn state_of(&self, asked: &Asked, entries: &[Entry]) -> (TrimState, String) {
        let counts = self.counts();
        let doubted: Vec<&LineVerdict> = self.lines.iter().filter(|line| line.doubted).collect();
        let doubtful = counted(&doubted, "reading is doubtful", "readings are doubtful");
        if let Some(why) = &asked.blocked {
            return (TrimState::NotJudged, format!("Not judged: {why}"));
        }
        if self.common_mm.is_none() {
            return if doubted.is_empty() {
                (TrimState::NotJudged, "Not judged: no line of the rows A to D was read.".to_owned())
            } else {
                (TrimState::MeasureAgain, format!("Measure again: {doubtful}."))
            };
        }
        let work: Vec<&Entry> = entries.iter().filter(|entry| entry.calls_for_work()).collect();
        if let Some(first) = work.first() {
            // what they do in flight is no further thing that is off
            let causes = work.iter().filter(|entry| !entry.is_consequence()).count().max(1);
            let more = match causes - 1 {
                0 => String::new(),
                1 => " One more thing is off.".to_owned(),
                more => format!(" {more} more things are off."),
            };
            let again = if doubted.is_empty() { String::new() } else { format!(" {doubtful}: measure again first.") };
            return (TrimState::Adjust, format!("Adjust: {}{more}{again}", lowered(&first.diagnosis.text)));
        }
        let near: Vec<&LineVerdict> = self
            .again
            .iter()
            .filter_map(|on| self.lines.iter().find(|line| line.side == on.side && line.line == on.line))
            .collect();
        let mut again = Vec::new();
        if !doubted.is_empty() {
            again.push(doubtful);
        }
        if !near.is_empty() {
            again.push(counted(
                &near,
                "line is too near its tolerance to tell",
                "lines are too near their tolerance to tell",
            ));
        }
        if again.is_empty() {
            return asked.one_row.as_ref().map_or_else(
                || (TrimState::InTrim, format!("In trim: all {} lines read are within tolerance.", counts.read)),
                |why| (TrimState::NotJudged, format!("Not judged: {why}")),
            );
        }
        let rest = "; all other lines are within tolerance.";
        (TrimState::MeasureAgain, format!("Measure again: {}{rest}", again.join(", and ")))
    }
}

/// The sentence as it goes on after a colon: its first letter small, unless it is a name such as `A5`.
fn lowered(text: &str) -> String {
    ["The ", "Row ", "Left ", "Lines "].iter().find(|start| text.starts_with(**start)).map_or_else(
        || text.to_owned(),
        |start| {
            let (first, rest) = text.split_at(start.len());
            format!("{}{rest}", first.to_lowercase())
        },
    )
}
