//! A file as sheets of cells: .xlsx, .xlsm, .xlsb, .xls and .ods through calamine, text through `csv`.

use std::io::Cursor;

use calamine::{CellErrorType, Data, DataRef, Dimensions, ExcelDateTime, Ods, Reader, SheetVisible, Xls, Xlsb, Xlsx};
use jiff::civil::Date;

use super::super::read::guard::guarded;
use super::archive::{self, Kind};
use super::delimited;
use super::error::SpreadsheetError;
use super::grid::{Cell, Grid, Merge};

/// Largest file that is read, bytes.
const LARGEST_FILE: usize = 32 << 20;
/// Most rows and columns of a sheet that are looked at.
const MOST_ROWS: usize = 20_000;
const MOST_COLUMNS: usize = 1_000;

/// A file, as far as its cells go.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Book {
    pub(super) sheets: Vec<Grid>,
    /// What there is to say about the file.
    pub(super) notes: Vec<String>,
}

const DAMAGED: &str = "is damaged: open it in a spreadsheet program, and save it again as .xlsx";

impl Book {
    /// Reads a file's bytes; what it is is seen by its content, not by its name.
    pub(super) fn read(file: &str, bytes: &[u8]) -> Result<Self, SpreadsheetError> {
        if bytes.len() > LARGEST_FILE {
            let size = bytes.len() >> 20;
            return Err(SpreadsheetError::file(
                file,
                format!("has {size} MB, more than the 32 MB that are read: keep one wing's sheet, and save it alone"),
            ));
        }
        let kind = archive::kind(file, bytes)?;
        // the decoders are of others: what makes one of them panic is a damaged file
        let read = guarded(|| match kind {
            Kind::Text => delimited::read(file, bytes),
            Kind::Xlsx { .. } => xlsx(file, bytes),
            Kind::Xlsb => xlsb(file, bytes),
            Kind::Xls => xls(file, bytes),
            Kind::Ods => ods(file, bytes),
        });
        let mut book = read.unwrap_or_else(|| Err(SpreadsheetError::file(file, DAMAGED)))?;
        if matches!(kind, Kind::Xlsx { macros: true }) {
            book.notes
                .push("the file has macros: none was run, and the cells are as they were last saved".to_owned());
        }
        Ok(book)
    }
}

/// A sheet while it is filled.
struct Filling<'a> {
    file: &'a str,
    grid: Grid,
}

impl<'a> Filling<'a> {
    fn new(file: &'a str, name: &str) -> Self {
        Self { file, grid: Grid::new(name) }
    }

    fn put(&mut self, at: (u32, u32), cell: Cell) -> Result<(), SpreadsheetError> {
        if cell.is_empty() {
            return Ok(());
        }
        let (row, column) = (at.0 as usize, at.1 as usize);
        if row >= MOST_ROWS || column >= MOST_COLUMNS {
            let name = &self.grid.name;
            return Err(SpreadsheetError::file(
                self.file,
                format!(
                    "is too large: sheet `{name}` has a value in row {}, column {}, and {MOST_ROWS} rows of {MOST_COLUMNS} \
                     columns are read: keep one wing's table, and save it alone",
                    row + 1,
                    column + 1
                ),
            ));
        }
        self.grid.put(row, column, cell);
        Ok(())
    }

    fn done(mut self, merges: Option<Vec<Dimensions>>) -> Grid {
        self.grid.merges = merges
            .unwrap_or_default()
            .into_iter()
            .map(|one| Merge {
                top: one.start.0 as usize,
                left: one.start.1 as usize,
                bottom: one.end.0 as usize,
                right: one.end.1 as usize,
            })
            .collect();
        self.grid
    }
}

fn damaged<E>(file: &str) -> impl Fn(E) -> SpreadsheetError + '_ {
    move |_| SpreadsheetError::file(file, DAMAGED)
}

/// Names of the sheets that are seen, and a note of those that are not.
fn seen<R: Reader<Cursor<Vec<u8>>>>(book: &R, notes: &mut Vec<String>) -> Vec<String> {
    let (shown, hidden): (Vec<_>, Vec<_>) =
        book.sheets_metadata().iter().partition(|sheet| sheet.visible == SheetVisible::Visible);
    if !hidden.is_empty() {
        let names: Vec<String> = hidden.iter().map(|sheet| format!("`{}`", sheet.name)).collect();
        notes.push(format!("hidden sheets were not read: {}", names.join(", ")));
    }
    shown.iter().map(|sheet| sheet.name.clone()).collect()
}

fn xlsx(file: &str, bytes: &[u8]) -> Result<Book, SpreadsheetError> {
    let mut book = Xlsx::new(Cursor::new(bytes.to_vec())).map_err(damaged(file))?;
    let mut notes = Vec::new();
    let mut sheets = Vec::new();
    for name in seen(&book, &mut notes) {
        let merges = book.merge_cells_by_sheet_name(&name).ok();
        let mut filling = Filling::new(file, &name);
        // a sheet of figures has no cells
        {
            let Ok(mut formulas) = book.worksheet_cells_reader(&name) else { continue };
            while let Some(cell) = formulas.next_formula().map_err(damaged(file))? {
                if !cell.get_value().is_empty() {
                    filling.put(cell.get_position(), Cell::Unworked)?;
                }
            }
        }
        let mut cells = book.worksheet_cells_reader(&name).map_err(damaged(file))?;
        while let Some(cell) = cells.next_cell().map_err(damaged(file))? {
            filling.put(cell.get_position(), of_ref(cell.get_value()))?;
        }
        sheets.push(filling.done(merges));
    }
    Ok(Book { sheets, notes })
}

