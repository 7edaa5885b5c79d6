//! The commands on limits, saved fits, calendars and looking back, run as people run them.

use std::fs;

use serde_json::Value;

use crate::cli_run::{assert_has, document, linedrift, loft, stderr, stdout};

#[test]
fn a_limits_file_reaches_trim_plan_due_and_report() {
    let folder = loft();
    let here = folder.path();
    let plain = document(here, &["trim", "loft", "--json"]);
    fs::write(here.join("limits.toml"), "line_mm = 3\n[model.\"HF2-S\"]\nline_mm = 30\n").unwrap();
    let outside = |document: &Value| -> usize {
        let checks = document["checks"].as_array().unwrap();
        let lines = checks.iter().flat_map(|check| check["lines"].as_array().unwrap());
        lines.filter(|line| line["verdict"] == "outside").count()
    };
    let tight = document(here, &["trim", "loft", "--json", "--limits", "limits.toml"]);
    assert!(outside(&tight) > outside(&plain));
    for line in tight["checks"].as_array().unwrap().iter().flat_map(|check| check["lines"].as_array().unwrap()) {
        let tolerance = line["tolerance_mm"].as_f64().unwrap();
        assert!(line["row"] == "brake" || tolerance == 3.0 || tolerance == 30.0, "{line}");
    }
    let due = document(here, &["due", "loft", "--json", "--limits", "limits.toml"]);
    assert!(due["wings"].as_array().unwrap().iter().any(|wing| wing["reason"] == "already-over"));
    assert_ne!(due["wings"], document(here, &["due", "loft", "--json"])["wings"]);
    let wing = ["plan", "loft", "--wing", "W02", "--json", "--limits", "limits.toml"];
    assert_ne!(document(here, &wing)["before"], document(here, &wing[..5])["before"]);
    let report = linedrift(here, &["report", "loft", "--limits", "limits.toml"]);
    assert_eq!(report.status.code(), Some(0), "{}", stderr(&report));

    fs::write(here.join("wrong.toml"), "line_mm = 8\noffset = 40\n").unwrap();
    for command in ["trim", "due", "report"] {
        let output = linedrift(here, &[command, "loft", "--limits", "wrong.toml"]);
        assert_eq!(output.status.code(), Some(1), "{command}");
        let said = stderr(&output);
        assert!(said.contains("wrong.toml, line 2, offset") && said.contains("`offset_mm`"), "{said}");
        let output = linedrift(here, &[command, "loft", "--limits", "wrong.toml", "--json"]);
        let error: Value = serde_json::from_str(stdout(&output)).unwrap();
        assert_eq!((&error["schema"], &error["faults"][0]["row"]), (&"linedrift.error/1".into(), &2.into()));
    }
    let missing = linedrift(here, &["due", "loft", "--limits", "none.toml"]);
    assert_eq!(missing.status.code(), Some(1));
    assert!(stderr(&missing).contains("none.toml"));
}

