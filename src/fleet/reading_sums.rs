//! Readings summed as they stream by: no row is kept.

use std::borrow::Cow;
use std::sync::{Mutex, MutexGuard, PoisonError};

use polars::prelude::{NewChunkedArray, StringChunked};

use super::alike::flaw;
use super::cell::{Cell, Limit};
use super::check_sums::{Added, CheckSums};
use super::check_table::{CheckEntry, Checks};
use super::csv_plain::PlainCsv;
use super::grid::{Cells, Grid};
use super::wing_table::Wings;
use crate::check::DeviationTable;
use crate::wear::micrometres;
use crate::wing::{LineSet, Side};

/// Longest text, in bytes, whose key says all of it.
const KEY_BYTES: usize = 12;
/// The key of no text.
const NO_KEY: u128 = u128::MAX;

/// Something about a piece is not as it should be. Which row and why is found in a second, slower pass.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Doubtful;

/// The sums of every check, open to several threads.
pub(super) struct ReadingSums<'a, 's> {
    wings: &'a Wings,
    checks: &'a Checks,
    sets: Vec<SetTable>,
    sides: [u128; 2],
    /// By check.
    sums: Vec<Mutex<CheckSums<'s>>>,
}

/// Memory for the sums of checks whose lines are read once each, in one piece, so that it goes back whole to the system.
pub(super) struct SumMemory {
    numbers: Vec<i32>,
    /// How many each check has.
    places: Vec<usize>,
}

impl SumMemory {
    pub(super) fn new(wings: &Wings, checks: &Checks) -> Self {
        let places = |entry: &CheckEntry| {
            let draft = entry.wing.and_then(|wing| wings.draft_of(wing));
            draft.map_or(0, |draft| 2 * draft.line_count())
        };
        let places: Vec<usize> = checks.entries.iter().map(places).collect();
        Self { numbers: vec![0; places.iter().sum()], places }
    }

    /// Sums without a reading, by check.
    pub(super) fn sums(&mut self) -> Vec<CheckSums<'_>> {
        let mut rest = self.numbers.as_mut_slice();
        let mut sums = Vec::with_capacity(self.places.len());
        for places in &self.places {
            let (own, others) = rest.split_at_mut(*places);
            sums.push(CheckSums::new(own));
            rest = others;
        }
        sums
    }
}

/// One line set, for many readings.
struct SetTable {
    deviations: DeviationTable,
    /// By side and line: the key of the line's name.
    keys: [Vec<u128>; 2],
    lines: usize,
}

/// The check that the last row belonged to.
struct Open<'a, 's> {
    entry: &'a CheckEntry,
    set: usize,
    table: &'a SetTable,
    sums: MutexGuard<'a, CheckSums<'s>>,
    /// The line that stands behind the last one read.
    next: usize,
}

impl Open<'_, '_> {
    fn add(&mut self, side: Side, line: usize, reading_mm: f64, repeat: u32) -> Result<(), Doubtful> {
        let lines = self.table.lines;
        self.next = if line + 1 == lines { 0 } else { line + 1 };
        let deviation_mm = self.table.deviations.deviation_mm(&self.entry.check, side, line, reading_mm);
        let um = micrometres(deviation_mm.ok_or(Doubtful)?);
        match self.sums.add(side.index() * lines + line, um, repeat) {
            Added::Once => Ok(()),
            Added::Twice => Err(Doubtful),
        }
    }
}

/// The names of a piece. Cells of one column with the same key hold the same text: polars holds a text as a view of 16 bytes, which
/// is the text itself where that is short, and else where it stands; for a dictionary of the file that is its code.
struct Names<'a, V> {
    /// Of checks, sides and lines.
    views: [&'a [V]; 3],
    checks: &'a StringChunked,
    lines: &'a StringChunked,
}

impl SetTable {
    fn new(set: &LineSet) -> Self {
        let keys = Side::BOTH.map(|side| {
            let names: Vec<&str> = set.lines().iter().map(|line| line.name.as_str()).collect();
            let on_side = |line: usize| set.has(line, side);
            let keys = keys_of(&names).into_iter().enumerate();
            keys.map(|(line, key)| if on_side(line) { key } else { NO_KEY }).collect()
        });
        Self { deviations: DeviationTable::new(set), keys, lines: set.lines().len() }
    }
}

/// The keys that these texts have wherever they stand; none for long ones.
fn keys_of(texts: &[&str]) -> Vec<u128> {
    let column = StringChunked::from_slice("".into(), texts);
    let keys: Vec<u128> =
        column.downcast_iter().flat_map(|array| array.views().iter().map(|view| view.as_u128())).collect();
    let short = |text: &&str| (1..=KEY_BYTES).contains(&text.len());
    texts.iter().zip(keys).map(|(text, key)| if short(text) { key } else { NO_KEY }).collect()
}

