//! The commands on trust and work, run as people run them: `vet`, `plan`, `gauge`, `sheet`.

use std::fs;
use std::path::Path;

use serde_json::Value;

use crate::cli_run::{assert_has, document, linedrift, loft, stderr, stdout};

/// The latest check of the loft's second wing, with its wing.
fn latest(folder: &Path) -> (String, String) {
    let trim = document(folder, &["trim", "loft", "--json"]);
    let name = |key: &str| trim["checks"][1][key].as_str().unwrap().to_owned();
    (name("wing"), name("check"))
}

/// Rewrites the rows of the readings of one check.
fn rewrite(folder: &Path, check: &str, header: &str, row: impl Fn(usize, &[&str]) -> String, other: &str) {
    let path = folder.join("loft/readings.csv");
    let text = fs::read_to_string(&path).unwrap();
    assert_eq!(text.lines().next().unwrap(), "check,side,line,reading_mm");
    let mut out = format!("{header}\n");
    let mut at = 0;
    for line in text.lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        if cells[0] == check {
            out += &row(at, &cells);
            at += 1;
        } else {
            out.extend([line, other, "\n"]);
        }
    }
    assert!(at > 20, "{at} readings of check {check}");
    fs::write(path, out).unwrap();
}

/// Adds a thousand to one reading of a check; returns side, line and the right value.
fn spoil(folder: &Path, check: &str) -> (String, String, f64) {
    let trim = document(folder, &["trim", "loft", "--check", check, "--json"]);
    let line = &trim["checks"][0]["lines"][7];
    let (side, name) = (line["side"].as_str().unwrap(), line["line"].as_str().unwrap());
    let right = std::cell::Cell::new(0.0);
    let one = |_: usize, cells: &[&str]| {
        let mut value: f64 = cells[3].parse().unwrap();
        if cells[1] == side && cells[2] == name {
            right.set(value);
            value += 1000.0;
        }
        format!("{},{},{},{value}\n", cells[0], cells[1], cells[2])
    };
    rewrite(folder, check, "check,side,line,reading_mm", one, "");
    assert!(right.get() > 0.0);
    (side.to_owned(), name.to_owned(), right.get())
}

#[test]
fn vet_names_a_reading_that_is_a_thousand_off_and_exits_0() {
    let folder = loft();
    let (wing, check) = latest(folder.path());
    let before = document(folder.path(), &["vet", "loft", "--json"]);
    assert_eq!(before["schema"], "linedrift.vet/1");
    let of_check = |vet: &Value| {
        let findings = vet["findings"].as_array().unwrap();
        findings.iter().filter(|one| one["check"] == *check).cloned().collect::<Vec<_>>()
    };
    assert_eq!(of_check(&before), [] as [Value; 0]);

    let (side, line, right) = spoil(folder.path(), &check);
    let after = document(folder.path(), &["vet", "loft", "--json"]);
    assert!(after.get("demo").is_none(), "an own fleet is not the demo");
    let findings = of_check(&after);
    assert_eq!(findings.len(), 1);
    assert_has(
        &findings[0],
        &["check", "side", "line", "reading_mm", "expected_mm", "kind", "suggested_mm", "score"],
    );
    assert_eq!((&findings[0]["side"], &findings[0]["line"]), (&side.clone().into(), &line.clone().into()));
    assert_eq!(findings[0]["kind"], "thousand-off");
    assert_eq!(findings[0]["suggested_mm"], right);
    for choice in [["--wing", &wing], ["--check", &check]] {
        let args = [&["vet", "loft", "--json", "--threads", "1"], &choice[..]].concat();
        assert_eq!(document(folder.path(), &args)["findings"].as_array().unwrap(), &findings);
    }

    let text = linedrift(folder.path(), &["vet", "loft", "--wing", &wing]);
    assert_eq!(text.status.code(), Some(0), "{}", stderr(&text));
    assert!(stdout(&text).contains("\n1 of "), "{}", stdout(&text));
    assert!(stdout(&text).lines().any(|row| row.starts_with(&check) && row.contains("thousand-off")));
    assert!(stdout(&text).lines().all(|row| row.chars().count() <= 80), "{}", stdout(&text));
}

