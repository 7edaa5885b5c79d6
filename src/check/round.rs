//! One measuring round, line by line: what to read next, what a value says, and what may be wrong with it.

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::doubt::{DoubtError, DoubtSpec, Doubts, Finding};
use super::sheet::{LineOnSide, Sheet, SheetRow};
use super::{Check, ConfirmedLine, History, Reading, reading_deviation_mm};
use crate::wing::{LineSet, Side};

/// Two readings of one line that differ by no more than this, mm, confirm each other: a slip is seldom made twice alike.
pub const AGREEMENT_MM: f64 = 5.0;

/// What happened to one line in a round. The same events in the same order give the same round.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "step", rename_all = "lowercase", deny_unknown_fields)]
pub enum RoundEvent {
    /// A value was read.
    Read {
        /// Side of the wing.
        side: Side,
        /// Line name.
        line: String,
        /// The value, mm.
        reading_mm: f64,
    },
    /// The line's values so far were struck out.
    Strike {
        /// Side of the wing.
        side: Side,
        /// Line name.
        line: String,
    },
    /// The line was passed over.
    Skip {
        /// Side of the wing.
        side: Side,
        /// Line name.
        line: String,
    },
    /// A doubtful value was confirmed as it is.
    Keep {
        /// Side of the wing.
        side: Side,
        /// Line name.
        line: String,
    },
}

impl RoundEvent {
    fn place(&self) -> LineOnSide {
        let (RoundEvent::Read { side, line, .. }
        | RoundEvent::Strike { side, line }
        | RoundEvent::Skip { side, line }
        | RoundEvent::Keep { side, line }) = self;
        LineOnSide { side: *side, line: line.clone() }
    }
}

/// Why an event does not belong to a round.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum RoundError {
    /// The wing has no such line.
    #[error("the wing has no line `{line}` on the {side}")]
    NoLine {
        /// Side of the wing.
        side: Side,
        /// Line name.
        line: String,
    },
    /// A value that no line can have.
    #[error("{side} {line}: {reading_mm} mm is no length")]
    NoLength {
        /// Side of the wing.
        side: Side,
        /// Line name.
        line: String,
        /// The value, mm.
        reading_mm: f64,
    },
}

/// What the round has of one line.
#[derive(Debug, Clone, Default, PartialEq)]
struct Entry {
    readings_mm: Vec<f64>,
    skipped: bool,
    kept: bool,
}

impl Entry {
    fn is_done(&self) -> bool {
        self.skipped || !self.readings_mm.is_empty()
    }

    fn is_confirmed(&self) -> bool {
        self.readings_mm.iter().enumerate().any(|(at, value)| {
            self.readings_mm.iter().skip(at + 1).any(|other| (value - other).abs() <= AGREEMENT_MM)
        })
    }
}

/// What a value is to the ones before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Intent {
    /// It takes their place, unless it confirms a doubtful one.
    Replace,
    /// It is one more.
    Add,
}

/// A measuring round over one wing.
#[derive(Debug, Clone)]
pub struct Round {
    set: LineSet,
    earlier: History,
    check: Check,
    operator: Option<String>,
    rows: Vec<SheetRow>,
    entries: Vec<Entry>,
    at: usize,
    intent: Intent,
    last: Option<usize>,
}

/// The line to read next.
#[derive(Debug, Clone)]
pub struct RoundPlace<'a> {
    /// Which line of the round, from 1.
    pub number: usize,
    /// How many lines the round has.
    pub of: usize,
    /// The line, with what to expect of it.
    pub row: &'a SheetRow,
    /// What was read of it so far, mm.
    pub readings_mm: &'a [f64],
}

/// What a value says.
#[derive(Debug, Clone, PartialEq)]
pub struct RoundAnswer {
    /// Deviation from the maker's length, mm, with datum, load and temperature taken out.
    pub deviation_mm: f64,
    /// Change since the last check, mm (`None`: not read then).
    pub since_last_mm: Option<f64>,
    /// What is doubtful about it, as far as the lines read so far tell.
    pub finding: Option<Finding>,
    /// Whether a second reading agrees with it.
    pub confirmed: bool,
}