impl<'a, 's> ReadingSums<'a, 's> {
    /// Empty sums; `sets` are the finished line sets of the wings' drafts.
    pub(super) fn new(wings: &'a Wings, checks: &'a Checks, sets: &[LineSet], memory: &'s mut SumMemory) -> Self {
        let sides = keys_of(&Side::BOTH.map(Side::name));
        Self {
            wings,
            checks,
            sets: sets.iter().map(SetTable::new).collect(),
            sides: [0, 1].map(|side| sides.get(side).copied().unwrap_or(NO_KEY)),
            sums: memory.sums().into_iter().map(Mutex::new).collect(),
        }
    }

    /// Adds every row of a piece.
    // the type of a view has no name outside polars
    #[allow(clippy::redundant_closure_for_method_calls)]
    pub(super) fn add(&self, grid: &Grid) -> Result<(), Doubtful> {
        if !grid.whole {
            return Err(Doubtful);
        }
        if grid.height == 0 {
            return Ok(());
        }
        let column = |name| grid.column(name).ok_or(Doubtful);
        seen(grid.column("operator"))?;
        let (checks, sides, lines) = (text(column("check")?)?, text(column("side")?)?, text(column("line")?)?);
        let values = Values::new(column("reading_mm")?);
        let repeats = Repeats::new(grid.column("repeat"));
        let arrays = (checks.downcast_iter().next(), sides.downcast_iter().next(), lines.downcast_iter().next());
        let (Some(check_array), Some(side_array), Some(line_array)) = arrays else { return Err(Doubtful) };
        let views = [check_array.views().as_slice(), side_array.views().as_slice(), line_array.views().as_slice()];
        self.add_rows(&Names { views, checks: &checks, lines: &lines }, |view| view.as_u128(), &values, &repeats)
    }

    /// Adds every record of some CSV text.
    pub(super) fn add_plain(&self, text: &PlainCsv<'_>) -> Result<(), Doubtful> {
        let needed = |name| text.place(name).ok_or(Doubtful);
        let (check, side, line, value) = (needed("check")?, needed("side")?, needed("line")?, needed("reading_mm")?);
        let (repeat, operator) = (text.place("repeat"), text.place("operator"));
        let (mut last, mut last_operator) = (String::new(), String::new());
        let mut open: Option<Open<'_, 's>> = None;
        text.try_for_each(|cells| {
            let filled = |place: usize| cells.get(place).copied().filter(|cell| !cell.is_empty());
            let needed = |place| filled(place).ok_or(Doubtful);
            let check = needed(check)?;
            if check != last || open.is_none() {
                // the one before is let go first, so that no thread waits for another while it holds one
                drop(open.take());
                open = Some(self.open(check)?);
                check.clone_into(&mut last);
            }
            let Some(open) = open.as_mut() else { return Err(Doubtful) };
            let side = match needed(side)? {
                "left" => Side::Left,
                "right" => Side::Right,
                _ => return Err(Doubtful),
            };
            let name = needed(line)?;
            let draft = self.wings.drafts.get(open.set).ok_or(Doubtful)?;
            let line = if draft.is_line(open.next, name, side) { open.next } else { self.find(open, name, side)? };
            let reading_mm = Cell::Text(needed(value)?).number(Limit::NotNegative).map_err(|_| Doubtful)?;
            let repeat = repeat.and_then(filled).map_or(Ok(1), |cell| Cell::Text(cell).count());
            if let Some(operator) = operator.and_then(filled).filter(|operator| *operator != last_operator) {
                // one person reads many lines
                if flaw(operator).is_some() {
                    return Err(Doubtful);
                }
                operator.clone_into(&mut last_operator);
            }
            open.add(side, line, reading_mm, repeat.map_err(|_| Doubtful)?)
        })
    }

    fn add_rows<V: Copy>(
        &self,
        names: &Names<'_, V>,
        key: impl Fn(V) -> u128,
        values: &Values<'_>,
        repeats: &Repeats<'_>,
    ) -> Result<(), Doubtful> {
        let [checks, sides, lines] = names.views;
        let mut last = NO_KEY;
        let mut open: Option<Open<'_, 's>> = None;
        for (at, ((check, side), line)) in checks.iter().zip(sides).zip(lines).enumerate() {
            let (check, side, line) = (key(*check), key(*side), key(*line));
            if check != last {
                // the one before is let go first, so that no thread waits for another while it holds one
                drop(open.take());
                open = Some(self.open(names.checks.get(at).ok_or(Doubtful)?)?);
                last = check;
            }
            let Some(open) = open.as_mut() else { return Err(Doubtful) };
            let side = match side {
                key if key == self.sides[0] => Side::Left,
                key if key == self.sides[1] => Side::Right,
                _ => return Err(Doubtful),
            };
            // most rows follow the order of the line set
            let line = match open.table.keys[side.index()].get(open.next) {
                Some(key) if *key == line => open.next,
                _ => self.find(open, names.lines.get(at).ok_or(Doubtful)?, side)?,
            };
            open.add(side, line, values.get(at)?, repeats.get(at)?)?;
        }
        Ok(())
    }

