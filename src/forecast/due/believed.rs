//! What is believed of a wing's last check before a date rests on it.

use std::borrow::Cow;

use super::answer::last_check;
use crate::check::doubt::DoubtSpec;
use crate::check::{Condition, History};
use crate::trim::{Limits, Trim, TrimSpec, TrimState};
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

/// What a wing's last check is judged as, the doubted readings being left out already (`None`: it cannot be judged).
pub(super) fn judged(limits: &Limits, set: &LineSet, history: &History) -> Option<Trim> {
    let check = last_check(history)?;
    TrimSpec::default().limits(*limits).run(set, &history.wing, check).ok()
}

impl<'a> Believed<'a> {
    /// Only a last check that is not in trim as it stands, or was taken of wet lines, is looked through: elsewhere neither a
    /// misreading nor a wrong datum could make the wing due. What cannot be looked through is refused later on.
    pub(super) fn of(limits: &Limits, set: &LineSet, history: &'a History) -> Self {
        let mut believed = Self { history: Cow::Borrowed(history), left_out: None, not_judged: None };
        let Some(at) = history.checks.iter().rposition(|check| !check.readings.is_empty()) else { return believed };
        let is_wet = history.checks[at].condition == Some(Condition::Wet);
        if !is_wet && judged(limits, set, history).is_none_or(|trim| trim.state == TrimState::InTrim) {
            return believed;
        }
        let Ok(doubts) = DoubtSpec::default().run(set, history, at, None) else { return believed };
        let model = TrimSpec::default().limits(*limits).prepare(set);
        if let Ok(trim) = model.and_then(|model| model.judge_with(history, at, &doubts))
            && trim.state == TrimState::NotJudged
            && trim.diagnosis.iter().any(|one| one.code.is_set_up())
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