impl Round {
    /// A round in the order of a sheet of the same wing. `check` says the conditions; readings in it are left out. `history`
    /// is the wing's, without this check. `operator` is who reads.
    #[must_use]
    pub fn new(set: &LineSet, history: &History, check: &Check, sheet: &Sheet, operator: Option<&str>) -> Self {
        let mut earlier = history.clone();
        earlier.checks.retain(|known| known.id != check.id);
        Self {
            set: set.clone(),
            earlier,
            check: Check { readings: Vec::new(), ..check.clone() },
            operator: operator.map(str::to_owned),
            entries: vec![Entry::default(); sheet.rows().len()],
            rows: sheet.rows().to_vec(),
            at: 0,
            intent: Intent::Replace,
            last: None,
        }
    }

    /// The line to read next; `None` at the end of the round.
    #[must_use]
    pub fn place(&self) -> Option<RoundPlace<'_>> {
        let (row, entry) = (self.rows.get(self.at)?, self.entries.get(self.at)?);
        Some(RoundPlace { number: self.at + 1, of: self.rows.len(), row, readings_mm: &entry.readings_mm })
    }

    /// What happens when this value is read at the present line, to be recorded and then given to [`Round::apply`] one
    /// after the other. Empty at the end of the round.
    #[must_use]
    pub fn on_value(&self, reading_mm: f64) -> Vec<RoundEvent> {
        let (Some(row), Some(entry)) = (self.rows.get(self.at), self.entries.get(self.at)) else { return Vec::new() };
        let (side, line) = (row.side, row.line.clone());
        let agrees = entry.readings_mm.iter().any(|known| (known - reading_mm).abs() <= AGREEMENT_MM);
        let mut events = Vec::new();
        let replaces = self.intent == Intent::Replace && !(self.is_doubted(self.at) && agrees);
        if !entry.readings_mm.is_empty() && replaces {
            events.push(RoundEvent::Strike { side, line: line.clone() });
        }
        events.push(RoundEvent::Read { side, line, reading_mm });
        events
    }

    /// What happens when the present line is passed over.
    #[must_use]
    pub fn on_skip(&self) -> Vec<RoundEvent> {
        let row = self.rows.get(self.at);
        row.map(|row| RoundEvent::Skip { side: row.side, line: row.line.clone() }).into_iter().collect()
    }

    /// What happens when the doubtful value of the present line is kept; empty where there is none.
    #[must_use]
    pub fn on_keep(&self) -> Vec<RoundEvent> {
        let row = self.rows.get(self.at).filter(|_| self.entries[self.at].is_done());
        row.map(|row| RoundEvent::Keep { side: row.side, line: row.line.clone() }).into_iter().collect()
    }

    /// Takes an event in. The round then stands at the same line while its value is doubtful and not confirmed, else at the
    /// next line that is not done.
    ///
    /// # Errors
    /// [`RoundError`] for a line that the wing does not have, or a value that no line can have. The round is then as it was.
    pub fn apply(&mut self, event: &RoundEvent) -> Result<(), RoundError> {
        let LineOnSide { side, line } = event.place();
        let found = self.rows.iter().position(|row| row.side == side && row.line == line);
        let at = found.ok_or(RoundError::NoLine { side, line: line.clone() })?;
        let entry = &mut self.entries[at];
        match event {
            RoundEvent::Read { reading_mm, .. } => {
                if !(*reading_mm > 0.0 && *reading_mm < 1e6) {
                    return Err(RoundError::NoLength { side, line, reading_mm: *reading_mm });
                }
                entry.readings_mm.push(*reading_mm);
                entry.skipped = false;
            }
            RoundEvent::Strike { .. } => *entry = Entry::default(),
            RoundEvent::Skip { .. } => *entry = Entry { skipped: true, ..Entry::default() },
            RoundEvent::Keep { .. } => entry.kept = true,
        }
        self.at = at;
        self.last = Some(at);
        self.intent = Intent::Replace;
        if self.entries[at].is_done() && !self.is_doubted(at) {
            self.on();
        }
        Ok(())
    }

    /// Goes on to the next line that is not done.
    pub fn on(&mut self) {
        self.intent = Intent::Replace;
        let next = (self.at + 1..self.rows.len()).find(|at| !self.entries[*at].is_done());
        self.at = next.unwrap_or(self.rows.len());
    }

    /// Goes back to the line before; a value read there takes the place of what was read.
    pub fn back(&mut self) {
        self.intent = Intent::Replace;
        self.at = self.at.saturating_sub(1);
    }

    /// Goes to the line read last; a value read there is one more.
    pub fn repeat(&mut self) {
        if let Some(last) = self.last.filter(|last| self.entries[*last].is_done()) {
            self.at = last;
            self.intent = Intent::Add;
        }
    }

    /// Goes to the first line that has no reading or a doubtful one that nothing confirms; stays where there is none.
    pub fn to_open(&mut self) {
        self.intent = Intent::Replace;
        let doubts = self.doubts().ok();
        let doubtful =
            |row: &SheetRow| doubts.as_ref().is_some_and(|doubts| doubts.doubts_line(row.side, row.line_index));
        let open =
            (0..self.rows.len()).find(|at| self.entries[*at].readings_mm.is_empty() || doubtful(&self.rows[*at]));
        if let Some(open) = open {
            self.entries[open].skipped = false;
            self.entries[open].kept = false;
            self.at = open;
        }
    }

    /// What the line read last says; `None` before the first value and after a line passed over.
    #[must_use]
    pub fn answer(&self) -> Option<RoundAnswer> {
        let at = self.last?;
        let (row, entry) = (self.rows.get(at)?, self.entries.get(at)?);
        let reading_mm = *entry.readings_mm.last()?;
        let reading = Reading { side: row.side, line: row.line_index, reading_mm, repeat: 1, operator: None };
        Some(RoundAnswer {
            deviation_mm: reading_deviation_mm(&self.set, &self.check, &reading)?,
            since_last_mm: row.last_mm.map(|last| reading_mm - last),
            finding: self.finding(at),
            confirmed: entry.is_confirmed(),
        })
    }

    /// How many lines have a reading.
    #[must_use]
    pub fn lines_read(&self) -> usize {
        self.entries.iter().filter(|entry| !entry.readings_mm.is_empty()).count()
    }

    /// Lines without a reading, in the order of the round.
    #[must_use]
    pub fn unread(&self) -> Vec<LineOnSide> {
        let all = self.rows.iter().zip(&self.entries);
        all.filter(|(_, entry)| entry.readings_mm.is_empty())
            .map(|(row, _)| LineOnSide { side: row.side, line: row.line.clone() })
            .collect()
    }

    /// The check with what was read so far, in the order of the round; a doubtful value that was kept is confirmed.
    #[must_use]
    pub fn check(&self) -> Check {
        let mut check = self.check.clone();
        for (row, entry) in self.rows.iter().zip(&self.entries) {
            for (repeat, reading_mm) in (1..).zip(&entry.readings_mm) {
                check.readings.push(Reading {
                    side: row.side,
                    line: row.line_index,
                    reading_mm: *reading_mm,
                    repeat,
                    operator: self.operator.clone(),
                });
            }
            if entry.kept && !entry.readings_mm.is_empty() {
                check.confirmed.push(ConfirmedLine { side: row.side, line: row.line_index });
            }
        }
        check
    }

    /// The doubtful readings so far, with the wing's earlier checks.
    ///
    /// # Errors
    /// [`DoubtError`] when the wing's history cannot be looked through.
    pub fn doubts(&self) -> Result<Doubts, DoubtError> {
        let mut history = self.earlier.clone();
        let check = self.check();
        // checks stand by hours, then date, then stage: only what lies before this one is read beside it
        let place = history.checks.partition_point(|known| {
            known
                .hours_h
                .total_cmp(&check.hours_h)
                .then(known.date.cmp(&check.date))
                .then(known.stage.cmp(&check.stage))
                .is_le()
        });
        history.checks.insert(place, check);
        DoubtSpec::default().run(&self.set, &history, place, None)
    }

    fn finding(&self, at: usize) -> Option<Finding> {
        let (row, entry) = (self.rows.get(at)?, self.entries.get(at)?);
        let last = u32::try_from(entry.readings_mm.len()).ok()?;
        let doubts = self.doubts().ok()?;
        let of_line = |finding: &&Finding| {
            finding.side == row.side && finding.line_index == row.line_index && finding.repeat == last
        };
        doubts.findings().iter().find(of_line).cloned()
    }

    fn is_doubted(&self, at: usize) -> bool {
        let entry = &self.entries[at];
        !entry.kept && !entry.readings_mm.is_empty() && !entry.is_confirmed() && self.finding(at).is_some()
    }
}