#[test]
fn plan_leaves_doubtful_lines_out_and_has_the_keys_of_the_contract() {
    let folder = loft();
    let (wing, check) = latest(folder.path());
    let (side, line, _) = spoil(folder.path(), &check);
    let plan = document(folder.path(), &["plan", "loft", "--wing", &wing, "--json"]);
    assert_eq!((&plan["schema"], &plan["check"]), (&"linedrift.plan/1".into(), &check.clone().into()));
    assert_has(&plan, &["remeasure", "actions", "before", "after", "lines", "optimal"]);
    for state in ["before", "after"] {
        assert_has(&plan[state], &["outside", "worst_mm", "incidence_change_deg"]);
    }
    assert_has(&plan["lines"][0], &["side", "line", "before_mm", "after_mm"]);
    let is_spoilt = |one: &&Value| one["side"] == *side && one["line"] == *line;
    let again = plan["remeasure"].as_array().unwrap();
    assert_eq!(again.iter().find(is_spoilt).unwrap()["reason"], "finding");
    assert!(plan["lines"].as_array().unwrap().iter().find(is_spoilt).is_none());
    assert_eq!(plan, document(folder.path(), &["plan", "loft", "--check", &check, "--json"]));

    let maker = document(folder.path(), &["plan", "loft", "--check", &check, "--target", "maker", "--json"]);
    let work = document(folder.path(), &["plan", "loft", "--check", &check, "--aim", "work", "--json"]);
    assert_eq!((&work["target"], &maker["target"]), (&"common".into(), &"maker".into()));
    // one place counts the lines outside, whatever the command
    let trim = document(folder.path(), &["trim", "loft", "--check", &check, "--json"]);
    let outside =
        trim["checks"][0]["lines"].as_array().unwrap().iter().filter(|line| line["verdict"] == "outside").count();
    for plan in [&plan, &work, &maker] {
        assert_eq!(plan["before"]["outside"], outside);
    }
    assert_eq!(maker["target_mm"], 0.0);
    for action in maker["actions"].as_array().unwrap() {
        assert_has(action, &["side", "segment", "action", "turns", "change_mm"]);
    }
    let text = linedrift(folder.path(), &["plan", "loft", "--check", &check, "--target", "maker"]);
    assert_eq!(text.status.code(), Some(0), "{}", stderr(&text));
    assert!(stdout(&text).contains("Measure again first: "), "{}", stdout(&text));
    let works = maker["actions"].as_array().is_some_and(|actions| !actions.is_empty());
    assert_eq!(stdout(&text).contains("in the order of work"), works);
    assert!(stdout(&text).lines().all(|row| row.chars().count() <= 80), "{}", stdout(&text));
}

#[test]
fn plan_and_sheet_want_one_wing_and_take_the_only_one() {
    let folder = loft();
    for (command, flag) in [("plan", "--check"), ("sheet", "--wing")] {
        let output = linedrift(folder.path(), &[command, "loft"]);
        assert_eq!(output.status.code(), Some(2), "{command}");
        assert!(stderr(&output).contains("8 wings") && stderr(&output).contains(flag), "{}", stderr(&output));
        assert_eq!(stdout(&output), "", "{command}");
    }
    let made = linedrift(folder.path(), &["simulate", "--out", "one", "--wings", "1", "--seed", "5"]);
    assert_eq!(made.status.code(), Some(0), "{}", stderr(&made));
    let plan = document(folder.path(), &["plan", "one", "--json"]);
    let trim = document(folder.path(), &["trim", "one", "--json"]);
    assert_eq!(plan["check"], trim["checks"][0]["check"]);
    assert_eq!(linedrift(folder.path(), &["sheet", "one"]).status.code(), Some(0));
}

