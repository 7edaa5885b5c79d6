//! Mistakes made in setting a check up: what to ask about before anything is judged.

use super::entry::diagnosis;
use super::{Diagnosis, DiagnosisCode, Interval, Trim};
use crate::check::doubt::{Doubts, FactKind, FindingKind};
use crate::check::{Check, Condition, common_offset_mm, deviations};
use crate::stats::robust::median;
use crate::wing::{LineSet, Row, Side};

/// A change of the whole set between two checks past which datum and load are asked about, mm.
const JUMP_MM: f64 = 25.0;
/// A check whose lines are off by so much, mm, is looked at for lines in the wrong order.
const ORDER_MM: f64 = 30.0;

/// What a check's setting-up is judged by.
pub(super) struct SetUp<'a> {
    pub(super) set: &'a LineSet,
    pub(super) check: &'a Check,
    /// The check before with readings.
    pub(super) before: Option<&'a Check>,
    pub(super) doubts: Option<&'a Doubts>,
    pub(super) limit_mm: f64,
}

/// In which order the readings of a row are held against its table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Order {
    AsGiven,
    Reversed,
}

/// What there is to ask about, and why nothing can be judged before it is answered.
#[derive(Default)]
pub(super) struct Asked {
    pub(super) list: Vec<Diagnosis>,
    pub(super) blocked: Option<String>,
    /// Said where nothing else is: one row alone says nothing of trim.
    pub(super) one_row: Option<String>,
}

impl Asked {
    fn add(&mut self, code: DiagnosisCode, text: String, value_mm: Option<f64>) {
        self.list.push(diagnosis(code, text, Interval { value: value_mm, ..Interval::default() }));
    }

    fn block(&mut self, code: DiagnosisCode, text: String, value_mm: Option<f64>) {
        self.blocked.get_or_insert_with(|| text.clone());
        self.add(code, text, value_mm);
    }
}

