//! The `readings` table, the only long one: no look-up by hash and no allocation where a row follows from the one before.

use std::collections::{BTreeSet, HashSet};

use super::checks::Checks;
use super::line_draft::LineDraft;
use super::reading_pieces::ReadingPieces;
use super::wings::Wings;
use crate::check::Reading;
use crate::fleet::read::alike::report_hidden_in;
use crate::fleet::read::cell::{Cell, Limit};
use crate::fleet::read::csv::FIRST_ROW;
use crate::fleet::read::fault::FaultList;
use crate::fleet::read::grid::{Cells, Grid, Record};
use crate::wing::Side;

/// Reads all pieces of `readings` into the checks; gives the columns that nobody asked for.
pub(crate) fn read_readings(
    pieces: &ReadingPieces,
    wings: &Wings,
    checks: &mut Checks,
    faults: &mut FaultList,
) -> BTreeSet<String> {
    let mut readings: Vec<Vec<Reading>> = Vec::new();
    readings.resize_with(checks.entries.len(), Vec::new);
    let left_out = judge_readings(pieces, wings, checks, faults, |check, row| {
        let Some(known) = readings.get_mut(check) else { return };
        if known.capacity() == 0 {
            known.reserve_exact(row.places);
        }
        let Row { side, line, reading_mm, repeat, .. } = row;
        let operator = row.operator.map(|cell| cell.text().into_owned());
        known.push(Reading { side, line, reading_mm, repeat, operator });
    });
    for (entry, readings) in checks.entries.iter_mut().zip(readings) {
        entry.check.readings = readings;
    }
    report_duplicates(pieces, wings, checks, &with_duplicates(checks), faults);
    left_out
}

/// Judges every row of all pieces in their order, and gives the sound ones to `sink`, with the index of their check.
pub(crate) fn judge_readings(
    pieces: &ReadingPieces,
    wings: &Wings,
    checks: &Checks,
    faults: &mut FaultList,
    mut sink: impl FnMut(usize, Row<'_>),
) -> BTreeSet<String> {
    let mut last = LastCheck::default();
    pieces.for_each(faults, |grid, faults| {
        report_hidden_in(grid, &["operator"], faults);
        if grid.first_row == FIRST_ROW {
            last = LastCheck::default();
        }
        read_grid(grid, wings, checks, &mut last, faults, &mut sink);
    })
}

/// One reading, as it is in its row.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Row<'a> {
    pub(crate) side: Side,
    pub(crate) line: usize,
    pub(crate) reading_mm: f64,
    pub(crate) repeat: u32,
    pub(crate) operator: Option<Cell<'a>>,
    /// Lines of the wing, both sides.
    pub(crate) places: usize,
}

/// The check of the last row of the piece before, so that an unknown one is named once where its rows stand together.
#[derive(Debug, Default)]
struct LastCheck(Option<String>);

/// The check that the last row belonged to.
#[derive(Clone, Copy)]
struct Known<'a> {
    cell: Cell<'a>,
    check: Option<usize>,
    draft: Option<&'a LineDraft>,
    /// Index of the line read last.
    line: usize,
}

/// Judges every row of a piece and gives the sound ones to `sink`, with the index of their check.
fn read_grid<'a>(
    grid: &'a Grid,
    wings: &'a Wings,
    checks: &Checks,
    last_check: &mut LastCheck,
    faults: &mut FaultList,
    sink: &mut impl FnMut(usize, Row<'a>),
) {
    let column = |name| grid.column(name).unwrap_or(&Cells::Empty);
    let has = |name| grid.column(name).is_some();
    let (check_cells, side_cells, line_cells, value_cells) =
        (column("check"), column("side"), column("line"), column("reading_mm"));
    let (repeat_cells, operator_cells) = (column("repeat"), column("operator"));
    let all_there = has("check") && has("side") && has("line") && has("reading_mm");
    let mut last: Option<Known<'a>> = None;
    for at in 0..grid.height {
        let record = Record { grid, at };
        let (Some(check), Some(side), Some(line), Some(value)) =
            (check_cells.get(at), side_cells.get(at), line_cells.get(at), value_cells.get(at))
        else {
            report_empty(record, all_there, faults);
            continue;
        };
        let mut known = match last {
            Some(known) if known.cell == check => known,
            _ => {
                let goes_on = last.is_none() && last_check.0.as_deref() == Some(check.text().as_ref());
                let known = find_check(check, wings, checks);
                if known.check.is_none() && checks.whole && !goes_on {
                    record.fault(faults, "check", format_args!("a check that `checks` has"));
                }
                known
            }
        };
        let side = match side {
            Cell::Text("left") => Some(Side::Left),
            Cell::Text("right") => Some(Side::Right),
            _ => {
                record.fault(faults, "side", format_args!("left, right"));
                None
            }
        };
        let index = known.draft.zip(side).and_then(|(draft, side)| {
            let found = find_line(draft, line, side, known.line);
            match found {
                Some(index) => known.line = index,
                None => report_line(record, draft, line, side, faults),
            }
            found
        });
        last = Some(known);
        let reading_mm = match value.number(Limit::NotNegative) {
            Ok(reading_mm) => Some(reading_mm),
            Err(expected) => {
                record.fault(faults, "reading_mm", format_args!("{expected}"));
                None
            }
        };
        let repeat = match repeat_cells.get(at).map_or(Ok(1), Cell::count) {
            Ok(repeat) => repeat,
            Err(expected) => {
                record.fault(faults, "repeat", format_args!("{expected}"));
                continue;
            }
        };
        let (Some(side), Some(line), Some(reading_mm)) = (side, index, reading_mm) else { continue };
        if let Some(check) = known.check {
            let places = known.draft.map_or(0, |draft| 2 * draft.line_count());
            sink(check, Row { side, line, reading_mm, repeat, operator: operator_cells.get(at), places });
        }
    }
    if let Some(known) = last {
        last_check.0 = Some(known.cell.text().into_owned());
    }
}

