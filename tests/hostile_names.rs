//! Names that want to be markup, formulas, calendar lines or orders to the terminal: every command, every output, parsed.
#![allow(clippy::too_many_lines, clippy::format_push_string, clippy::uninlined_format_args)]

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use linedrift::fleet::FolderSpec;
use linedrift::wing::is_hidden;
use serde_json::Value;

use crate::cli_run::{linedrift, loft, stderr, stdout};

const HOSTILE: [&str; 14] = [
    "<script>alert(1)</script>",
    "=HYPERLINK(\"x\";\"y\")",
    "+1+1",
    "-2+3",
    "@SUM(1)",
    "\"'><img src=x onerror=alert(1)>",
    "&amp;&#60;",
    "]]><b>",
    "--><svg onload=x>",
    ";END:VEVENT",
    "a,b\\nc",
    "%s%n${x}",
    "../../up",
    "'=1+1",
];

/// Columns whose cells are names.
const NAMES: [&str; 10] =
    ["wing", "model", "check", "line", "segment", "parent", "main", "material", "operator", "table_version"];

/// The same name always becomes the same hostile one, and no two become one. What is numbered goes through all of them.
fn hostile(name: &str) -> String {
    let digits: String = name.chars().filter(char::is_ascii_digit).collect();
    let sum = name.bytes().map(usize::from).sum();
    let at: usize = digits.parse().unwrap_or(sum);
    format!("{}{name}", HOSTILE[at % HOSTILE.len()])
}

/// Texts within a JSON document.
fn texts(value: &Value, out: &mut BTreeSet<String>) {
    match value {
        Value::String(text) => drop(out.insert(text.clone())),
        Value::Array(items) => items.iter().for_each(|item| texts(item, out)),
        Value::Object(map) => map.values().for_each(|item| texts(item, out)),
        _ => {}
    }
}

/// As HTML must write it.
fn in_html(name: &str) -> String {
    let mut text = name.replace('&', "&amp;");
    for (letter, entity) in [('<', "&lt;"), ('>', "&gt;"), ('"', "&quot;"), ('\'', "&#39;")] {
        text = text.replace(letter, entity);
    }
    text
}

/// As a table of results must write it, once it is parsed.
fn in_csv(name: &str) -> String {
    if name.starts_with(['=', '+', '-', '@']) { format!("'{name}") } else { name.to_owned() }
}

/// As iCalendar must write it (RFC 5545, 3.3.11).
fn in_calendar(name: &str) -> String {
    name.replace('\\', "\\\\").replace(';', "\\;").replace(',', "\\,")
}

/// As many wings as there are hostile names.
fn small_loft() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let wings = HOSTILE.len().to_string();
    let made = linedrift(folder.path(), &["simulate", "--out", "loft", "--wings", &wings, "--seed", "5"]);
    assert_eq!(made.status.code(), Some(0), "{}", stderr(&made));
    folder
}

fn encode(cell: &str) -> String {
    if cell.contains([',', '"', '\n']) { format!("\"{}\"", cell.replace('"', "\"\"")) } else { cell.to_owned() }
}

/// Records of a CSV text (RFC 4180).
fn parse(text: &str) -> Vec<Vec<String>> {
    let (mut records, mut record, mut cell, mut inside) = (Vec::new(), Vec::new(), String::new(), false);
    let mut letters = text.chars().peekable();
    while let Some(letter) = letters.next() {
        match letter {
            '"' if inside && letters.peek() == Some(&'"') => {
                letters.next();
                cell.push('"');
            }
            '"' => inside = !inside,
            ',' if !inside => record.push(std::mem::take(&mut cell)),
            '\n' if !inside => {
                record.push(std::mem::take(&mut cell));
                records.push(std::mem::take(&mut record));
            }
            '\r' if !inside => {}
            other => cell.push(other),
        }
    }
    assert!(!inside, "a quote is left open");
    if !cell.is_empty() || !record.is_empty() {
        record.push(cell);
        records.push(record);
    }
    records
}

