//! The shape of the house: rooms use only rooms above them, and what else every file keeps to.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

/// Rooms from the ground up: a room may use those before it, not those after.
const ROOMS: [&str; 11] =
    ["stats", "wing", "check", "trim", "plan", "wear", "forecast", "simulate", "fleet", "report", "cli"];
/// Files of the crate's root that see every room.
const ROOT_FILES: [&str; 3] = ["lib.rs", "error.rs", "main.rs"];
/// The only file whose public items name polars types.
const POLARS_IN_PUBLIC: &str = "fleet/frames.rs";
/// More lines than this in one file are a fault.
const MOST_LINES: usize = 600;

/// One source file: its path below `src/`, with forward slashes, and its text.
struct Source {
    path: String,
    text: String,
}

impl Source {
    fn new(path: &str, text: &str) -> Self {
        Self { path: path.to_owned(), text: text.to_owned() }
    }

    /// First folder of the path, or the file's own name at the root.
    fn room(&self) -> &str {
        self.path.split('/').next().unwrap_or_default().trim_end_matches(".rs")
    }

    /// Text without line comments, so that prose and links in docs may name what they like.
    fn code(&self) -> String {
        self.text.lines().map(|line| line.split("//").next().unwrap_or_default()).collect::<Vec<_>>().join("\n")
    }

    fn is_root(&self) -> bool {
        ROOT_FILES.contains(&self.path.as_str())
    }

    fn may_print(&self) -> bool {
        self.path == "main.rs" || self.path.starts_with("cli/")
    }
}

fn is_word(letter: char) -> bool {
    letter.is_alphanumeric() || letter == '_'
}

fn first_word(text: &str) -> &str {
    &text[..text.find(|letter| !is_word(letter)).unwrap_or(text.len())]
}

/// Whether the text holds the word, standing alone.
fn has_word(text: &str, word: &str) -> bool {
    text.match_indices(word).any(|(at, _)| {
        !text[..at].chars().next_back().is_some_and(is_word)
            && !text[at + word.len()..].chars().next().is_some_and(is_word)
    })
}

/// The names that stand directly under the root of a path, whether `root::name` or `root::{name, other::…}`.
fn names_under(code: &str, root: &str) -> BTreeSet<String> {
    let mut names = BTreeSet::new();
    for (at, _) in code.match_indices(root) {
        if code[..at].chars().next_back().is_some_and(is_word) {
            continue;
        }
        let rest = &code[at + root.len()..];
        let Some(group) = rest.strip_prefix('{') else {
            names.insert(first_word(rest).to_owned());
            continue;
        };
        let mut depth = 0usize;
        let mut part = String::new();
        for letter in group.chars() {
            match letter {
                '}' if depth == 0 => break,
                '{' => depth += 1,
                '}' => depth -= 1,
                ',' if depth == 0 => {
                    names.insert(first_word(part.trim()).to_owned());
                    part.clear();
                    continue;
                }
                _ => {}
            }
            part.push(letter);
        }
        names.insert(first_word(part.trim()).to_owned());
    }
    names.remove("");
    names
}

/// Rooms that a file names by `crate::`, by as many `super::` as lead to the root, or (the command line, a crate of its own) by
/// `linedrift::`.
fn rooms_named(source: &Source) -> BTreeSet<String> {
    let code = source.code();
    let mut names = names_under(&code, "crate::");
    if source.room() == "cli" {
        names.extend(names_under(&code, "linedrift::"));
    }
    let levels = source.path.split('/').count() - usize::from(source.path.ends_with("/mod.rs"));
    names.extend(names_under(&code, &"super::".repeat(levels)));
    names.retain(|name| ROOMS.contains(&name.as_str()));
    names
}

/// Public items' signatures, each from `pub` to its body, and the public fields of structs.
fn public_signatures(code: &str) -> Vec<String> {
    let mut found = Vec::new();
    for (at, _) in code.match_indices("pub ") {
        let rest = &code[at..];
        let word = first_word(rest["pub ".len()..].trim_start());
        if word == "use" || word == "mod" {
            continue;
        }
        let is_item = ["fn", "const", "struct", "enum", "type", "trait", "async", "static", "unsafe"].contains(&word);
        let end = if is_item { rest.find(['{', ';']) } else { rest.find([',', '}']) };
        found.push(rest[..end.unwrap_or(rest.len())].to_owned());
    }
    found
}

