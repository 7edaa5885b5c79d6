//! A wing's history without the readings that are in doubt: no date rests on a misreading.

use super::present::is_over;
use crate::check::History;
use crate::check::doubt::DoubtSpec;
use crate::forecast::{CrossingSpec, ForecastError};
use crate::wing::LineSet;

/// Most doubted lines that a sentence names.
const NAMED: usize = 3;

/// A history whose last check with readings lost those in doubt.
pub(super) struct Believed {
    pub(super) history: History,
    /// What was left out, as a sentence.
    pub(super) sentence: String,
}

impl Believed {
    /// `None` where every reading is believed. Only a last check that passes a limit by value is looked through: elsewhere
    /// a misreading could not make the wing due.
    pub(super) fn of(spec: &CrossingSpec, set: &LineSet, history: &History) -> Result<Option<Self>, ForecastError> {
        let Some(at) = history.checks.iter().rposition(|check| !check.readings.is_empty()) else { return Ok(None) };
        if !is_over(spec, set, &history.checks[at])? {
            return Ok(None);
        }
        let Ok(doubts) = DoubtSpec::default().run(set, history, at, None) else { return Ok(None) };
        let mut lines: Vec<String> =
            doubts.findings().iter().map(|finding| format!("{} {}", finding.line, finding.side)).collect();
        lines.dedup();
        let mut history = history.clone();
        let readings = &mut history.checks[at].readings;
        readings.retain(|reading| !doubts.doubts_line(reading.side, reading.line));
        if lines.is_empty() || readings.is_empty() {
            return Ok(None);
        }
        let (count, is) = if lines.len() == 1 {
            ("1 reading".to_owned(), "is")
        } else {
            (format!("{} readings", lines.len()), "are")
        };
        let names = if lines.len() > NAMED { String::new() } else { format!(" ({})", lines.join(", ")) };
        let sentence = format!("{count} of the last check{names} {is} doubtful and left out: measure again first.");
        Ok(Some(Self { history, sentence }))
    }
}