#[test]
fn a_saved_fit_serves_one_wing_elsewhere_and_the_demo_does_not_serve_real_wings() {
    let folder = loft();
    let here = folder.path();
    let made = linedrift(here, &["simulate", "--demo", "--out", "demo"]);
    assert_eq!(made.status.code(), Some(0), "{}", stderr(&made));
    for [fleet, fit] in [["loft", "loft.fit"], ["demo", "demo.fit"]] {
        let saved = linedrift(here, &["wear", fleet, "--save", fit]);
        assert_eq!(saved.status.code(), Some(0), "{}", stderr(&saved));
    }
    let one = linedrift(here, &["simulate", "--out", "one", "--wings", "1", "--seed", "9"]);
    assert_eq!(one.status.code(), Some(0));
    let due = document(here, &["due", "one", "--fit", "loft.fit", "--json"]);
    assert_eq!(due["wings"][0]["basis"], "history");
    assert!(due.get("demo").is_none());
    // the loft's own answers from its saved fit
    let same = document(here, &["due", "loft", "--fit", "loft.fit", "--json"]);
    assert_eq!(same["wings"], document(here, &["due", "loft", "--json"])["wings"]);

    let refused = linedrift(here, &["due", "one", "--fit", "demo.fit"]);
    assert_eq!((refused.status.code(), stdout(&refused)), (Some(1), ""));
    assert!(stderr(&refused).contains("--use-demo-fit-for-real-wings"), "{}", stderr(&refused));
    let used = document(here, &["due", "one", "--fit", "demo.fit", "--use-demo-fit-for-real-wings", "--json"]);
    assert_eq!(used["demo"], true);
    let used = ["due", "one", "--wing", "W01", "--fit", "demo.fit", "--use-demo-fit-for-real-wings", "--json"];
    assert_eq!(document(here, &used)["demo"], true);
    // in parts too, where the fleet itself is no demo
    let in_parts =
        ["due", "one", "--fit", "demo.fit", "--use-demo-fit-for-real-wings", "--out", "out", "--parts", "8"];
    let text = linedrift(here, &in_parts);
    assert_eq!(text.status.code(), Some(0), "{}", stderr(&text));
    let note = linedrift::report::text::demo_note();
    assert!(stdout(&text).contains(note.trim()), "{}", stdout(&text));
    assert!(stdout(&text).contains("linedrift help"), "{}", stdout(&text));
    assert_eq!(document(here, &[&in_parts[..], &["--json"]].concat())["demo"], true);
    let own = ["due", "one", "--fit", "loft.fit", "--out", "own", "--parts", "8"];
    assert!(!stdout(&linedrift(here, &own)).contains(note.trim()));
    assert!(document(here, &[&own[..], &["--json"]].concat()).get("demo").is_none());

    fs::write(here.join("broken.fit"), "{\"format\": \"linedrift wear fit\", \"version\": 2}").unwrap();
    fs::write(here.join("other.fit"), "{\"format\": \"x\", \"version\": 1}").unwrap();
    for (file, said) in [("broken.fit", "not a saved wear fit"), ("other.fit", "format"), ("none.fit", "cannot read")]
    {
        let output = linedrift(here, &["due", "one", "--fit", file]);
        assert_eq!(output.status.code(), Some(1), "{file}");
        assert!(stderr(&output).contains(said) && stderr(&output).contains(file), "{}", stderr(&output));
    }
    let alone = linedrift(here, &["due", "one", "--use-demo-fit-for-real-wings"]);
    assert_eq!(alone.status.code(), Some(2));
}

#[test]
fn calendars_and_the_work_per_month() {
    let folder = loft();
    let here = folder.path();
    let due = document(here, &["due", "loft", "--json", "--calendar", "checks.ics"]);
    let dated = due["wings"].as_array().unwrap().iter().filter(|wing| !wing["due_date"].is_null()).count();
    assert!(dated > 0);
    let ics = fs::read_to_string(here.join("checks.ics")).unwrap();
    assert!(ics.starts_with("BEGIN:VCALENDAR\r\n") && ics.matches("BEGIN:VEVENT").count() == dated);
    let text = linedrift(here, &["due", "loft", "--calendar", "checks.csv"]);
    assert_eq!(text.status.code(), Some(0), "{}", stderr(&text));
    let csv = fs::read_to_string(here.join("checks.csv")).unwrap();
    assert_eq!(
        csv.lines().next().unwrap(),
        "date,earliest,latest,wing,model,due_hours,reason,explanation,invented,caution"
    );
    assert!(csv.lines().skip(1).all(|line| line.contains(",false,\"This is a forecast")), "{csv}");
    assert_eq!(csv.lines().count(), dated + 1);
    let days: Vec<&str> = csv.lines().skip(1).map(|line| &line[..10]).collect();
    assert!(days.windows(2).all(|pair| pair[0] <= pair[1]));
    let shown = stdout(&text);
    assert!(shown.contains("Checks due per month"), "{shown}");
    let other = linedrift(here, &["due", "loft", "--calendar", "checks.txt"]);
    assert_eq!(other.status.code(), Some(2));
}

