//! How to read a spreadsheet, and what was read.

use std::fs;
use std::path::{Path, PathBuf};

use super::book::Book;
use super::column::Mapping;
use super::entry::{Entry, LevelMaterial, Sheet};
use super::error::{SpreadsheetError, columns_option, few};
use super::facts::Facts;
use super::gather::{Gathered, Wanted, gather};
use super::grid::Grid;
use super::heading::{Kind, Level};
use super::line::SheetLine;
use super::reader;
use super::row_facts::rows;
use super::words::folded;
use crate::check::Stage;
use crate::check::sheet::LengthUnit;
use crate::wing::RowData;

/// How to read a spreadsheet.
///
/// | setting | default | reason |
/// |---|---|---|
/// | `sheet` | by content | the sheet that holds readings |
/// | `columns` | none | headings are understood by themselves, in five languages |
/// | `unit` | by heading, cell or size | most files say it, and lengths of lines differ enough between units |
/// | `nominal` | in the file | the maker's lengths may be in another file |
/// | `stage` | asked | only where readings before and after adjusting stand side by side |
///
/// ```no_run
/// use linedrift::fleet::spreadsheet::SpreadsheetSpec;
/// let sheet = SpreadsheetSpec::default().read("wing-17.xlsx".as_ref())?;
/// println!("{} lines", sheet.lines().len());
/// # Ok::<(), linedrift::fleet::spreadsheet::SpreadsheetError>(())
/// ```
#[derive(Debug, Clone, Default, PartialEq)]
pub struct SpreadsheetSpec {
    sheet: Option<String>,
    columns: Mapping,
    unit: Option<LengthUnit>,
    nominal: Option<PathBuf>,
    stage: Option<Stage>,
}

/// A spreadsheet, understood.
#[derive(Debug, Clone, PartialEq)]
pub struct Spreadsheet {
    pub(super) file: String,
    pub(super) lines: Vec<SheetLine>,
    pub(super) facts: Facts,
    pub(super) rows: Vec<RowData>,
    pub(super) unit: LengthUnit,
    pub(super) notes: Vec<String>,
    /// Columns that were not understood.
    pub(super) unused: Vec<String>,
    pub(super) stage: Option<Stage>,
}

impl SpreadsheetSpec {
    /// The sheet to read.
    #[must_use]
    pub fn sheet(mut self, name: &str) -> Self {
        self.sheet = Some(name.to_owned());
        self
    }

    /// What a heading of the file's own means: `line`, `row`, `side`, `nominal`, `left`, `right`, `reading`, `main`, …. Several
    /// headings may mean the same; other columns that would by their own headings are then left out.
    #[must_use]
    pub fn column(mut self, what: &str, heading: &str) -> Self {
        self.columns.insert(folded(heading), what.to_owned());
        self
    }

    /// The headings that are set, folded, and what they mean.
    pub(super) fn columns(&self) -> &Mapping {
        &self.columns
    }

    setters! {
        /// The unit of lengths that say none.
        unit: LengthUnit => Some;
    }

    /// A file with the maker's lengths.
    #[must_use]
    pub fn nominal(mut self, file: &Path) -> Self {
        self.nominal = Some(file.to_owned());
        self
    }

    setters! {
        /// Which readings are meant, where those before and after adjusting stand side by side.
        stage: Stage => Some;
    }

    /// Reads a file: .xlsx, .xlsm, .xlsb, .xls, .ods or text with commas, semicolons or tabs.
    ///
    /// # Errors
    /// [`SpreadsheetError`] when the file cannot be read, cells are at fault, or the data can be read in two ways.
    pub fn read(&self, path: &Path) -> Result<Spreadsheet, SpreadsheetError> {
        let file = path.display().to_string();
        let bytes = bytes(path, &file)?;
        let nominal = match &self.nominal {
            Some(path) => Some(NominalFile { file: path.display().to_string(), bytes: bytes_of(path)? }),
            None => None,
        };
        self.read_bytes(&file, &bytes, nominal)
    }

