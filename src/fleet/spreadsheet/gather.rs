//! The lines of all tables together.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use super::entry::{Entry, Sheet, Value};
use super::error::{SpreadsheetError, columns_option, few};
use super::grid::place;
use super::heading::{Kind, Level, When};
use super::lengths::{Lengths, Placed};
use super::line::{SheetLine, SheetPiece, plain};
use super::names::{mains_among_lines, mains_in_names, sides_in_names, two_meanings};
use super::values::{LineValue, from_deviations, mixed_units, put, say_repeats, say_units, whole_or_piece};
use crate::check::Stage;
use crate::check::sheet::LengthUnit;
use crate::wing::Row;

/// What is asked of the tables.
#[derive(Debug, Clone, Copy)]
pub(super) struct Wanted<'a> {
    pub(super) file: &'a str,
    pub(super) unit: Option<LengthUnit>,
    pub(super) stage: Option<Stage>,
}

/// The lines, and what there is to say.
#[derive(Debug, Clone, Default)]
pub(super) struct Gathered {
    pub(super) lines: Vec<SheetLine>,
    pub(super) unit: LengthUnit,
    pub(super) notes: Vec<String>,
    /// Whether names were put together from rows and numbers.
    pub(super) stage: Option<Stage>,
}

/// Puts the entries of all sheets together, line by line.
pub(super) fn gather(mut sheets: Vec<Sheet>, wanted: Wanted<'_>) -> Result<Gathered, SpreadsheetError> {
    let file = wanted.file;
    let faults: Vec<_> = sheets.iter_mut().flat_map(|sheet| std::mem::take(&mut sheet.faults)).collect();
    if !faults.is_empty() {
        return Err(SpreadsheetError::Cells { file: file.to_owned(), cells: faults });
    }
    let mut notes = Vec::new();
    sides_in_names(&mut sheets, &mut notes);
    mains_in_names(&mut sheets, &mut notes);
    two_meanings(file, &sheets)?;
    mains_among_lines(file, &sheets)?;
    let stage = stage(&sheets, wanted)?;
    let mut lengths = Lengths::new(file, &sheets, wanted.unit)?;
    let mut lines: Vec<SheetLine> = Vec::new();
    let mut index: HashMap<String, usize> = HashMap::new();
    let mut values: Vec<LineValue> = Vec::new();
    let mut named = false;
    let is_read = |value: &Value| value.kind == Some(Kind::Reading) || value.kind.is_none();
    let reads = |sheet: &Sheet| sheet.entries.iter().flat_map(|entry| &entry.values).any(is_read);
    let has_readings = sheets.iter().any(reads);
    // names are spelled as the maker spells them, where his lengths stand elsewhere
    let (measured, maker): (Vec<&Sheet>, Vec<&Sheet>) = sheets.iter().partition(|sheet| reads(sheet));
    for entry in maker.iter().chain(&measured).flat_map(|sheet| &sheet.entries) {
        let Some((name, row)) = name_and_row(entry, &mut lengths, &mut named) else { continue };
        let at = *index.entry(plain(&name)).or_insert_with(|| {
            lines.push(blank(&name, row, entry));
            lines.len() - 1
        });
        fill(&mut lines[at], entry);
        take(entry, at, &Taking { sheets: &sheets, stage, file, has_readings }, &mut lengths, &mut values)?;
    }
    if named {
        notes.push(
            "lines are numbers in the file: they are named by their row and number (S stabilo, K brake)".to_owned(),
        );
    }
    say_repeats(&values, &mut notes);
    for kind in [Kind::Nominal, Kind::Reading, Kind::Expected] {
        let all: Vec<&Placed> = values
            .iter()
            .filter(|value| value.kind == kind && value.of.is_none())
            .map(|value| &value.placed)
            .collect();
        lengths.settle(kind, &all)?;
    }
    lengths.follow(Kind::Length);
    if !lengths.faults.is_empty() {
        return Err(SpreadsheetError::Cells { file: file.to_owned(), cells: lengths.faults });
    }
    put(&values, &mut lines, &lengths, &sheets, file)?;
    whole_or_piece(&values, &lines, file)?;
    from_deviations(&values, &mut lines, &lengths, file, &mut notes)?;
    mixed_units(&lines, file)?;
    let unit = values
        .iter()
        .find(|value| value.kind == Kind::Reading)
        .or_else(|| values.iter().find(|value| value.kind == Kind::Nominal))
        .map_or(LengthUnit::Millimetre, |value| lengths.unit(value.kind, &value.placed));
    say_units(&values, &lengths, unit, &mut notes);
    if !lengths.zeros.is_empty() {
        notes.push(format!("a zero is no length, and is taken as not read: {}", few(&lengths.zeros)));
    }
    Ok(Gathered { lines, unit, notes, stage })
}

/// Whether values from before and after adjusting stand side by side, and which are wanted.
fn stage(sheets: &[Sheet], wanted: Wanted<'_>) -> Result<Option<Stage>, SpreadsheetError> {
    let whens: BTreeSet<u8> = sheets
        .iter()
        .flat_map(|sheet| &sheet.entries)
        .flat_map(|entry| &entry.values)
        .filter(|value| matches!(value.kind, Some(Kind::Reading) | None))
        .filter_map(|value| value.when)
        .map(|when| u8::from(when == When::After))
        .collect();
    match (whens.len(), wanted.stage) {
        (2, None) => Err(SpreadsheetError::question(
            wanted.file,
            "it has readings from before and from after adjusting: which are meant?",
            ["--stage as_found for those before", "--stage as_left for those after"],
        )),
        (2, Some(stage)) => Ok(Some(stage)),
        _ => Ok(None),
    }
}

