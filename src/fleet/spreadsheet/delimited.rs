//! Text with a mark between the cells: any common encoding, comma, semicolon or tab.

use super::book::Book;
use super::error::SpreadsheetError;
use super::grid::{Cell, Grid};

/// Records longer than this are no table of lengths.
const MOST_ROWS: usize = 20_000;

/// Reads the text of a file as one sheet.
pub(super) fn read(file: &str, bytes: &[u8]) -> Result<Book, SpreadsheetError> {
    let mut notes = Vec::new();
    let text = decoded(bytes, &mut notes);
    if text.chars().filter(|letter| *letter == '\0').count() > 0 {
        return Err(SpreadsheetError::file(
            file,
            "is no text and no spreadsheet that is known: save it as .xlsx or CSV",
        ));
    }
    // line ends of one kind, so that lines are counted as people count them
    let text = text.replace("\r\n", "\n").replace('\r', "\n");
    let mut body = text.as_str();
    let mut delimiter = None;
    let mut skipped = 0;
    if let Some(told) = body.get(..4).filter(|head| head.eq_ignore_ascii_case("sep=")).and_then(|_| body.get(4..)) {
        delimiter = told.bytes().next().filter(|told| [b',', b';', b'\t', b'|'].contains(told));
        body = body.split_once('\n').map_or("", |(_, rest)| rest);
        skipped = 1;
    }
    let Some(delimiter) = delimiter.or_else(|| likely(body)) else {
        return Ok(Book { sheets: vec![aligned(file, body)?], notes });
    };
    let mut reader =
        csv::ReaderBuilder::new().has_headers(false).flexible(true).delimiter(delimiter).from_reader(body.as_bytes());
    let mut grid = Grid::new("");
    let mut record = csv::StringRecord::new();
    loop {
        match reader.read_record(&mut record) {
            Ok(true) => {}
            Ok(false) => break,
            Err(error) => {
                return Err(SpreadsheetError::file(file, format!("is no table: {error}; save it as .xlsx or CSV")));
            }
        }
        // blank lines are passed over by the reader, and counted by the line number
        let line =
            record.position().map_or(0, |at| usize::try_from(at.line()).unwrap_or(1)).saturating_sub(1) + skipped;
        if line >= MOST_ROWS {
            return Err(SpreadsheetError::file(
                file,
                format!("is too large: {MOST_ROWS} lines are read: keep one wing's table, and save it alone"),
            ));
        }
        for (column, cell) in record.iter().enumerate() {
            if !cell.trim().is_empty() {
                grid.put(line, column, Cell::Text(cell.trim_end().to_owned()));
            }
        }
    }
    Ok(Book { sheets: vec![grid], notes })
}

/// The text of bytes: by their mark, else UTF-8, else UTF-16 where every other byte is zero, else Latin letters.
fn decoded(bytes: &[u8], notes: &mut Vec<String>) -> String {
    let wide = |bytes: &[u8], little: bool| {
        let units = bytes.chunks_exact(2).map(|pair| match *pair {
            [low, high] if little => u16::from_le_bytes([low, high]),
            [high, low] => u16::from_be_bytes([high, low]),
            _ => 0xfffd,
        });
        char::decode_utf16(units).map(|letter| letter.unwrap_or('\u{fffd}')).collect::<String>()
    };
    if let Some(rest) = bytes.strip_prefix(&[0xff, 0xfe]) {
        return wide(rest, true);
    }
    if let Some(rest) = bytes.strip_prefix(&[0xfe, 0xff]) {
        return wide(rest, false);
    }
    let bytes = bytes.strip_prefix(&[0xef, 0xbb, 0xbf]).unwrap_or(bytes);
    if let Ok(text) = std::str::from_utf8(bytes)
        && !text.contains('\0')
    {
        return text.to_owned();
    }
    let head = bytes.get(..64).unwrap_or(bytes);
    let zeros = |odd: usize| head.iter().skip(odd).step_by(2).filter(|byte| **byte == 0).count();
    if zeros(1) > head.len() / 4 {
        return wide(bytes, true);
    }
    if zeros(0) > head.len() / 4 {
        return wide(bytes, false);
    }
    notes.push("the text is not UTF-8: it was read as Western European letters (Windows-1252)".to_owned());
    bytes.iter().map(|byte| latin(*byte)).collect()
}

/// One byte of Windows-1252.
fn latin(byte: u8) -> char {
    match byte {
        0x80 => '€',
        0x91 | 0x92 => '’',
        0x93 => '“',
        0x94 => '”',
        0x96 => '–',
        0x97 => '—',
        0x85 => '…',
        _ => char::from(byte),
    }
}

/// The mark that parts most lines into the same number of cells, two at least; `None` where fewer than half have one. Quoted
/// marks do not count.
fn likely(body: &str) -> Option<u8> {
    let lines: Vec<&str> = body.lines().filter(|line| !line.trim().is_empty()).take(60).collect();
    let score = |mark: char| {
        let mut counts: Vec<usize> = lines
            .iter()
            .map(|line| {
                let mut quoted = false;
                let mut count = 0;
                for letter in line.chars() {
                    quoted ^= letter == '"';
                    count += usize::from(letter == mark && !quoted);
                }
                count
            })
            .filter(|count| *count > 0)
            .collect();
        counts.sort_unstable();
        let usual = counts.get(counts.len() / 2).copied().unwrap_or(0);
        counts.iter().filter(|count| **count == usual).count()
    };
    // semicolon and tab before comma: a comma may be a decimal mark
    let mut best = (b',', score(','));
    for (mark, letter) in [(b'|', '|'), (b';', ';'), (b'\t', '\t')] {
        let found = score(letter);
        let share = lines.len() / 2;
        if found > best.1 || (found > 0 && found >= share.max(1) && mark != b'|') {
            best = (mark, found);
        }
    }
    let has = |line: &&&str| line.contains([',', ';', '\t', '|']);
    (lines.iter().filter(has).count() * 2 >= lines.len()).then_some(best.0)
}

/// Columns that are set apart by blanks: by two and more, or by any where that leaves a single column. A cell that is left
/// blank would move the others, so every row has to be as long as the header.
fn aligned(file: &str, body: &str) -> Result<Grid, SpreadsheetError> {
    let mut grid = Grid::new("");
    let by_two = body.lines().filter(|line| line.trim().contains("  ")).count() * 2 >= body.lines().count();
    let mut width = 0;
    for (row, line) in body.lines().take(MOST_ROWS).enumerate() {
        let parts: Vec<&str> = if by_two { line.split("  ").collect() } else { line.split(' ').collect() };
        let filled: Vec<&str> = parts.into_iter().map(str::trim).filter(|cell| !cell.is_empty()).collect();
        if width == 0 && filled.len() > 2 {
            width = filled.len();
        }
        if width > 0 && filled.len() > 1 && filled.len() != width {
            return Err(SpreadsheetError::file(
                file,
                format!(
                    "has columns that are set apart by blanks, and line {} has {} of {width}: write `-` where nothing was read, \
                     or save it as .xlsx or CSV",
                    row + 1,
                    filled.len()
                ),
            ));
        }
        for (column, cell) in filled.into_iter().enumerate() {
            grid.put(row, column, Cell::Text(cell.to_owned()));
        }
    }
    Ok(grid)
}