/// Everything that is wrong with the house, one sentence each.
fn faults(sources: &[Source]) -> Vec<String> {
    let mut faults = Vec::new();
    for source in sources {
        let path = &source.path;
        let code = source.code();
        if !source.is_root() {
            match ROOMS.iter().position(|room| *room == source.room()) {
                None => faults.push(format!("{path}: `{}` is no room of the house", source.room())),
                Some(level) => {
                    for named in rooms_named(source) {
                        if ROOMS.iter().position(|room| *room == named).is_some_and(|other| other > level) {
                            faults.push(format!("{path}: {} uses {named}, which lies below it", source.room()));
                        }
                    }
                }
            }
        }
        if has_word(&code, "polars") && source.room() != "fleet" {
            faults.push(format!("{path}: polars is named outside fleet"));
        }
        let mut foreign = names_under(&code, "nalgebra::");
        foreign.insert("nalgebra".to_owned());
        for signature in public_signatures(&code) {
            if foreign.iter().any(|name| has_word(&signature, name)) {
                let one_line = signature.split_whitespace().collect::<Vec<_>>().join(" ");
                faults.push(format!("{path}: nalgebra is in public: {one_line}"));
            }
        }
        if path != POLARS_IN_PUBLIC {
            let mut foreign = names_under(&code, "polars::prelude::");
            foreign.insert("polars".to_owned());
            for signature in public_signatures(&code) {
                if foreign.iter().any(|name| has_word(&signature, name)) {
                    let one_line = signature.split_whitespace().collect::<Vec<_>>().join(" ");
                    faults.push(format!("{path}: polars is in public: {one_line}"));
                }
            }
        }
        let lines = source.text.lines().count();
        if lines > MOST_LINES {
            faults.push(format!("{path}: {lines} lines, more than {MOST_LINES}"));
        }
        if !source.may_print() && (code.contains("print!(") || code.contains("println!(")) {
            faults.push(format!("{path}: prints, which only main.rs and cli/ may"));
        }
    }
    faults
}

fn sources_below(folder: &Path, root: &Path, into: &mut Vec<Source>) {
    let mut entries: Vec<PathBuf> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    entries.sort();
    for path in entries {
        if path.is_dir() {
            sources_below(&path, root, into);
        } else if path.extension().is_some_and(|kind| kind == "rs") {
            let below = path.strip_prefix(root).unwrap().components();
            let name: Vec<_> = below.map(|part| part.as_os_str().to_string_lossy().into_owned()).collect();
            into.push(Source { path: name.join("/"), text: fs::read_to_string(&path).unwrap() });
        }
    }
}

fn all_sources() -> Vec<Source> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut sources = Vec::new();
    sources_below(&root, &root, &mut sources);
    assert!(sources.len() > 20, "only {} files found below {}", sources.len(), root.display());
    sources
}

/// Which rooms each room uses, itself left out.
fn uses(sources: &[Source]) -> BTreeMap<&'static str, BTreeSet<&'static str>> {
    let known = |name: &str| ROOMS.iter().copied().find(|room| *room == name);
    let mut uses: BTreeMap<&str, BTreeSet<&str>> = ROOMS.iter().map(|room| (*room, BTreeSet::new())).collect();
    for source in sources.iter().filter(|source| !source.is_root()) {
        let Some(room) = known(source.room()) else { continue };
        let named = rooms_named(source);
        uses.entry(room)
            .or_default()
            .extend(named.iter().filter_map(|name| known(name)).filter(|name| *name != room));
    }
    uses
}

/// The map of a page: rooms in the order of its table, each with the rooms in its last column.
fn map_of(page: &str) -> Vec<(String, BTreeSet<String>)> {
    let names = |cell: &str| cell.split('`').skip(1).step_by(2).map(str::to_owned).collect::<Vec<String>>();
    page.lines()
        .skip_while(|line| *line != "| room | what lives there | uses |")
        .skip(2)
        .take_while(|line| line.starts_with('|'))
        .filter_map(|line| {
            let cells: Vec<&str> = line.trim_matches('|').split(" | ").collect();
            let room = names(cells.first()?).into_iter().next()?;
            let last = cells.last()?.trim();
            let used: BTreeSet<String> = if last == "all" {
                ROOMS.iter().take_while(|known| **known != room).map(|known| (*known).to_owned()).collect()
            } else {
                names(last).into_iter().collect()
            };
            Some((room, used))
        })
        .collect()
}

