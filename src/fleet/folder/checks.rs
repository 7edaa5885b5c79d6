//! The `checks` and `risers` tables.

use polars::prelude::PlHashMap as HashMap;

use jiff::civil::{Date, date};

use super::wings::Wings;
use crate::check::{Check, RiserReading, Stage};
use crate::fleet::read::fault::FaultList;
use crate::fleet::read::grid::{Loaded, Record};
use crate::fleet::round::confirmed::read_cell;
use crate::fleet::schema::{CheckRow, RiserRow};

/// The checks of a folder.
#[derive(Debug)]
pub(crate) struct Checks {
    pub(crate) entries: Vec<CheckEntry>,
    pub(crate) index: HashMap<String, usize>,
    /// Whether every check that should be here is here.
    pub(crate) whole: bool,
    /// What was taken from elsewhere, as sentences.
    pub(crate) notes: Vec<String>,
}

#[derive(Debug)]
pub(crate) struct CheckEntry {
    pub(crate) check: Check,
    /// Index of its wing (`None`: a fault).
    pub(crate) wing: Option<usize>,
}

/// What the order of a wing's checks is judged by.
struct Visit<'a> {
    record: Record<'a>,
    day: Date,
    hours_h: f64,
    stage: Stage,
    /// Its place among the entries.
    at: usize,
    datum_given: bool,
}

impl Checks {
    pub(crate) fn read(loaded: &Loaded, wings: &Wings, faults: &mut FaultList) -> Self {
        let mut all = Self {
            entries: Vec::new(),
            index: HashMap::default(),
            whole: matches!(loaded, Loaded::Read(_)) && loaded.is_whole(&["check"]),
            notes: Vec::new(),
        };
        let mut visits: Vec<Vec<Visit<'_>>> = Vec::new();
        visits.resize_with(wings.entries.len(), Vec::new);
        // without whole records and sound hours, an `as_left` check may miss its `as_found` one for no fault of its own
        let mut whole = loaded.is_whole(&["check", "wing", "date", "hours"]);
        for record in loaded.records() {
            let row = CheckRow::read(record, faults);
            let (id, day, hours_h) = (row.check, row.date, row.hours);
            let wing = row.wing.and_then(|wing| wings.find(record, &wing, faults));
            whole &= day.is_some() && hours_h.is_some();
            let mut check = Check::new(
                id.as_deref().unwrap_or_default(),
                day.unwrap_or(date(1970, 1, 1)),
                hours_h.unwrap_or_default(),
            );
            check.stage = row.stage.unwrap_or_default();
            check.load_n = row.load_n.unwrap_or(check.load_n);
            check.datum_mm = row.datum_mm.unwrap_or(check.datum_mm);
            check.temperature_c = row.temperature_c.unwrap_or(check.temperature_c);
            check.condition = row.condition;
            check.brake_setting_mm = row.brake_setting_mm;
            if let Some(text) = row.confirmed {
                let draft = wing.and_then(|wing| wings.drafts.get(wings.entries.get(wing)?.set?));
                let lines = draft.map(|draft| read_cell(&text, |name, side| draft.find(name, side)));
                match lines {
                    Some(Some(lines)) => check.confirmed = lines,
                    Some(None) => record.fault(
                        faults,
                        "confirmed",
                        format_args!("lines of the wing as `left:B3; right:B4`, empty for none"),
                    ),
                    // the wing is at fault, and said so
                    None => {}
                }
            }
            if let (Some(day), Some(hours_h), Some(visits)) =
                (day, hours_h, wing.and_then(|wing| visits.get_mut(wing)))
            {
                let (at, datum_given) = (all.entries.len(), row.datum_mm.is_some());
                visits.push(Visit { record, day, hours_h, stage: check.stage, at, datum_given });
            }
            let Some(id) = id else { continue };
            if all.index.contains_key(id.as_ref()) {
                record.fault(faults, "check", format_args!("each check once"));
                continue;
            }
            all.index.insert(id.into_owned(), all.entries.len());
            all.entries.push(CheckEntry { check, wing });
        }
        for visits in &mut visits {
            judge_order(visits, whole, faults);
        }
        let inherited: Vec<String> = visits.iter().flat_map(|visits| all.inherit_datum(visits)).collect();
        if let [first, more @ ..] = inherited.as_slice() {
            let more = if more.is_empty() { String::new() } else { format!(", and {} more", more.len()) };
            all.notes.push(format!(
                "Checks without `datum_mm` have the one of their wing's check before: {first}{more}. Write 0 where there is none."
            ));
        }
        all
    }

    /// Gives a wing's checks without a datum that of the check before; says of each which.
    fn inherit_datum(&mut self, visits: &[Visit<'_>]) -> Vec<String> {
        let mut last: Option<Check> = None;
        let mut inherited = Vec::new();
        for visit in visits {
            let Some(CheckEntry { check, .. }) = self.entries.get_mut(visit.at) else { continue };
            match last.as_ref().filter(|last| !visit.datum_given && last.datum_mm != 0.0) {
                Some(before) => {
                    check.datum_mm = before.datum_mm;
                    inherited.push(format!("`{}` has the {} mm of `{}`", check.id, before.datum_mm, before.id));
                }
                None => last = Some(check.clone()),
            }
        }
        inherited
    }

    /// Reads `risers` into the checks.
    pub(crate) fn read_risers(&mut self, loaded: &Loaded, faults: &mut FaultList) {
        for record in loaded.records() {
            let RiserRow { check, side, row, datum_mm, riser_mm, .. } = RiserRow::read(record, faults);
            let check = check.and_then(|check| {
                let known = self.index.get(check.as_ref()).copied();
                if known.is_none() && self.whole {
                    record.fault(faults, "check", format_args!("a check that `checks` has"));
                }
                known
            });
            let (Some(side), Some(row)) = (side, row) else { continue };
            let Some(entry) = check.and_then(|check| self.entries.get_mut(check)) else { continue };
            if entry.check.risers.iter().any(|known| known.side == side && known.row == row) {
                record.fault(faults, "row", format_args!("each row once per check and side"));
            } else {
                entry.check.risers.push(RiserReading { side, row, datum_mm, riser_mm });
            }
        }
    }
}

/// Hours must not run backwards, and what was left must have been found.
fn judge_order(visits: &mut [Visit<'_>], whole: bool, faults: &mut FaultList) {
    visits.sort_by(|a, b| a.day.cmp(&b.day).then(a.hours_h.total_cmp(&b.hours_h)));
    for pair in visits.windows(2) {
        let [earlier, later] = pair else { continue };
        if later.hours_h < earlier.hours_h {
            let hours = earlier.hours_h;
            let expected = format_args!("at least the {hours} h of this wing's check of {}", earlier.day);
            later.record.fault(faults, "hours", expected);
        }
    }
    for left in visits.iter().filter(|visit| whole && visit.stage == Stage::AsLeft) {
        let found = visits.iter().any(|visit| {
            visit.stage == Stage::AsFound && visit.day <= left.day && visit.hours_h.total_cmp(&left.hours_h).is_eq()
        });
        if !found {
            let expected = format_args!("an as_found check of this wing at the same hours before it");
            left.record.fault(faults, "stage", expected);
        }
    }
}
