//! CSV files: the shape of the records first, then the cells through polars, all as text.

use std::borrow::Cow;
use std::io::Cursor;
use std::sync::Arc;

use polars::prelude::{CsvReadOptions, DataFrame, DataType, Field, PolarsResult, Schema, SerReader};

use super::fault::FaultList;
use super::grid::{Cells, Grid, Selection};
use super::schema::TableSchema;

/// A table has some dozen columns; more than this is another kind of file.
const MOST_COLUMNS: usize = 1000;
/// Bytes of one record, at most: more is a quote that was opened and not closed, and would fill the memory.
pub(super) const LONGEST_RECORD: usize = 64 << 20;
/// Row of the first record: the header is row 1.
pub(super) const FIRST_ROW: usize = 2;
pub(super) const BYTE_ORDER_MARK: &[u8] = b"\xEF\xBB\xBF";

/// Reads a CSV file's bytes. `None`: nothing of it can be used; the faults say why.
pub(super) fn read_csv(bytes: &[u8], schema: TableSchema, extra: &[String], faults: &mut FaultList) -> Option<Grid> {
    read_csv_piece(bytes, FIRST_ROW, schema, extra, faults)
}

/// Reads the header and some records of a CSV file, of which the first stands in row `first_row`.
pub(super) fn read_csv_piece(
    bytes: &[u8],
    first_row: usize,
    schema: TableSchema,
    extra: &[String],
    faults: &mut FaultList,
) -> Option<Grid> {
    let table = schema.name;
    let shape = Shape::judged(bytes, first_row, table, faults)?;
    // a later piece has the header of the first, which has been judged
    let mut judged = FaultList::default();
    let of_header = if first_row == FIRST_ROW { &mut *faults } else { &mut judged };
    let chosen = Selection::new(table, &shape.header, schema, extra, of_header);
    let columns = match shape.cells(&chosen) {
        Ok(columns) => columns,
        Err(why) => {
            faults.add(table, 0, "", &why, format_args!("a CSV file that can be read"));
            return None;
        }
    };
    Some(Grid {
        name: table.to_owned(),
        columns,
        height: shape.records,
        first_row,
        rows: shape.rows,
        whole: shape.whole,
        left_out: chosen.left_out,
    })
}

/// Header and records of a file, each record with as many fields as the header.
pub(super) struct Shape<'a> {
    pub(super) header: Vec<String>,
    pub(super) body: Cow<'a, [u8]>,
    records: usize,
    rows: Option<Vec<usize>>,
    whole: bool,
}

impl<'a> Shape<'a> {
    /// The shape of text. `None`: nothing of it can be used; the faults say why.
    pub(super) fn judged(bytes: &'a [u8], first_row: usize, table: &str, faults: &mut FaultList) -> Option<Self> {
        let bytes = bytes.strip_prefix(BYTE_ORDER_MARK).unwrap_or(bytes);
        if let Err(error) = std::str::from_utf8(bytes) {
            let before = bytes.iter().take(error.valid_up_to()).filter(|byte| **byte == b'\n').count();
            let row = if before == 0 { 1 } else { before + first_row - 1 };
            faults.add(table, row, "", "", format_args!("text in UTF-8 (save the table as CSV UTF-8)"));
            return None;
        }
        if let Some(at) = memchr::memchr(0, bytes) {
            let before = bytes.iter().take(at).filter(|byte| **byte == b'\n').count();
            let row = if before == 0 { 1 } else { before + first_row - 1 };
            faults.add(table, row, "", "", format_args!("text in UTF-8 without zero bytes (UTF-16 has them)"));
            return None;
        }
        Self::of(bytes, first_row, table, faults)
    }

    fn of(bytes: &'a [u8], first_row: usize, table: &str, faults: &mut FaultList) -> Option<Self> {
        let mut records = Records::new(bytes);
        let Some(head) = records.next().filter(|head| !head.line.trim_ascii().is_empty()) else {
            faults.add(table, 1, "", "", format_args!("a header row (the file is empty)"));
            return None;
        };
        if head.line.len() > LONGEST_RECORD {
            too_long(table, 1, head.line, faults);
            return None;
        }
        let header = fields(head.line);
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
        let start = records.at;
        let mut rows: Vec<usize> = Vec::new();
        let mut spans: Vec<(usize, usize)> = vec![(start, start)];
        let mut whole = true;
        let mut count = 0;
        let mut row = first_row - 1;
        loop {
            let from = records.at;
            let Some(record) = records.next() else { break };
            row += 1;
            let blank = record.fields == 1 && record.line.trim_ascii().is_empty();
            if record.line.len() > LONGEST_RECORD {
                whole = false;
                too_long(table, row, record.line, faults);
            } else if !blank && record.fields == header.len() && !record.torn {
                count += 1;
                if count + first_row - 1 != row {
                    rows.push(row);
                }
                match spans.last_mut() {
                    Some(last) if last.1 == from => last.1 = records.at,
                    _ => spans.push((from, records.at)),
                }
            } else if !blank {
                whole = false;
                complain(&record, header.len(), table, row, faults);
            }
        }
        let skipped = count - rows.len();
        let rows = (!rows.is_empty()).then(|| (first_row..skipped + first_row).chain(rows).collect());
        let body = match spans.as_slice() {
            [(from, to)] => Cow::Borrowed(bytes.get(*from..*to).unwrap_or_default()),
            many => {
                let mut kept = Vec::new();
                for span in many.iter().filter_map(|(from, to)| bytes.get(*from..*to)) {
                    kept.extend_from_slice(span);
                    if kept.last().is_some_and(|byte| *byte != b'\n') {
                        kept.push(b'\n');
                    }
                }
                Cow::Owned(kept)
            }
        };
        Some(Self { header, body, records: count, rows, whole })
    }

