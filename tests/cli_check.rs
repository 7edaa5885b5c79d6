//! `linedrift check` and `linedrift model`, run as people run them.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use serde_json::Value;
use tempfile::TempDir;

use crate::cli_run::{linedrift, stderr, stdout};
use crate::spreadsheets::folder;

fn run(home: &Path, args: &[&str]) -> Output {
    linedrift(home, args)
}

fn file(name: &str) -> String {
    folder().join(name).display().to_string()
}

#[test]
fn a_day_that_nobody_names_is_todays_or_that_of_the_call() {
    let home = TempDir::new().unwrap();
    let mut call = Command::new(env!("CARGO_BIN_EXE_linedrift"));
    call.args(["check", &file("wide-italian.csv"), "--json"]).current_dir(home.path());
    let made = call.env("SOURCE_DATE_EPOCH", "1000000000").output().unwrap();
    assert_eq!(made.status.code(), Some(0), "{}", stderr(&made));
    assert!(stdout(&made).contains("2001-09-09"), "{}", stdout(&made));
    let same = call.output().unwrap();
    assert!(same.stdout == made.stdout);
    let now = call.env_remove("SOURCE_DATE_EPOCH").output().unwrap();
    assert!(!stdout(&now).contains("2001-09-09"));
}

#[test]
fn one_file_gives_the_whole_answer() {
    let home = TempDir::new().unwrap();
    let made = run(home.path(), &["check", &file("full.xlsx"), "--json", "--page", "page.html"]);
    assert_eq!(made.status.code(), Some(0), "{}", stderr(&made));
    let answer: Value = serde_json::from_str(stdout(&made)).unwrap();
    assert_eq!(answer["schema"], "linedrift.check/1");
    assert_eq!(answer["understood"]["lines"], 60);
    assert_eq!(answer["understood"]["unit"], "mm");
    assert_eq!(answer["wing"], "17");
    assert_eq!(answer["vet"]["schema"], "linedrift.vet/1");
    assert_eq!(answer["plan"]["schema"], "linedrift.plan/1");
    let trim = &answer["trim"]["checks"][0];
    assert_eq!(trim["hours"], 62.5);
    // C is 7 mm short of A over half the chord: nose up
    assert!(trim["incidence_change_deg"]["value"].as_f64().unwrap() > 0.1, "{trim:#}");
    let page = fs::read_to_string(home.path().join("page.html")).unwrap();
    assert!(page.contains("<svg") && page.contains("17"));
    // nothing else was written
    assert_eq!(fs::read_dir(home.path()).unwrap().count(), 1);
}

#[test]
fn what_can_be_read_in_two_ways_is_asked() {
    let home = TempDir::new().unwrap();
    for (name, says) in [
        ("date-either.xlsx", "--date 2026-04-03"),
        ("two-tables.csv", "is in two tables"),
        ("mixed-units.csv", "units are mixed"),
        ("locked.xlsx", "password"),
    ] {
        let asked = run(home.path(), &["check", &file(name)]);
        assert_eq!(asked.status.code(), Some(1), "{name}");
        let said = stderr(&asked).split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(said.contains(says), "{name}: {said}");
        let json = run(home.path(), &["check", &file(name), "--json"]);
        let document: Value = serde_json::from_str(stdout(&json)).unwrap();
        assert_eq!(document["schema"], "linedrift.error/1", "{name}");
        assert_eq!(document["faults"].as_array().unwrap().len(), 1, "{name}");
    }
    let said = run(home.path(), &["check", &file("date-either.xlsx"), "--date", "3.4.2026"]);
    assert_eq!(said.status.code(), Some(0), "{}", stderr(&said));
}

#[test]
fn a_slip_is_named_and_not_kept() {
    let home = TempDir::new().unwrap();
    let args =
        ["check", &file("one-misread.csv"), "--date", "2026-03-14", "--hours", "62,5", "--keep", "loft", "--json"];
    let made = run(home.path(), &args);
    assert_eq!(made.status.code(), Some(1));
    let answer: Value = serde_json::from_str(stdout(&made)).unwrap();
    let finding = &answer["vet"]["findings"][0];
    assert_eq!((&finding["line"], &finding["side"]), (&"B3".into(), &"left".into()));
    assert_eq!(answer["kept"], false);
    assert!(!home.path().join("loft").exists());
}