#[test]
fn gauge_tells_repeats_from_operators() {
    let folder = loft();
    let none = linedrift(folder.path(), &["gauge", "loft"]);
    assert_eq!(none.status.code(), Some(1));
    assert!(stderr(&none).contains("no line was read twice"), "{}", stderr(&none));
    let none = linedrift(folder.path(), &["gauge", "loft", "--json"]);
    assert_eq!(none.status.code(), Some(1));
    let error: Value = serde_json::from_str(stdout(&none)).unwrap();
    assert_eq!(error["schema"], "linedrift.error/1");

    let (wing, check) = latest(folder.path());
    // each operator reads 2 mm apart, the second 3 mm longer throughout
    let four = |_: usize, cells: &[&str]| {
        let value: f64 = cells[3].parse().unwrap();
        let row = |repeat, operator, more: f64| {
            format!("{},{},{},{},{repeat},{operator}\n", cells[0], cells[1], cells[2], value + more)
        };
        [row(1, "first", 0.0), row(2, "first", 2.0), row(3, "second", 3.0), row(4, "second", 5.0)].concat()
    };
    rewrite(folder.path(), &check, "check,side,line,reading_mm,repeat,operator", four, ",1,");
    let gauge = document(folder.path(), &["gauge", "loft", "--json"]);
    assert_eq!(gauge["schema"], "linedrift.gauge/1");
    assert_has(&gauge, &["repeatability", "checks", "notes"]);
    // two readings 2 mm apart have a variance of 2 mm2
    let number = |value: &Value| value.as_f64().unwrap();
    assert!((number(&gauge["repeatability"]["sd_mm"]) - 2_f64.sqrt()).abs() < 1e-9, "{gauge}");
    assert!((number(&gauge["repeatability"]["limit_mm"]) - 2.0 * 1.96).abs() < 1e-3);
    let studied = gauge["checks"].as_array().unwrap();
    assert_eq!(studied.len(), 1);
    assert_eq!((&studied[0]["check"], &studied[0]["wing"]), (&check.clone().into(), &wing.clone().into()));
    assert_eq!((&studied[0]["operators"], &studied[0]["trials"]), (&2.into(), &2.into()));
    let components = studied[0]["components"].as_array().unwrap();
    let operator = components.iter().find(|one| one["source"] == "operator").unwrap();
    // two operators 3 mm apart have a variance of 4.5 mm2, less what repeats put into it
    assert!((number(&operator["sd_mm"]) - 4.5_f64.sqrt()).abs() < 0.05, "{operator}");
    assert_eq!(gauge, document(folder.path(), &["gauge", "loft", "--check", &check, "--json"]));

    let text = linedrift(folder.path(), &["gauge", "loft", "--wing", &wing]);
    assert_eq!(text.status.code(), Some(0), "{}", stderr(&text));
    assert!(stdout(&text).contains("standard deviation 1.41 mm"), "{}", stdout(&text));
    assert!(stdout(&text).lines().all(|row| row.chars().count() <= 80), "{}", stdout(&text));
    let other = document(folder.path(), &["trim", "loft", "--json"])["checks"][2]["wing"].clone();
    let other = linedrift(folder.path(), &["gauge", "loft", "--wing", other.as_str().unwrap()]);
    assert_eq!(other.status.code(), Some(1), "a wing without repeats");
}

#[test]
fn sheet_lists_every_line_once_with_the_value_to_expect() {
    let folder = loft();
    let (wing, check) = latest(folder.path());
    let plain = linedrift(folder.path(), &["sheet", "loft", "--wing", &wing]);
    assert_eq!(plain.status.code(), Some(0), "{}", stderr(&plain));
    let rows: Vec<Vec<&str>> = stdout(&plain).lines().map(|row| row.split(',').collect()).collect();
    assert_eq!(rows[0].join(","), "order,side,row,main,line,expected_mm,last_mm,reading_mm");
    let trim = document(folder.path(), &["trim", "loft", "--check", &check, "--json"]);
    let read = trim["checks"][0]["lines"].as_array().unwrap().len();
    assert!(rows.len() > read && read > 20, "{} rows for {read} lines", rows.len());
    assert!(rows.iter().skip(1).all(|row| row.len() == 8 && row[7].is_empty()));
    assert_eq!(rows.iter().skip(1).filter(|row| !row[6].is_empty()).count(), read, "last values of check {check}");

    let args = ["sheet", "loft", "--wing", &wing, "--datum", "-400", "--out", "sheet.csv"];
    let written = linedrift(folder.path(), &args);
    assert_eq!(written.status.code(), Some(0), "{}", stderr(&written));
    let text = fs::read_to_string(folder.path().join("sheet.csv")).unwrap();
    let number = |cell: &str| cell.parse::<f64>().unwrap();
    for (row, moved) in rows.iter().zip(text.lines()).skip(1) {
        let moved: Vec<&str> = moved.split(',').collect();
        assert_eq!(moved[4], row[4]);
        assert_eq!(number(moved[5]), number(row[5]) - 400.0);
    }
    let sheet = document(folder.path(), &["sheet", "loft", "--wing", &wing, "--json"]);
    assert_eq!((&sheet["schema"], &sheet["last_check"]), (&"linedrift.sheet/1".into(), &check.clone().into()));
    assert_eq!(sheet["rows"].as_array().unwrap().len(), rows.len() - 1);
    let nowhere = linedrift(folder.path(), &["sheet", "loft", "--wing", &wing, "--out", "no/such/sheet.csv"]);
    assert_eq!(nowhere.status.code(), Some(1));
}
