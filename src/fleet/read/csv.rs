//! CSV files: records and their places by the crate `csv`; whether they have the shape of their header, and their cells as text.

use std::convert::Infallible;

use csv::{ByteRecord, ReaderBuilder, Terminator};
use polars::prelude::StringChunkedBuilder;

use super::fault::FaultList;
use super::grid::{Cells, Grid, Selection};
use crate::fleet::schema::TableSchema;

/// A table has some dozen columns; more than this is another kind of file.
const MOST_COLUMNS: usize = 1000;
/// Bytes of one record, at most: more is a quote that was opened and not closed, and would fill the memory.
pub(crate) const LONGEST_RECORD: usize = 64 << 20;
/// Row of the first record: the header is row 1.
pub(crate) const FIRST_ROW: usize = 2;
pub(crate) const BYTE_ORDER_MARK: &[u8] = b"\xEF\xBB\xBF";

/// Reads a CSV file's bytes. `None`: nothing of it can be used; the faults say why.
pub(crate) fn read_csv(bytes: &[u8], schema: TableSchema, extra: &[String], faults: &mut FaultList) -> Option<Grid> {
    Some(CsvText::read(bytes, FIRST_ROW, schema, extra, faults)?.grid(faults))
}

/// The header of CSV text, judged, and its records.
pub(crate) struct CsvText<'a> {
    table: &'static str,
    bytes: &'a [u8],
    /// Row of the first record.
    first_row: usize,
    columns: usize,
    chosen: Selection,
}

impl<'a> CsvText<'a> {
    /// The header and some records of a CSV file, of which the first is in row `first_row`. `None`: nothing of it can be used;
    /// the faults say why.
    pub(crate) fn read(
        bytes: &'a [u8],
        first_row: usize,
        schema: TableSchema,
        extra: &[String],
        faults: &mut FaultList,
    ) -> Option<Self> {
        let table = schema.name;
        let bytes = bytes.strip_prefix(BYTE_ORDER_MARK).unwrap_or(bytes);
        let row_of = |at: usize| match bytes.iter().take(at).filter(|byte| **byte == b'\n').count() {
            0 => 1,
            before => before + first_row - 1,
        };
        if let Err(error) = std::str::from_utf8(bytes) {
            let row = row_of(error.valid_up_to());
            faults.add(table, row, "", "", format_args!("text in UTF-8 (save the table as CSV UTF-8)"));
            return None;
        }
        if let Some(at) = memchr::memchr(0, bytes) {
            faults.add(table, row_of(at), "", "", format_args!("text in UTF-8 without zero bytes (UTF-16 has them)"));
            return None;
        }
        let header = header(bytes, table, faults)?;
        // a later piece has the header of the first, which has been judged
        let mut judged = FaultList::default();
        let of_header = if first_row == FIRST_ROW { &mut *faults } else { &mut judged };
        let chosen = Selection::new(table, &header, schema, extra, of_header);
        Some(Self { table, bytes, first_row, columns: header.len(), chosen })
    }

    /// Place of a column in a record.
    pub(crate) fn place(&self, name: &str) -> Option<usize> {
        self.chosen.wanted.iter().find(|(_, known)| known == name).map(|(place, _)| *place)
    }

    /// Columns that nobody asked for.
    pub(crate) fn left_out(self) -> Vec<String> {
        self.chosen.left_out
    }

