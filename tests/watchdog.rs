//! Every command that the help names works on a fleet, and ends on whatever fleet there is.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use jiff::ToSpan;
use linedrift::Date;
use serde_json::Value;
use tempfile::TempDir;

use crate::cli_run::{linedrift, loft, stderr, stdout};
#[cfg(unix)]
use crate::output_gate::{is_path, options};
use crate::record_run::{busiest, filled};

/// Longest that a command may take on a small folder on a quiet machine: a guard against what does not end.
const GUARD: Duration = Duration::from_secs(20);
/// Other tests share the machine: what is short may take a while.
const SHARED: u32 = 10;

/// Runs a command; it is killed, and the test fails, when it does not end.
pub(crate) fn ends(folder: &Path, args: &[&str]) -> i32 {
    let mut child = Command::new(env!("CARGO_BIN_EXE_linedrift"))
        .args(args)
        .current_dir(folder)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let begun = Instant::now();
    loop {
        if let Some(status) = child.try_wait().unwrap() {
            return status.code().unwrap_or_else(|| panic!("{args:?} was ended by a signal"));
        }
        if begun.elapsed() > SHARED * GUARD {
            child.kill().unwrap();
            panic!("{args:?} did not end");
        }
        std::thread::sleep(Duration::from_millis(5));
    }
}

/// Commands as the help lists them.
pub(crate) fn commands(home: &Path) -> Vec<String> {
    let help = linedrift(home, &["--help"]);
    let text = stdout(&help).to_owned();
    let list = text.split("Commands:\n").nth(1).unwrap().split("\n\n").next().unwrap();
    let named = list.lines().filter(|line| line.starts_with("  ") && !line.starts_with("   "));
    let names: Vec<String> = named.map(|line| line.split_whitespace().next().unwrap().to_owned()).collect();
    assert!(names.len() > 14, "{names:?}");
    names.into_iter().filter(|name| name != "help").collect()
}

/// A call of a command that works on a fleet with a wing, and writes nothing into it: for a new command that wants more than a
/// fleet it must be given here. What it reads is there once [`inputs`] has run.
pub(crate) fn working_call(command: &str, fleet: &str, wing: &str) -> Vec<String> {
    let out = format!("new-{command}");
    let words = match command {
        "simulate" => vec!["simulate", "--wings", "3", "--out", &out],
        "reduce" => vec!["reduce", fleet, "--out", &out],
        "sheet" | "plan" => vec![command, fleet, "--wing", wing],
        "completions" => vec!["completions", "bash"],
        "man" => vec!["man"],
        "record" => {
            vec!["record", "sheet.csv", "kept", "--wing", wing, "--date", "2044-01-01", "--hours", "9000"]
        }
        "check" => vec!["check", "wide.csv", "--date", "2044-01-01", "--hours", "80"],
        "model" => vec!["model", "wide.csv", "--name", "Heron"],
        "power" => {
            vec![command, fleet, "--contrast", "span:A", "--wings", "6", "--checks", "2", "--replicates", "2"]
        }
        "report" | "tables" => vec![command, fleet, "--out", &out],
        known => vec![known, fleet],
    };
    words.into_iter().map(str::to_owned).collect()
}

/// What the calls read beside the fleet: a spreadsheet, a filled sheet of the wing, and a copy of the fleet to record it in.
pub(crate) fn inputs(home: &Path, fleet: &str, wing: &str) {
    let spreadsheets = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/spreadsheets");
    fs::copy(spreadsheets.join("wide-italian.csv"), home.join("wide.csv")).unwrap();
    fs::write(home.join("sheet.csv"), filled(home, wing, |_, shown| Some(shown))).unwrap();
    fs::create_dir(home.join("kept")).unwrap();
    for entry in fs::read_dir(home.join(fleet)).unwrap() {
        let path = entry.unwrap().path();
        fs::copy(&path, home.join("kept").join(path.file_name().unwrap())).unwrap();
    }
}

