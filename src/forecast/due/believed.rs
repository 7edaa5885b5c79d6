//! What is believed of a wing's last check before a date rests on it.

use std::borrow::Cow;

use super::present::is_over;
use crate::check::doubt::DoubtSpec;
use crate::check::{Condition, History};
use crate::forecast::CrossingSpec;
use crate::trim::{TrimSpec, TrimState};
use crate::wing::LineSet;

/// Most doubted lines that a sentence names.
const NAMED: usize = 3;

/// A wing's history as far as it is believed.
pub(super) struct Believed<'a> {
    /// Without the doubted readings of its last check.
    pub(super) history: Cow<'a, History>,
    /// What was left out, as a sentence.
    pub(super) left_out: Option<String>,
    /// Why the last check cannot be judged, as a sentence.
    pub(super) not_judged: Option<String>,
}

impl<'a> Believed<'a> {
    /// Only a last check that passes a limit by value, or was taken of wet lines, is looked through: elsewhere neither a
    /// misreading nor a wrong datum could make the wing due. What cannot be looked through is refused later on.
    pub(super) fn of(spec: &CrossingSpec, set: &LineSet, history: &'a History) -> Self {
        let mut believed = Self { history: Cow::Borrowed(history), left_out: None, not_judged: None };
        let Some(at) = history.checks.iter().rposition(|check| !check.readings.is_empty()) else { return believed };
        let check = &history.checks[at];
        if check.condition != Some(Condition::Wet) && !is_over(spec, set, check).unwrap_or(false) {
            return believed;
        }
        let Ok(doubts) = DoubtSpec::default().run(set, history, at, None) else { return believed };
        let judged = TrimSpec::default().prepare(set).and_then(|model| model.judge_with(history, at, &doubts));
        if let Ok(trim) = judged
            && trim.state == TrimState::NotJudged
        {
            believed.not_judged = Some(trim.summary);
            return believed;
        }
        let mut lines: Vec<String> =
            doubts.findings().iter().map(|finding| format!("{} {}", finding.line, finding.side)).collect();
        lines.dedup();
        let mut kept = history.clone();
        let readings = &mut kept.checks[at].readings;
        readings.retain(|reading| !doubts.doubts_line(reading.side, reading.line));
        if lines.is_empty() || readings.is_empty() {
            return believed;
        }
        let (count, is) = if lines.len() == 1 {
            ("1 reading".to_owned(), "is")
        } else {
            (format!("{} readings", lines.len()), "are")
        };
        let names = if lines.len() > NAMED { String::new() } else { format!(" ({})", lines.join(", ")) };
        believed.left_out =
            Some(format!("{count} of the last check{names} {is} doubtful and left out: measure again first."));
        believed.history = Cow::Owned(kept);
        believed
    }
}