    /// Calls `visit` with the row and the cells of every record that has the fields of the header, until it fails, and says whether
    /// all have them; what is wrong with the others is noted.
    pub(crate) fn try_for_each<E>(
        &self,
        faults: &mut FaultList,
        mut visit: impl FnMut(usize, &Fields<'_>) -> Result<(), E>,
    ) -> Result<bool, E> {
        let mut records = Records::new(self.bytes);
        let mut whole = records.next().is_some();
        let mut row = self.first_row - 1;
        while let Some(piece) = records.next() {
            row += 1 + piece.blank_lines;
            if piece.is_blank() {
                continue;
            }
            let fields = records.fields(&piece);
            if piece.line.len() > LONGEST_RECORD {
                whole = false;
                too_long(self.table, row, piece.line, faults);
            } else if let Some(fields) = fields.filter(|_| piece.fields == self.columns && !piece.torn) {
                visit(row, &fields)?;
            } else {
                whole = false;
                complain(&piece, self.columns, self.table, row, faults);
            }
        }
        Ok(whole)
    }

    /// All cells that are wanted.
    pub(crate) fn grid(self, faults: &mut FaultList) -> Grid {
        let mut cells: Vec<StringChunkedBuilder> =
            self.chosen.wanted.iter().map(|_| StringChunkedBuilder::new("".into(), 0)).collect();
        let (mut height, mut rows) = (0, Vec::new());
        let done = self.try_for_each(faults, |row, fields| -> Result<(), Infallible> {
            for ((place, _), cells) in self.chosen.wanted.iter().zip(&mut cells) {
                cells.append_option(Some(fields.get(*place)).filter(|cell| !cell.is_empty()));
            }
            if rows.is_empty() && row != height + self.first_row {
                rows.extend(self.first_row..self.first_row + height);
            }
            if row != height + self.first_row {
                rows.push(row);
            }
            height += 1;
            Ok(())
        });
        let Ok(whole) = done;
        let columns = self.chosen.wanted.into_iter().zip(cells).map(|((_, name), cells)| {
            let cells = cells.finish();
            (name, if height == 0 { Cells::Empty } else { Cells::Text(cells) })
        });
        Grid {
            name: self.table.to_owned(),
            columns: columns.collect(),
            height,
            first_row: self.first_row,
            rows: (!rows.is_empty()).then_some(rows),
            whole,
            left_out: self.chosen.left_out,
        }
    }
}

/// The names in the header, where it is one.
fn header(bytes: &[u8], table: &str, faults: &mut FaultList) -> Option<Vec<String>> {
    let mut records = Records::new(bytes);
    let Some(head) = records.next().filter(|head| head.blank_lines == 0 && !head.is_blank()) else {
        faults.add(table, 1, "", "", format_args!("a header row (the file is empty)"));
        return None;
    };
    if head.line.len() > LONGEST_RECORD {
        too_long(table, 1, head.line, faults);
        return None;
    }
    let header = records.names(&head);
    if let (Some(only), 1) = (header.first(), header.len())
        && let Some(name) = [(';', "semicolons"), ('\t', "tabs")].iter().find(|(mark, _)| only.contains(*mark))
    {
        faults.add(table, 1, "", only, format_args!("commas between the columns (this file has {})", name.1));
        return None;
    }
    if head.line.contains(&b'\r') {
        let ends = format_args!("lines that end with LF or CRLF (these end with CR alone)");
        faults.add(table, 1, "", String::from_utf8_lossy(head.line), ends);
        return None;
    }
    if header.len() > MOST_COLUMNS {
        let found = header.len();
        faults.add(table, 1, "", found, format_args!("at most {MOST_COLUMNS} columns (here {found})"));
        return None;
    }
    Some(header)
}

/// One record.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Piece<'a> {
    /// Empty lines before it.
    pub(crate) blank_lines: usize,
    /// Its bytes without the line end.
    pub(crate) line: &'a [u8],
    pub(crate) fields: usize,
    /// A quote that opens or closes inside a field.
    pub(crate) torn: bool,
    /// Whether its line ends with CRLF.
    crlf: bool,
}

impl Piece<'_> {
    /// Whether nothing is in it.
    pub(crate) fn is_blank(&self) -> bool {
        self.fields == 1 && self.line.trim_ascii().is_empty()
    }
}

/// The cells of a record.
pub(crate) struct Fields<'a> {
    text: &'a str,
    record: &'a ByteRecord,
    crlf: bool,
}

impl<'a> Fields<'a> {
    pub(crate) fn get(&self, place: usize) -> &'a str {
        let cell = self.record.range(place).and_then(|range| self.text.get(range)).unwrap_or_default();
        if self.crlf && place + 1 == self.record.len() { cell.strip_suffix('\r').unwrap_or(cell) } else { cell }
    }
}

/// The records of a file, one after the other.
pub(crate) struct Records<'a> {
    bytes: &'a [u8],
    reader: csv::Reader<&'a [u8]>,
    record: ByteRecord,
    at: usize,
    has_quotes: bool,
}

impl<'a> Records<'a> {
    pub(crate) fn new(bytes: &'a [u8]) -> Self {
        // a CR alone ends no line
        let mut builder = ReaderBuilder::new();
        builder.has_headers(false).flexible(true).terminator(Terminator::Any(b'\n'));
        let has_quotes = memchr::memchr(b'"', bytes).is_some();
        Self { bytes, reader: builder.from_reader(bytes), record: ByteRecord::new(), at: 0, has_quotes }
    }

    /// Where the next record begins, or empty lines before it.
    pub(crate) fn place(&self) -> usize {
        self.at
    }

    pub(crate) fn next(&mut self) -> Option<Piece<'a>> {
        // bytes in memory are read without a fault
        self.reader.read_byte_record(&mut self.record).ok().filter(|is_there| *is_there)?;
        let until = usize::try_from(self.reader.position().byte()).ok()?;
        let raw = self.bytes.get(self.at..until)?;
        self.at = until;
        let blank_lines = raw.iter().take_while(|byte| **byte == b'\n').count();
        let line = raw.get(blank_lines..).unwrap_or_default();
        let line = line.strip_suffix(b"\n").unwrap_or(line);
        let crlf = line.ends_with(b"\r");
        let line = line.strip_suffix(b"\r").unwrap_or(line);
        let torn = self.has_quotes && line.contains(&b'"') && is_torn(line);
        Some(Piece { blank_lines, line, fields: self.record.len(), torn, crlf })
    }

    /// The cells of the record that was read last, where they are text.
    fn fields(&self, piece: &Piece<'_>) -> Option<Fields<'_>> {
        let text = std::str::from_utf8(self.record.as_slice()).ok()?;
        Some(Fields { text, record: &self.record, crlf: piece.crlf })
    }

    /// The same as names of columns.
    pub(crate) fn names(&self, piece: &Piece<'_>) -> Vec<String> {
        let Some(fields) = self.fields(piece) else { return Vec::new() };
        // the crate leaves out a mark at the beginning, where a file has no second one
        let mark = if self.bytes.starts_with(BYTE_ORDER_MARK) { "\u{feff}" } else { "" };
        (0..piece.fields)
            .map(|at| if at == 0 { format!("{mark}{}", fields.get(at)) } else { fields.get(at).to_owned() })
            .collect()
    }
}