    fn cells(&self, chosen: &Selection) -> Result<Vec<(String, Cells)>, String> {
        if self.records == 0 || chosen.wanted.is_empty() {
            return Ok(chosen.wanted.iter().map(|(_, name)| (name.clone(), Cells::Empty)).collect());
        }
        let frame = self.frame(chosen).map_err(|error| error.to_string())?;
        if frame.height() != self.records {
            return Err("quotes that do not pair up".to_owned());
        }
        let mut columns = Vec::with_capacity(chosen.wanted.len());
        for (place, name) in &chosen.wanted {
            let cells = frame.column(&place.to_string()).and_then(|column| column.str().cloned());
            let mut cells = cells.map_err(|error| error.to_string())?;
            cells.rechunk_mut();
            columns.push((name.clone(), Cells::Text(cells)));
        }
        Ok(columns)
    }

    fn frame(&self, chosen: &Selection) -> PolarsResult<DataFrame> {
        // columns by place, so that no header can confuse the reader; text only, so that a fault quotes what stood there
        let fields = (0..self.header.len()).map(|place| Field::new(place.to_string().into(), DataType::String));
        let schema: Schema = fields.collect();
        CsvReadOptions::default()
            .with_has_header(false)
            .with_schema(Some(Arc::new(schema)))
            .with_projection(Some(Arc::new(chosen.wanted.iter().map(|(place, _)| *place).collect())))
            .with_rechunk(true)
            .into_reader_with_file_handle(Cursor::new(self.body.as_ref()))
            .finish()
    }
}

/// One record: its bytes without the line end, and how many fields it has.
pub(super) struct Piece<'a> {
    pub(super) line: &'a [u8],
    pub(super) fields: usize,
    /// A quote that opens or closes inside a field.
    pub(super) torn: bool,
}

/// The records of a file, one after the other.
pub(super) struct Records<'a> {
    bytes: &'a [u8],
    /// Where the next record begins.
    pub(super) at: usize,
    quotes: bool,
}

impl<'a> Records<'a> {
    pub(super) fn new(bytes: &'a [u8]) -> Self {
        Self { bytes, at: 0, quotes: bytes.contains(&b'"') }
    }

    /// Where the next record begins.
    pub(super) fn place(&self) -> usize {
        self.at
    }

    pub(super) fn next(&mut self) -> Option<Piece<'a>> {
        let rest = self.bytes.get(self.at..).filter(|rest| !rest.is_empty())?;
        let end = memchr::memchr(b'\n', rest).unwrap_or(rest.len());
        let (line, _) = rest.split_at(end);
        let piece = if self.quotes && line.contains(&b'"') {
            quoted(rest)
        } else {
            // lines are short: a crate that counts bytes in wide registers gains nothing
            #[allow(clippy::naive_bytecount)]
            let commas = line.iter().filter(|byte| **byte == b',').count();
            Piece { line, fields: 1 + commas, torn: false }
        };
        self.at += (piece.line.len() + 1).min(rest.len());
        Some(Piece { line: piece.line.strip_suffix(b"\r").unwrap_or(piece.line), ..piece })
    }
}

/// A record with quotes in it, which may run over several lines.
fn quoted(rest: &[u8]) -> Piece<'_> {
    let mut fields = 1;
    let mut inside = false;
    let mut fresh = true;
    let mut torn = false;
    let mut at = 0;
    while let Some(&byte) = rest.get(at) {
        let next = rest.get(at + 1);
        match byte {
            b'"' if inside && next == Some(&b'"') => at += 1,
            b'"' if inside => {
                inside = false;
                torn |= !matches!(next, None | Some(b',' | b'\n' | b'\r'));
            }
            b'"' if fresh => inside = true,
            b'"' => torn = true,
            b',' if !inside => fields += 1,
            b'\n' if !inside => break,
            _ => {}
        }
        fresh = byte == b',' && !inside;
        at += 1;
    }
    Piece { line: rest.get(..at).unwrap_or(rest), fields, torn: torn || inside }
}

/// The fields of the header.
pub(super) fn fields(line: &[u8]) -> Vec<String> {
    let mut all = vec![Vec::new()];
    let mut inside = false;
    let mut at = 0;
    while let Some(&byte) = line.get(at) {
        match byte {
            b'"' if inside && line.get(at + 1) == Some(&b'"') => {
                at += 1;
                all.last_mut().into_iter().for_each(|field| field.push(byte));
            }
            b'"' => inside = !inside,
            b',' if !inside => all.push(Vec::new()),
            _ => all.last_mut().into_iter().for_each(|field| field.push(byte)),
        }
        at += 1;
    }
    all.into_iter().map(|field| String::from_utf8_lossy(&field).into_owned()).collect()
}

/// Notes a record that is longer than any can be.
pub(super) fn too_long(table: &str, row: usize, line: &[u8], faults: &mut FaultList) {
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

    fn encode(cell: &str) -> String {
        if cell.contains(['"', ',', '\n', '\r']) {
            format!("\"{}\"", cell.replace('"', "\"\""))
        } else {
            cell.to_owned()
        }
    }

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
                text += &record.each_ref().map(|cell| encode(cell)).join(",");
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
