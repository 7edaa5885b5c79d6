//! CSV text in which no cell is quoted, read without a frame: long tables of readings are of this kind.

use std::borrow::Cow;
use std::collections::BTreeSet;

use super::csv::Shape;
use super::fault::FaultList;
use super::grid::Selection;
use super::schema::TableSchema;

/// The header and records of some CSV text without quotes and without a fault.
pub(super) struct PlainCsv<'a> {
    columns: usize,
    /// Place in a record, and name, of each column that is wanted.
    wanted: Vec<(usize, String)>,
    pub(super) left_out: BTreeSet<String>,
    body: Cow<'a, str>,
}

impl<'a> PlainCsv<'a> {
    /// `None`: there are quotes or faults, which [`super::csv::read_csv_piece`] deals with.
    pub(super) fn read(bytes: &'a [u8], first_row: usize, schema: TableSchema) -> Option<Self> {
        if bytes.contains(&b'"') {
            return None;
        }
        let mut faults = FaultList::default();
        let shape = Shape::judged(bytes, first_row, schema.name, &mut faults)?;
        let chosen = Selection::new(schema.name, &shape.header, schema, &[], &mut faults);
        let body = match shape.body {
            Cow::Borrowed(body) => Cow::Borrowed(std::str::from_utf8(body).ok()?),
            Cow::Owned(body) => Cow::Owned(String::from_utf8(body).ok()?),
        };
        faults.is_empty().then_some(Self {
            columns: shape.header.len(),
            wanted: chosen.wanted,
            left_out: chosen.left_out.into_iter().collect(),
            body,
        })
    }

    /// Place of a column in a record.
    pub(super) fn place(&self, name: &str) -> Option<usize> {
        self.wanted.iter().find(|(_, known)| known == name).map(|(place, _)| *place)
    }

    /// Calls `visit` with the cells of every record, until it fails.
    pub(super) fn try_for_each<E>(&self, mut visit: impl FnMut(&[&str]) -> Result<(), E>) -> Result<(), E> {
        let body = self.body.as_ref();
        let mut cells: Vec<&str> = Vec::with_capacity(self.columns);
        let mut from = 0;
        while from < body.len() {
            let rest = body.get(from..).unwrap_or_default();
            let end = memchr::memchr(b'\n', rest.as_bytes()).unwrap_or(rest.len());
            from += end + 1;
            let line = rest.get(..end).unwrap_or_default();
            let line = line.strip_suffix('\r').unwrap_or(line);
            cells.clear();
            let mut begin = 0;
            for (at, byte) in line.bytes().enumerate() {
                if byte == b',' {
                    cells.push(line.get(begin..at).unwrap_or_default());
                    begin = at + 1;
                }
            }
            cells.push(line.get(begin..).unwrap_or_default());
            visit(&cells)?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use std::convert::Infallible;

    use proptest::prelude::*;

    use super::*;
    use crate::fleet::csv::{FIRST_ROW, read_csv};
    use crate::fleet::schema::RISERS;

    proptest! {
        /// What is read so is what is read into a frame; what is not, has quotes or a fault.
        #[test]
        fn cells_are_those_of_the_frame(
            body in "(([ab1é\r ]{0,3}),([ab]{0,2}),A?(,x)?\r?\n|\n|\"a\",b,c\n){0,12}[ab,]{0,5}",
            mark: bool,
            columns in "(check,side,row|row,x,check|check,check,row)",
        ) {
            let text = format!("{}{columns}\n{body}", if mark { "\u{feff}" } else { "" });
            let mut faults = FaultList::default();
            let grid = read_csv(text.as_bytes(), RISERS, &[], &mut faults);
            match PlainCsv::read(text.as_bytes(), FIRST_ROW, RISERS) {
                None => prop_assert!(text.contains('"') || !faults.is_empty(), "{:?}", text),
                Some(plain) => {
                    prop_assert!(faults.is_empty(), "{:?}: {}", text, faults);
                    let grid = grid.unwrap();
                    prop_assert_eq!(&plain.left_out, &grid.left_out.iter().cloned().collect());
                    let mut at = 0;
                    let done = plain.try_for_each(|cells| -> Result<(), Infallible> {
                        for (name, known) in &grid.columns {
                            let place = plain.place(name).unwrap();
                            let known = known.get(at).map(|cell| cell.text().into_owned()).unwrap_or_default();
                            assert_eq!(cells[place], known, "{text:?}");
                        }
                        assert_eq!(cells.len(), 3);
                        at += 1;
                        Ok(())
                    });
                    prop_assert!(done.is_ok());
                    prop_assert_eq!(at, grid.height, "{:?}", text);
                }
            }
        }
    }
}
