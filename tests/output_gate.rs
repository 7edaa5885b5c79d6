//! Nothing is written over that the program did not write: every command with every option that its help names.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use linedrift::fleet::{
    FleetWriteError, FolderSpec, OUTPUT_LIST, OutputGate, Overwrite, RefusedOutput, TableFormat, write_folder,
};
use linedrift::simulate::FleetSpec;
use serde_json::Value;
use tempfile::TempDir;

use crate::cli_run::{linedrift, loft, stderr, stdout};
use crate::record_run::{busiest, filled};
use crate::watchdog::{commands, ends, inputs, working_call};

/// Every file below a folder with its bytes.
fn files(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut all = BTreeMap::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            all.extend(files(&path));
        } else {
            all.insert(path.clone(), fs::read(&path).unwrap());
        }
    }
    all
}

/// What must not be lost, in the folder `mine`: a fleet with recorded work, a filled sheet, a saved fit, notes, a folder.
fn mine(home: &Path) {
    let fleet = FleetSpec::default().wings(6).adjusted_share(1.0).seed(3).run().unwrap().fleet;
    fs::create_dir(home.join("mine")).unwrap();
    write_folder(&fleet, &home.join("mine/fleet"), TableFormat::Csv).unwrap();
    assert!(fs::metadata(home.join("mine/fleet/actions.csv")).unwrap().len() > 100);
    let (wing, _) = busiest(home);
    fs::write(home.join("mine/filled.csv"), filled(home, &wing, |_, shown| Some(shown))).unwrap();
    assert_eq!(
        linedrift(home, &["wear", "loft", "--terms", "rate", "--save", "mine/fit.json"]).status.code(),
        Some(0)
    );
    fs::write(home.join("mine/notes.ics"), "my notes\n").unwrap();
    fs::create_dir(home.join("mine/photos")).unwrap();
    fs::write(home.join("mine/photos/one.html"), "<!doctype html>a photo").unwrap();
}

const PRECIOUS: [&str; 8] = [
    "mine/fleet",
    "mine/fleet/actions.csv",
    "mine/fleet/lines.csv",
    "mine/fleet/readings.csv",
    "mine/filled.csv",
    "mine/fit.json",
    "mine/notes.ics",
    "mine/photos",
];

/// Options of a command that take a value, with the name of the value, as its help lists them.
pub(crate) fn options(home: &Path, command: &str) -> Vec<(String, String)> {
    let help = linedrift(home, &[command, "--help"]);
    let mut found = Vec::new();
    for line in stdout(&help).lines() {
        let words: Vec<&str> = line.split_whitespace().collect();
        let at = words.iter().take(2).position(|word| word.starts_with("--"));
        if let Some((at, value)) =
            at.and_then(|at| Some((at, words.get(at + 1).filter(|word| word.starts_with('<'))?)))
        {
            found.push((words[at].to_owned(), (*value).to_owned()));
        }
    }
    found
}

/// Whether an option's value is a path, by its name.
pub(crate) fn is_path(value: &str) -> bool {
    ["FILE", "DIR", "PART", "PATH", "FOLDER", "FLEET"].iter().any(|name| value.contains(name))
}

/// A call of a command that works, without the option that is tried.
fn call(command: &str, without: &str, wing: &str) -> Vec<String> {
    let mut args = working_call(command, "loft", wing);
    if let Some(at) = args.iter().position(|word| *word == without) {
        args.drain(at..at + 2);
    }
    args
}

/// Whether a file has all that it had: rows may have grown by a column, and more may follow.
fn row_by_row(now: &[u8], before: &[u8]) -> bool {
    let mut rows = now.split(|byte| *byte == b'\n');
    before.split(|byte| *byte == b'\n').all(|row| rows.next().is_some_and(|now| now.starts_with(row)))
}

#[test]
fn no_option_of_any_command_writes_over_what_is_not_its_own() {
    let folder = loft();
    let home = folder.path();
    mine(home);
    let (wing, _) = busiest(home);
    inputs(home, "loft", &wing);
    let before = files(&home.join("mine"));
    let mut tried = 0;
    for command in commands(home) {
        for (option, value) in options(home, &command) {
            let is_path = is_path(&value);
            // what is no path refuses a path, whichever it is
            for precious in PRECIOUS.iter().take(if is_path { PRECIOUS.len() } else { 1 }) {
                let mut args = call(&command, &option, &wing);
                args.extend([option.clone(), (*precious).to_owned()]);
                let args: Vec<&str> = args.iter().map(String::as_str).collect();
                ends(home, &args);
                // a fleet that is named to be added to grows, and keeps all that it had
                let grows = value.contains("FLEET");
                for (path, bytes) in &before {
                    let now = fs::read(path).unwrap_or_default();
                    let is_lock = path.ends_with(".linedrift-lock");
                    let kept = if grows { is_lock || row_by_row(&now, bytes) } else { now == *bytes };
                    assert!(kept, "{args:?} changed {}", path.display());
                }
                if grows {
                    for path in files(&home.join("mine")).keys().filter(|path| !before.contains_key(*path)) {
                        fs::remove_file(path).unwrap();
                    }
                    before.iter().for_each(|(path, bytes)| fs::write(path, bytes).unwrap());
                }
                tried += 1;
            }
        }
    }
    // nothing was put beside them either
    let after: Vec<PathBuf> = files(&home.join("mine")).into_keys().collect();
    assert_eq!(after, before.into_keys().collect::<Vec<_>>());
    println!("{tried} calls");
    assert!(tried > 150, "{tried}");
}

