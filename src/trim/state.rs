//! The state of a wing in a word and a sentence.

use super::{Trim, TrimState};

impl Trim {
    /// States what is to be done, once everything else is known.
    pub(super) fn conclude(&mut self) {
        let counts = self.counts();
        (self.state, self.summary) = match (self.common_mm, counts.outside, counts.doubted) {
            (None, ..) => (TrimState::NotJudged, "Not judged: no line of the rows A to D was read.".to_owned()),
            (_, 0, 0) => (TrimState::InTrim, "In trim: every line read is within its tolerance.".to_owned()),
            (_, 0, doubted) => {
                let readings = if doubted == 1 { "1 reading is" } else { &format!("{doubted} readings are") };
                (TrimState::MeasureAgain, format!("Measure again: {readings} doubtful."))
            }
            (_, outside, _) => {
                let lines = if outside == 1 { "1 line is" } else { &format!("{outside} lines are") };
                (TrimState::Adjust, format!("Adjust: {lines} outside tolerance."))
            }
        };
    }
}