    /// The same of a file's bytes; `file` is what it is called in messages.
    ///
    /// # Errors
    /// As [`SpreadsheetSpec::read`].
    pub fn read_bytes(
        &self,
        file: &str,
        bytes: &[u8],
        nominal: Option<NominalFile>,
    ) -> Result<Spreadsheet, SpreadsheetError> {
        let book = Book::read(file, bytes)?;
        let mut notes = book.notes.clone();
        let mut facts = Facts::default();
        let grids: Vec<&Grid> = book.sheets.iter().filter(|grid| !grid.is_blank()).collect();
        if grids.is_empty() {
            return Err(SpreadsheetError::file(file, "holds no cells: is it the right file?"));
        }
        let chosen = self.chosen(file, &grids)?;
        for grid in &chosen {
            facts.read(grid);
        }
        let mut sheets: Vec<Sheet> =
            chosen.iter().enumerate().map(|(at, grid)| reader::read(grid, at, &self.columns)).collect();
        if sheets.iter().all(|sheet| sheet.entries.is_empty() && sheet.faults.is_empty()) {
            // lines from left to right
            let turned: Vec<Grid> = chosen.iter().map(|grid| grid.turned()).collect();
            let other: Vec<Sheet> =
                turned.iter().enumerate().map(|(at, grid)| reader::read(grid, at, &self.columns)).collect();
            if other.iter().any(|sheet| !sheet.entries.is_empty()) {
                notes.push("the lines ran from left to right: the table was turned".to_owned());
                sheets = other;
            }
        }
        self.keep_readings(file, &grids, &mut sheets, &mut notes)?;
        if let Some(nominal) = nominal {
            Self::put_nominal(self, &nominal, &mut sheets, &mut facts, &mut notes)?;
        }
        sizes(file, &sheets)?;
        facts.day_of_a_title(&chosen, &mut notes);
        let unit = self.unit.or(facts.unit);
        let unused: Vec<String> = sheets.iter().flat_map(|sheet| sheet.unused.clone()).collect();
        say_left_out(&sheets, &unused, &mut notes);
        let rows = rows(&sheets, &facts, &mut notes);
        let named_sheets = sheets.iter().filter(|sheet| !sheet.entries.is_empty() && !sheet.name.is_empty()).count();
        if grids.len() > 1 && named_sheets == 1 {
            let name = sheets.iter().find(|sheet| !sheet.entries.is_empty()).map(|sheet| sheet.name.clone());
            notes.push(format!("read from sheet `{}`, of {}", name.unwrap_or_default(), grids.len()));
        }
        indents(&mut sheets);
        notes.extend(sheets.iter_mut().flat_map(|sheet| std::mem::take(&mut sheet.notes)));
        let mut levels = facts.materials.clone();
        levels.extend(sheets.iter().flat_map(|sheet| sheet.levels.clone()));
        let wanted = Wanted { file, unit, stage: self.stage };
        let Gathered { mut lines, unit, notes: found, stage } = gather(sheets, wanted)?;
        lines.iter_mut().for_each(|line| materials(line, &levels));
        notes.extend(found);
        if !facts.unread.is_empty() {
            notes.push(format!("not understood: {}", facts.unread.join(", ")));
        }
        Ok(Spreadsheet { file: file.to_owned(), lines, facts, rows, unit, notes, unused, stage })
    }

