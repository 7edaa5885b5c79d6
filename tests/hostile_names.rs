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

/// The same name always becomes the same hostile one, and no two become one.
fn hostile(name: &str) -> String {
    let sum: usize = name.bytes().map(usize::from).sum();
    format!("{}{name}", HOSTILE[sum % HOSTILE.len()])
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
    let home = loft();
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
        // what stands in a style or script sheet of ours is not markup
        for whole in ["style", "script"] {
            if name == whole && !inner.starts_with('/') && !inner.ends_with('/') {
                rest = &rest[rest.find(&format!("</{whole}")).unwrap()..];
            }
        }
    }
    names
}

fn assert_calendar(text: &str) {
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
    let benign = loft();
    let home = hostile_loft();
    let fleet = FolderSpec::default().read(&home.path().join("loft")).unwrap().fleet;
    let longest = fleet.histories().iter().max_by_key(|history| history.checks.len()).unwrap();
    let wing = longest.wing.id.as_str();
    assert_ne!(hostile("W01"), "W01");
    let plain = |wing: &str| -> Vec<Vec<String>> {
        [
            "summary loft",
            "vet loft",
            "gauge loft",
            "trim loft --out trim",
            "plan loft --all",
            "plan loft --wing=WING --curve --out plan",
            "plan loft --wing=WING --done",
            "plan loft --learn",
            "wear loft --save fit.json --influence --out wear",
            "wear loft --offsets model+row",
            "due loft --calendar due.ics --out due",
            "due loft --fit fit.json --calendar due.csv",
            "backtest loft --out backtest",
            "sheet loft --wing=WING --out sheet.csv --html sheet.html",
            "report loft --out report",
        ]
        .iter()
        .map(|line| line.split(' ').map(|word| word.replace("WING", wing)).collect())
        .collect()
    };
    let benign_wing = FolderSpec::default().read(&benign.path().join("loft")).unwrap().fleet;
    let benign_wing =
        benign_wing.histories().iter().max_by_key(|history| history.checks.len()).unwrap().wing.id.clone();
    for (folder, wing) in [(benign.path(), benign_wing.as_str()), (home.path(), wing)] {
        for args in plain(wing) {
            let writes = ["--out", "--done", "--save", "--calendar", "--learn"]
                .iter()
                .any(|flag| args.contains(&(*flag).to_owned()));
            // the harmless fleet is only there for what it writes
            let asked: &[bool] = match (folder == home.path(), writes) {
                (_, true) => &[false],
                (true, false) => &[false, true],
                (false, false) => &[],
            };
            for json in asked.iter().copied() {
                let mut args: Vec<&str> = args.iter().map(String::as_str).collect();
                args.extend(json.then_some("--json"));
                let output = linedrift(folder, &args);
                let code = output.status.code();
                assert!(matches!(code, Some(0 | 1)), "{args:?}: {code:?} {}", stderr(&output));
                for text in [stdout(&output), stderr(&output)] {
                    assert!(!text.chars().any(|letter| letter != '\n' && is_hidden(letter)), "{args:?}: {text}");
                }
                if json {
                    let document: Value = serde_json::from_str(stdout(&output)).unwrap();
                    assert!(document["schema"].as_str().unwrap().starts_with("linedrift."));
                }
            }
        }
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
    let (mut pages, mut tables, mut hits) = (0, 0, 0);
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
                hits += usize::from(text.contains("&lt;script&gt;"));
            }
            Some("csv") if !path.starts_with("loft") => {
                tables += 1;
                for record in parse(&read(home.path()).unwrap()) {
                    for cell in &record {
                        let formula = cell.starts_with(['=', '+', '-', '@', '\t', '\r']);
                        assert!(!formula || cell.parse::<f64>().is_ok(), "{place}: {cell}");
                    }
                }
            }
            Some("ics") => assert_calendar(&read(home.path()).unwrap()),
            _ => {}
        }
    }
    assert!(pages > 4 && tables > 8 && hits > 1, "{pages} pages, {tables} tables, {hits} with the name");
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
