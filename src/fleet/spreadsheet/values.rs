//! Values in their lines: each length where it belongs, and what does not fit together as a question.

use std::collections::{BTreeMap, HashMap};

use super::entry::Sheet;
use super::error::{SpreadsheetError, columns_option, few};
use super::grid::place;
use super::heading::{Kind, Level};
use super::lengths::{Lengths, Placed, name_of};
use super::line::{SheetLine, SheetReading};
use crate::check::sheet::LengthUnit;
use crate::wing::{Row, Side};

/// A value with its line.
pub(super) struct LineValue {
    pub(super) line: usize,
    pub(super) side: Option<Side>,
    pub(super) kind: Kind,
    pub(super) of: Option<Level>,
    pub(super) repeat: u32,
    pub(super) operator: Option<String>,
    pub(super) placed: Placed,
}

/// Puts the values into their lines.
pub(super) fn put(
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
            Kind::Length => {
                let piece = match value.of {
                    Some(Level::Main) => &mut line.main.length_mm,
                    Some(Level::Middle) => &mut line.middle.length_mm,
                    Some(Level::Upper) | None => &mut line.piece_mm,
                };
                *piece = piece.or(Some(mm));
            }
            Kind::Tolerance => {
                let unit = value.placed.unit.unwrap_or(LengthUnit::Millimetre);
                let own = value.placed.amount.value.abs() * unit.mm();
                if line.tolerance_mm.is_some_and(|there| (there - own).abs() > 1e-9) {
                    return Err(SpreadsheetError::question(
                        file,
                        format!("line {} has two tolerances: which is right?", line.name),
                        [
                            columns_option("tolerance", &value.placed.title),
                            columns_option("remark", &value.placed.title),
                        ],
                    ));
                }
                line.tolerance_mm = Some(own);
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

/// Asks of a column `Length` beside those of mains whether it is the whole line, where it may be.
pub(super) fn whole_or_piece(values: &[LineValue], lines: &[SheetLine], file: &str) -> Result<(), SpreadsheetError> {
    let bare = values.iter().find(|value| value.kind == Kind::Length && value.of.is_none());
    let Some(bare) = bare.filter(|_| lines.iter().all(|line| line.nominal_mm.iter().all(Option::is_none))) else {
        return Ok(());
    };
    let below = |line: &SheetLine| line.main.length_mm.unwrap_or(0.0) + line.middle.length_mm.unwrap_or(0.0);
    if lines.iter().any(|line| line.piece_mm.is_some_and(|own| own <= below(line))) {
        return Ok(());
    }
    let title = &bare.placed.title;
    Err(SpreadsheetError::question(
        file,
        format!("is column `{title}` the whole line, or its piece above the others?"),
        [columns_option("nominal", title), columns_option("upper length", title)],
    ))
}

/// Says which columns were taken as repeats.
pub(super) fn say_repeats(values: &[LineValue], notes: &mut Vec<String>) {
    let most = values.iter().filter(|value| value.kind == Kind::Reading).map(|value| value.repeat).max();
    if let Some(most) = most.filter(|most| *most > 1) {
        notes.push(format!("lines were read {most} times: readings with a number are repeats in one check"));
    }
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
pub(super) fn from_deviations(
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
pub(super) fn mixed_units(lines: &[SheetLine], file: &str) -> Result<(), SpreadsheetError> {
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
    let of_row = |row: Row| {
        lines.iter().filter(move |line| line.row == row).filter_map(|line| Some((line, line.nominal_on(Side::Left)?)))
    };
    let longest_of = |row: Row| of_row(row).map(|(_, mm)| mm).fold(0.0, f64::max);
    let rows = || Row::ALL.into_iter().filter(|row| row.is_trim());
    let longest = rows().map(longest_of).fold(0.0, f64::max);
    // lines of a row are alike in length; rows differ less than a main and a whole line
    let short: Vec<String> = rows()
        .flat_map(|row| of_row(row).filter(move |(_, mm)| *mm < longest_of(row) / 2.0 || *mm < longest / 3.0))
        .map(|(line, _)| line.name.clone())
        .collect();
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

pub(super) fn say_units(values: &[LineValue], lengths: &Lengths<'_>, unit: LengthUnit, notes: &mut Vec<String>) {
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