/// Whether quotes stand elsewhere than around whole fields, or do not pair up.
fn is_torn(line: &[u8]) -> bool {
    let (mut inside, mut fresh) = (false, true);
    let mut bytes = line.iter().copied().peekable();
    while let Some(byte) = bytes.next() {
        match byte {
            b'"' if inside && bytes.peek() == Some(&b'"') => _ = bytes.next(),
            b'"' if inside && matches!(bytes.peek(), None | Some(b',')) => inside = false,
            b'"' if fresh => inside = true,
            b'"' => return true,
            _ => {}
        }
        fresh = byte == b',' && !inside;
    }
    inside
}

/// Notes a record that is longer than any can be.
pub(crate) fn too_long(table: &str, row: usize, line: &[u8], faults: &mut FaultList) {
    // what is shown of it is short
    let begin = line.get(..line.len().min(1000)).unwrap_or(line);
    let most = LONGEST_RECORD >> 20;
    let expected = format_args!("a record of at most {most} MB (is a quote opened and not closed?)");
    faults.add(table, row, "", String::from_utf8_lossy(begin), expected);
}

fn complain(record: &Piece<'_>, columns: usize, table: &str, row: usize, faults: &mut FaultList) {
    let line = String::from_utf8_lossy(record.line);
    if record.torn {
        faults.add(table, row, "", &line, format_args!("quotes only around a whole field, in pairs"));
        return;
    }
    let cells: Vec<&str> = line.split(',').collect();
    let whole = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    let comma = record.fields > columns
        && cells.windows(2).any(|pair| {
            matches!(pair, [whole_part, part] if whole(part) && whole(whole_part.strip_prefix('-').unwrap_or(whole_part)))
        });
    let hint = if comma {
        "; is there a decimal comma?"
    } else if record.fields == 1 && line.contains(';') {
        "; commas between columns, not semicolons"
    } else {
        ""
    };
    let found = record.fields;
    faults.add(table, row, "", &line, format_args!("{columns} fields as in the header (here {found}{hint})"));
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::fleet::schema::RISERS;
    use crate::wing::csv_cell;

    proptest! {
        #[test]
        fn cells_are_read_as_they_were_written(
            cells in prop::collection::vec(prop::array::uniform3("[a,\"\n; é1.]{0,14}"), 1..20),
            crlf: bool,
            last: bool,
        ) {
            let end = if crlf { "\r\n" } else { "\n" };
            let mut text = format!("check,side,row{end}");
            for record in &cells {
                text += &record.each_ref().map(|cell| csv_cell(cell)).join(",");
                text += end;
            }
            if !last {
                text.truncate(text.len() - end.len());
            }
            let mut faults = FaultList::default();
            let grid = read_csv(text.as_bytes(), RISERS, &[], &mut faults);
            prop_assert!(faults.is_empty(), "{faults}\n{text}");
            let grid = grid.unwrap();
            prop_assert_eq!(grid.height, cells.len());
            for (at, record) in cells.iter().enumerate() {
                for (name, cell) in ["check", "side", "row"].into_iter().zip(record) {
                    let read = grid.column(name).unwrap().get(at).map(|cell| cell.text().into_owned());
                    prop_assert_eq!(read.unwrap_or_default(), cell.clone(), "{}", text);
                }
            }
        }

        #[test]
        fn no_text_makes_it_panic(text in "(check,side,row\n)?[a,\"\n\r;\t 1]{0,40}") {
            let mut faults = FaultList::default();
            let grid = read_csv(text.as_bytes(), RISERS, &[], &mut faults);
            // nothing is lost in silence: what is not read is a fault
            prop_assert!(grid.is_some_and(|grid| grid.whole) || !faults.is_empty(), "{text:?}");
        }
    }

    #[test]
    fn rows_keep_their_numbers_when_others_are_left_out() {
        let text = "check,side,row\n\na,left,A\nb,left\n\"c\nc\",left,A\nd,left,A\n\n";
        let mut faults = FaultList::default();
        let grid = read_csv(text.as_bytes(), RISERS, &[], &mut faults).unwrap();
        assert_eq!((grid.height, grid.whole), (3, false));
        assert_eq!([0, 1, 2].map(|at| grid.row_number(at)), [3, 5, 6]);
        assert_eq!((faults.faults().len(), faults.faults()[0].row), (1, 4));
        let mut faults = FaultList::default();
        assert!(read_csv(b"check,side,row\na,le\xFFft,A\n", RISERS, &[], &mut faults).is_none());
        assert_eq!(faults.faults()[0].row, 2);
    }
}
