//! A CSV file changed in few places: every byte that is not changed stays.

use super::csv::{Records, fields};

const MARK: &[u8] = b"\xEF\xBB\xBF";

/// A CSV file taken apart into records and their raw fields.
#[derive(Debug, Clone)]
pub(super) struct CsvEdit {
    mark: bool,
    records: Vec<Record>,
    /// Places of the records that hold something, the header left out.
    filled: Vec<usize>,
    columns: Vec<String>,
    end: Vec<u8>,
}

/// One record; blank lines are records without fields.
#[derive(Debug, Clone)]
struct Record {
    /// With their quotes, as they stand.
    fields: Vec<Vec<u8>>,
    end: Vec<u8>,
}

impl CsvEdit {
    /// Takes apart a file that was read without faults.
    pub(super) fn of(bytes: &[u8]) -> Self {
        let body = bytes.strip_prefix(MARK).unwrap_or(bytes);
        let mut reader = Records::new(body);
        let mut records = Vec::new();
        loop {
            let from = reader.place();
            let Some(piece) = reader.next() else { break };
            let (line, until) = (piece.line, reader.place());
            let end = body.get(from + line.len()..until).unwrap_or_default().to_vec();
            let fields = if line.is_empty() { Vec::new() } else { raw_fields(line) };
            records.push(Record { fields, end });
        }
        let columns = records.first().map(|head| fields(&head.fields.join(&b','))).unwrap_or_default();
        let end = records.first().map(|head| head.end.clone()).filter(|end| !end.is_empty());
        let blank = |record: &Record| {
            record.fields.iter().all(|field| field.trim_ascii().is_empty()) && record.fields.len() < 2
        };
        let filled = (1..records.len()).filter(|at| !blank(&records[*at])).collect();
        Self { mark: body.len() < bytes.len(), records, filled, columns, end: end.unwrap_or_else(|| b"\n".to_vec()) }
    }

    /// Place of a column, which is added, with nothing in it, where the file has none of that name.
    pub(super) fn column(&mut self, name: &str) -> usize {
        if let Some(known) = self.columns.iter().position(|column| column == name) {
            return known;
        }
        for at in std::iter::once(0).chain(self.filled.iter().copied()) {
            let field = if at == 0 { encoded(name).into_bytes() } else { Vec::new() };
            self.records[at].fields.push(field);
        }
        self.columns.push(name.to_owned());
        self.columns.len() - 1
    }

    /// Puts a value into a field; `record` counts the records that hold something, from 0, the header left out.
    pub(super) fn set(&mut self, record: usize, column: usize, value: &str) {
        let place = self.filled.get(record).and_then(|at| self.records.get_mut(*at));
        if let Some(field) = place.and_then(|record| record.fields.get_mut(column)) {
            *field = encoded(value).into_bytes();
        }
    }

    /// Adds a record at the end: the values of the columns named, nothing in the others.
    pub(super) fn append(&mut self, values: &[(usize, String)]) {
        if let Some(last) = self.records.last_mut().filter(|last| last.end.is_empty()) {
            last.end.clone_from(&self.end);
        }
        let mut fields = vec![Vec::new(); self.columns.len()];
        for (column, value) in values {
            if let Some(field) = fields.get_mut(*column) {
                *field = encoded(value).into_bytes();
            }
        }
        self.filled.push(self.records.len());
        self.records.push(Record { fields, end: self.end.clone() });
    }

    /// The file's bytes.
    pub(super) fn bytes(&self) -> Vec<u8> {
        let mut out = if self.mark { MARK.to_vec() } else { Vec::new() };
        for record in &self.records {
            out.extend_from_slice(&record.fields.join(&b','));
            out.extend_from_slice(&record.end);
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

/// A value as a field: in quotes where it must be.
pub(super) fn encoded(value: &str) -> String {
    if value.contains(['"', ',', '\n', '\r']) {
        format!("\"{}\"", value.replace('"', "\"\""))
    } else {
        value.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn taken_apart_and_put_together_nothing_changes(text in "(\u{feff})?wing,side(\r)?\n([a1 ]{0,3},(\"[a,\n]{0,3}\"\"x\"|b)\r?\n|\r?\n){0,6}(c,d)?") {
            prop_assert_eq!(CsvEdit::of(text.as_bytes()).bytes(), text.as_bytes());
        }
    }

    #[test]
    fn only_what_is_set_changes() {
        let text = "wing,note,side\r\n1,\"a, \"\"b\"\"\nc\",left\r\n\r\n2,,right";
        let mut edit = CsvEdit::of(text.as_bytes());
        let turns = edit.column("turns");
        edit.set(1, turns, "2");
        edit.append(&[(0, "x,y".to_owned()), (turns, "1".to_owned())]);
        let expected = "wing,note,side,turns\r\n1,\"a, \"\"b\"\"\nc\",left,\r\n\r\n2,,right,2\r\n\"x,y\",,,1\r\n";
        assert_eq!(String::from_utf8(edit.bytes()).unwrap(), expected);
        assert_eq!(edit.column("note"), 1);
    }
}