fn xlsb(file: &str, bytes: &[u8]) -> Result<Book, SpreadsheetError> {
    let mut book = Xlsb::new(Cursor::new(bytes.to_vec())).map_err(damaged(file))?;
    let mut notes = Vec::new();
    let mut sheets = Vec::new();
    for name in seen(&book, &mut notes) {
        let mut filling = Filling::new(file, &name);
        let Ok(mut cells) = book.worksheet_cells_reader(&name) else { continue };
        while let Some(cell) = cells.next_cell().map_err(damaged(file))? {
            filling.put(cell.get_position(), of_ref(cell.get_value()))?;
        }
        sheets.push(filling.done(None));
    }
    Ok(Book { sheets, notes })
}

fn xls(file: &str, bytes: &[u8]) -> Result<Book, SpreadsheetError> {
    let mut book = Xls::new(Cursor::new(bytes.to_vec())).map_err(|error| match error {
        calamine::XlsError::Password => SpreadsheetError::file(file, archive::LOCKED),
        _ => SpreadsheetError::file(file, DAMAGED),
    })?;
    let mut notes = Vec::new();
    let mut sheets = Vec::new();
    for name in seen(&book, &mut notes) {
        let merges = book.merge_cells_by_sheet_name(&name).ok();
        sheets.push(whole(file, &name, &book.worksheet_range(&name).map_err(damaged(file))?, merges)?);
    }
    Ok(Book { sheets, notes })
}

fn ods(file: &str, bytes: &[u8]) -> Result<Book, SpreadsheetError> {
    let mut book = Ods::new(Cursor::new(bytes.to_vec())).map_err(|error| match error {
        calamine::OdsError::Password => SpreadsheetError::file(file, archive::LOCKED),
        _ => SpreadsheetError::file(file, DAMAGED),
    })?;
    let mut notes = Vec::new();
    let mut sheets = Vec::new();
    for name in seen(&book, &mut notes) {
        sheets.push(whole(file, &name, &book.worksheet_range(&name).map_err(damaged(file))?, None)?);
    }
    Ok(Book { sheets, notes })
}

fn whole(
    file: &str,
    name: &str,
    range: &calamine::Range<Data>,
    merges: Option<Vec<Dimensions>>,
) -> Result<Grid, SpreadsheetError> {
    let mut filling = Filling::new(file, name);
    let (top, left) = range.start().unwrap_or_default();
    for (row, column, value) in range.used_cells() {
        let at = (top.saturating_add(number(row)), left.saturating_add(number(column)));
        filling.put(at, of_data(value))?;
    }
    Ok(filling.done(merges))
}

fn number(at: usize) -> u32 {
    u32::try_from(at).unwrap_or(u32::MAX)
}

fn of_data(value: &Data) -> Cell {
    match value {
        Data::Empty => Cell::Empty,
        Data::Int(whole) => Cell::Number(*whole as f64),
        Data::Float(value) => finite(*value),
        Data::String(text) => Cell::Text(text.clone()),
        Data::Bool(truth) => Cell::Text(truth.to_string()),
        Data::DateTime(moment) => of_moment(moment),
        Data::DateTimeIso(text) => of_iso(text),
        Data::DurationIso(text) => of_span(text),
        Data::Error(error) => of_error(error),
    }
}

fn of_ref(value: &DataRef<'_>) -> Cell {
    match value {
        DataRef::Empty => Cell::Empty,
        DataRef::Int(whole) => Cell::Number(*whole as f64),
        DataRef::Float(value) => finite(*value),
        DataRef::String(text) => Cell::Text(text.clone()),
        DataRef::SharedString(text) => Cell::Text((*text).to_owned()),
        DataRef::Bool(truth) => Cell::Text(truth.to_string()),
        DataRef::DateTime(moment) => of_moment(moment),
        DataRef::DateTimeIso(text) => of_iso(text),
        DataRef::DurationIso(text) => of_span(text),
        DataRef::Error(error) => of_error(error),
    }
}

fn finite(value: f64) -> Cell {
    if value.is_finite() { Cell::Number(value) } else { Cell::Error("a number without end".to_owned()) }
}

fn of_error(error: &CellErrorType) -> Cell {
    Cell::Error(error.to_string())
}

fn of_moment(moment: &ExcelDateTime) -> Cell {
    if moment.is_duration() {
        return Cell::Hours(moment.as_f64() * 24.0);
    }
    let (year, month, day, ..) = moment.to_ymd_hms_milli();
    let date = i16::try_from(year).ok().zip(i8::try_from(month).ok()).zip(i8::try_from(day).ok());
    match date.and_then(|((year, month), day)| Date::new(year, month, day).ok()) {
        Some(date) => Cell::Day(date),
        None => Cell::Number(moment.as_f64()),
    }
}

fn of_iso(text: &str) -> Cell {
    match text.get(..10).unwrap_or(text).parse::<Date>() {
        Ok(date) => Cell::Day(date),
        Err(_) => Cell::Text(text.to_owned()),
    }
}

/// `PT62H30M00S`, in hours.
fn of_span(text: &str) -> Cell {
    let mut hours = 0.0;
    let mut digits = String::new();
    for letter in text.trim_start_matches("PT").chars() {
        if letter.is_ascii_digit() || letter == '.' {
            digits.push(letter);
            continue;
        }
        let Ok(value) = std::mem::take(&mut digits).parse::<f64>() else { return Cell::Text(text.to_owned()) };
        hours += match letter {
            'H' => value,
            'M' => value / 60.0,
            'S' => value / 3600.0,
            _ => return Cell::Text(text.to_owned()),
        };
    }
    Cell::Hours(hours)
}