/// A loft whose every name is hostile, with operators and versions too.
fn hostile_loft() -> tempfile::TempDir {
    let home = small_loft();
    let folder = home.path().join("loft");
    for entry in fs::read_dir(&folder).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|ending| ending != "csv") {
            continue;
        }
        let mut records = parse(&fs::read_to_string(&path).unwrap());
        let table = path.file_stem().unwrap().to_str().unwrap().to_owned();
        let header = records[0].clone();
        for record in &mut records[1..] {
            for (name, cell) in header.iter().zip(record.iter_mut()) {
                if NAMES.contains(&name.as_str()) && !cell.is_empty() {
                    *cell = hostile(cell);
                }
            }
        }
        for (wanted, column) in [("readings", "operator"), ("lines", "table_version"), ("wings", "table_version")] {
            if table == wanted && !header.iter().any(|name| name == column) {
                records[0].push(column.to_owned());
                for (at, record) in records[1..].iter_mut().enumerate() {
                    // one version for all; operators in turn
                    record.push(if column == "operator" { hostile(&format!("o{}", at % 2)) } else { hostile("v1") });
                }
            }
        }
        let text: String = records
            .iter()
            .map(|record| record.iter().map(|cell| encode(cell)).collect::<Vec<_>>().join(",") + "\n")
            .collect();
        fs::write(&path, text).unwrap();
    }
    home
}

fn files(folder: &Path, out: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            files(&path, out);
        } else {
            out.push(path);
        }
    }
}

/// Names of the elements in a page or picture, and of their attributes; every `<` must begin one.
fn markup(text: &str, place: &str) -> BTreeSet<String> {
    let mut names = BTreeSet::new();
    let mut rest = text;
    while let Some(at) = rest.find('<') {
        let tag = &rest[at + 1..];
        if let Some(comment) = tag.strip_prefix("!--") {
            rest = &comment[comment.find("-->").unwrap()..];
            continue;
        }
        // up to the first `>` outside of quotes
        let (mut quote, mut end) = (None, None);
        for (place, letter) in tag.char_indices() {
            match (quote, letter) {
                (None, '"' | '\'') => quote = Some(letter),
                (Some(open), _) if open == letter => quote = None,
                (None, '>') => {
                    end = Some(place);
                    break;
                }
                _ => {}
            }
        }
        let end = end.unwrap_or_else(|| panic!("{place}: a tag that does not end: {:.60}", tag));
        let inner = &tag[..end];
        let name = inner.trim_start_matches(['/', '!', '?']).split([' ', '\n', '/']).next().unwrap();
        names.insert(name.to_lowercase());
        let mut quoted = false;
        let bare: String = inner
            .chars()
            .filter(|letter| {
                quoted ^= *letter == '"';
                !quoted && *letter != '"'
            })
            .collect();
        for word in bare.split_whitespace().skip(1).filter_map(|word| word.strip_suffix('=')) {
            names.insert(format!("@{}", word.to_lowercase()));
        }
        rest = &tag[end..];
        // what is in a style or script sheet of ours is not markup
        for whole in ["style", "script"] {
            if name == whole && !inner.starts_with('/') && !inner.ends_with('/') {
                rest = &rest[rest.find(&format!("</{whole}")).unwrap()..];
            }
        }
    }
    names
}

fn assert_calendar(text: &str, wings: &[String]) {
    assert!(text.lines().count() > 5);
    let unfolded = text.replace("\r\n ", "");
    let mut events = 0;
    for line in unfolded.split("\r\n").filter(|line| !line.is_empty()) {
        assert!(!line.chars().any(is_hidden), "{line:?}");
        let (name, value) = line.split_once(':').unwrap_or_else(|| panic!("no content line: {line}"));
        assert!(
            name.split(';').next().unwrap().bytes().all(|byte| byte.is_ascii_uppercase() || byte == b'-'),
            "{line}"
        );
        events += usize::from(line == "BEGIN:VEVENT");
        if name == "UID" {
            let known = wings.iter().any(|wing| value == format!("{}-line-check@linedrift", in_calendar(wing)));
            assert!(known, "{line}");
        }
        if ["SUMMARY", "DESCRIPTION", "UID"].contains(&name) {
            let bare = value.replace("\\\\", "").replace("\\,", "").replace("\\;", "").replace("\\n", "");
            assert!(!bare.contains([',', ';', '\\']), "{line}");
        }
    }
    assert_eq!(events, unfolded.matches("\r\nUID:").count());
    assert!(events > 0);
}