/// The other tests of every command rest on this: a call that fails before it does its work shows nothing. Every document has its
/// cautions.
#[test]
fn every_command_has_a_call_that_works() {
    let folder = loft();
    let home = folder.path();
    let (wing, _) = busiest(home);
    inputs(home, "loft", &wing);
    for command in commands(home) {
        let mut args = working_call(&command, "loft", &wing);
        let json = stdout(&linedrift(home, &[&command, "--help"])).contains("--json");
        if json {
            args.push("--json".to_owned());
        }
        let args: Vec<&str> = args.iter().map(String::as_str).collect();
        let output = linedrift(home, &args);
        // nobody read a line twice there
        let expected = i32::from(command == "gauge");
        assert_eq!(output.status.code(), Some(expected), "{args:?}: {}", stderr(&output));
        if json && expected == 0 {
            let document: Value = serde_json::from_str(stdout(&output)).unwrap();
            assert!(document["cautions"].as_array().is_some_and(|cautions| cautions.len() > 3), "{args:?}");
        }
    }
}

/// Folders that are hard in one way each, by what is hard.
fn hard(home: &Path) -> Vec<PathBuf> {
    let mut made = Vec::new();
    // 40 equal readings a line, and 20 within a millimetre, make huge degrees of freedom
    for (name, repeats, spread) in [("equal", 40, 0), ("near", 20, 1)] {
        let mm = |nominal: u32, repeat: u32, _: usize| nominal + (repeat % 2) * spread;
        made.push(Hard { name, lines: 4, wings: 1, checks: 1, repeats, hours: 85 }.write(home, mm));
    }
    // one line, read once
    made.push(Hard { name: "one", lines: 1, wings: 1, checks: 1, repeats: 1, hours: 0 }.write(home, |mm, _, _| mm));
    // every line at its nominal length, at every check of every wing
    made.push(
        Hard { name: "exact", lines: 4, wings: 6, checks: 4, repeats: 1, hours: 50 }.write(home, |mm, _, _| mm),
    );
    // twenty checks at the same hours
    let mm = |mm: u32, _: u32, check: usize| mm + u32::try_from(check % 3).unwrap();
    made.push(Hard { name: "still", lines: 4, wings: 1, checks: 20, repeats: 1, hours: 0 }.write(home, mm));
    // every check a millimetre longer than the one before, all lines alike: one line of time explains all
    let mm = |mm: u32, _: u32, check: usize| mm + u32::try_from(check).unwrap();
    made.push(Hard { name: "straight", lines: 4, wings: 6, checks: 5, repeats: 1, hours: 40 }.write(home, mm));
    // lines that are out by more than any work mends
    let mm = |mm: u32, _: u32, check: usize| mm + 400 * u32::try_from(check).unwrap();
    made.push(Hard { name: "far", lines: 8, wings: 2, checks: 2, repeats: 1, hours: 60 }.write(home, mm));
    // nobody has measured anything
    made.push(
        Hard { name: "unread", lines: 4, wings: 2, checks: 2, repeats: 0, hours: 60 }.write(home, |mm, _, _| mm),
    );
    made
}

/// A small fleet as tables.
#[derive(Debug, Clone, Copy)]
struct Hard {
    name: &'static str,
    lines: usize,
    wings: usize,
    checks: usize,
    repeats: u32,
    /// Between checks.
    hours: usize,
}

impl Hard {
    /// `reading(nominal, repeat, check)` gives what a line showed, mm.
    fn write(self, home: &Path, reading: impl Fn(u32, u32, usize) -> u32) -> PathBuf {
        let Self { name, lines, wings, checks, repeats, hours } = self;
        let (mut line_rows, mut wing_rows) = (String::new(), String::new());
        let (mut check_rows, mut readings) = (String::new(), String::new());
        let nominal = |line: usize| u32::try_from(6500 - 10 * line).unwrap();
        for line in 0..lines {
            let (row, rank) = (["A", "B"][line % 2], 1 + line / 2);
            writeln!(line_rows, "Heron,{row}{rank},{row},{rank},{}", nominal(line)).unwrap();
        }
        for wing in 0..wings {
            writeln!(wing_rows, "{wing},Heron,95").unwrap();
            for check in 0..checks {
                let day = Date::constant(2010, 1, 1).checked_add(i64::try_from(check).unwrap().days()).unwrap();
                writeln!(check_rows, "{wing}-{check},{wing},{day},{}", 1 + check * hours).unwrap();
                for (line, side) in (0..lines).flat_map(|line| ["left", "right"].map(|side| (line, side))) {
                    let (row, rank) = (["A", "B"][line % 2], 1 + line / 2);
                    for repeat in 1..=repeats {
                        let mm = reading(nominal(line), repeat, check);
                        let operator = ["Ann", "Bo"][usize::try_from(repeat).unwrap() % 2];
                        writeln!(readings, "{wing}-{check},{side},{row}{rank},{mm},{repeat},{operator}").unwrap();
                    }
                }
            }
        }
        let at = home.join(name);
        fs::create_dir(&at).unwrap();
        let table = |table: &str, head: &str, rows: &str| {
            fs::write(at.join(format!("{table}.csv")), format!("{head}\n{rows}")).unwrap();
        };
        table("lines", "model,line,row,rank,nominal_mm", &line_rows);
        table("wings", "wing,model,mass_kg", &wing_rows);
        table("checks", "check,wing,date,hours", &check_rows);
        table("readings", "check,side,line,reading_mm,repeat,operator", &readings);
        at
    }
}