    fn open(&self, check: &str) -> Result<Open<'_, 's>, Doubtful> {
        let index = self.checks.index.get(check).copied().ok_or(Doubtful)?;
        let (entry, sums) = self.checks.entries.get(index).zip(self.sums.get(index)).ok_or(Doubtful)?;
        let set = entry.wing.and_then(|wing| self.wings.entries.get(wing)?.set).ok_or(Doubtful)?;
        let table = self.sets.get(set).ok_or(Doubtful)?;
        let sums = sums.lock().unwrap_or_else(PoisonError::into_inner);
        Ok(Open { entry, set, table, sums, next: 0 })
    }

    /// The line of a row that does not follow the one before.
    fn find(&self, open: &Open<'_, '_>, name: &str, side: Side) -> Result<usize, Doubtful> {
        self.wings.drafts.get(open.set).and_then(|draft| draft.find(name, side)).ok_or(Doubtful)
    }

    /// The sums, by check.
    pub(super) fn finish(self) -> Vec<CheckSums<'s>> {
        self.sums.into_iter().map(|sums| sums.into_inner().unwrap_or_else(PoisonError::into_inner)).collect()
    }
}

/// Who measured is no part of the sums, and is judged as when a table is read whole.
fn seen(operators: Option<&Cells>) -> Result<(), Doubtful> {
    let Some(Cells::Text(operators)) = operators else { return Ok(()) };
    let mut last = "";
    for operator in operators.iter().flatten() {
        // one person reads many lines
        if operator != last {
            last = operator;
            if flaw(operator).is_some() {
                return Err(Doubtful);
            }
        }
    }
    Ok(())
}

/// A column of names as text in one chunk, without an empty cell.
fn text(cells: &Cells) -> Result<Cow<'_, StringChunked>, Doubtful> {
    let column = match cells {
        Cells::Text(column) if column.chunks().len() == 1 => Cow::Borrowed(column),
        Cells::Text(column) => Cow::Owned(column.rechunk().into_owned()),
        Cells::Empty => return Err(Doubtful),
        Cells::Count(_) | Cells::Number(_) | Cells::Day(_) | Cells::Truth(_) => {
            let rows = match cells {
                Cells::Count(column) | Cells::Day(column) => column.len(),
                Cells::Number(column) => column.len(),
                Cells::Truth(column) => column.len(),
                Cells::Text(_) | Cells::Empty => 0,
            };
            let made: Option<Vec<String>> =
                (0..rows).map(|at| cells.get(at).map(|cell| cell.text().into_owned())).collect();
            Cow::Owned(StringChunked::from_slice("".into(), &made.ok_or(Doubtful)?))
        }
    };
    if column.null_count() == 0 { Ok(column) } else { Err(Doubtful) }
}

/// The readings of a piece.
enum Values<'a> {
    /// Numbers without a gap.
    Numbers(&'a [f64]),
    Cells(&'a Cells),
}

impl<'a> Values<'a> {
    fn new(cells: &'a Cells) -> Self {
        match cells {
            Cells::Number(numbers) => numbers.cont_slice().map_or(Self::Cells(cells), Self::Numbers),
            _ => Self::Cells(cells),
        }
    }

    fn get(&self, at: usize) -> Result<f64, Doubtful> {
        match self {
            Self::Numbers(numbers) => {
                let number = Cell::Number(*numbers.get(at).ok_or(Doubtful)?);
                number.number(Limit::NotNegative).map_err(|_| Doubtful)
            }
            Self::Cells(cells) => cells.get(at).and_then(|cell| cell.number(Limit::NotNegative).ok()).ok_or(Doubtful),
        }
    }
}

/// The repeats of a piece.
enum Repeats<'a> {
    /// All are first readings.
    First,
    Numbers(&'a [i64]),
    Cells(&'a Cells),
}

impl<'a> Repeats<'a> {
    fn new(cells: Option<&'a Cells>) -> Self {
        match cells {
            None | Some(Cells::Empty) => Self::First,
            Some(cells @ Cells::Count(numbers)) => numbers.cont_slice().map_or(Self::Cells(cells), Self::Numbers),
            Some(cells) => Self::Cells(cells),
        }
    }

    fn get(&self, at: usize) -> Result<u32, Doubtful> {
        let count = |cell: Cell<'_>| cell.count().map_err(|_| Doubtful);
        match self {
            Self::First => Ok(1),
            Self::Numbers(numbers) => numbers.get(at).map_or(Ok(1), |number| count(Cell::Count(*number))),
            Self::Cells(cells) => cells.get(at).map_or(Ok(1), count),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn short_texts_have_one_key_wherever_they_stand_and_long_ones_none() {
        let texts = ["A1", "left", "right", "", "twelve bytes", "thirteen byte", "1A"];
        let keys = keys_of(&texts);
        let mut turned = texts;
        turned.reverse();
        assert!(keys_of(&turned).iter().rev().eq(&keys));
        assert_eq!((keys[3], keys[5]), (NO_KEY, NO_KEY));
        let mut known: Vec<u128> = keys.iter().copied().filter(|key| *key != NO_KEY).collect();
        known.sort_unstable();
        known.dedup();
        assert_eq!(known.len(), 5);
    }
}
