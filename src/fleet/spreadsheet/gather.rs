//! The lines of all tables together.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use super::entry::{Entry, Sheet, Value};
use super::error::SpreadsheetError;
use super::grid::place;
use super::heading::{Key, Kind, When};
use super::lengths::{Lengths, Placed, name_of};
use super::line::{SheetLine, SheetReading, plain};
use super::line_name::sided;
use crate::check::Stage;
use crate::check::sheet::LengthUnit;
use crate::wing::{Row, Side};

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

/// A value with its line.
struct LineValue {
    line: usize,
    side: Option<Side>,
    kind: Kind,
    of: Option<Key>,
    repeat: u32,
    operator: Option<String>,
    placed: Placed,
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
    for kind in [Kind::Nominal, Kind::Reading, Kind::Expected, Kind::Length] {
        let all: Vec<&Placed> = values
            .iter()
            .filter(|value| value.kind == kind && value.of.is_none())
            .map(|value| &value.placed)
            .collect();
        lengths.settle(kind, &all)?;
    }
    if !lengths.faults.is_empty() {
        return Err(SpreadsheetError::Cells { file: file.to_owned(), cells: lengths.faults });
    }
    put(&values, &mut lines, &lengths, &sheets, file)?;
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

/// Names such as `A1L` and `A1R`: where no column says the side, the names do.
fn sides_in_names(sheets: &mut [Sheet], notes: &mut Vec<String>) {
    let no_side = |entry: &Entry| {
        entry.side.is_none()
            && entry
                .values
                .iter()
                .any(|value| value.side.is_none() && matches!(value.kind, Some(Kind::Reading | Kind::Length) | None))
    };
    for sheet in sheets {
        let at: Vec<usize> = (0..sheet.entries.len()).filter(|at| no_side(&sheet.entries[*at])).collect();
        let names: Vec<&str> = at.iter().map(|at| sheet.entries[*at].name.as_str()).collect();
        if names.len() < 4 {
            continue;
        }
        let Some(found) = sided(&names) else { continue };
        let first = (sheet.entries[at[0]].name.clone(), found[0].clone());
        notes.push(format!("the side is in the names: `{}` is {} on the {}", first.0, first.1.name, first.1.side));
        for (at, one) in at.into_iter().zip(found) {
            let entry = &mut sheet.entries[at];
            entry.side = Some(one.side);
            entry.name = one.name;
            for value in &mut entry.values {
                if value.kind.is_none() {
                    value.kind = Some(Kind::Reading);
                }
            }
        }
    }
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
        main: None,
        middle: None,
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
    set(&mut line.main, &entry.main);
    set(&mut line.middle, &entry.middle);
    set(&mut line.parent, &entry.parent);
    set(&mut line.material, &entry.material);
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
    let mut read: BTreeMap<(usize, u32), String> = BTreeMap::new();
    for value in &entry.values {
        let side = value.side.or(entry.side);
        let kind = match (value.kind, side) {
            (Some(Kind::Length), Some(_)) if value.of.is_none() => Kind::Reading,
            (Some(Kind::Length), None) if value.of.is_none() && has_nominal => Kind::Reading,
            (Some(Kind::Length), None) if value.of.is_none() => Kind::Nominal,
            (Some(kind), _) => kind,
            (None, Some(_)) => Kind::Reading,
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
                        format!("--columns left=\"{}\" (or right=…)", value.title),
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
                        format!("--columns {side}=\"{other}\""),
                        format!("--columns {side}=\"{}\"", value.title),
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

/// Puts the values into their lines.
fn put(
    values: &[LineValue],
    lines: &mut [SheetLine],
    lengths: &Lengths<'_>,
    sheets: &[Sheet],
    file: &str,
) -> Result<(), SpreadsheetError> {
    let mut seen: HashMap<(usize, Side, u32, Option<&str>), &LineValue> = HashMap::new();
    for value in values {
        let mm = lengths.mm(value.kind, &value.placed);
        let line = &mut lines[value.line];
        let sides: &[Side] = match &value.side {
            Some(side) => std::slice::from_ref(side),
            None => &Side::BOTH,
        };
        let lengths_of = |line: &mut [Option<f64>; 2]| -> Option<f64> {
            for side in sides {
                let place = &mut line[side.index()];
                match *place {
                    Some(there) if (there - mm).abs() > 0.05 => return Some(there),
                    _ => *place = Some(mm),
                }
            }
            None
        };
        match value.kind {
            Kind::Nominal if value.of.is_none() => {
                if let Some(there) = lengths_of(&mut line.nominal_mm) {
                    return Err(SpreadsheetError::question(
                        file,
                        format!(
                            "line {} has two lengths of the maker, {there} mm and {mm} mm: which is right?",
                            line.name
                        ),
                        ["keep one of them", "name the sheet that is meant by --sheet"],
                    ));
                }
            }
            Kind::Expected => {
                lengths_of(&mut line.expected_mm);
            }
            Kind::Length => line.piece_mm = line.piece_mm.or(Some(mm)),
            Kind::Tolerance => {
                let unit = value.placed.unit.unwrap_or(LengthUnit::Millimetre);
                line.tolerance_mm = Some(value.placed.amount.value.abs() * unit.mm());
            }
            Kind::Span => line.span = Some(value.placed.amount.value).filter(|span| (0.0..=1.0).contains(span)),
            Kind::Chord => line.chord = Some(value.placed.amount.value).filter(|chord| (0.0..=1.0).contains(chord)),
            Kind::Reading => {
                let Some(side) = value.side else { continue };
                let key = (value.line, side, value.repeat, value.operator.as_deref());
                if let Some(before) = seen.insert(key, value) {
                    return Err(twice(file, &line.name, side, before, value, sheets));
                }
                line.readings.push(SheetReading {
                    side,
                    reading_mm: mm,
                    repeat: value.repeat,
                    operator: value.operator.clone(),
                    place: place(value.placed.row, value.placed.column),
                });
            }
            _ => {}
        }
    }
    Ok(())
}

fn twice(
    file: &str,
    line: &str,
    side: Side,
    before: &LineValue,
    value: &LineValue,
    sheets: &[Sheet],
) -> SpreadsheetError {
    let (one, other) = (&before.placed, &value.placed);
    let name = |at: usize| sheets.get(at).map(|sheet| sheet.name.clone()).unwrap_or_default();
    if one.sheet != other.sheet {
        return SpreadsheetError::question(
            file,
            format!(
                "sheets `{}` and `{}` both hold readings of line {line}: which is meant?",
                name(one.sheet),
                name(other.sheet)
            ),
            [format!("--sheet \"{}\"", name(one.sheet)), format!("--sheet \"{}\"", name(other.sheet))],
        );
    }
    let what = if one.table == other.table { "appears twice" } else { "is in two tables" };
    SpreadsheetError::question(
        file,
        format!(
            "line {line} {what} on the {side} ({} in {}, {} in {}): which is meant?",
            one.text,
            place(one.row, one.column),
            other.text,
            place(other.row, other.column)
        ),
        [
            "keep one of the two, or move the other to another sheet",
            "add a column `repeat` with 1 and 2 if the lines were read twice",
        ],
    )
}

/// Where there are deviations and no readings: a reading is the maker's length and its deviation.
fn from_deviations(
    values: &[LineValue],
    lines: &mut [SheetLine],
    lengths: &Lengths<'_>,
    file: &str,
    notes: &mut Vec<String>,
) -> Result<(), SpreadsheetError> {
    let deviations: Vec<&LineValue> =
        values.iter().filter(|value| value.kind == Kind::Deviation && value.side.is_some()).collect();
    if deviations.is_empty() || lines.iter().any(|line| !line.readings.is_empty()) {
        return Ok(());
    }
    let nominal = values.iter().find(|value| value.kind == Kind::Nominal);
    let in_mm = nominal.is_some_and(|value| lengths.unit(Kind::Nominal, &value.placed) == LengthUnit::Millimetre);
    for value in &deviations {
        let unit = match value.placed.unit {
            Some(unit) => unit,
            None if in_mm => LengthUnit::Millimetre,
            None => {
                return Err(SpreadsheetError::question(
                    file,
                    format!("in what unit are the deviations of column `{}`?", value.placed.title),
                    ["write it into the heading, such as `left deviation [mm]`"],
                ));
            }
        };
        let line = &mut lines[value.line];
        let Some(side) = value.side else { continue };
        let Some(nominal_mm) = line.nominal_on(side) else { continue };
        line.readings.push(SheetReading {
            side,
            reading_mm: ((nominal_mm + value.placed.amount.value * unit.mm()) * 1e3).round() / 1e3,
            repeat: value.repeat,
            operator: value.operator.clone(),
            place: place(value.placed.row, value.placed.column),
        });
    }
    notes.push("the file holds deviations: each reading is the maker's length with its deviation".to_owned());
    Ok(())
}

/// Refuses a file whose lengths are partly in another unit. Single ones are left for the search for doubtful readings.
fn mixed_units(lines: &[SheetLine], file: &str) -> Result<(), SpreadsheetError> {
    let mut other: BTreeMap<i32, Vec<String>> = BTreeMap::new();
    let mut count = 0;
    for line in lines {
        for reading in &line.readings {
            let Some(nominal_mm) = line.nominal_on(reading.side) else { continue };
            count += 1;
            let power = (reading.reading_mm / nominal_mm).log10();
            let whole = power.round();
            #[allow(clippy::cast_possible_truncation, reason = "a power of ten of two lengths below 30 m")]
            if whole != 0.0 && (power - whole).abs() < 0.05 {
                other.entry(whole as i32).or_default().push(reading.place.clone());
            }
        }
    }
    for (power, places) in &other {
        if places.len() > 2 && places.len() * 20 > count {
            let what = match power {
                -1 => "a tenth of",
                -2 => "a hundredth of",
                -3 => "a thousandth of",
                1 => "ten times",
                2 => "a hundred times",
                _ => "a thousand times",
            };
            return Err(SpreadsheetError::question(
                file,
                format!(
                    "units are mixed: {} of {count} readings are {what} the maker's length ({})",
                    places.len(),
                    few(places)
                ),
                ["write all lengths in one unit", "write the unit into each heading, such as `left [cm]`"],
            ));
        }
    }
    let of_rows: Vec<(&SheetLine, f64)> = lines
        .iter()
        .filter(|line| line.row.is_trim())
        .filter_map(|line| Some((line, line.nominal_on(Side::Left)?)))
        .collect();
    let longest = of_rows.iter().map(|(_, mm)| *mm).fold(0.0, f64::max);
    let short: Vec<String> =
        of_rows.iter().filter(|(_, mm)| *mm < longest / 6.0).map(|(line, _)| line.name.clone()).collect();
    if !short.is_empty() {
        return Err(SpreadsheetError::question(
            file,
            format!(
                "lines of rows A to D differ more in length than those of a wing do ({}, and others of {longest} mm): are units mixed, or are \
                 these pieces of lines?",
                few(&short)
            ),
            ["write all lengths in one unit", "give whole lines, from riser to canopy"],
        ));
    }
    Ok(())
}

fn say_units(values: &[LineValue], lengths: &Lengths<'_>, unit: LengthUnit, notes: &mut Vec<String>) {
    let by_size: Vec<&str> = lengths.by_size.iter().map(|kind| name_of(*kind)).collect();
    let is_named = values.iter().any(|value| value.placed.unit == Some(unit));
    if !by_size.is_empty() && !is_named {
        notes.push(format!("no unit is named: {unit} by the size of the {}", by_size.join(" and the ")));
    }
    let nominal = values
        .iter()
        .find(|value| value.kind == Kind::Nominal)
        .map(|value| lengths.unit(Kind::Nominal, &value.placed));
    if let Some(nominal) = nominal.filter(|nominal| *nominal != unit) {
        notes.push(format!("the maker's lengths are in {nominal}, the readings in {unit}"));
    }
}

/// The first of some names, and how many more there are.
pub(super) fn few(names: &[String]) -> String {
    let shown: Vec<&str> = names.iter().take(6).map(String::as_str).collect();
    match names.len().saturating_sub(6) {
        0 => shown.join(", "),
        more => format!("{} and {more} more", shown.join(", ")),
    }
}