#[test]
fn the_cases_that_lost_an_evenings_work_are_refused_with_a_word_on_why() {
    let folder = loft();
    let home = folder.path();
    mine(home);
    let (wing, _) = busiest(home);
    for (args, said) in [
        (&["simulate", "--out", "mine/fleet"][..], "nothing writes over"),
        (&["simulate", "--out", "mine/fleet", "--force"], "nothing writes over"),
        (&["reduce", "loft", "--out", "mine/fleet/readings.csv"], "table `readings`"),
        (&["wear", "loft", "--save", "mine/fleet/wings.csv"], "table `wings`"),
        (&["due", "loft", "--calendar", "mine/fleet/checks.csv"], "table `checks`"),
        (&["sheet", "loft", "--wing", &wing, "--out", "mine/fleet/lines.csv"], "table `lines`"),
        // a table that the fleet does not have yet would be read as one
        (&["due", "loft", "--calendar", "mine/fleet/fittings.csv"], "would be read as"),
        (&["sheet", "loft", "--wing", &wing, "--out", "mine/filled.csv"], "readings in it"),
        (&["wear", "loft", "--save", "mine/fit.json"], "saved fit"),
        (&["report", "loft", "--out", "mine/photos"], "`one.html`"),
        (&["trim", "loft", "--out", "loft"], "did not write"),
    ] {
        let before = files(&home.join("mine"));
        let output = linedrift(home, args);
        assert_eq!(output.status.code(), Some(2), "{args:?}: {}", stderr(&output));
        let told = stderr(&output).split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(told.contains(said), "{args:?}: {told}");
        assert!(files(&home.join("mine")) == before, "{args:?}");
    }
    // whoever insists has it
    let output = linedrift(home, &["sheet", "loft", "--wing", &wing, "--out", "mine/filled.csv", "--force"]);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
}

