//! Damaged input as files bring it: what is refused is refused at its place and in words, by the library and by the command;
//! what is harmless is read.
#![allow(
    clippy::semicolon_if_nothing_returned,
    clippy::too_many_lines,
    clippy::needless_pass_by_value,
    clippy::format_push_string,
    clippy::type_complexity
)]

use std::fs;
use std::path::Path;

use linedrift::fleet::{Fault, FolderSpec, TableFormat, write_folder};
use serde_json::Value;

use crate::cli_run::{linedrift, stderr, stdout};
use crate::damaged::{SOUND, sound};

/// What is done to the sound folder.
enum Damage {
    /// In the named table, the first text is replaced by the second.
    Swap(&'static str, &'static str, &'static str),
    /// The bytes of the named table are changed.
    Bytes(&'static str, fn(Vec<u8>) -> Vec<u8>),
    /// Anything else.
    Do(fn(&Path)),
}

/// What must come of it.
enum Outcome {
    /// Exactly these faults: table, row, column, and words of what was expected.
    Faults(&'static [(&'static str, usize, &'static str, &'static str)]),
    /// The folder is read, with a note that holds these words (empty: any or none).
    Reads(&'static str),
}

use Damage::{Bytes, Do, Swap};
use Outcome::{Faults, Reads};

fn utf16(bytes: Vec<u8>, mark: &[u8], place: usize) -> Vec<u8> {
    let wide = bytes.iter().flat_map(|byte| if place == 0 { [*byte, 0] } else { [0, *byte] });
    mark.iter().copied().chain(wide).collect()
}

fn text(bytes: Vec<u8>) -> String {
    String::from_utf8(bytes).unwrap()
}

fn path(folder: &Path, name: &str) -> std::path::PathBuf {
    folder.join(name)
}

/// The readings as Parquet instead, from which a part is cut or changed.
fn parquet(folder: &Path, change: impl Fn(&mut Vec<u8>)) {
    let fleet = FolderSpec::default().read(folder).unwrap().fleet;
    let other = tempfile::tempdir().unwrap();
    write_folder(&fleet, other.path(), TableFormat::Parquet).unwrap();
    let mut bytes = fs::read(other.path().join("readings.parquet")).unwrap();
    change(&mut bytes);
    fs::remove_file(folder.join("readings.csv")).unwrap();
    fs::write(folder.join("readings.parquet"), bytes).unwrap();
}

#[cfg(unix)]
fn link(to: &str, from: std::path::PathBuf) {
    std::os::unix::fs::symlink(to, from).unwrap();
}

type Case = (&'static str, Damage, Outcome);

#[allow(clippy::too_many_lines)]
fn cases() -> Vec<Case> {
    vec![
        // encodings
        (
            "UTF-16, little end first, with its mark",
            Bytes("wings", |b| utf16(b, b"\xFF\xFE", 0)),
            Faults(&[("wings", 1, "", "UTF-8")]),
        ),
        (
            "UTF-16, big end first, with its mark",
            Bytes("wings", |b| utf16(b, b"\xFE\xFF", 1)),
            Faults(&[("wings", 1, "", "UTF-8")]),
        ),
        ("UTF-16 without a mark", Bytes("checks", |b| utf16(b, b"", 0)), Faults(&[("checks", 1, "", "UTF-16")])),
        (
            "UTF-16, big end first, without a mark",
            Bytes("checks", |b| utf16(b, b"", 1)),
            Faults(&[("checks", 1, "", "UTF-16")]),
        ),
        (
            "Latin-1",
            Bytes("readings", |b| {
                text(b).replace("two", "Zo\u{1}").bytes().map(|b| if b == 1 { 0xEB } else { b }).collect()
            }),
            Faults(&[("readings", 3, "", "UTF-8")]),
        ),
        (
            "a zero byte in a cell",
            Swap("readings", "6212", "62\u{0}12"),
            Faults(&[("readings", 4, "", "zero bytes")]),
        ),
        (
            "UTF-8 cut in the middle of a letter",
            Bytes("fittings", |mut b| {
                b.extend_from_slice(b"7,left,\xC3");
                b
            }),
            Faults(&[("fittings", 4, "", "UTF-8")]),
        ),
        ("a byte-order mark", Bytes("wings", |b| [b"\xEF\xBB\xBF".as_slice(), &b].concat()), Reads("")),
        (
            "two byte-order marks",
            Bytes("wings", |b| [b"\xEF\xBB\xBF\xEF\xBB\xBF".as_slice(), &b].concat()),
            Faults(&[("wings", 1, "wing", "column named")]),
        ),
        (
            "a workbook under the name of a table",
            Do(|f| fs::write(path(f, "wings.csv"), b"PK\x03\x04\x14\0\x06\0\x08\0\0\0!\0").unwrap()),
            Faults(&[("wings", 1, "", "zero bytes")]),
        ),
        (
            "a packed file under the name of a table",
            Do(|f| fs::write(path(f, "wings.csv"), b"\x1f\x8b\x08\0\0\0").unwrap()),
            Faults(&[("wings", 1, "", "UTF-8")]),
        ),
        // line ends
        ("CRLF", Bytes("readings", |b| text(b).replace('\n', "\r\n").into_bytes()), Reads("")),
        ("CRLF here and LF there", Bytes("readings", |b| text(b).replacen('\n', "\r\n", 2).into_bytes()), Reads("")),
        (
            "CR alone",
            Bytes("readings", |b| text(b).replace('\n', "\r").into_bytes()),
            Faults(&[("readings", 1, "", "CR alone")]),
        ),
        (
            "CR alone in one record",
            Swap("readings", "a,left,K1,6212,,\n", "a,left,K1,6212,,\r"),
            Faults(&[("readings", 4, "", "6 fields")]),
        ),
        (
            "no line end at the end",
            Bytes("readings", |mut b| {
                b.pop();
                b
            }),
            Reads(""),
        ),
        ("blank lines", Bytes("readings", |b| text(b).replace("a,left,K1", "\n\na,left,K1").into_bytes()), Reads("")),
        (
            "a last record cut off",
            Bytes("readings", |mut b| {
                b.truncate(b.len() - 5);
                b
            }),
            Faults(&[("readings", 6, "", "6 fields")]),
        ),
        // the header
        (
            "nothing but a line end",
            Do(|f| fs::write(path(f, "checks.csv"), "\n").unwrap()),
            Faults(&[("checks", 1, "", "header")]),
        ),
        (
            "nothing but blanks",
            Do(|f| fs::write(path(f, "checks.csv"), "   ").unwrap()),
            Faults(&[("checks", 1, "", "header")]),
        ),
        (
            "a byte-order mark alone",
            Do(|f| fs::write(path(f, "checks.csv"), b"\xEF\xBB\xBF").unwrap()),
            Faults(&[("checks", 1, "", "header")]),
        ),
        (
            "a comment before the header",
            Bytes("risers", |b| [b"# made by hand\n".as_slice(), &b].concat()),
            Faults(&[
                ("risers", 1, "check", "column named"),
                ("risers", 1, "side", "column named"),
                ("risers", 1, "row", "column named"),
                ("risers", 2, "", "1 fields"),
                ("risers", 3, "", "1 fields"),
                ("risers", 4, "", "1 fields"),
            ]),
        ),
        (
            "a line for spreadsheets before the header",
            Bytes("rows", |b| [b"sep=,\n".as_slice(), &b].concat()),
            Faults(&[
                ("rows", 1, "model", "column named"),
                ("rows", 1, "row", "column named"),
                ("rows", 2, "", "2 fields"),
                ("rows", 3, "", "2 fields"),
                ("rows", 4, "", "2 fields"),
            ]),
        ),
        (
            "a page of the web",
            Do(|f| fs::write(path(f, "rows.csv"), "<!doctype html>\n<title>404</title>\n").unwrap()),
            Faults(&[("rows", 1, "model", "column named"), ("rows", 1, "row", "column named")]),
        ),
        ("the header in quotes", Swap("rows", "model,row", "\"model\",\"row\""), Reads("")),
        (
            "a blank before a column's name",
            Swap("rows", "model,row", "model, row"),
            Faults(&[("rows", 1, "row", "column named")]),
        ),
        (
            "a column's name in capitals",
            Swap("rows", "model,row", "model,ROW"),
            Faults(&[("rows", 1, "row", "column named")]),
        ),
        ("a column of no name", Swap("rows", "row,chord,riser_mm", "row,chord,"), Reads("left out")),
        (
            "columns that nobody asked for",
            Swap("rows", "row,chord,riser_mm", "row,chord,tension"),
            Reads("`tension`"),
        ),
        ("a column twice, once in capitals", Swap("rows", "row,chord,riser_mm", "row,chord,Chord"), Reads("`Chord`")),
        (
            "five thousand columns",
            Do(|f| fs::write(path(f, "rows.csv"), format!("model,row{}\n", ",x".repeat(5000))).unwrap()),
            Faults(&[("rows", 1, "", "1000 columns")]),
        ),
        (
            "a header and no record: wings",
            Do(|f| fs::write(path(f, "wings.csv"), "wing,model\n").unwrap()),
            Faults(&[
                ("checks", 2, "wing", "`wings`"),
                ("checks", 3, "wing", "`wings`"),
                ("checks", 4, "wing", "`wings`"),
                ("checks", 5, "wing", "`wings`"),
                ("actions", 2, "wing", "`wings`"),
                ("actions", 3, "wing", "`wings`"),
                ("fittings", 2, "wing", "`wings`"),
                ("fittings", 3, "wing", "`wings`"),
            ]),
        ),
        (
            "a header and no record: readings",
            Do(|f| fs::write(path(f, "readings.csv"), "check,side,line,reading_mm\n").unwrap()),
            Reads(""),
        ),
        // fields
        (
            "quotes as a word processor sets them",
            Swap("readings", "a,left,K1", "“a”,left,K1"),
            Faults(&[("readings", 4, "check", "`checks`")]),
        ),
        ("a field of ten million letters", Swap("readings", "6212", ""), Reads("")),
        (
            "a quote that is never closed",
            Swap("checks", "d,7,2023", "\"d,7,2023"),
            Faults(&[("checks", 4, "", "quotes")]),
        ),
        (
            "a comma behind every record",
            Bytes("fittings", |b| text(b).replace("9.5\n", "9.5,\n").into_bytes()),
            Faults(&[("fittings", 2, "", "8 fields"), ("fittings", 3, "", "8 fields")]),
        ),
        (
            "a record of a million commas",
            Bytes("rows", |mut b| {
                b.extend(std::iter::repeat_n(b',', 1_000_000));
                b.push(b'\n');
                b
            }),
            Faults(&[("rows", 4, "", "4 fields")]),
        ),
        // numbers
        (
            "thousands in groups, by blank",
            Swap("readings", "6212", "6 212"),
            Faults(&[("readings", 4, "reading_mm", "a number")]),
        ),
        (
            "thousands in groups, by narrow blank",
            Swap("readings", "6212", "6\u{202f}212"),
            Faults(&[("readings", 4, "reading_mm", "a number")]),
        ),
        (
            "thousands in groups, by apostrophe",
            Swap("readings", "6212", "6'212"),
            Faults(&[("readings", 4, "reading_mm", "a number")]),
        ),
        (
            "thousands in groups, by comma, in quotes",
            Swap("readings", "6212", "\"6,212\""),
            Faults(&[("readings", 4, "reading_mm", "decimal comma")]),
        ),
        (
            "a number with its unit",
            Swap("readings", "6212", "6212 mm"),
            Faults(&[("readings", 4, "reading_mm", "a number")]),
        ),
        (
            "a number to the base of sixteen",
            Swap("readings", "6212", "0x1844"),
            Faults(&[("readings", 4, "reading_mm", "a number")]),
        ),
        (
            "a number with low lines",
            Swap("readings", "6212", "6_212"),
            Faults(&[("readings", 4, "reading_mm", "a number")]),
        ),
        (
            "figures of another script",
            Swap("readings", "6212", "٦٢١٢"),
            Faults(&[("readings", 4, "reading_mm", "a number")]),
        ),
        (
            "a typographic minus",
            Swap("checks", "-12.5,-3", "−12.5,-3"),
            Faults(&[("checks", 2, "datum_mm", "a number")]),
        ),
        (
            "a number as large as there is",
            Swap("readings", "6212", "1e308"),
            Faults(&[("readings", 4, "reading_mm", "size that can be")]),
        ),
        (
            "a number past the largest",
            Swap("readings", "6212", "1e999"),
            Faults(&[("readings", 4, "reading_mm", "finite")]),
        ),
        (
            "hours past all flying",
            Swap("checks", "2023-05-01,90", "2023-05-01,1e300"),
            Faults(&[("checks", 4, "hours", "size that can be")]),
        ),
        ("minus zero", Swap("readings", "6212", "-0"), Reads("")),
        ("a number with an exponent", Swap("readings", "6212", "6.212e3"), Reads("")),
        ("a hint of nothing", Swap("readings", "6212", "#N/A"), Faults(&[("readings", 4, "reading_mm", "a number")])),
        (
            "an infinity spelt out",
            Swap("checks", "damp,80", "damp,infinity"),
            Faults(&[("checks", 2, "brake_setting_mm", "finite")]),
        ),
        ("a length of nothing", Swap("lines", "A,2,5900", "A,2,0"), Faults(&[("lines", 3, "nominal_mm", "above 0")])),
        (
            "all spans nothing",
            Do(|f| {
                let lines = fs::read_to_string(path(f, "lines.csv")).unwrap();
                fs::write(path(f, "lines.csv"), lines.replace("0.2,0.1", "0,0.1").replace("0.6,0.1", "0,0.1"))
                    .unwrap();
            }),
            Reads(""),
        ),
        // columns in each other's place
        (
            "value and line swapped",
            Swap("readings", "line,reading_mm", "reading_mm,line"),
            Faults(&[
                ("readings", 2, "line", "a line of"),
                ("readings", 2, "reading_mm", "a number"),
                ("readings", 3, "line", "a line of"),
                ("readings", 3, "reading_mm", "a number"),
                ("readings", 4, "line", "a line of"),
                ("readings", 4, "reading_mm", "a number"),
                ("readings", 5, "line", "a line of"),
                ("readings", 5, "reading_mm", "a number"),
                ("readings", 6, "line", "a line of"),
                ("readings", 6, "reading_mm", "a number"),
            ]),
        ),
        (
            "date and hours swapped",
            Swap("checks", "date,hours", "hours,date"),
            Faults(&[
                ("checks", 2, "date", "YYYY"),
                ("checks", 2, "hours", "a number"),
                ("checks", 3, "date", "YYYY"),
                ("checks", 3, "hours", "a number"),
                ("checks", 4, "date", "YYYY"),
                ("checks", 4, "hours", "a number"),
                ("checks", 5, "date", "YYYY"),
                ("checks", 5, "hours", "a number"),
            ]),
        ),
        // dates and hours
        (
            "a day that the year does not have",
            Swap("checks", "2023-05-01", "2023-02-29"),
            Faults(&[("checks", 4, "date", "YYYY-MM-DD")]),
        ),
        (
            "a month that no year has",
            Swap("checks", "2023-05-01", "2023-13-01"),
            Faults(&[("checks", 4, "date", "YYYY-MM-DD")]),
        ),
        (
            "a day as a spreadsheet counts it",
            Swap("checks", "2023-05-01", "45047"),
            Faults(&[("checks", 4, "date", "YYYY-MM-DD")]),
        ),
        (
            "a day with its hour",
            Swap("checks", "2023-05-01", "2023-05-01T10:30"),
            Faults(&[("checks", 4, "date", "YYYY-MM-DD")]),
        ),
        (
            "a day before all flying",
            Swap("wings", "2021-05-01", "-002021-05-01"),
            Faults(&[("wings", 2, "first_flight", "YYYY-MM-DD")]),
        ),
        (
            "hours backwards by a hair",
            Swap("checks", "2023-05-01,90", "2023-05-01,50.2499"),
            Faults(&[("checks", 4, "hours", "50.25 h")]),
        ),
        // the cascade
        (
            "a segment that hangs on itself",
            Swap("segments", "Heron,K1,,", "Heron,K1,K1,"),
            Faults(&[("segments", 5, "parent", "circle")]),
        ),
        (
            "three segments in a ring",
            Bytes("segments", |mut b| {
                b.extend_from_slice(b"Heron,P,Q,lcp,1,,\nHeron,Q,R,lcp,1,,\nHeron,R,P,lcp,1,,\n");
                b
            }),
            Faults(&[("segments", 6, "parent", "circle")]),
        ),
        // names that are the same to the eye
        (
            "a wing twice, in capitals",
            Bytes("wings", |mut b| {
                b.extend_from_slice(b"x1,Egret,,,,,,\nX1,Egret,,,,,,\n");
                b
            }),
            Reads("`x1` and `X1` differ only in capitals"),
        ),
        (
            "a wing twice, in two Unicode forms",
            Bytes("wings", |mut b| {
                b.extend_from_slice("é1,Egret,,,,,,\ne\u{301}1,Egret,,,,,,\n".as_bytes());
                b
            }),
            Faults(&[("wings", 5, "wing", "looks the same (with U+00E9)")]),
        ),
        (
            "a check twice, with a letter of another script",
            Bytes("checks", |mut b| {
                b.extend_from_slice("\u{430},8,2022-07-01,10,,,,,,\n".as_bytes());
                b
            }),
            Faults(&[("checks", 6, "check", "looks the same (plain ASCII)")]),
        ),
        (
            "a line twice, with a letter of another script",
            Swap("lines", "Heron,A2,A,2", "Heron,\u{410}1,A,3,5900,0.6,0.1,10,,\nHeron,A2,A,2"),
            Faults(&[("lines", 3, "line", "looks the same"), ("lines", 3, "line", "`segments`")]),
        ),
        (
            "a material with a letter of another script",
            Swap("segments", "uhmwpe,1400", "uhmw\u{440}e,1400"),
            Faults(&[("segments", 3, "material", "looks the same")]),
        ),
        (
            "a model with a letter of another script",
            Swap("wings", "8,Egret", "8,\u{415}gret"),
            Faults(&[("wings", 3, "model", "`lines`")]),
        ),
        (
            "a letter of no width",
            Swap("wings", "8,Egret", "8\u{200b},Egret"),
            Faults(&[("wings", 3, "wing", "U+200B"), ("checks", 5, "wing", "`wings`")]),
        ),
        (
            "a mark of writing direction",
            Swap("readings", ",two", ",\u{202e}two"),
            Faults(&[("readings", 3, "operator", "U+202E")]),
        ),
        (
            "a blank behind a name",
            Swap("lines", "Heron,A2,A,2", "Heron,A2 ,A,2"),
            Faults(&[
                ("lines", 3, "line", "without blanks"),
                ("lines", 3, "line", "`segments`"),
                ("readings", 5, "line", "a line of"),
            ]),
        ),
        (
            "an order to the terminal",
            Swap("wings", "8,Egret", "8\u{1b}[2J,Egret"),
            Faults(&[("wings", 3, "wing", "U+001B"), ("checks", 5, "wing", "`wings`")]),
        ),
        (
            "a line end in a name",
            Swap("wings", "8,Egret", "\"8\n\",Egret"),
            Faults(&[("wings", 3, "wing", "without blanks"), ("checks", 5, "wing", "`wings`")]),
        ),
        // files
        (
            "a folder where a table is expected",
            Do(|f| {
                fs::remove_file(path(f, "rows.csv")).unwrap();
                fs::create_dir(path(f, "rows.csv")).unwrap();
            }),
            Faults(&[("rows", 0, "", "a file that can be read")]),
        ),
        (
            "a folder where a Parquet table is expected",
            Do(|f| {
                fs::remove_file(path(f, "rows.csv")).unwrap();
                fs::create_dir(path(f, "rows.parquet")).unwrap();
            }),
            Faults(&[("rows", 0, "", "a Parquet file that can be read")]),
        ),
        (
            "readings in parts, and no part",
            Do(|f| {
                fs::remove_file(path(f, "readings.csv")).unwrap();
                fs::create_dir(path(f, "readings")).unwrap();
            }),
            Faults(&[("readings", 0, "", "at least one Parquet file")]),
        ),
        (
            "readings in parts and in one",
            Do(|f| fs::create_dir(path(f, "readings")).unwrap()),
            Faults(&[("readings", 0, "", "one of these")]),
        ),
        (
            "a file where the folder is expected inside readings",
            Do(|f| {
                fs::remove_file(path(f, "readings.csv")).unwrap();
                fs::create_dir_all(path(f, "readings/x.parquet")).unwrap();
            }),
            Faults(&[("readings/x.parquet", 0, "", "a Parquet file that can be read")]),
        ),
        (
            "a damaged record of tables to be put in place",
            Do(|f| fs::write(path(f, ".linedrift-pending"), "{").unwrap()),
            Faults(&[("", 0, ".linedrift-pending", "put in place")]),
        ),
        (
            "a record of tables that would move another file",
            Do(|f| {
                fs::write(
                    path(f, ".linedrift-pending"),
                    r#"{"format":"linedrift.pending/1","tables":[{"from":"../x.tmp","to":"wings.csv"}],"remove":[]}"#,
                )
                .unwrap()
            }),
            Faults(&[("", 0, ".linedrift-pending", "put in place")]),
        ),
        // Parquet
        ("Parquet as it should be", Do(|f| parquet(f, |_| {})), Reads("")),
        (
            "Parquet cut in the middle",
            Do(|f| parquet(f, |b| b.truncate(b.len() / 2))),
            Faults(&[("readings", 0, "", "Parquet file that can be read")]),
        ),
        (
            "Parquet without its end",
            Do(|f| parquet(f, |b| b.truncate(b.len() - 4))),
            Faults(&[("readings", 0, "", "Parquet file that can be read")]),
        ),
        (
            "Parquet with an end of another kind",
            Do(|f| {
                parquet(f, |b| {
                    let n = b.len();
                    b[n - 4..].copy_from_slice(b"PARE");
                })
            }),
            Faults(&[("readings", 0, "", "Parquet file that can be read")]),
        ),
        (
            "Parquet whose description is longer than it",
            Do(|f| {
                parquet(f, |b| {
                    let n = b.len();
                    b[n - 8..n - 4].copy_from_slice(&[0xFF, 0xFF, 0xFF, 0x7F]);
                })
            }),
            Faults(&[("readings", 0, "", "Parquet file that can be read")]),
        ),
        (
            "Parquet with its first page wiped",
            Do(|f| parquet(f, |b| b[4..24].fill(0xFF))),
            Faults(&[("readings", 0, "", "Parquet file that can be read")]),
        ),
        (
            "CSV under the name of Parquet",
            Do(|f| fs::rename(path(f, "rows.csv"), path(f, "rows.parquet")).unwrap()),
            Faults(&[("rows", 0, "", "Parquet file that can be read")]),
        ),
        (
            "Parquet under the name of CSV",
            Do(|f| {
                parquet(f, |_| {});
                fs::rename(path(f, "readings.parquet"), path(f, "readings.csv")).unwrap();
            }),
            Faults(&[("readings", 1, "", "UTF-8")]),
        ),
    ]
}

/// Cases that only some systems have: links, pipes, devices, rights.
#[cfg(unix)]
fn unix_cases() -> Vec<Case> {
    vec![
        (
            "a link to a table",
            Do(|f| {
                fs::rename(path(f, "rows.csv"), path(f, "elsewhere")).unwrap();
                link("elsewhere", path(f, "rows.csv"));
            }),
            Reads(""),
        ),
        (
            "a link that leads nowhere",
            Do(|f| {
                fs::remove_file(path(f, "rows.csv")).unwrap();
                link("nowhere", path(f, "rows.csv"));
            }),
            Faults(&[("rows", 0, "", "a file that can be read")]),
        ),
        (
            "a link to itself",
            Do(|f| {
                fs::remove_file(path(f, "rows.csv")).unwrap();
                link("rows.csv", path(f, "rows.csv"));
            }),
            Faults(&[("rows", 0, "", "a file that can be read")]),
        ),
        (
            "a source without end",
            Do(|f| {
                fs::remove_file(path(f, "rows.csv")).unwrap();
                link("/dev/zero", path(f, "rows.csv"));
            }),
            Faults(&[("rows", 0, "", "a file that can be read")]),
        ),
        (
            "a source without end, as Parquet",
            Do(|f| {
                fs::remove_file(path(f, "rows.csv")).unwrap();
                link("/dev/zero", path(f, "rows.parquet"));
            }),
            Faults(&[("rows", 0, "", "a Parquet file that can be read")]),
        ),
        (
            "a pipe that nobody writes into",
            Do(|f| {
                fs::remove_file(path(f, "rows.csv")).unwrap();
                assert!(std::process::Command::new("mkfifo").arg(path(f, "rows.csv")).status().unwrap().success());
            }),
            Faults(&[("rows", 0, "", "a file that can be read")]),
        ),
    ]
}

#[cfg(not(unix))]
fn unix_cases() -> Vec<Case> {
    Vec::new()
}

fn places(faults: &[Fault]) -> Vec<String> {
    faults.iter().map(|f| format!("{} {} {}: {:.40} / {}", f.table, f.row, f.column, f.value, f.expected)).collect()
}

#[test]
fn damaged_files_are_refused_at_their_place_or_read() {
    let (mut wrong, mut count) = (Vec::new(), 0);
    for (name, damage, outcome) in cases().into_iter().chain(unix_cases()) {
        count += 1;
        let home = sound();
        let folder = home.path();
        match damage {
            Swap(table, from, to) => {
                let at = path(folder, &format!("{table}.csv"));
                let before = fs::read_to_string(&at).unwrap();
                assert!(before.contains(from), "{name}: `{from}` is not in {table}");
                // one case is a field that no literal can hold
                let long = "x".repeat(10_000_000);
                let after = if name.contains("ten million") {
                    before.replacen(",two", &format!(",{long}"), 1)
                } else {
                    before.replacen(from, to, 1)
                };
                fs::write(&at, after).unwrap();
            }
            Bytes(table, change) => {
                let at = path(folder, &format!("{table}.csv"));
                let before = fs::read(&at).unwrap();
                fs::write(&at, change(before)).unwrap();
            }
            Do(change) => change(folder),
        }
        let read = FolderSpec::default().read(folder);
        let output = linedrift(folder, &["summary", ".", "--json"]);
        let document: Value = serde_json::from_str(stdout(&output)).unwrap_or_default();
        match (outcome, read) {
            (Reads(words), Ok(read)) => {
                let noted = words.is_empty() || read.notes.iter().any(|note| note.contains(words));
                if !noted || output.status.code() != Some(0) || document["schema"] != "linedrift.summary/1" {
                    wrong.push(format!("{name}: {:?} {}", read.notes, stderr(&output)));
                }
            }
            (Faults(expected), Err(error)) => {
                let found = error.faults();
                let right = found.len() == expected.len()
                    && found.iter().zip(expected).all(|(found, (table, row, column, words))| {
                        (found.table.as_str(), found.row, found.column.as_str()) == (*table, *row, *column)
                            && found.expected.contains(words)
                            && found.value.chars().count() <= 200
                    });
                let told = document["faults"].as_array().is_some_and(|all| {
                    all.len() == found.len()
                        && all.iter().zip(found).all(|(a, b)| *a == serde_json::to_value(b).unwrap())
                });
                if !right || !told || output.status.code() != Some(1) {
                    wrong.push(format!("{name} (told {told}):\n    {}", places(found).join("\n    ")));
                }
            }
            (Reads(_), Err(error)) => {
                wrong.push(format!("{name} should be read:\n    {}", places(error.faults()).join("\n    ")))
            }
            (Faults(_), Ok(_)) => wrong.push(format!("{name} is read")),
        }
    }
    assert!(wrong.is_empty(), "{} of {count}:\n{}", wrong.len(), wrong.join("\n"));
    assert!(count >= 60, "{count}");
}

/// A chain of segments as deep as the table is long, and a comb as wide: no recursion, nothing that grows with the square.
#[test]
fn a_cascade_of_a_hundred_thousand_segments_is_read_and_judged() {
    let depth = 100_000;
    let home = sound();
    let folder = home.path();
    let mut chain = String::from("model,segment,parent,material,length_mm\n");
    for at in 0..depth {
        let below = if at + 1 < depth { format!("S{}", at + 1) } else { String::new() };
        let name = if at == 0 { "A1".to_owned() } else { format!("S{at}") };
        chain += &format!("Egret,{name},{below},uhmwpe,0.07\n");
    }
    fs::write(folder.join("segments.csv"), &chain).unwrap();
    fs::write(folder.join("lines.csv"), "model,line,row,rank,nominal_mm\nEgret,A1,A,1,7000\n").unwrap();
    fs::write(folder.join("wings.csv"), "wing,model\n8,Egret\n").unwrap();
    fs::write(folder.join("checks.csv"), "check,wing,date,hours\nc,8,2022-06-01,10\ne,8,2023-06-01,60\n").unwrap();
    fs::write(
        folder.join("readings.csv"),
        "check,side,line,reading_mm\nc,left,A1,6988\nc,right,A1,6990\ne,left,A1,6980\ne,right,A1,6991\n",
    )
    .unwrap();
    for table in ["rows", "models", "risers", "actions", "fittings"] {
        fs::remove_file(folder.join(format!("{table}.csv"))).unwrap();
    }
    for command in ["summary", "vet", "trim", "plan", "wear", "due", "sheet"] {
        let output = linedrift(
            folder,
            &[command, ".", "--wing", "8"][..if command == "wear" || command == "summary" { 2 } else { 4 }],
        );
        let code = output.status.code();
        // none dies: a result, or words that say why there is none
        assert!(matches!(code, Some(0 | 1)), "{command}: {code:?} {}", stderr(&output));
        assert!(!stderr(&output).contains("panicked"), "{command}: {}", stderr(&output));
    }
    // the same in a ring
    fs::write(folder.join("segments.csv"), chain.replace(",,uhmwpe", ",A1,uhmwpe")).unwrap();
    let error = FolderSpec::default().read(folder).unwrap_err();
    assert_eq!((error.faults().len(), error.faults()[0].column.as_str()), (1, "parent"), "{error}");
}

#[cfg(unix)]
#[test]
fn what_may_not_be_read_is_a_fault() {
    use std::os::unix::fs::PermissionsExt;
    let home = sound();
    let at = home.path().join("rows.csv");
    fs::set_permissions(&at, fs::Permissions::from_mode(0o0)).unwrap();
    if fs::read(&at).is_ok() {
        eprintln!("skipped: this user may read everything");
        return;
    }
    let error = FolderSpec::default().read(home.path()).unwrap_err();
    assert_eq!((error.faults()[0].table.as_str(), error.faults()[0].row), ("rows", 0));
    assert!(error.faults()[0].expected.contains("can be read"));
}

/// Files grow to half a kilobyte and no further, as on a disk that is full: what was there stays, and it is said.
#[cfg(target_os = "linux")]
#[test]
fn a_disk_that_is_full_leaves_the_old_and_says_so() {
    let home = crate::cli_run::loft();
    let run = |command: &str| {
        let shell = format!("trap '' XFSZ; ulimit -f 1; exec \"$0\" {command}");
        let program = env!("CARGO_BIN_EXE_linedrift");
        let output =
            std::process::Command::new("sh").args(["-c", &shell, program]).current_dir(home.path()).output().unwrap();
        assert_eq!(output.status.code(), Some(1), "{command}: {}", stderr(&output));
        assert!(
            stderr(&output).contains("too large") || stderr(&output).contains("could not write"),
            "{}",
            stderr(&output)
        );
    };
    let before: Vec<_> = ["due.csv", "fit.json", "sheet.csv"].map(|name| (name, "old\n")).to_vec();
    for (name, text) in &before {
        fs::write(home.path().join(name), text).unwrap();
    }
    run("wear loft --save fit.json");
    run("due loft --calendar due.csv");
    run("sheet loft --wing W01 --out sheet.csv");
    run("report loft --out report");
    run("simulate --out other --wings 3");
    for (name, text) in &before {
        assert_eq!(fs::read_to_string(home.path().join(name)).unwrap(), *text, "{name}");
    }
    let mut left: Vec<String> = fs::read_dir(home.path())
        .unwrap()
        .map(|one| one.unwrap().file_name().to_string_lossy().into_owned())
        .collect();
    left.retain(|name| name.strip_suffix(".tmp").is_some());
    assert!(left.is_empty(), "{left:?}");
    // the result itself cannot be written
    let full = fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
    let output = std::process::Command::new(env!("CARGO_BIN_EXE_linedrift"))
        .args(["trim", "loft"])
        .current_dir(home.path())
        .stdout(full)
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(1));
    assert!(stderr(&output).contains("cannot write the result"), "{}", stderr(&output));
}

/// A name that is a device, or a link to another place, is not renamed over.
#[cfg(unix)]
#[test]
fn outputs_go_through_links_and_leave_devices_alone() {
    let home = crate::cli_run::loft();
    fs::create_dir(home.path().join("away")).unwrap();
    fs::write(home.path().join("away/fit.json"), "old\n").unwrap();
    link("away/fit.json", home.path().join("fit.json"));
    let output = linedrift(home.path(), &["wear", "loft", "--save", "fit.json"]);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    assert!(home.path().join("fit.json").is_symlink());
    assert!(fs::read_to_string(home.path().join("away/fit.json")).unwrap().contains("linedrift wear fit"));
    let device = home.path().join("device");
    assert!(std::process::Command::new("mkfifo").arg(&device).status().unwrap().success());
    let output = linedrift(home.path(), &["wear", "loft", "--save", "device"]);
    assert_eq!(output.status.code(), Some(1));
    assert!(stderr(&output).contains("not a file"), "{}", stderr(&output));
    assert!(!device.is_file() && device.exists());
    assert_eq!(SOUND.len(), 10);
}

/// One bit of this file's description makes the decoder panic (`thrift bool field`): the fault is told, and no more.
#[test]
fn a_file_that_makes_the_decoder_panic_is_a_fault_without_noise() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let made = linedrift(at, &["simulate", "--wings", "4", "--format", "parquet", "--out", "loft"]);
    assert_eq!(made.status.code(), Some(0), "{}", stderr(&made));
    fs::write(at.join("loft/rows.parquet"), include_bytes!("damaged/rows-flag.parquet")).unwrap();
    let output = linedrift(at, &["summary", "loft"]);
    assert_eq!(output.status.code(), Some(1));
    let expected =
        "error: 1 fault in the tables\n  rows: found `damaged`, expected a Parquet file that can be read\n";
    assert_eq!(stderr(&output).trim_end(), expected.trim_end());
    assert!(stdout(&output).is_empty());
}