#[test]
fn hostile_names_reach_no_output_unescaped() {
    let benign = small_loft();
    let home = hostile_loft();
    let most_checks = |folder: &Path| {
        let fleet = FolderSpec::default().read(&folder.join("loft")).unwrap().fleet;
        fleet.histories().iter().max_by_key(|history| history.checks.len()).unwrap().clone()
    };
    let longest = most_checks(home.path());
    let wing = longest.wing.id.as_str();
    let benign_wing = most_checks(benign.path()).wing.id;
    assert_ne!(hostile("W01"), "W01");
    // what a command writes is written for both; what it answers is judged for the hostile one, as text and as JSON
    let writing = [
        "trim loft --out trim",
        "plan loft --wing=WING --curve --out plan",
        "plan loft --wing=WING --done",
        "wear loft --save fit.json --influence --out wear",
        "due loft --calendar due.ics --out due",
        "due loft --fit fit.json --calendar due.csv",
        "backtest loft --out backtest",
        "sheet loft --wing=WING --out sheet.csv --html sheet.html",
        "report loft --out report",
    ];
    let answering = [
        ("summary loft", 0, "summary"),
        ("vet loft", 0, "vet"),
        // no line was read twice, but by two people in turn
        ("gauge loft", 0, "gauge"),
        ("trim loft", 0, "trim"),
        ("plan loft --all", 0, "plan-all"),
        ("plan loft --wing=WING --curve", 0, "plan"),
        // no wing was measured after what was done to it
        ("plan loft --learn", 1, "error"),
        ("wear loft --offsets model+row", 0, "wear"),
        ("due loft --fit fit.json", 0, "due"),
    ];
    let run = |folder: &Path, line: &str, wing: &str, json: bool, code: i32| -> String {
        let mut args: Vec<String> = line.split(' ').map(|word| word.replace("WING", wing)).collect();
        args.extend(json.then(|| "--json".to_owned()));
        let args: Vec<&str> = args.iter().map(String::as_str).collect();
        let output = linedrift(folder, &args);
        assert_eq!(output.status.code(), Some(code), "{args:?}: {}", stderr(&output));
        for text in [stdout(&output), stderr(&output)] {
            assert!(!text.chars().any(|letter| letter != '\n' && is_hidden(letter)), "{args:?}: {text}");
        }
        stdout(&output).to_owned()
    };
    for line in writing {
        run(benign.path(), line, &benign_wing, false, 0);
        run(home.path(), line, wing, false, 0);
    }
    let mut said = BTreeSet::new();
    for (line, code, schema) in answering {
        run(home.path(), line, wing, false, code);
        let document: Value = serde_json::from_str(&run(home.path(), line, wing, true, code)).unwrap();
        assert_eq!(document["schema"], format!("linedrift.{schema}/1"), "{line}");
        texts(&document, &mut said);
    }
    let fleet = FolderSpec::default().read(&home.path().join("loft")).unwrap().fleet;
    let wings: Vec<String> = fleet.histories().iter().map(|history| history.wing.id.clone()).collect();
    for bad in HOSTILE {
        assert!(wings.iter().any(|wing| wing.starts_with(bad)), "no wing begins {bad}");
    }
    for wing in &wings {
        assert!(said.contains(wing), "no JSON says {wing} as it is");
    }
    // what was written holds the elements that a harmless fleet's has, and no other
    let (mut ours, mut theirs) = (Vec::new(), Vec::new());
    files(benign.path(), &mut ours);
    files(home.path(), &mut theirs);
    let names = |all: &[PathBuf], root: &Path| -> BTreeSet<PathBuf> {
        all.iter().map(|path| path.strip_prefix(root).unwrap().to_owned()).collect()
    };
    let (ours, theirs) = (names(&ours, benign.path()), names(&theirs, home.path()));
    assert_eq!(ours, theirs, "names of files do not come from names in tables");
    let (mut pages, mut tables) = (0, 0);
    let (mut written, mut cells) = (String::new(), BTreeSet::new());
    for path in &theirs {
        let read = |root: &Path| fs::read(root.join(path)).map(String::from_utf8).unwrap();
        let place = path.display().to_string();
        match path.extension().and_then(|ending| ending.to_str()) {
            Some("html" | "svg") => {
                pages += 1;
                let (known, text) = (read(benign.path()).unwrap(), read(home.path()).unwrap());
                let more: Vec<String> = markup(&text, &place).difference(&markup(&known, &place)).cloned().collect();
                assert!(more.is_empty(), "{place}: {more:?}");
                for name in HOSTILE.iter().filter(|name| name.contains(['<', '>'])) {
                    assert!(!text.contains(name), "{place}: {name}");
                }
                written += &text;
            }
            Some("csv") if !path.starts_with("loft") => {
                tables += 1;
                for record in parse(&read(home.path()).unwrap()) {
                    cells.extend(record.iter().cloned());
                    for cell in &record {
                        let formula = cell.starts_with(['=', '+', '-', '@', '\t', '\r']);
                        assert!(!formula || cell.parse::<f64>().is_ok(), "{place}: {cell}");
                    }
                }
            }
            Some("ics") => assert_calendar(&read(home.path()).unwrap(), &wings),
            _ => {}
        }
    }
    assert!(pages > 4 && tables > 8, "{pages} pages, {tables} tables");
    // and each name does stand there, escaped
    for wing in &wings {
        assert!(written.contains(&in_html(wing)), "no page says {wing}");
        assert!(cells.contains(&in_csv(wing)), "no table says {wing}");
    }
    // a sheet with marked names is read back
    let sheet = fs::read_to_string(home.path().join("sheet.csv")).unwrap();
    let mut filled = String::new();
    for (at, record) in parse(&sheet).into_iter().enumerate() {
        let mut cells = record;
        if at > 0 {
            cells[7] = cells[5].parse::<f64>().unwrap().round().to_string();
        }
        filled += &(cells.iter().map(|cell| encode(cell)).collect::<Vec<_>>().join(",") + "\n");
    }
    fs::write(home.path().join("filled.csv"), filled).unwrap();
    let named = format!("--wing={wing}");
    let args =
        ["record", "filled.csv", "loft", &named, "--date", "2040-01-01", "--hours", "2000", "--accept-doubtful"];
    let output = linedrift(home.path(), &args);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    let after = FolderSpec::default().read(&home.path().join("loft")).unwrap().fleet;
    assert_eq!(after.history(wing).unwrap().checks.len(), longest.checks.len() + 1);
}