    /// The sheets to look at.
    fn chosen<'a>(&self, file: &str, grids: &[&'a Grid]) -> Result<Vec<&'a Grid>, SpreadsheetError> {
        let Some(name) = &self.sheet else { return Ok(grids.to_vec()) };
        let own = |grid: &&&Grid| grid.name.trim().eq_ignore_ascii_case(name.trim());
        match grids.iter().find(own) {
            Some(grid) => Ok(vec![*grid]),
            None => Err(SpreadsheetError::question(
                file,
                format!("there is no sheet `{name}`: which is meant?"),
                grids.iter().map(|grid| format!("--sheet \"{}\"", grid.name)),
            )),
        }
    }

    /// Of sheets with readings of the same lines one must be named. With a sheet named, the maker's lengths may still stand
    /// on another.
    fn keep_readings(
        &self,
        file: &str,
        grids: &[&Grid],
        sheets: &mut Vec<Sheet>,
        notes: &mut Vec<String>,
    ) -> Result<(), SpreadsheetError> {
        let has = |sheet: &Sheet, kind: Kind| {
            sheet.entries.iter().flat_map(|entry| &entry.values).any(|value| value.kind == Some(kind))
        };
        if self.sheet.is_some() && sheets.iter().all(|sheet| !has(sheet, Kind::Nominal)) {
            let others = grids.iter().enumerate().filter(|(_, grid)| {
                self.sheet.as_ref().is_some_and(|name| !grid.name.trim().eq_ignore_ascii_case(name.trim()))
            });
            for (at, grid) in others {
                let mut other = reader::read(grid, at + 1, &self.columns);
                if has(&other, Kind::Nominal) {
                    keep_nominal(&mut other);
                    other.faults.clear();
                    notes.push(format!("the maker's lengths are from sheet `{}`", grid.name));
                    // places in `sheets` are what entries are told apart by
                    let place = sheets.len();
                    other.entries.iter_mut().for_each(|entry| entry.sheet = place);
                    sheets.push(other);
                    break;
                }
            }
        }
        let with: Vec<usize> = (0..sheets.len())
            .filter(|at| {
                sheets[*at]
                    .entries
                    .iter()
                    .flat_map(|entry| &entry.values)
                    .any(|value| value.kind == Some(Kind::Reading))
            })
            .collect();
        for (nth, first) in with.iter().enumerate() {
            for second in with.iter().skip(nth + 1) {
                if share_a_line(&sheets[*first], &sheets[*second]) {
                    let names: Vec<String> =
                        with.iter().map(|at| format!("--sheet \"{}\"", sheets[*at].name)).collect();
                    return Err(SpreadsheetError::question(
                        file,
                        format!("{} sheets hold readings of the same lines: which is meant?", with.len()),
                        names,
                    ));
                }
            }
        }
        Ok(())
    }

    fn put_nominal(
        &self,
        nominal: &NominalFile,
        sheets: &mut Vec<Sheet>,
        facts: &mut Facts,
        notes: &mut Vec<String>,
    ) -> Result<(), SpreadsheetError> {
        let book = Book::read(&nominal.file, &nominal.bytes)?;
        let mut lines = 0;
        for sheet in sheets.iter_mut() {
            for entry in &mut sheet.entries {
                entry.values.retain(|value| value.kind != Some(Kind::Nominal));
            }
        }
        for grid in &book.sheets {
            let place = sheets.len();
            let mut read = reader::read(grid, place, &self.columns);
            if !read.faults.is_empty() {
                return Err(SpreadsheetError::Cells { file: nominal.file.clone(), cells: read.faults });
            }
            for value in read.entries.iter_mut().flat_map(|entry| &mut entry.values) {
                // the one column of lengths is the maker's
                if matches!(value.kind, Some(Kind::Length) | None) && value.of.is_none() {
                    value.kind = Some(Kind::Nominal);
                }
            }
            keep_nominal(&mut read);
            lines += read.entries.len();
            read.name =
                format!("{} of {}", if read.name.is_empty() { "the table" } else { &read.name }, nominal.file);
            sheets.push(read);
            facts.read(grid);
        }
        if lines == 0 {
            return Err(SpreadsheetError::file(
                &nominal.file,
                "holds no lines with the maker's lengths: it needs a header such as `Line, Nominal [mm]`",
            ));
        }
        notes.push(format!("the maker's lengths are from `{}`", nominal.file));
        Ok(())
    }
}

/// A file with the maker's lengths.
#[derive(Debug, Clone, PartialEq)]
pub struct NominalFile {
    /// What it is called in messages.
    pub file: String,
    /// Its content.
    pub bytes: Vec<u8>,
}