/// The name of an entry's line, and its row; a fault where it has none.
fn name_and_row(entry: &Entry, lengths: &mut Lengths<'_>, named: &mut bool) -> Option<(String, Row)> {
    let number = entry.name.trim().parse::<u32>();
    let Some(row) = entry.row else {
        lengths.fault(
            entry,
            0,
            &entry.name,
            "a line whose row is known: a name that begins with A, B, C, D, S or stabilo, K, F, BR or brake, a column `row`, or \
             the row as a title above",
        );
        return None;
    };
    match number {
        Ok(number) => {
            *named = true;
            let letter = match row {
                Row::Stabilo => "S",
                Row::Brake => "K",
                other => other.name(),
            };
            Some((format!("{letter}{number}"), row))
        }
        Err(_) => Some((entry.name.clone(), row)),
    }
}

fn blank(name: &str, row: Row, entry: &Entry) -> SheetLine {
    SheetLine {
        name: name.to_owned(),
        row,
        nominal_mm: [None; 2],
        expected_mm: [None; 2],
        readings: Vec::new(),
        main: SheetPiece::default(),
        middle: SheetPiece::default(),
        parent: None,
        material: None,
        tolerance_mm: None,
        span: None,
        chord: None,
        rank: None,
        piece_mm: None,
        place: place(entry.grid_row, 0),
    }
}

fn fill(line: &mut SheetLine, entry: &Entry) {
    let set = |place: &mut Option<String>, value: &Option<String>| {
        if place.is_none() {
            *place = value.as_ref().map(|value| value.trim().to_owned());
        }
    };
    set(&mut line.main.name, &entry.main);
    set(&mut line.middle.name, &entry.middle);
    set(&mut line.parent, &entry.parent);
    let [own, middle, main] = &entry.materials;
    set(&mut line.material, own);
    set(&mut line.middle.material, middle);
    set(&mut line.main.material, main);
    line.rank = line.rank.or(entry.rank);
}

/// How numbers are taken.
struct Taking<'a> {
    sheets: &'a [Sheet],
    stage: Option<Stage>,
    file: &'a str,
    has_readings: bool,
}

/// Takes the numbers of an entry.
fn take(
    entry: &Entry,
    line: usize,
    how: &Taking<'_>,
    lengths: &mut Lengths<'_>,
    values: &mut Vec<LineValue>,
) -> Result<(), SpreadsheetError> {
    let (file, stage) = (how.file, how.stage);
    let has_nominal = entry.values.iter().any(|value| value.kind == Some(Kind::Nominal));
    // beside the lengths of mains and middle lines, a length is that of the piece above them
    let has_pieces = entry.values.iter().any(|value| matches!(value.of, Some(Level::Main | Level::Middle)));
    let mut read: BTreeMap<(usize, u32), String> = BTreeMap::new();
    for value in &entry.values {
        let side = value.side.or(entry.side);
        let kind = match (value.kind, side) {
            (Some(Kind::Length), _) if value.of.is_some() || has_pieces => Kind::Length,
            (Some(Kind::Length) | None, Some(_)) => Kind::Reading,
            (Some(Kind::Length), None) if has_nominal => Kind::Reading,
            (Some(Kind::Length), None) => Kind::Nominal,
            (Some(kind), _) => kind,
            (None, None) => return Err(what_is_it(file, entry, value, how.sheets)),
        };
        if kind == Kind::Reading
            && let (Some(stage), Some(when)) = (stage, value.when)
            && (stage == Stage::AsLeft) != (when == When::After)
        {
            continue;
        }
        // worked out of the others, or of an earlier check
        if kind == Kind::Last || kind == Kind::Deviation && how.has_readings {
            continue;
        }
        let known = Value { kind: Some(kind), ..value.clone() };
        let Some(placed) = lengths.number(entry, &known) else { continue };
        let mut repeat = entry.repeat.unwrap_or(1);
        if kind == Kind::Reading {
            let Some(side) = side else {
                return Err(SpreadsheetError::question(
                    file,
                    format!("which side are the readings of column `{}` of?", value.title),
                    [
                        format!("{} (or right=…)", columns_option("left", &value.title)),
                        "a column `side` with left and right".to_owned(),
                        "columns `left` and `right`".to_owned(),
                    ],
                ));
            };
            if entry.repeat.is_none() {
                repeat = value.repeat.filter(|number| (1..20).contains(number)).unwrap_or(1);
            }
            if let Some(other) = read.insert((side.index(), repeat), value.title.clone()) {
                return Err(SpreadsheetError::question(
                    file,
                    format!("two columns hold readings of the {side}: which is meant?"),
                    [
                        columns_option(side.name(), &other),
                        columns_option(side.name(), &value.title),
                        "number them (1, 2) if the lines were read twice".to_owned(),
                    ],
                ));
            }
        }
        values.push(LineValue { line, side, kind, of: value.of, repeat, operator: entry.operator.clone(), placed });
    }
    Ok(())
}

fn what_is_it(file: &str, entry: &Entry, value: &Value, sheets: &[Sheet]) -> SpreadsheetError {
    let sheet = sheets.get(entry.sheet).map(|sheet| sheet.name.as_str()).unwrap_or_default();
    let on = if sheet.is_empty() { String::new() } else { format!(" on sheet `{sheet}`") };
    SpreadsheetError::question(
        file,
        format!(
            "what are the numbers below `{}`{on} (such as {} in {})?",
            value.title,
            value.cell.shown(),
            place(entry.grid_row, value.column)
        ),
        ["write `nominal`, `left` or `right` as a title above that table".to_owned()],
    )
}
