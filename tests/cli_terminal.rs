//! What stands on a terminal: 80 columns, colour only where it is wanted, completions, manual.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use linedrift::fleet::{TableFormat, write_folder};
use linedrift::simulate::FleetSpec;
use tempfile::TempDir;

use crate::cli_run::{linedrift, loft, stderr, stdout};

const WIDTH: usize = 80;

fn with(folder: &Path, env: &[(&str, &str)], args: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_linedrift"));
    command.args(args).current_dir(folder);
    for name in ["NO_COLOR", "CLICOLOR", "CLICOLOR_FORCE"] {
        command.env_remove(name);
    }
    command.envs(env.iter().copied()).output().unwrap()
}

fn assert_narrow(text: &str, what: &[&str]) {
    for line in text.lines() {
        assert!(line.chars().count() <= WIDTH, "{what:?}: {} columns\n{line}", line.chars().count());
    }
}

fn commands() -> Vec<String> {
    let folder = TempDir::new().unwrap();
    let help = linedrift(folder.path(), &["--help"]);
    let text = stdout(&help);
    let list = text.split("Commands:\n").nth(1).unwrap().split("\n\n").next().unwrap();
    let names = list.lines().filter(|line| line.starts_with("  ") && !line.starts_with("   "));
    let names: Vec<String> = names.map(|line| line.split_whitespace().next().unwrap().to_owned()).collect();
    assert!(names.len() > 12 && names.contains(&"trim".to_owned()), "{names:?}");
    names
}

#[test]
fn every_commands_text_fits_80_columns() {
    let folder = loft();
    let mut run = Vec::new();
    // how well readings agree is learnt from lines that are read twice
    let twice = FleetSpec::default().wings(3).repeats(2).run().unwrap().fleet;
    write_folder(&twice, &folder.path().join("twice"), TableFormat::Csv).unwrap();
    let wide =
        "line;row;nominal_mm;left_mm;right_mm\nA1;A;6500;6501;6499\nA2;A;6400;6402;6400\nC1;C;6480;6475;6476\n";
    fs::write(folder.path().join("lines.csv"), wide).unwrap();
    for args in [
        &["summary", "loft"][..],
        &["check", "lines.csv", "--hours", "40", "--date", "2026-03-14"],
        &["model", "lines.csv", "--name", "Heron"],
        &["vet", "loft"],
        &["gauge", "twice"],
        &["trim", "loft"],
        &["plan", "loft", "--all"],
        &["plan", "loft", "--wing", "W02", "--curve"],
        &["wear", "loft"],
        &["wear", "loft", "--influence"],
        &["wear", "loft", "--robust"],
        &["wear", "loft", "--shape", "auto"],
        &["sheet", "loft", "--wing", "W01", "--out", "sheet.csv"],
        &["trim", "loft", "--parts", "4", "--out", "parts"],
        &["reduce", "loft", "--out", "part.bin"],
        &["wear", "--from", "part.bin"],
        &["simulate", "--out", "other", "--wings", "3"],
        &["man", "--out", "man"],
    ] {
        let output = linedrift(folder.path(), args);
        assert_eq!(output.status.code(), Some(0), "{args:?}: {}", stderr(&output));
        assert!(!stdout(&output).is_empty(), "{args:?}");
        assert_narrow(stdout(&output), args);
        assert_narrow(stderr(&output), args);
        run.push(args[0]);
    }
    // what takes long (see the next test), takes input, or answers for programs
    run.extend(["due", "backtest", "power", "report", "tables", "record", "completions", "help"]);
    for command in commands() {
        assert!(run.contains(&command.as_str()), "`{command}` is not looked at here");
    }
}