#[test]
fn looking_back_answers_as_the_contract_says() {
    let folder = loft();
    let here = folder.path();
    let test = document(here, &["backtest", "loft", "--json", "--rolling", "--out", "back"]);
    assert_has(&test, &["forecasts", "coverage", "crps_mm", "pit", "groups", "skipped"]);
    assert_eq!(test["schema"], "linedrift.backtest/1");
    let levels: Vec<f64> =
        test["coverage"].as_array().unwrap().iter().map(|row| row["level"].as_f64().unwrap()).collect();
    assert_eq!(levels, [0.5, 0.8, 0.95]);
    let methods: Vec<&str> =
        test["crps_mm"].as_array().unwrap().iter().map(|row| row["method"].as_str().unwrap()).collect();
    assert_eq!(methods, ["linedrift", "last value", "own points", "fleet mean"]);
    for row in test["crps_mm"].as_array().unwrap() {
        assert!(row["value"].as_f64().unwrap() > 0.0);
    }
    let table = fs::read_to_string(here.join("back/backtest.csv")).unwrap();
    assert_eq!(table.lines().count() as u64, test["forecasts"].as_u64().unwrap() + 1);
    for figure in ["back/coverage.svg", "back/pit.svg"] {
        assert!(fs::read_to_string(here.join(figure)).unwrap().starts_with("<svg"));
    }
    let text = linedrift(here, &["backtest", "loft", "--rolling"]);
    assert_eq!(text.status.code(), Some(0));
    assert!(stdout(&text).lines().all(|line| line.chars().count() <= 80), "{}", stdout(&text));
    assert_eq!(linedrift(here, &["backtest"]).status.code(), Some(2));
}

#[test]
fn the_value_of_a_check_and_a_short_check() {
    let folder = loft();
    let here = folder.path();
    let due = document(here, &["due", "loft", "--wing", "W03", "--value-of-check", "900", "--json"]);
    let value = &due["value_of_check"];
    assert_eq!((&value["wing"], &value["check_h"]), (&"W03".into(), &900.0.into()));
    for one in value["differences"].as_array().unwrap() {
        assert!(one["sd_after_mm"].as_f64() < one["sd_before_mm"].as_f64(), "{one}");
    }
    let early = linedrift(here, &["due", "loft", "--wing", "W03", "--value-of-check", "0.5"]);
    assert_eq!(early.status.code(), Some(1));
    assert!(stderr(&early).contains("before the wing's last check"));
    assert_eq!(linedrift(here, &["due", "loft", "--value-of-check", "900"]).status.code(), Some(2));

    let whole = document(here, &["sheet", "loft", "--wing", "W03", "--json"]);
    // half way between what all lines would tell and what is known without any
    let all = document(here, &["sheet", "loft", "--wing", "W03", "--short", "0.001", "--json"]);
    assert_eq!(all["short"]["reached"], false);
    let largest = |key: &str| {
        let differences = all["short"]["differences"].as_array().unwrap();
        differences.iter().map(|one| one[key].as_f64().unwrap()).fold(0.0, f64::max)
    };
    let wanted = f64::midpoint(largest("sd_before_mm"), largest("sd_after_mm")).to_string();
    let short = document(here, &["sheet", "loft", "--wing", "W03", "--short", &wanted, "--json"]);
    let lines = |sheet: &Value| sheet["rows"].as_array().unwrap().len();
    assert!(0 < lines(&short) && lines(&short) < lines(&whole) / 2, "{} of {}", lines(&short), lines(&whole));
    assert_eq!(short["short"]["reached"], true);
    let places: Vec<u64> =
        short["rows"].as_array().unwrap().iter().map(|row| row["order"].as_u64().unwrap()).collect();
    assert_eq!(places, (1..=places.len() as u64).collect::<Vec<_>>());
    assert_eq!(linedrift(here, &["sheet", "loft", "--wing", "W03", "--hours", "5"]).status.code(), Some(2));
}

