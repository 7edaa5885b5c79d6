//! A long CSV file, piece by piece.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use super::csv::{BYTE_ORDER_MARK, FIRST_ROW, LONGEST_RECORD, Records};

/// Bytes read in one go: some 150,000 records.
const PIECE: usize = 4 << 20;

/// The header and whole records of a file.
pub(crate) struct CsvPiece {
    pub(crate) bytes: Vec<u8>,
    /// Row of the first record.
    pub(crate) first_row: usize,
}

/// Why there is no next piece.
#[derive(Debug)]
pub(crate) enum PieceError {
    /// The file system refused.
    Read(std::io::Error),
    /// A record goes on for longer than any can.
    TooLong {
        /// Its row.
        row: usize,
        /// How it begins.
        begin: Vec<u8>,
    },
}

impl From<std::io::Error> for PieceError {
    fn from(error: std::io::Error) -> Self {
        Self::Read(error)
    }
}

/// Cuts a CSV file between records. Only one piece is held, or one record where that is longer, of 64 MB at most.
pub(crate) struct CsvPieces {
    file: File,
    header: Vec<u8>,
    rest: Vec<u8>,
    first_row: usize,
    piece: usize,
    /// Bytes of a record, at most.
    longest: usize,
    state: State,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    Header,
    Records,
    Done,
}

/// Where to cut, and how many records stand before, empty lines among them.
#[derive(Debug, Clone, Copy)]
struct Cut {
    at: usize,
    records: usize,
}

impl CsvPieces {
    pub(crate) fn open(path: &Path) -> std::io::Result<Self> {
        Self::with_sizes(path, PIECE, LONGEST_RECORD)
    }

    fn with_sizes(path: &Path, piece: usize, longest: usize) -> std::io::Result<Self> {
        Ok(Self {
            file: File::open(path)?,
            header: Vec::new(),
            rest: Vec::new(),
            first_row: FIRST_ROW,
            piece,
            longest,
            state: State::Header,
        })
    }

    /// The next piece; `None` at the end. A file without records is one piece.
    pub(crate) fn next(&mut self) -> Result<Option<CsvPiece>, PieceError> {
        if self.state == State::Done {
            return Ok(None);
        }
        let mut wanted = self.piece;
        loop {
            let missing = wanted.saturating_sub(self.rest.len()) as u64;
            let read = (&mut self.file).take(missing).read_to_end(&mut self.rest)? as u64;
            let is_end = read < missing;
            if self.state == State::Header {
                if let Some(rest) = self.rest.strip_prefix(BYTE_ORDER_MARK) {
                    self.rest = rest.to_vec();
                }
                let head = cut(&self.rest, 1);
                if is_end || head.at == 0 {
                    // short, or without an end to its header
                    if is_end {
                        self.state = State::Done;
                        return Ok(Some(CsvPiece { bytes: std::mem::take(&mut self.rest), first_row: FIRST_ROW }));
                    }
                    wanted = self.more(wanted, 1)?;
                    continue;
                }
                self.header = self.rest.drain(..head.at).collect();
                self.state = State::Records;
            }
            let found = if is_end { Cut { at: self.rest.len(), records: 0 } } else { cut(&self.rest, usize::MAX) };
            if found.at == 0 && !is_end {
                wanted = self.more(wanted, self.first_row)?;
                continue;
            }
            if is_end {
                self.state = State::Done;
                if self.rest.is_empty() {
                    return Ok(None);
                }
            }
            let mut bytes = Vec::with_capacity(self.header.len() + found.at);
            bytes.extend_from_slice(&self.header);
            bytes.extend_from_slice(self.rest.get(..found.at).unwrap_or_default());
            self.rest.drain(..found.at);
            let first_row = self.first_row;
            self.first_row += found.records;
            return Ok(Some(CsvPiece { bytes, first_row }));
        }
    }
}

impl CsvPieces {
    /// How much to read for a record, in this row, that goes on behind what was read.
    fn more(&self, wanted: usize, row: usize) -> Result<usize, PieceError> {
        // with the end of its line the record may be two bytes longer
        let most = self.longest.saturating_add(2);
        if self.rest.len() >= most {
            let begin = self.rest.iter().take(1000).copied().collect();
            return Err(PieceError::TooLong { row, begin });
        }
        // a first piece may be larger than a record
        Ok((wanted * 2).min(most.max(wanted + 1)))
    }
}

