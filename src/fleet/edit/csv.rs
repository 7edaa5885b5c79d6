//! A CSV file changed in few places: every byte that is not changed stays.

use std::collections::BTreeMap;

use crate::fleet::read::csv::{BYTE_ORDER_MARK, Records};
use crate::wing::csv_cell;

/// A CSV file with the changes to come.
#[derive(Debug, Clone)]
pub(crate) struct CsvEdit {
    bytes: Vec<u8>,
    columns: Vec<String>,
    /// Columns that the file has itself.
    own: usize,
    end: &'static [u8],
    /// By record and column; records that hold something are counted, from 0, the header left out.
    set: BTreeMap<(usize, usize), String>,
    /// Records at the end.
    rows: Vec<Vec<(usize, String)>>,
}

impl CsvEdit {
    /// A file that reads without faults.
    pub(crate) fn of(bytes: Vec<u8>) -> Self {
        let body = bytes.strip_prefix(BYTE_ORDER_MARK).unwrap_or(&bytes);
        let mut records = Records::new(body);
        let columns = records.next().map(|head| records.names(&head)).unwrap_or_default();
        let is_crlf = body.get(..records.place()).is_some_and(|head| head.ends_with(b"\r\n"));
        let end: &[u8] = if is_crlf { b"\r\n" } else { b"\n" };
        Self { own: columns.len(), columns, end, bytes, set: BTreeMap::new(), rows: Vec::new() }
    }

    /// The file as it was.
    pub(crate) fn before(&self) -> &[u8] {
        &self.bytes
    }

    pub(crate) fn has(&self, name: &str) -> bool {
        self.columns.iter().any(|column| column == name)
    }

    /// Place of a column, which is added, with nothing in it, where the file has none of that name.
    pub(crate) fn column(&mut self, name: &str) -> usize {
        self.columns.iter().position(|column| column == name).unwrap_or_else(|| {
            self.columns.push(name.to_owned());
            self.columns.len() - 1
        })
    }

    /// Puts a value into a field.
    pub(crate) fn set(&mut self, record: usize, column: usize, value: &str) {
        self.set.insert((record, column), csv_cell(value));
    }

    /// Adds a record at the end: the values of the columns named, nothing in the others.
    pub(crate) fn append(&mut self, values: Vec<(usize, String)>) {
        self.rows.push(values);
    }

    /// The file's bytes.
    pub(crate) fn bytes(&self) -> Vec<u8> {
        let mark = self.bytes.len() - self.bytes.strip_prefix(BYTE_ORDER_MARK).map_or(self.bytes.len(), <[u8]>::len);
        let (mark, body) = self.bytes.split_at(mark);
        let mut out = Vec::with_capacity(self.bytes.len() + 100 * (1 + self.rows.len()));
        out.extend_from_slice(mark);
        let added = self.columns.len() - self.own;
        let mut records = Records::new(body);
        let (mut start, mut number) = (0, 0);
        while let Some(piece) = records.next() {
            let line = piece.line;
            let begin = start + piece.blank_lines;
            out.extend_from_slice(body.get(start..begin).unwrap_or_default());
            let mut changes = self.set.range((number, 0)..(number + 1, 0)).peekable();
            if start == 0 {
                out.extend_from_slice(line);
                for name in self.columns.iter().skip(self.own) {
                    out.push(b',');
                    out.extend_from_slice(csv_cell(name).as_bytes());
                }
            } else if piece.is_blank() {
                out.extend_from_slice(line);
            } else if changes.peek().is_none() {
                out.extend_from_slice(line);
                out.resize(out.len() + added, b',');
                number += 1;
            } else {
                let mut fields = raw_fields(line);
                fields.resize(self.columns.len(), Vec::new());
                for ((_, column), value) in changes {
                    if let Some(field) = fields.get_mut(*column) {
                        value.as_bytes().clone_into(field);
                    }
                }
                out.extend_from_slice(&fields.join(&b','));
                number += 1;
            }
            let until = records.place();
            out.extend_from_slice(body.get(begin + line.len()..until).unwrap_or_default());
            start = until;
        }
        out.extend_from_slice(body.get(start..).unwrap_or_default());
        if !self.rows.is_empty() && out.last().is_some_and(|byte| *byte != b'\n') {
            out.extend_from_slice(self.end);
        }
        for row in &self.rows {
            for column in 0..self.columns.len() {
                if column > 0 {
                    out.push(b',');
                }
                if let Some((_, value)) = row.iter().find(|(at, _)| *at == column) {
                    out.extend_from_slice(csv_cell(value).as_bytes());
                }
            }
            out.extend_from_slice(self.end);
        }
        out
    }
}

/// Fields of one record with their quotes.
fn raw_fields(line: &[u8]) -> Vec<Vec<u8>> {
    let mut fields = vec![Vec::new()];
    let mut inside = false;
    for &byte in line {
        if byte == b'"' {
            // a doubled quote closes and opens again
            inside = !inside;
        }
        if byte == b',' && !inside {
            fields.push(Vec::new());
        } else if let Some(field) = fields.last_mut() {
            field.push(byte);
        }
    }
    fields
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn taken_apart_and_put_together_nothing_changes(text in "(\u{feff})?wing,side(\r)?\n([a1 ]{0,3},(\"[a,\n]{0,3}\"\"x\"|b)\r?\n|\r?\n){0,6}(c,d)?") {
            prop_assert_eq!(CsvEdit::of(text.clone().into_bytes()).bytes(), text.as_bytes());
        }
    }

    #[test]
    fn only_what_is_set_changes() {
        let text = "wing,note,side\r\n1,\"a, \"\"b\"\"\nc\",left\r\n\r\n2,,right";
        let mut edit = CsvEdit::of(text.as_bytes().to_vec());
        let turns = edit.column("turns");
        edit.set(1, turns, "2");
        edit.append(vec![(0, "x,y".to_owned()), (turns, "1".to_owned())]);
        let expected = "wing,note,side,turns\r\n1,\"a, \"\"b\"\"\nc\",left,\r\n\r\n2,,right,2\r\n\"x,y\",,,1\r\n";
        assert_eq!(String::from_utf8(edit.bytes()).unwrap(), expected);
        assert_eq!(edit.column("note"), 1);
    }
}