#[test]
fn the_same_command_writes_its_folder_again_until_somebody_changes_it() {
    let folder = loft();
    let home = folder.path();
    let run = |args: &[&str]| linedrift(home, args);
    for _ in 0..2 {
        assert_eq!(run(&["trim", "loft", "--out", "out"]).status.code(), Some(0));
    }
    assert_eq!(run(&["due", "loft", "--out", "out"]).status.code(), Some(2), "another command's folder");
    let list = home.join("out").join(OUTPUT_LIST);
    fs::write(home.join("out/old.csv"), "old").unwrap();
    assert_eq!(run(&["trim", "loft", "--out", "out"]).status.code(), Some(2), "a file of one's own");
    fs::remove_file(home.join("out/old.csv")).unwrap();
    let table = home.join("out/trim_lines.csv");
    let lines = fs::read_to_string(&table).unwrap();
    fs::write(&table, lines.replacen(',', ";", 1)).unwrap();
    let refused = run(&["trim", "loft", "--out", "out"]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(stderr(&refused).contains("was changed"), "{}", stderr(&refused));
    assert_eq!(run(&["trim", "loft", "--out", "out", "--force"]).status.code(), Some(0));
    assert_eq!(fs::read_to_string(&table).unwrap(), lines);
    // an interrupted run leaves the list unfinished, and the same command goes over it
    fs::write(&list, fs::read_to_string(&list).unwrap().replace("\"complete\": true", "\"complete\": false"))
        .unwrap();
    assert_eq!(run(&["trim", "loft", "--out", "out"]).status.code(), Some(0));
    // single files that can be made again
    for args in [
        &["due", "loft", "--calendar", "due.ics"][..],
        &["due", "loft", "--calendar", "due.csv"],
        &["reduce", "loft", "--out", "part"],
        &["sheet", "loft", "--wing", "W01", "--out", "s.csv", "--html", "s.html"],
    ] {
        for _ in 0..2 {
            let output = run(args);
            assert_eq!(output.status.code(), Some(0), "{args:?}: {}", stderr(&output));
        }
    }
}

#[test]
fn recorded_work_is_not_deleted_by_the_library_either() {
    let home = TempDir::new().unwrap();
    let with = FleetSpec::default().wings(6).adjusted_share(1.0).seed(3).run().unwrap().fleet;
    let without = FleetSpec::default().wings(2).adjusted_share(0.0).seed(3).run().unwrap().fleet;
    write_folder(&with, home.path(), TableFormat::Csv).unwrap();
    let before = files(home.path());
    let refused = write_folder(&without, home.path(), TableFormat::Csv);
    assert!(matches!(refused, Err(FleetWriteError::Actions { .. })), "{refused:?}");
    assert!(files(home.path()) == before);
    assert_eq!(FolderSpec::default().read(home.path()).unwrap().fleet, with);
    let gate = OutputGate::new("trim").overwrite(Overwrite::Anything);
    assert!(matches!(gate.file(&home.path().join("actions.csv")), Err(RefusedOutput::Actions { .. })));
}

#[test]
fn a_read_only_file_stays_as_it_is() {
    let folder = loft();
    let home = folder.path();
    assert_eq!(linedrift(home, &["due", "loft", "--calendar", "due.ics"]).status.code(), Some(0));
    let path = home.join("due.ics");
    let before = fs::read(&path).unwrap();
    let mut rights = fs::metadata(&path).unwrap().permissions();
    rights.set_readonly(true);
    fs::set_permissions(&path, rights).unwrap();
    let output = linedrift(home, &["due", "loft", "--today", "2031-01-01", "--calendar", "due.ics"]);
    assert_eq!(output.status.code(), Some(1));
    assert!(stderr(&output).contains("read-only"), "{}", stderr(&output));
    assert_eq!(fs::read(&path).unwrap(), before);
}

#[test]
fn every_file_that_is_written_carries_its_cautions_and_the_demos_mark() {
    let folder = TempDir::new().unwrap();
    let home = folder.path();
    assert_eq!(linedrift(home, &["simulate", "--demo", "--out", "demo"]).status.code(), Some(0));
    for args in [
        &["trim", "demo", "--out", "trim"][..],
        &["vet", "demo", "--out", "vet"],
        &["plan", "demo", "--wing", "W37", "--curve", "--out", "plan"],
        &["wear", "demo", "--terms", "rate", "--out", "wear", "--save", "fit.json"],
        &["due", "demo", "--fit", "fit.json", "--out", "due", "--calendar", "due.csv"],
        &["due", "demo", "--fit", "fit.json", "--calendar", "due.ics"],
        &["trim", "demo", "--out", "parts", "--parts", "16"],
        &["sheet", "demo", "--wing", "W37", "--html", "sheet.html"],
    ] {
        let output = linedrift(home, args);
        assert_eq!(output.status.code(), Some(0), "{args:?}: {}", stderr(&output));
    }
    let mut looked_at = 0;
    for (path, bytes) in files(home) {
        let name = path.strip_prefix(home).unwrap().display().to_string();
        let ending = path.extension().and_then(|ending| ending.to_str()).unwrap_or_default().to_owned();
        if name.starts_with("demo/") || ending == "tmp" || name.contains(".linedrift-lock") {
            continue;
        }
        // tables of a folder have a page beside them
        let beside = path.ancestors().skip(1).map(|above| above.join("README.txt")).find(|page| page.exists());
        let text = match ending.as_str() {
            "csv" | "parquet" if beside.is_some() => fs::read_to_string(beside.unwrap()).unwrap(),
            "json" if name.ends_with(OUTPUT_LIST) || name.ends_with("_parts.json") => continue,
            "txt" | "csv" | "ics" | "svg" | "html" | "json" => String::from_utf8(bytes).unwrap(),
            other => panic!("{name}: nobody says how a file .{other} carries its cautions"),
        };
        // folded lines of a calendar are one line
        let text = text.replace("\r\n ", "").split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(text.contains("fit to fly"), "{name} says nothing of fitness to fly");
        let marked = ["invented", "Invented", "\"demo\":true", ",true,"].iter().any(|mark| text.contains(mark));
        assert!(marked, "{name} does not say that its data is the demo's");
        looked_at += 1;
    }
    assert!(looked_at > 20, "{looked_at}");
    // and every document
    for args in [
        &["summary", "demo", "--json"][..],
        &["vet", "demo", "--json"],
        &["gauge", "demo", "--json"],
        &["trim", "demo", "--json"],
        &["plan", "demo", "--all", "--json"],
        &["plan", "demo", "--wing", "W37", "--json"],
        &["wear", "demo", "--terms", "rate", "--json"],
        &["due", "demo", "--fit", "fit.json", "--json"],
        &["sheet", "demo", "--wing", "W37", "--json"],
        &["reduce", "demo", "--out", "part", "--json"],
    ] {
        let output = linedrift(home, args);
        let document: Value = serde_json::from_str(stdout(&output)).unwrap();
        if document["schema"] == "linedrift.error/1" {
            continue;
        }
        assert!(document["cautions"].as_array().is_some_and(|cautions| cautions.len() > 3), "{args:?}");
        assert_eq!(document["demo"], true, "{args:?}");
    }
}