fn find_check<'a>(cell: Cell<'a>, wings: &'a Wings, checks: &Checks) -> Known<'a> {
    let check = checks.index.get(cell.text().as_ref()).copied();
    let wing = check.and_then(|check| checks.entries.get(check)).and_then(|entry| entry.wing);
    Known { cell, check, draft: wing.and_then(|wing| wings.draft_of(wing)), line: 0 }
}

/// The line, tried first where it stands when rows follow the line set's order.
fn find_line(draft: &LineDraft, cell: Cell<'_>, side: Side, last: usize) -> Option<usize> {
    let name = cell.text();
    if draft.is_line(last + 1, &name, side) {
        return Some(last + 1);
    }
    if draft.is_line(last, &name, side) {
        return Some(last);
    }
    draft.find(&name, side)
}

fn report_line(record: Record<'_>, draft: &LineDraft, line: Cell<'_>, side: Side, faults: &mut FaultList) {
    let model = &draft.model;
    let other = side.mirror();
    if draft.find(&line.text(), other).is_some() {
        record.fault(faults, "side", format_args!("{other}: model `{model}` has line `{line}` only there"));
    } else if draft.whole {
        record.fault(faults, "line", format_args!("a line of model `{model}`"));
    }
}

/// Empty cells; a column that is missing altogether has been reported with the header.
fn report_empty(record: Record<'_>, all_there: bool, faults: &mut FaultList) {
    for name in ["check", "side", "line", "reading_mm"] {
        if all_there && record.text(name).is_none() {
            record.fault(faults, name, format_args!("a value (the cell is empty)"));
        }
    }
}

/// The checks in which a line has the same repeat more than once on one side.
fn with_duplicates(checks: &Checks) -> HashSet<usize> {
    let mut keys: Vec<(usize, usize, u32)> = Vec::new();
    let mut twice = HashSet::new();
    for (at, entry) in checks.entries.iter().enumerate() {
        keys.clear();
        keys.extend(entry.check.readings.iter().map(|reading| (reading.side.index(), reading.line, reading.repeat)));
        // most tables come in order, where the sort is one pass
        keys.sort_unstable();
        if keys.windows(2).any(|pair| matches!(pair, [one, other] if one == other)) {
            twice.insert(at);
        }
    }
    twice
}

/// Each line once per check, side and repeat: reports the rows of the checks `twice` that repeat an earlier one.
pub(crate) fn report_duplicates(
    pieces: &ReadingPieces,
    wings: &Wings,
    checks: &Checks,
    twice: &HashSet<usize>,
    faults: &mut FaultList,
) {
    if twice.is_empty() {
        return;
    }
    let mut seen: HashSet<(usize, usize, Side, u32)> = HashSet::new();
    // what cannot be read has been noted
    pieces.for_each(&mut FaultList::default(), |grid, _| {
        for record in grid.records() {
            let check = record.text("check").and_then(|check| checks.index.get(check.as_ref()).copied());
            let Some(check) = check.filter(|check| twice.contains(check)) else { continue };
            let draft = checks.entries.get(check).and_then(|entry| wings.draft_of(entry.wing?));
            let Some(draft) = draft else { continue };
            let Some(side) = record.text("side").and_then(|side| side.parse::<Side>().ok()) else { continue };
            let Some(line) = record.text("line").and_then(|line| draft.find(&line, side)) else { continue };
            let cell = |name| record.grid.column(name).and_then(|cells| cells.get(record.at));
            let Ok(repeat) = cell("repeat").map_or(Ok(1), Cell::count) else { continue };
            if cell("reading_mm").is_some_and(|value| value.number(Limit::NotNegative).is_ok())
                && !seen.insert((check, line, side, repeat))
            {
                let expected = format_args!("each line once per check and side, or a `repeat` of its own");
                record.fault(faults, "line", expected);
            }
        }
    });
}