/// The place behind the last record (but at most so many) that is known to be whole.
fn cut(bytes: &[u8], most: usize) -> Cut {
    if !bytes.contains(&b'"') {
        // every line is a record
        let ends = memchr::memchr_iter(b'\n', bytes).take(most);
        return ends.fold(Cut { at: 0, records: 0 }, |found, end| Cut { at: end + 1, records: found.records + 1 });
    }
    let mut records = Records::new(bytes);
    let mut found = Cut { at: 0, records: 0 };
    while found.records < most {
        let Some(record) = records.next() else { break };
        let at = records.place();
        // a quote that is still open may close in what follows
        let is_whole = at < bytes.len() || (bytes.last() == Some(&b'\n') && !record.torn);
        if !is_whole {
            break;
        }
        found = Cut { at, records: found.records + 1 + record.blank_lines };
    }
    // empty lines are whole, whatever follows them
    let rest = bytes.get(found.at..).unwrap_or_default().iter();
    let empty = rest.take(most - most.min(found.records)).take_while(|byte| **byte == b'\n').count();
    Cut { at: found.at + empty, records: found.records + empty }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::fleet::read::csv::{CsvText, read_csv};
    use crate::fleet::read::fault::FaultList;
    use crate::fleet::schema::RISERS;

    proptest! {
        /// Whatever the text and wherever it is cut: the same cells, the same rows, the same faults.
        #[test]
        fn pieces_give_what_the_whole_gives(
            body in "(([ab1]{0,3}|\"[a,\n]{0,4}\"|\"[ab]\"\"\"),([ab]{0,2}),A?(,x)?\r?\n|\n){0,12}[ab,]{0,5}",
            mark: bool,
            size in 20_usize..90,
        ) {
            let text = format!("{}check,side,row\n{body}", if mark { "\u{feff}" } else { "" });
            let folder = tempfile::tempdir().unwrap();
            let path = folder.path().join("risers.csv");
            std::fs::write(&path, &text).unwrap();
            let mut whole_faults = FaultList::default();
            let whole = read_csv(text.as_bytes(), RISERS, &[], &mut whole_faults).unwrap();
            let rows = |grid: &crate::fleet::read::grid::Grid| -> Vec<(usize, Vec<String>)> {
                (0..grid.height)
                    .map(|at| {
                        let cell = |name| grid.column(name).unwrap().get(at).map(|c| c.text().into_owned());
                        let cells = ["check", "side", "row"].map(|name| cell(name).unwrap_or_default());
                        (grid.row_number(at), cells.to_vec())
                    })
                    .collect()
            };
            let mut pieces = CsvPieces::with_sizes(&path, size, LONGEST_RECORD).unwrap();
            let (mut found, mut faults) = (Vec::new(), FaultList::default());
            while let Some(piece) = pieces.next().unwrap() {
                let grid = CsvText::read(&piece.bytes, piece.first_row, RISERS, &[], &mut faults).unwrap();
                let grid = grid.grid(&mut faults);
                found.extend(rows(&grid));
            }
            prop_assert_eq!(found, rows(&whole), "{:?}", text);
            prop_assert_eq!(faults, whole_faults, "{:?}", text);
        }
    }

    #[test]
    fn a_record_without_end_is_refused_at_its_row_before_it_is_read_to_the_end() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("risers.csv");
        let rest = "b,left,A\n".repeat(1000);
        for (text, expected) in [
            (format!("check,side,row\na,left,A\n\nc,\"left,A\n{rest}"), Some(4)),
            (format!("\"check,side,row\n{rest}"), Some(1)),
            (format!("check,side,row\n{},left,A\r\n{rest}", "x".repeat(93)), Some(2)),
            (format!("check,side,row\n{},left,A\r\n{rest}", "x".repeat(92)), None),
        ] {
            std::fs::write(&path, &text).unwrap();
            let mut pieces = CsvPieces::with_sizes(&path, 30, 99).unwrap();
            let mut most = 0;
            let end = loop {
                match pieces.next() {
                    Ok(Some(piece)) => most = most.max(piece.bytes.len()),
                    Ok(None) => break None,
                    Err(PieceError::TooLong { row, begin }) => break Some((row, begin)),
                    Err(PieceError::Read(error)) => panic!("{error}"),
                }
            };
            assert_eq!(end.as_ref().map(|(row, _)| *row), expected, "{text:.60}");
            let read = text.len() as u64 - std::io::copy(&mut pieces.file, &mut std::io::sink()).unwrap();
            assert!(expected.is_none() || read < 200, "{read} bytes read of {text:.60}");
            assert!(most < 200, "{most}");
        }
    }
}