/// Every command on a fleet, by its call that works elsewhere: it may refuse, and must end.
fn all_end(home: &Path, fleet: &Path, wing: &str) {
    let fleet = fleet.to_str().unwrap();
    for command in commands(home) {
        // nothing of a fleet is read
        if ["simulate", "completions", "man", "check", "model"].contains(&command.as_str()) {
            continue;
        }
        let mut args = working_call(&command, fleet, wing);
        if let Some(kept) = args.iter().position(|word| word == "kept") {
            fleet.clone_into(&mut args[kept]);
        }
        args.push("--force".to_owned());
        let args: Vec<&str> = args.iter().map(String::as_str).collect();
        let begun = Instant::now();
        let code = ends(home, &args);
        println!("{:>8.1} s  exit {code}  {command} {fleet}", begun.elapsed().as_secs_f64());
        assert!((0..=2).contains(&code), "{args:?}: {code}");
    }
}

#[test]
fn every_command_ends_on_every_hard_fleet() {
    let folder = TempDir::new().unwrap();
    let home = folder.path();
    let sheet = "side,line,reading_mm\nleft,A1,6501\nright,A1,6502\n";
    fs::write(home.join("sheet.csv"), sheet).unwrap();
    for fleet in hard(home) {
        all_end(home, &fleet, "0");
    }
}

/// A device that never ends, in the place of every file that an option or an argument names.
#[cfg(unix)]
#[test]
fn what_has_no_end_is_refused() {
    let folder = loft();
    let home = folder.path();
    let (wing, _) = busiest(home);
    inputs(home, "loft", &wing);
    for command in commands(home) {
        let call = working_call(&command, "loft", &wing);
        let mut calls: Vec<Vec<String>> = Vec::new();
        for (option, value) in options(home, &command).into_iter().filter(|(_, value)| is_path(value)) {
            let mut args = call.clone();
            // an output that the call has is named once
            if let Some(at) = args.iter().position(|word| *word == option) {
                args.drain(at..at + 2);
            }
            args.extend([option, "/dev/zero".to_owned()]);
            println!("{command} {value}");
            calls.push(args);
        }
        for read in ["loft", "wide.csv", "sheet.csv", "kept"] {
            if let Some(at) = call.iter().position(|word| word == read) {
                let mut args = call.clone();
                "/dev/zero".clone_into(&mut args[at]);
                calls.push(args);
            }
        }
        for args in calls {
            let args: Vec<&str> = args.iter().map(String::as_str).collect();
            let code = ends(home, &args);
            assert!((0..=2).contains(&code), "{args:?}: {code}");
        }
    }
}

/// The same on larger ones: a wing of 5,000 checks, a check of 50,000 readings, the demo.
#[test]
#[ignore = "slow: some minutes in release"]
fn slow_every_command_ends_on_every_large_fleet() {
    let folder = TempDir::new().unwrap();
    let home = folder.path();
    fs::write(home.join("sheet.csv"), "side,line,reading_mm\nleft,A1,6501\n").unwrap();
    let noise = |line: u32, check: usize| (line * 7 + u32::try_from(check).unwrap() * 13) % 5;
    let many = Hard { name: "many-checks", lines: 40, wings: 1, checks: 5_000, repeats: 1, hours: 1 };
    let many = many.write(home, |mm, _, check| mm + noise(mm, check));
    let long = Hard { name: "many-readings", lines: 250, wings: 1, checks: 1, repeats: 100, hours: 0 };
    let long = long.write(home, |mm, repeat, _| mm + repeat % 3);
    let bundled = Path::new(env!("CARGO_MANIFEST_DIR")).join("notebooks-data/demo");
    for (fleet, wing) in [(many, "0"), (long, "0"), (bundled, "W01")] {
        all_end(home, &fleet, wing);
    }
}