#[test]
fn a_model_with_a_covariate_forecasts_and_a_saved_one_finds_it() {
    let folder = loft();
    let here = folder.path();
    let wings = fs::read_to_string(here.join("loft/wings.csv")).unwrap();
    let with = wings.lines().enumerate().fold(String::new(), |text, (row, line)| match row {
        0 => format!("{text}{line},coast\n"),
        _ => format!("{text}{line},{}\n", row % 2),
    });
    fs::write(here.join("loft/wings.csv"), with).unwrap();
    let model = ["--covariate", "coast", "--shape", "linear"];
    let ask = |words: &[&str]| document(here, &[words, &["--json"]].concat());
    let own = ask(&[&["due", "loft"][..], &model].concat());
    let plain = ask(&["due", "loft", "--shape", "linear"]);
    assert_ne!(own["wings"], plain["wings"], "the covariate has no say");
    let saved = linedrift(here, &[&["wear", "loft", "--save", "coast.fit"][..], &model].concat());
    assert_eq!(saved.status.code(), Some(0), "{}", stderr(&saved));
    assert_eq!(ask(&["due", "loft", "--fit", "coast.fit"])["wings"][0]["due_hours"], own["wings"][0]["due_hours"]);
    for command in
        [&["report", "loft"][..], &["tables", "loft", "--no-backtest", "--out", "tables"], &["backtest", "loft"]]
    {
        let done = linedrift(here, &[command, &model].concat());
        assert_eq!(done.status.code(), Some(0), "{command:?}: {}", stderr(&done));
    }
    // a column of text, by its levels and for one material
    let table = fs::read_to_string(here.join("loft/wings.csv")).unwrap();
    let kept = table.lines().enumerate().fold(String::new(), |text, (row, line)| match row {
        0 => format!("{text}{line},kept\n"),
        _ => format!("{text}{line},{}\n", ["dry barn", "van"][row % 2]),
    });
    fs::write(here.join("loft/wings.csv"), kept).unwrap();
    let model = ["--covariate", "kept=van:uhmwpe", "--shape", "linear"];
    let wear = ask(&[&["wear", "loft"][..], &model].concat());
    let names: Vec<&str> =
        wear["terms"].as_array().unwrap().iter().map(|term| term["term"].as_str().unwrap()).collect();
    assert!(names.contains(&"covariate:kept=van:uhmwpe"), "{names:?}");
    assert_ne!(ask(&[&["due", "loft"][..], &model].concat())["wings"], plain["wings"]);
    let saved = linedrift(here, &[&["wear", "loft", "--save", "kept.fit"][..], &model].concat());
    assert_eq!(saved.status.code(), Some(0), "{}", stderr(&saved));
    assert_eq!(
        ask(&["due", "loft", "--fit", "kept.fit"])["wings"][0]["due_hours"],
        ask(&[&["due", "loft"][..], &model].concat())["wings"][0]["due_hours"]
    );
    let text = linedrift(here, &["wear", "loft", "--covariate", "kept"]);
    assert_eq!(text.status.code(), Some(1));
    assert!(stderr(&text).contains("kept=van"), "{}", stderr(&text));
    let both = linedrift(here, &["due", "loft", "--fit", "coast.fit", "--shape", "log"]);
    assert_eq!(both.status.code(), Some(2));
    // a wing without the number
    fs::write(here.join("loft/wings.csv"), wings).unwrap();
    let missing = linedrift(here, &["due", "loft", "--fit", "coast.fit"]);
    assert_eq!(missing.status.code(), Some(1));
    assert!(stderr(&missing).contains("coast"), "{}", stderr(&missing));
}