fn bytes_of(path: &Path) -> Result<Vec<u8>, SpreadsheetError> {
    bytes(path, &path.display().to_string())
}

fn bytes(path: &Path, file: &str) -> Result<Vec<u8>, SpreadsheetError> {
    let is_file = fs::metadata(path).map(|meta| meta.is_file());
    match is_file {
        Ok(true) => {}
        Ok(false) => return Err(SpreadsheetError::file(file, "is no file: name the spreadsheet itself")),
        Err(error) => return Err(SpreadsheetError::file(file, format!("cannot be read: {error}"))),
    }
    fs::read(path).map_err(|error| SpreadsheetError::file(file, format!("cannot be read: {error}")))
}

fn keep_nominal(sheet: &mut Sheet) {
    for entry in &mut sheet.entries {
        entry.values.retain(|value| {
            !matches!(value.kind, Some(Kind::Reading | Kind::Deviation | Kind::Expected | Kind::Last))
        });
    }
}

fn share_a_line(one: &Sheet, other: &Sheet) -> bool {
    let read = |sheet: &Sheet| -> Vec<(String, Option<crate::wing::Side>)> {
        let of = |entry: &Entry| {
            let name = format!("{:?} {}", entry.row, super::line::plain(&entry.name));
            let sides = entry.values.iter().filter(|value| value.kind == Some(Kind::Reading));
            sides.map(|value| (name.clone(), value.side.or(entry.side))).collect::<Vec<_>>()
        };
        sheet.entries.iter().flat_map(of).collect()
    };
    let there = read(other);
    read(one).iter().any(|key| there.contains(key))
}

/// Names that are indented hang on the last name that is less so.
fn indents(sheets: &mut [Sheet]) {
    for sheet in sheets {
        if sheet.entries.iter().all(|entry| entry.indent == 0) {
            continue;
        }
        let mut above: Vec<(usize, String)> = Vec::new();
        for entry in &mut sheet.entries {
            above.retain(|(indent, _)| *indent < entry.indent);
            if entry.parent.is_none() {
                entry.parent = above.last().map(|(_, name)| name.clone());
            }
            above.push((entry.indent, entry.name.clone()));
        }
    }
}

/// Refuses lengths for several sizes of a model.
fn sizes(file: &str, sheets: &[Sheet]) -> Result<(), SpreadsheetError> {
    let sizes: Vec<&String> = sheets.iter().flat_map(|sheet| &sheet.sizes).collect();
    if sizes.is_empty() {
        return Ok(());
    }
    let options = sizes.iter().map(|title| columns_option("nominal", title));
    Err(SpreadsheetError::question(
        file,
        "the maker's lengths are there for several sizes: which size is it?",
        options,
    ))
}

/// Materials that are said of storeys, where the line's own row says none.
fn materials(line: &mut SheetLine, levels: &[LevelMaterial]) {
    for said in levels {
        let is_of = |level: Level| said.level.is_none_or(|own| own == level);
        let place = [
            (Level::Upper, &mut line.material),
            (Level::Middle, &mut line.middle.material),
            (Level::Main, &mut line.main.material),
        ];
        for (_, material) in place.into_iter().filter(|(level, material)| is_of(*level) && material.is_none()) {
            *material = Some(said.material.clone());
        }
    }
}

fn say_left_out(sheets: &[Sheet], unused: &[String], notes: &mut Vec<String>) {
    if !unused.is_empty() {
        notes.push(format!("not used: {}", unused.join(", ")));
    }
    let totals: Vec<String> = sheets.iter().flat_map(|sheet| sheet.totals.clone()).collect();
    if !totals.is_empty() {
        notes.push(format!("left out as totals: {}", few(&totals)));
    }
    let stray: Vec<String> = sheets.iter().flat_map(|sheet| sheet.stray.clone()).collect();
    if !stray.is_empty() {
        notes.push(format!("numbers outside the tables were not used: {}", few(&stray)));
    }
}
