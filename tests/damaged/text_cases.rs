//! Damage to the text of tables: encodings, line ends, headers, fields, values, names.
#![allow(
    clippy::semicolon_if_nothing_returned,
    clippy::too_many_lines,
    clippy::needless_pass_by_value,
    clippy::format_push_string
)]

use std::fs;

use super::case::Damage::{Bytes, Do, Swap};
use super::case::Outcome::{Faults, Reads};
use super::case::{Case, path};

fn utf16(bytes: Vec<u8>, mark: &[u8], place: usize) -> Vec<u8> {
    let wide = bytes.iter().flat_map(|byte| if place == 0 { [*byte, 0] } else { [0, *byte] });
    mark.iter().copied().chain(wide).collect()
}

fn text(bytes: Vec<u8>) -> String {
    String::from_utf8(bytes).unwrap()
}

pub fn cases() -> Vec<Case> {
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
    ]
}