#[test]
#[ignore = "slow: every command on the demo"]
fn every_commands_text_on_the_demo_fits_80_columns() {
    let folder = TempDir::new().unwrap();
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("notebooks-data/demo");
    let demo = demo.to_str().unwrap();
    for args in [
        &["summary", demo][..],
        &["vet", demo],
        &["gauge", demo],
        &["trim", demo],
        &["plan", demo, "--all"],
        &["wear", demo, "--influence"],
        &["wear", demo, "--intervals", "profile"],
        &["due", demo],
        &["backtest", demo],
        &["report"],
        &["tables", demo, "--no-backtest", "--out", "tables"],
    ] {
        let output = linedrift(folder.path(), args);
        assert_eq!(output.status.code(), Some(0), "{args:?}: {}", stderr(&output));
        assert_narrow(stdout(&output), args);
    }
}

#[test]
fn help_fits_80_columns() {
    let folder = TempDir::new().unwrap();
    let mut all: Vec<Vec<String>> = vec![vec!["--help".to_owned()], vec!["-h".to_owned()]];
    all.extend(commands().into_iter().filter(|name| name != "help").map(|name| vec![name, "--help".to_owned()]));
    for args in all {
        let args: Vec<&str> = args.iter().map(String::as_str).collect();
        let output = linedrift(folder.path(), &args);
        assert_eq!(output.status.code(), Some(0), "{args:?}");
        assert_narrow(stdout(&output), &args);
        if args.len() == 2 && !["completions", "man"].contains(&args[0]) {
            assert!(stdout(&output).contains("Cautions"), "{args:?}");
        }
    }
}

#[test]
fn colour_is_for_terminals_and_never_says_anything_alone() {
    let folder = loft();
    for args in [&["trim", "loft"][..], &["--help"], &["nonsense"]] {
        let plain = with(folder.path(), &[], args);
        let forced = with(folder.path(), &[("CLICOLOR_FORCE", "1")], args);
        let forbidden = with(folder.path(), &[("CLICOLOR_FORCE", "1"), ("NO_COLOR", "1")], args);
        let both = |output: &Output| stdout(output).to_owned() + stderr(output);
        assert!(!both(&plain).contains('\u{1b}'), "{args:?}: not on a terminal");
        assert!(both(&forced).contains('\u{1b}'), "{args:?}: forced");
        assert!(!both(&forbidden).contains('\u{1b}'), "{args:?}: NO_COLOR");
        assert_eq!(without_codes(&both(&forced)), both(&plain), "{args:?}");
    }
    let json = with(folder.path(), &[("CLICOLOR_FORCE", "1")], &["trim", "loft", "--json"]);
    assert!(!stdout(&json).contains('\u{1b}'));
    serde_json::from_str::<serde_json::Value>(stdout(&json)).unwrap();
}

/// The text less its colour codes (`ESC [ … m`).
fn without_codes(text: &str) -> String {
    let mut out = String::new();
    let mut rest = text;
    while let Some((before, after)) = rest.split_once("\u{1b}[") {
        out.push_str(before);
        rest = after.split_once('m').unwrap().1;
    }
    out + rest
}

#[test]
fn completions_and_manual_know_every_command() {
    let folder = TempDir::new().unwrap();
    let names: Vec<String> = commands().into_iter().filter(|name| name != "help").collect();
    for shell in ["bash", "elvish", "fish", "powershell", "zsh"] {
        let output = linedrift(folder.path(), &["completions", shell]);
        assert_eq!(output.status.code(), Some(0));
        for name in &names {
            assert!(stdout(&output).contains(name.as_str()), "{shell}: {name}");
        }
        assert!(stdout(&output).contains("parts"), "{shell}");
    }
    assert_eq!(linedrift(folder.path(), &["completions", "nonsense"]).status.code(), Some(2));
    let output = linedrift(folder.path(), &["man"]);
    assert!(stdout(&output).contains(".TH linedrift 1"), "{}", stdout(&output));
    assert!(stdout(&output).contains("Cautions"));
    let output = linedrift(folder.path(), &["man", "--out", "pages"]);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    for name in &names {
        let page = fs::read_to_string(folder.path().join(format!("pages/linedrift-{name}.1"))).unwrap();
        assert!(page.contains(&format!("linedrift\\-{name}")), "{page}");
    }
    // and the note of what was written
    assert_eq!(fs::read_dir(folder.path().join("pages")).unwrap().count(), names.len() + 2);
}
