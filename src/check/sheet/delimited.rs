//! Delimited text with a header: comma, semicolon or tab, quotes, any line ends.

use super::Found;
use crate::wing::is_formula;

/// One row of cells, with its number in the text.
#[derive(Debug, Clone)]
pub(super) struct Record {
    pub(super) row: usize,
    cells: Vec<String>,
}

/// A text taken apart.
#[derive(Debug, Clone)]
pub(super) struct Delimited {
    pub(super) header: Vec<String>,
    header_row: usize,
    pub(super) records: Vec<Record>,
}

/// A column that was looked up.
#[derive(Debug, Clone)]
pub(super) struct Column {
    pub(super) name: String,
    at: usize,
}

impl Record {
    /// The cell of a column, without spaces around it; empty when the row is too short.
    pub(super) fn cell(&self, column: &Column) -> &str {
        self.cells.get(column.at).map_or("", |cell| cell.trim())
    }
}

impl Delimited {
    /// Takes a text apart. Empty lines and a first line such as `sep=;` are skipped, but counted.
    pub(super) fn read(text: &str, found: &mut Found) -> Self {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let mut start = 0;
        let mut first_row = 1;
        let mut told = None;
        if let Some(rest) = text.get(..4).filter(|head| head.eq_ignore_ascii_case("sep=")).and_then(|_| text.get(4..))
        {
            told = rest.chars().next();
            start = text.find('\n').map_or(text.len(), |end| end + 1);
            first_row = 2;
        }
        let body = text.get(start..).unwrap_or_default();
        let delimiter = told.filter(|told| [',', ';', '\t'].contains(told)).unwrap_or_else(|| delimiter(body));
        let mut records = split(body, delimiter, first_row, found);
        records.retain(|record| record.cells.iter().any(|cell| !cell.trim().is_empty()));
        if records.is_empty() {
            found.add(first_row, "", "", "a header row");
            return Self { header: Vec::new(), header_row: first_row, records };
        }
        let head = records.remove(0);
        let header: Vec<String> = head.cells.iter().map(|name| name.trim().to_owned()).collect();
        for record in &records {
            let extra = record.cells.iter().skip(header.len()).find(|cell| !cell.trim().is_empty());
            if let Some(extra) = extra {
                found.add(
                    record.row,
                    "",
                    extra,
                    format!(
                        "{} cells as in the header, got {} (a decimal comma in a file with commas between the cells?)",
                        header.len(),
                        record.cells.len()
                    ),
                );
            }
        }
        Self { header, header_row: head.row, records }
    }

    /// The column of one of the names.
    pub(super) fn optional(&self, names: &[&str]) -> Option<Column> {
        names.iter().find_map(|name| {
            let at = self.header.iter().position(|known| known == name)?;
            Some(Column { name: (*name).to_owned(), at })
        })
    }

    /// The column of one of the names; a fault when there is none.
    pub(super) fn required(&self, names: &[&str], found: &mut Found) -> Option<Column> {
        let column = self.optional(names);
        if column.is_none()
            && !self.header.is_empty()
            && let Some(name) = names.first()
        {
            found.add(self.header_row, name, &self.header.join(" "), format!("a column `{name}`"));
        }
        column
    }
}

/// The delimiter that stands most often in the first line that is not empty.
fn delimiter(body: &str) -> char {
    let line = body.lines().find(|line| !line.trim().is_empty()).unwrap_or_default();
    let count = |what: char| line.matches(what).count();
    let mut best = ',';
    for candidate in [';', '\t'] {
        if count(candidate) > count(best) {
            best = candidate;
        }
    }
    best
}

fn split(body: &str, delimiter: char, first_row: usize, found: &mut Found) -> Vec<Record> {
    let mut records = Vec::new();
    let mut cells = Vec::new();
    let mut cell = String::new();
    let mut quoted_from = None;
    let mut row = first_row;
    let mut begins = first_row;
    let mut letters = body.chars().peekable();
    while let Some(letter) = letters.next() {
        if quoted_from.is_some() {
            match letter {
                '"' if letters.peek() == Some(&'"') => {
                    letters.next();
                    cell.push('"');
                }
                '"' => quoted_from = None,
                _ => {
                    row += usize::from(letter == '\n');
                    cell.push(letter);
                }
            }
            continue;
        }
        match letter {
            '"' if cell.trim().is_empty() => {
                cell.clear();
                quoted_from = Some(row);
            }
            '\r' if letters.peek() == Some(&'\n') => {}
            '\n' | '\r' => {
                cells.push(std::mem::take(&mut cell));
                records.push(Record { row: begins, cells: std::mem::take(&mut cells) });
                row += 1;
                begins = row;
            }
            _ if letter == delimiter => cells.push(std::mem::take(&mut cell)),
            _ => cell.push(letter),
        }
    }
    if let Some(from) = quoted_from {
        found.add(from, "", "\"", "a closing quotation mark");
    }
    if !(cell.is_empty() && cells.is_empty()) {
        cells.push(cell);
        records.push(Record { row: begins, cells });
    }
    records
}

/// Marks a name that a spreadsheet would run as a formula, so that it stays text.
const GUARD: char = '\'';

/// The name within a cell that may have been marked so.
pub(super) fn unguarded(cell: &str) -> &str {
    cell.strip_prefix(GUARD).filter(|name| is_formula(name)).unwrap_or(cell)
}
