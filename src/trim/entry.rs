//! One thing that is off, in words, and what it calls for.

use super::{Diagnosis, DiagnosisCode, Interval};
use crate::wing::Side;

/// What an entry calls for, the most pressing first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Call {
    /// Work.
    Work,
    /// Another reading: one line, too near its tolerance to tell.
    Again,
    /// Nothing but a word.
    Word,
}

/// One thing that is off, and how much it matters.
#[derive(Debug, Clone)]
pub(super) struct Entry {
    pub(super) diagnosis: Diagnosis,
    pub(super) call: Call,
    /// What it amounts to: millimetres times lines.
    pub(super) weight: f64,
}

impl Entry {
    /// Whether it says what other entries do to the wing in flight, not what is off.
    pub(super) fn is_consequence(&self) -> bool {
        self.diagnosis.code.is_consequence()
    }

    pub(super) fn calls_for_work(&self) -> bool {
        self.call == Call::Work
    }
}

/// Work where something is urgent, else a word.
pub(super) fn work_if(urgent: bool) -> Call {
    if urgent { Call::Work } else { Call::Word }
}

pub(super) fn diagnosis(code: DiagnosisCode, text: String, interval: Interval) -> Diagnosis {
    Diagnosis {
        code,
        text,
        value_mm: interval.value,
        lower_mm: interval.lower,
        upper_mm: interval.upper,
        side: None,
        row: None,
        segment: None,
        lines: Vec::new(),
    }
}

pub(super) fn long(value_mm: f64) -> &'static str {
    if value_mm > 0.0 { "long" } else { "short" }
}

pub(super) fn longer(value_mm: f64) -> &'static str {
    if value_mm > 0.0 { "longer" } else { "shorter" }
}

/// A size in whole millimetres, how sure it is with it.
pub(super) fn sure(interval: &Interval) -> String {
    let value = interval.value.unwrap_or(0.0).abs();
    let reach = interval.upper.zip(interval.value).map_or(0.0, |(upper, value)| upper - value);
    format!("{value:.0} mm (\u{b1}{:.0})", reach.max(1.0))
}

pub(super) fn joined(names: &[String]) -> String {
    match names {
        [] => String::new(),
        [one] => one.clone(),
        [all @ .., last] => format!("{} and {last}", all.join(", ")),
    }
}

pub(super) fn on(side: Option<Side>) -> String {
    side.map_or_else(|| "on both sides".to_owned(), |side| format!("on the {side}"))
}