/// Characters that are not seen are refused in tables; what the message quotes cannot move the cursor either.
#[test]
fn hidden_characters_are_refused_and_quoted_harmlessly() {
    for hidden in
        ["\u{1b}[2J\u{1b}[31m", "\u{202e}drow", "\u{2066}x", "\u{7}", "a\r", "\u{9b}1m", "\u{200f}", "\u{feff}"]
    {
        let home = loft();
        let path = home.path().join("loft/wings.csv");
        let text = fs::read_to_string(&path).unwrap();
        fs::write(&path, text.replace("W01", &format!("W01{hidden}x"))).unwrap();
        for command in ["summary", "vet", "gauge", "trim", "wear", "due", "backtest", "report"] {
            for json in [None, Some("--json")] {
                let args: Vec<&str> = [command, "loft"].into_iter().chain(json).collect();
                let output = linedrift(home.path(), &args);
                assert_eq!(output.status.code(), Some(1), "{command} {hidden:?}");
                for text in [stdout(&output), stderr(&output)] {
                    assert!(!text.chars().any(|letter| letter != '\n' && is_hidden(letter)), "{command}: {text:?}");
                }
                if json.is_some() {
                    let document: Value = serde_json::from_str(stdout(&output)).unwrap();
                    let first = document["faults"][0]["value"].as_str().unwrap().to_owned();
                    assert!(first.contains(hidden), "JSON says exactly what stood there");
                }
            }
        }
        // as a name on the call
        let output = linedrift(home.path(), &["trim", "loft", "--wing", hidden]);
        assert!(!stderr(&output).chars().any(|letter| letter != '\n' && is_hidden(letter)));
    }
}
