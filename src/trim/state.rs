//! The state of a wing in a word and a sentence.

use super::diagnose::Entry;
use super::{Diagnosis, Trim, TrimState};

impl Trim {
    /// Takes the list in, and states what is to be done.
    pub(super) fn conclude(&mut self, setup: Vec<Diagnosis>, blocked: Option<String>, entries: Vec<Entry>) {
        let counts = self.counts();
        let urgent = entries.iter().filter(|entry| entry.urgent).count();
        let first = entries.first().map(|entry| entry.diagnosis.text.clone());
        let doubtful = match counts.doubted {
            0 => String::new(),
            1 => "1 reading is doubtful".to_owned(),
            many => format!("{many} readings are doubtful"),
        };
        let named: Vec<String> = self
            .lines
            .iter()
            .filter(|line| line.doubted)
            .take(5)
            .map(|line| format!("{} {}", line.line, line.side))
            .collect();
        (self.state, self.summary) = match (blocked, self.common_mm, urgent, counts.doubted) {
            (Some(why), ..) => (TrimState::NotJudged, format!("Not judged: {why}")),
            (None, None, ..) if counts.doubted == 0 => {
                (TrimState::NotJudged, "Not judged: no line of the rows A to D was read.".to_owned())
            }
            (None, None, ..) => (TrimState::MeasureAgain, format!("Measure again: {doubtful}.")),
            (None, Some(_), 1.., doubted) => {
                let fault = lowered(first.as_deref().unwrap_or("a line is outside its tolerance."));
                let more = match urgent - 1 {
                    0 => String::new(),
                    1 => " One more thing is off.".to_owned(),
                    more => format!(" {more} more things are off."),
                };
                let again = if doubted > 0 { format!(" {doubtful}: measure again first.") } else { String::new() };
                (TrimState::Adjust, format!("Adjust: {fault}{more}{again}"))
            }
            (None, Some(_), 0, 0) => {
                (TrimState::InTrim, format!("In trim: all {} lines read are within tolerance.", counts.read))
            }
            (None, Some(_), 0, doubted) => {
                let names = if doubted > 5 { String::new() } else { format!(" ({})", named.join(", ")) };
                let rest = "; all other lines are within tolerance.";
                (TrimState::MeasureAgain, format!("Measure again: {doubtful}{names}{rest}"))
            }
        };
        self.diagnosis = setup;
        self.diagnosis.extend(entries.into_iter().map(|entry| entry.diagnosis));
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