#[test]
fn a_model_is_kept_once_and_later_files_need_only_readings() {
    let home = TempDir::new().unwrap();
    let model = [
        "model",
        &file("cascade-levels.xlsx"),
        "--name",
        "Heron",
        "--keep",
        "loft",
        "--chord",
        "A=0.11,B=0.36,C=0.64",
        "--root-chord-m",
        "2.68",
    ];
    let kept = run(home.path(), &model);
    assert_eq!(kept.status.code(), Some(0), "{}", stderr(&kept));
    assert!(stdout(&kept).contains("cascade of 53 pieces"), "{}", stdout(&kept));
    let first = [
        "check",
        &file("readings-only.csv"),
        "--keep",
        "loft",
        "--wing",
        "9",
        "--model",
        "Heron",
        "--date",
        "14.3.2026",
        "--hours",
        "62,5",
        "--datum",
        "0",
        "--operator",
        "Ann",
        "--load-n",
        "60",
        "--json",
    ];
    let made = run(home.path(), &first);
    assert_eq!(made.status.code(), Some(0), "{}", stderr(&made));
    let answer: Value = serde_json::from_str(stdout(&made)).unwrap();
    assert!(answer["trim"]["checks"][0]["incidence_change_deg"]["value"].is_f64());
    assert_eq!(answer["kept"], true);
    // the second needs readings only; load and operator are as before, and said
    let second = [
        "record",
        &file("readings-only.csv"),
        "loft",
        "--wing",
        "9",
        "--date",
        "2026-09-01",
        "--hours",
        "90",
        "--serial-number",
        "PL-0042",
        "--owner",
        "the loft",
    ];
    let made = run(home.path(), &second);
    assert_eq!(made.status.code(), Some(0), "{}", stderr(&made));
    assert!(stderr(&made).contains("load 60 N, as at check 9-1"), "{}", stderr(&made));
    assert!(stderr(&made).contains("operator Ann, as at check 9-1"), "{}", stderr(&made));
    let summary = run(home.path(), &["summary", "loft"]);
    assert!(stdout(&summary).contains("2 checks"), "{}", stdout(&summary));
    // serial number and owner are the wing's from now on, and its protocol has them
    let wings = fs::read_to_string(home.path().join("loft/wings.csv")).unwrap();
    assert!(wings.contains("PL-0042") && wings.contains("the loft"), "{wings}");
    let protocol = run(home.path(), &["report", "loft", "--protocol", "--out", "paper"]);
    assert_eq!(protocol.status.code(), Some(0), "{}", stderr(&protocol));
    let page = fs::read_to_string(home.path().join("paper/protocol.html")).unwrap();
    assert!(page.contains("PL-0042") && page.contains("the loft"));
    // the same again is refused, and the folder stays
    let again = run(home.path(), &second);
    assert_eq!(again.status.code(), Some(1), "{}", stdout(&again));
}

#[test]
fn headings_of_ones_own_are_said_once() {
    let home = TempDir::new().unwrap();
    let own = file("own-headings.xlsx");
    let asked = run(home.path(), &["check", &own]);
    assert_eq!(asked.status.code(), Some(1));
    assert!(stderr(&asked).contains("--columns"), "{}", stderr(&asked));
    let mapping = "line=Strang,nominal=Katalog,left=Backbord,right=Steuerbord";
    let first = [
        "check",
        &own,
        "--columns",
        mapping,
        "--keep",
        "loft",
        "--wing",
        "3",
        "--date",
        "2026-03-14",
        "--hours",
        "10",
    ];
    let made = run(home.path(), &first);
    assert_eq!(made.status.code(), Some(0), "{}", stderr(&made));
    let later = ["check", &own, "--keep", "loft", "--wing", "3", "--date", "2026-09-14", "--hours", "40"];
    let made = run(home.path(), &later);
    assert_eq!(made.status.code(), Some(0), "{}", stderr(&made));
}
