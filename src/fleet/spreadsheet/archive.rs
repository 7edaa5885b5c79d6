//! What kind of file it is, by its first bytes; and whether what is packed in it may be unpacked.

use std::borrow::Cow;
use std::io::{self, Cursor, Read};

use zip::ZipArchive;
use zip::result::ZipError;

use super::error::SpreadsheetError;

/// Most bytes that the parts of a packed file may have when unpacked.
const MOST_UNPACKED: u64 = 256 << 20;
/// Most parts of a packed file.
const MOST_PARTS: usize = 2_000;

pub(super) const LOCKED: &str = "is protected by a password: open it, save it without one, and name that file";

/// Kinds of files that are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Text,
    Xlsx { macros: bool },
    Xlsb,
    Xls,
    Ods,
}

/// The kind of a file.
pub(super) fn kind(file: &str, bytes: &[u8]) -> Result<Kind, SpreadsheetError> {
    let wrong = |why: &str| Err(SpreadsheetError::file(file, why));
    if bytes.is_empty() {
        return wrong("is empty");
    }
    if bytes.starts_with(&[0xd0, 0xcf, 0x11, 0xe0]) {
        // names of streams are in UTF-16: a locked .xlsx is one stream of this name
        let locked: Vec<u8> = "EncryptedPackage".bytes().flat_map(|letter| [letter, 0]).collect();
        if bytes.windows(locked.len()).any(|part| part == locked) {
            return wrong(LOCKED);
        }
        return Ok(Kind::Xls);
    }
    if bytes.starts_with(b"PK\x03\x04") || bytes.starts_with(b"PK\x05\x06") {
        return packed(file, bytes);
    }
    if bytes.starts_with(b"%PDF") {
        return wrong("is a PDF: name the spreadsheet it was printed from, or copy its table into one");
    }
    let head = String::from_utf8_lossy(bytes.get(..512).unwrap_or(bytes)).to_lowercase();
    if head.trim_start_matches('\u{feff}').trim_start().starts_with('<') {
        return wrong(
            "is a web page or XML under a spreadsheet's name: open it in a spreadsheet program, and save it as .xlsx",
        );
    }
    if bytes.starts_with(&[0x89, b'P', b'N', b'G']) || bytes.starts_with(&[0xff, 0xd8, 0xff]) {
        return wrong("is a picture: type its values into a spreadsheet (`sheet` makes one to fill in)");
    }
    if bytes.starts_with(&[0x09, 0x08]) || bytes.starts_with(&[0x09, 0x04]) {
        return wrong("is a spreadsheet of a very old kind: open it in a spreadsheet program, and save it as .xlsx");
    }
    Ok(Kind::Text)
}

fn packed(file: &str, bytes: &[u8]) -> Result<Kind, SpreadsheetError> {
    let damaged = "is damaged: open it in a spreadsheet program, and save it again as .xlsx";
    let wrong = |why: &str| SpreadsheetError::file(file, why);
    let mut archive = ZipArchive::new(Cursor::new(bytes)).map_err(|_| wrong(damaged))?;
    let bomb = || {
        SpreadsheetError::file(
            file,
            format!(
                "unpacks to more than {} MB or {MOST_PARTS} parts, which no sheet of line lengths needs: keep one wing's sheet, \
                 and save it alone",
                MOST_UNPACKED >> 20
            ),
        )
    };
    if archive.len() > MOST_PARTS {
        return Err(bomb());
    }
    let mut kind = None;
    let mut macros = false;
    let mut left = MOST_UNPACKED;
    for at in 0..archive.len() {
        let mut part = match archive.by_index(at) {
            Ok(part) => part,
            Err(ZipError::UnsupportedArchive(why)) if why.contains("assword") => return Err(wrong(LOCKED)),
            Err(_) => return Err(wrong(damaged)),
        };
        // what a part says of its size may be a lie: it is unpacked once, into nothing, up to the limit
        let name = part.name().map(Cow::into_owned).unwrap_or_default();
        let mut start = Vec::new();
        let unpacked = if name == "mimetype" || name == "META-INF/manifest.xml" {
            let size = (&mut part).take(1 << 20).read_to_end(&mut start).map_err(|_| wrong(damaged))?;
            size as u64
        } else {
            io::copy(&mut (&mut part).take(left + 1), &mut io::sink()).map_err(|_| wrong(damaged))?
        };
        left = left.checked_sub(unpacked).ok_or_else(bomb)?;
        let text = String::from_utf8_lossy(&start);
        match name.as_str() {
            "xl/workbook.xml" => kind = Some(Kind::Xlsx { macros: false }),
            "xl/workbook.bin" => kind = Some(Kind::Xlsb),
            "xl/vbaProject.bin" => macros = true,
            "mimetype" if text.contains("opendocument.spreadsheet") => kind = Some(Kind::Ods),
            "META-INF/manifest.xml" if text.contains("encryption-data") => return Err(wrong(LOCKED)),
            "Index/Document.iwa" => {
                return Err(wrong(
                    "is a file of a program that keeps its format to itself: export it as .xlsx or CSV",
                ));
            }
            _ => {}
        }
    }
    match kind {
        Some(Kind::Xlsx { .. }) => Ok(Kind::Xlsx { macros }),
        Some(kind) => Ok(kind),
        None => Err(wrong("is an archive, and no spreadsheet: unpack it, and name the spreadsheet in it")),
    }
}