/// The picture of the rooms: names on the diagonal, a thread down from each room that is used, a dot where it is.
fn picture(uses: &BTreeMap<&str, BTreeSet<&str>>) -> String {
    const STEP: usize = 56;
    let place = |room: &str| ROOMS.iter().position(|known| *known == room).unwrap();
    let (x, y) = (|at: usize| 60 + at * STEP, |at: usize| 34 + at * 40);
    let told: Vec<String> = ROOMS
        .iter()
        .filter(|room| !uses[*room].is_empty())
        .map(|room| {
            let used: Vec<&str> = ROOMS.iter().copied().filter(|known| uses[room].contains(known)).collect();
            format!("{room} uses {}", used.join(", "))
        })
        .collect();
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {} {}\" role=\"img\" aria-labelledby=\"t d\">\n\
         <title id=\"t\">The rooms of the house</title><desc id=\"d\">{}.</desc>\n\
         <style>rect.g{{fill:#fbfaf7}}.box{{fill:#e9eee4;stroke:#00594f}}.thread{{stroke:#7d8a72;stroke-width:1.5;fill:none}}\
         .dot{{fill:#00594f}}text{{font:15px system-ui,sans-serif;fill:#1d2429;text-anchor:middle}}\
         @media (prefers-color-scheme:dark){{rect.g{{fill:#161b1f}}.box{{fill:#273028;stroke:#6fd0bb}}.thread{{stroke:#8fa083}}\
         .dot{{fill:#6fd0bb}}text{{fill:#e8e6e0}}}}</style>\n<rect class=\"g\" width=\"100%\" height=\"100%\"/>\n",
        x(ROOMS.len() - 1) + 64,
        y(ROOMS.len() - 1) + 34,
        told.join("; ")
    );
    for (at, room) in ROOMS.iter().enumerate() {
        let users: Vec<usize> =
            ROOMS.iter().filter(|user| uses[*user].contains(room)).map(|user| place(user)).collect();
        if let Some(lowest) = users.iter().max() {
            writeln!(out, "<path class=\"thread\" d=\"M{0} {1}V{2}\"/>", x(at), y(at), y(*lowest)).unwrap();
        }
        if let Some(first) = uses[room].iter().map(|used| place(used)).min() {
            writeln!(out, "<path class=\"thread\" d=\"M{0} {1}H{2}\"/>", x(first), y(at), x(at)).unwrap();
        }
    }
    for (at, room) in ROOMS.iter().enumerate() {
        for used in &uses[room] {
            writeln!(out, "<circle class=\"dot\" cx=\"{}\" cy=\"{}\" r=\"5\"/>", x(place(used)), y(at)).unwrap();
        }
        writeln!(
            out,
            "<rect class=\"box\" x=\"{}\" y=\"{}\" width=\"84\" height=\"28\" rx=\"3\"/><text x=\"{}\" y=\"{}\">{room}</text>",
            x(at) - 42,
            y(at) - 14,
            x(at),
            y(at) + 5
        )
        .unwrap();
    }
    out + "</svg>\n"
}

#[test]
fn the_map_in_the_documents_is_that_of_the_code() {
    let docs = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs");
    let sources = all_sources();
    let uses = uses(&sources);
    let map = map_of(&fs::read_to_string(docs.join("design.md")).unwrap());
    let rooms: Vec<&str> = map.iter().map(|(room, _)| room.as_str()).collect();
    assert_eq!(rooms, ROOMS, "the rooms of the table");
    for (room, shown) in &map {
        let found: BTreeSet<String> = uses[room.as_str()].iter().map(|used| (*used).to_owned()).collect();
        assert_eq!(*shown, found, "what {room} uses: shown, and found in the code");
    }
    let drawn = picture(&uses);
    let file = docs.join("rooms.svg");
    if std::env::var_os("LINEDRIFT_WRITE_PAGES").is_some() {
        fs::write(&file, &drawn).unwrap();
    }
    assert!(fs::read_to_string(&file).unwrap() == drawn, "docs/rooms.svg is not the picture of the code");
}