impl SetUp<'_> {
    /// `level_mm`: where the rows A–D stand, as most of them say.
    pub(super) fn ask(&self, trim: &Trim, level_mm: Option<f64>) -> Asked {
        let mut asked = Asked::default();
        if let Some(text) = self.other_unit() {
            asked.block(DiagnosisCode::Datum, text, None);
        } else if let Some(row) = self.reversed() {
            let text = format!(
                "the lines of row {row} fit the table in the order from the tip to the centre: give them from the centre \
                 outwards, as the table does."
            );
            asked.block(DiagnosisCode::Table, text, None);
        } else if let Some(level) = level_mm.filter(|level| level.abs() > self.limit_mm) {
            asked.block(DiagnosisCode::Datum, self.datum(level), Some(level));
        } else {
            self.jump(level_mm, &mut asked);
        }
        match self.check.condition {
            Some(Condition::Wet) => {
                let text = "the lines were wet, and wet lines have other lengths: let them dry and measure again.";
                asked.block(DiagnosisCode::Wet, text.to_owned(), None);
            }
            Some(Condition::Damp) => {
                let text =
                    "The lines were damp: their lengths hold for damp lines; measure them dry before adjusting.";
                asked.add(DiagnosisCode::Wet, text.to_owned(), None);
            }
            Some(Condition::Dry) | None => {}
        }
        asked.one_row = self.one_row(trim);
        if let Some(doubts) = self.doubts.filter(|_| asked.blocked.is_none()) {
            let swapped =
                doubts.findings().iter().filter(|finding| finding.kind() == FindingKind::SidesSwapped).count();
            if 3 * swapped > trim.lines.len() {
                let text = "left and right of the whole check seem to be swapped, to judge by the checks before: measure a \
                            few lines on either side again, then exchange the sides.";
                asked.block(DiagnosisCode::Sides, text.to_owned(), None);
            }
            for note in doubts.notes().iter().filter(|note| note.code == "sides_contradict") {
                asked.add(DiagnosisCode::Sides, note.message.clone(), None);
            }
            let mut known: Vec<&str> = Vec::new();
            for fact in doubts.facts().iter().filter(|fact| fact.kind == FactKind::Mirror) {
                let (Some(other), Some(line)) = (&fact.exchanged_with, fact.lines.first()) else { continue };
                if known.contains(&line.as_str()) {
                    continue;
                }
                known.extend([line.as_str(), other.as_str()]);
                let text = format!(
                    "{line} and {other} have each other's length on both sides: their lengths are probably swapped in the \
                     maker's table, or the lines are. Put that right, then judge again."
                );
                asked.block(DiagnosisCode::Table, text, Some(fact.step_mm));
            }
        }
        asked
    }

    /// Why nothing can be said of trim where one row alone was read.
    fn one_row(&self, trim: &Trim) -> Option<String> {
        let mut read =
            Row::ALL.into_iter().filter(|row| row.is_trim() && trim.lines.iter().any(|line| line.row == *row));
        let (only, more) = (read.next()?, read.next());
        let others = self.set.lines().iter().any(|line| line.row.is_trim() && line.row != only);
        (more.is_none() && others)
            .then(|| format!("of the rows A to D only row {only} was read, and trim compares rows: read another."))
    }

    fn other_unit(&self) -> Option<String> {
        let findings = self.doubts?.findings();
        let unit = findings.iter().filter(|finding| finding.kind() == FindingKind::Unit).count();
        (2 * unit > self.check.readings.len()).then(|| {
            "the readings seem to be in another unit, such as centimetres, metres or inches: write millimetres."
                .to_owned()
        })
    }

    /// Where a set so far off may come from.
    fn datum(&self, level_mm: f64) -> String {
        let datum_mm = self.check.datum_mm;
        let head = format!("the whole set is {level_mm:+.0} mm off with datum_mm {datum_mm:.0}.");
        let close = |value: f64| (value - level_mm).abs() <= JUMP_MM;
        let past = self.before.filter(|before| close(before.datum_mm - datum_mm));
        let cure = if datum_mm.abs() > JUMP_MM && close(-2.0 * datum_mm) {
            format!("The sign of the datum is probably wrong: write datum_mm {:.0}.", -datum_mm)
        } else if let Some(before) = past {
            format!("Check `{}` had datum_mm {:.0}: write it here too.", before.id, before.datum_mm)
        } else if datum_mm == 0.0 {
            format!(
                "The datum is probably missing: write datum_mm {:.0} if the readings are that much {} than the maker's \
                 lengths by the way they are taken.",
                level_mm,
                if level_mm > 0.0 { "longer" } else { "shorter" }
            )
        } else {
            format!(
                "Check the datum (its sign, its unit: millimetres) and the instrument; {:.0} would fit.",
                datum_mm + level_mm
            )
        };
        format!("{head} {cure}")
    }

    /// A set that is off otherwise than at the check before.
    fn jump(&self, level_mm: Option<f64>, asked: &mut Asked) {
        let Some((before, level)) = self.before.zip(level_mm) else { return };
        let read = deviations(self.set, before);
        let Some(was) = common_offset_mm(self.set, &read) else { return };
        let jump = level - was;
        if jump.abs() <= JUMP_MM {
            return;
        }
        let datum = if (before.datum_mm - self.check.datum_mm).abs() > 0.5 {
            format!(" datum_mm was {:.0} and is {:.0};", before.datum_mm, self.check.datum_mm)
        } else {
            String::new()
        };
        asked.add(
            DiagnosisCode::Datum,
            format!(
                "The whole set reads {:.0} mm {} than at check `{}`:{datum} another datum or load, or wet lines, look like that.",
                jump.abs(),
                if jump > 0.0 { "longer" } else { "shorter" },
                before.id
            ),
            Some(jump),
        );
    }

    /// A row whose readings fit its table back to front, and not as they stand.
    fn reversed(&self) -> Option<Row> {
        let read = deviations(self.set, self.check);
        let misfit = |row: Row, order: Order| {
            let mut off = Vec::new();
            for side in Side::BOTH {
                let mut lines: Vec<_> = read
                    .iter()
                    .filter(|one| {
                        one.side == side && self.set.lines().get(one.line).is_some_and(|line| line.row == row)
                    })
                    .collect();
                lines.sort_by_key(|one| self.set.lines().get(one.line).map(|line| line.rank));
                let nominal = |at: usize| Some(self.set.lines().get(lines.get(at)?.line)?.nominal_mm);
                for (at, one) in lines.iter().enumerate() {
                    let other = if order == Order::Reversed { lines.len() - 1 - at } else { at };
                    off.extend(nominal(at).zip(nominal(other)).map(|(own, other)| one.deviation_mm + own - other));
                }
            }
            let level = median(&off)?;
            let away: Vec<f64> = off.iter().map(|off| (off - level).abs()).collect();
            median(&away).filter(|_| off.len() >= 6)
        };
        let is_back = |row: &Row| {
            misfit(*row, Order::AsGiven)
                .zip(misfit(*row, Order::Reversed))
                .is_some_and(|(as_is, back)| as_is > ORDER_MM && 4.0 * back < as_is)
        };
        Row::ALL.into_iter().find(is_back)
    }
}