/// A map with an arrow too few or too many differs from the code's.
#[test]
fn the_map_is_read_as_it_stands() {
    let page = "| room | what lives there | uses |\n|---|---|---|\n| `stats` | numbers | – |\n| `check` | `Fleet` | `stats`, `wing` |\n";
    let map = map_of(page);
    assert_eq!(map[0], ("stats".to_owned(), BTreeSet::new()));
    assert_eq!(map[1].1.iter().map(String::as_str).collect::<Vec<_>>(), ["stats", "wing"]);
    let sources = [
        Source::new("check/a.rs", "use crate::stats::x;"),
        Source::new("cli/a.rs", "use linedrift::{wing::Row, plan};"),
    ];
    let uses = uses(&sources);
    assert_eq!(uses["check"].iter().copied().collect::<Vec<_>>(), ["stats"]);
    assert_eq!(uses["cli"].iter().copied().collect::<Vec<_>>(), ["plan", "wing"]);
    assert_eq!(picture(&uses).matches("<circle").count(), 3);
}

#[test]
fn the_house_stands() {
    let sources = all_sources();
    let found = faults(&sources);
    assert!(found.is_empty(), "\n{}", found.join("\n"));
}

/// Each sample breaks one rule, so that a checker that sees nothing is found out.
#[test]
fn the_checker_sees_each_fault() {
    for (path, text, expected) in [
        ("wing/row.rs", "use crate::check::Check;", "wing uses check"),
        ("wing/row.rs", "use crate::{\n    stats::Mean,\n    wear::{Shape, fit},\n};", "wing uses wear"),
        ("stats/mixed/fit.rs", "fn f() -> crate::trim::Trim { loop {} }", "stats uses trim"),
        ("check/fleet.rs", "use super::super::forecast::DueRow;", "check uses forecast"),
        ("check/mod.rs", "use super::report::Page;", "check uses report"),
        ("report/html/page.rs", "use crate::cli::Args;", "report uses cli"),
        ("tools/mod.rs", "", "`tools` is no room"),
        ("wear/fit.rs", "use polars::prelude::DataFrame;", "polars is named outside fleet"),
        ("wear/fit.rs", "pub fn f(x: nalgebra::DMatrix<f64>) {}", "nalgebra is in public"),
        (
            "stats/a.rs",
            "use nalgebra::{DMatrix, DVector};\npub const fn f(\n    x: &DVector<f64>,\n) {}",
            "nalgebra is in",
        ),
        (
            "stats/a.rs",
            "use nalgebra::DMatrix;\npub struct Fit {\n    pub r: DMatrix<f64>,\n}",
            "nalgebra is in public",
        ),
        (
            "fleet/table.rs",
            "use polars::prelude::DataFrame;\npub fn frame(t: &Table) -> DataFrame {}",
            "polars is in public",
        ),
        ("trim/mod.rs", "fn f() { println!(\"x\"); }", "prints"),
        ("trim/mod.rs", "fn f() { eprint!(\"x\"); }", "prints"),
    ] {
        let found = faults(&[Source::new(path, text)]);
        assert!(found.len() == 1 && found[0].contains(expected), "{path} {text:?}: {found:?}");
    }
    let long = "//\n".repeat(MOST_LINES + 1);
    assert!(faults(&[Source::new("wing/row.rs", &long)])[0].contains("601 lines"));
}

/// What looks like a fault and is none.
#[test]
fn the_checker_lets_good_files_pass() {
    for (path, text) in [
        ("check/fleet.rs", "use crate::wing::Row;\nuse super::Check;\nuse crate::Date;"),
        ("check/fleet.rs", "use crate::check::{Check, fleet::Fleet};"),
        ("wing/row.rs", "//! See [`crate::report`]; polars and println!(…) are not used here.\n"),
        ("wing/row.rs", "use other_crate::report::Page;"),
        ("fleet/csv.rs", "use polars::prelude::DataFrame;\nuse crate::wear::Shape;"),
        ("fleet/frames.rs", "use polars::prelude::DataFrame;\npub fn of(t: &Table) -> DataFrame {}"),
        ("fleet/table.rs", "use polars::prelude::DataFrame;\npub(super) fn frame(t: &Table) -> DataFrame {}"),
        (
            "stats/a.rs",
            "use nalgebra::DMatrix;\npub struct Fit {\n    r: DMatrix<f64>,\n}\npub(crate) fn f(x: &DMatrix<f64>) {}",
        ),
        ("cli/args.rs", "fn f() { println!(\"x\"); }\nuse crate::report::Page;"),
        ("main.rs", "fn main() { println!(\"x\"); }"),
        ("error.rs", "pub enum Error { Fleet(#[from] crate::fleet::FleetFault) }"),
    ] {
        let found = faults(&[Source::new(path, text)]);
        assert!(found.is_empty(), "{path} {text:?}: {found:?}");
    }
}
