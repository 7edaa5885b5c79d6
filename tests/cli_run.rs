//! The command line, run as people run it: exit codes, JSON, what is written.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use linedrift::fleet::FolderSpec;
use linedrift::report::{CAUTIONS, text};
use linedrift::simulate::FleetSpec;
use serde_json::Value;
use tempfile::TempDir;

pub(crate) fn linedrift(folder: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_linedrift")).args(args).current_dir(folder).output().unwrap()
}

pub(crate) fn stdout(output: &Output) -> &str {
    std::str::from_utf8(&output.stdout).unwrap()
}

pub(crate) fn stderr(output: &Output) -> &str {
    std::str::from_utf8(&output.stderr).unwrap()
}

/// Runs a command that must succeed with one JSON document and nothing else.
pub(crate) fn document(folder: &Path, args: &[&str]) -> Value {
    let output = linedrift(folder, args);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    let text = stdout(&output);
    assert!(text.starts_with("{\n  \"schema\": \"linedrift."), "{text:.80}");
    serde_json::from_str(text).unwrap()
}

/// A temporary folder with a small invented fleet in `loft`.
pub(crate) fn loft() -> TempDir {
    let folder = TempDir::new().unwrap();
    let made = linedrift(folder.path(), &["simulate", "--out", "loft", "--wings", "8", "--seed", "5"]);
    assert_eq!(made.status.code(), Some(0), "{}", stderr(&made));
    folder
}

fn keys(value: &Value) -> Vec<&str> {
    value.as_object().unwrap().keys().map(String::as_str).collect()
}

#[track_caller]
pub(crate) fn assert_has(value: &Value, wanted: &[&str]) {
    for key in wanted {
        assert!(value.get(key).is_some(), "no `{key}` among {:?}", keys(value));
    }
}

#[test]
fn senseless_calls_exit_2_and_write_nothing() {
    let folder = loft();
    for args in [
        &["nonsense"][..],
        &["trim"],
        &["wear"],
        &["due"],
        &["summary"],
        &["vet"],
        &["plan"],
        &["gauge"],
        &["sheet"],
        &["simulate"],
        &["wear", "loft", "--shape", "auto", "--scale-h", "30"],
        &["wear", "loft", "--scale-h", "30"],
        &["wear", "loft", "--shape", "log", "--scale-h", "-3"],
        &["due", "loft", "--risk", "1.5"],
        &["due", "loft", "--today", "yesterday"],
        &["due", "loft", "--wing", "nobody"],
        &["trim", "loft", "--check", "none"],
        &["trim", "loft", "--threads", "0"],
        &["report", "loft", "--wing", "nobody"],
        &["vet", "loft", "--check", "none"],
        &["plan", "loft", "--wing", "nobody"],
        &["plan", "loft", "--wing", "W01", "--target", "level"],
        &["gauge", "loft", "--check", "none"],
        &["gauge", "loft", "--wing", "nobody"],
        &["sheet", "loft", "--wing", "nobody"],
        &["sheet", "loft", "--wing", "W01", "--datum", "inf"],
        &["simulate", "--demo", "--seed", "3", "--out", "x"],
        &["--nonsense"],
    ] {
        let output = linedrift(folder.path(), args);
        assert_eq!(output.status.code(), Some(2), "{args:?}: {}", stderr(&output));
        assert_eq!(stdout(&output), "", "{args:?}");
        assert!(stderr(&output).contains("error:"), "{args:?}");
    }
    let left: Vec<_> = fs::read_dir(folder.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    assert_eq!(left, ["loft"]);
}

/// Without the long work that comes before: the folder need not be there.
#[test]
fn settings_that_exclude_each_other_are_refused_before_any_work() {
    let folder = TempDir::new().unwrap();
    let parts = ["--out", "out", "--parts", "8"];
    let calls: [&[&str]; 8] = [
        &["due", "none", "--wing", "W01"],
        &["due", "none", "--calendar", "a.csv"],
        &["vet", "none", "--wing", "W01"],
        &["vet", "none", "--check", "C01"],
        &["trim", "none", "--wing", "W01"],
        &["trim", "none", "--check", "C01"],
        &["plan", "none", "--wing", "W01"],
        &["plan", "none"],
    ];
    let mut calls: Vec<Vec<&str>> = calls.iter().map(|call| [call, &parts[..]].concat()).collect();
    calls.push(vec!["wear", "--from", "a.part", "--materials", "own.toml"]);
    for call in &calls {
        let output = linedrift(folder.path(), call);
        assert_eq!((output.status.code(), stdout(&output)), (Some(2), ""), "{call:?}: {}", stderr(&output));
    }
}

#[test]
fn faults_of_the_tables_exit_1_with_all_of_them() {
    let folder = loft();
    let wings = folder.path().join("loft/wings.csv");
    let checks = folder.path().join("loft/checks.csv");
    let text = fs::read_to_string(&wings).unwrap();
    let model = text.lines().nth(1).unwrap().split(',').nth(1).unwrap().to_owned();
    fs::write(&wings, text.replacen(&format!(",{model}"), ",no-such-model", 1)).unwrap();
    let text = fs::read_to_string(&checks).unwrap();
    let date = text.lines().nth(2).unwrap().split(',').find(|cell| cell.starts_with("20")).unwrap().to_owned();
    fs::write(&checks, text.replacen(&date, "20xx", 1)).unwrap();

    for command in ["report", "trim", "wear", "due", "summary", "vet", "plan", "gauge", "sheet"] {
        let output = linedrift(folder.path(), &[command, "loft"]);
        assert_eq!(output.status.code(), Some(1), "{command}");
        assert_eq!(stdout(&output), "", "{command}");
        assert!(stderr(&output).contains("no-such-model") && stderr(&output).contains("20xx"), "{}", stderr(&output));

        let output = linedrift(folder.path(), &[command, "loft", "--json"]);
        assert_eq!(output.status.code(), Some(1), "{command}");
        let error: Value = serde_json::from_str(stdout(&output)).unwrap();
        assert_eq!(error["schema"], "linedrift.error/1");
        assert!(error["more"].is_u64());
        let faults = error["faults"].as_array().unwrap();
        assert!(faults.len() >= 2, "{error}");
        for fault in faults {
            assert_has(fault, &["table", "row", "column", "value", "expected"]);
        }
        assert!(faults.iter().any(|fault| fault["table"] == "wings" && fault["value"] == "no-such-model"));
    }
    assert!(!folder.path().join("linedrift-report").exists(), "nothing is written when the data is at fault");
}

#[test]
fn a_missing_folder_is_a_fault_of_the_data() {
    let folder = TempDir::new().unwrap();
    let output = linedrift(folder.path(), &["wear", "nowhere", "--json"]);
    assert_eq!(output.status.code(), Some(1));
    let error: Value = serde_json::from_str(stdout(&output)).unwrap();
    assert_eq!(error["faults"][0]["value"], "nowhere");
    assert_eq!(stderr(&output), "");
}

#[test]
fn trim_json_has_the_keys_of_the_contract_and_judges_the_latest_checks() {
    let folder = loft();
    let all = document(folder.path(), &["trim", "loft", "--json"]);
    assert_eq!(all["schema"], "linedrift.trim/1");
    assert!(all.get("demo").is_none(), "an own fleet is not the demo");
    let checks = all["checks"].as_array().unwrap();
    assert_eq!(checks.len(), 8);
    for check in checks {
        assert_has(
            check,
            &[
                "check",
                "wing",
                "hours",
                "stage",
                "common_mm",
                "lines",
                "rows",
                "incidence_change_deg",
                "aoa_change_deg",
                "speed_change_pct",
                "twist",
                "shape_residual_mm",
                "asymmetry_deg",
            ],
        );
        assert_has(
            &check["lines"][0],
            &["side", "line", "row", "deviation_mm", "relative_mm", "uncertainty_mm", "verdict"],
        );
        assert_has(&check["rows"][0], &["row", "side", "mean_mm", "effective_mm", "se_mm"]);
        assert_has(&check["incidence_change_deg"], &["value", "lower", "upper"]);
    }
    let wing = checks[2]["wing"].as_str().unwrap();
    let one = document(folder.path(), &["trim", "loft", "--wing", wing, "--json"]);
    assert_eq!(one["checks"].as_array().unwrap(), &[checks[2].clone()]);
    let check = checks[3]["check"].as_str().unwrap();
    let one = document(folder.path(), &["trim", "loft", "--check", check, "--json", "--threads", "1"]);
    assert_eq!(one["checks"].as_array().unwrap(), &[checks[3].clone()]);
}

#[test]
fn wear_json_has_the_keys_of_the_contract_and_follows_its_flags() {
    let folder = loft();
    let plain = document(folder.path(), &["wear", "loft", "--json"]);
    assert_has(
        &plain,
        &[
            "readings",
            "wings",
            "checks",
            "lines",
            "restarted_lines",
            "criterion",
            "deviance",
            "evaluations",
            "converged",
            "shape",
            "terms",
            "spread",
            "dropped_terms",
            "diagnostics",
        ],
    );
    assert_eq!(plain["schema"], "linedrift.wear/1");
    assert_eq!((&plain["shape"]["kind"], &plain["shape"]["scale_h"]), (&"linear".into(), &Value::Null));
    assert_eq!(plain["criterion"], "reml");
    assert_has(&plain["terms"][0], &["term", "estimate", "se", "lower", "upper"]);
    assert_has(&plain["spread"][0], &["group", "effect", "sd", "correlation"]);
    let terms = |document: &Value| -> Vec<String> {
        let terms = document["terms"].as_array().unwrap();
        terms.iter().map(|term| term["term"].as_str().unwrap().to_owned()).collect()
    };
    assert!(terms(&plain).iter().any(|term| term.starts_with("span:")));

    let args =
        ["wear", "loft", "--json", "--shape", "log", "--scale-h", "40", "--terms", "rate", "--criterion", "ml"];
    let other = document(folder.path(), &[&args[..], &["--wing-effects", "rate+row"]].concat());
    assert_eq!((&other["shape"]["kind"], &other["shape"]["scale_h"]), (&"log".into(), &40.0.into()));
    assert_eq!(other["criterion"], "ml");
    assert!(!terms(&other).iter().any(|term| term.starts_with("span:")));
    let spread = other["spread"].as_array().unwrap();
    assert!(spread.iter().any(|row| row["group"] == "wing:row"));

    let args = ["wear", "loft", "--json", "--covariate", "mass_kg"];
    let loaded = linedrift(folder.path(), &args);
    // the simulated wings may or may not carry the column: either it is a term, or the error document says why not
    let loaded: Value = serde_json::from_str(stdout(&loaded)).unwrap();
    if loaded["schema"] == "linedrift.wear/1" {
        assert!(terms(&loaded).iter().any(|term| term == "covariate:mass_kg"), "{:?}", terms(&loaded));
    } else {
        assert_eq!(loaded["schema"], "linedrift.error/1");
    }
}

#[test]
fn due_json_has_the_keys_of_the_contract_and_reproduces() {
    let folder = loft();
    let args = ["due", "loft", "--json", "--risk", "0.2"];
    let due = document(folder.path(), &args);
    assert_eq!((&due["schema"], &due["risk"]), (&"linedrift.due/1".into(), &0.2.into()));
    let wings = due["wings"].as_array().unwrap();
    assert_eq!(wings.len(), 8);
    for wing in wings {
        assert_has(
            wing,
            &["wing", "model", "basis", "hours_now", "due_hours", "due_date", "reason", "crossing_hours", "risk_now"],
        );
        assert_has(&wing["crossing_hours"], &["p10", "p50", "p90"]);
    }
    assert_eq!(due, document(folder.path(), &[&args[..], &["--threads", "1"]].concat()));
    let name = wings[4]["wing"].as_str().unwrap();
    let one = document(folder.path(), &[&args[..], &["--wing", name]].concat());
    assert_eq!(one["wings"].as_array().unwrap(), &[wings[4].clone()]);
}

#[test]
fn summary_counts_what_was_written() {
    let folder = loft();
    let summary = document(folder.path(), &["summary", "loft", "--json"]);
    assert_eq!(summary["schema"], "linedrift.summary/1");
    let lines = |table: &str| fs::read_to_string(folder.path().join("loft").join(table)).unwrap().lines().count() - 1;
    for (key, table) in [("wings", "wings.csv"), ("checks", "checks.csv"), ("readings", "readings.csv")] {
        assert_eq!(summary[key], lines(table), "{key}");
    }
    let text = linedrift(folder.path(), &["summary", "loft"]);
    assert!(stdout(&text).starts_with("8 wings, "), "{}", stdout(&text));
}

#[test]
fn text_answers_carry_the_cautions() {
    let folder = loft();
    for command in ["trim", "wear", "due", "report", "vet"] {
        let output = linedrift(folder.path(), &[command, "loft"]);
        assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
        assert!(stdout(&output).starts_with(&text::cautions()), "{command}");
        assert!(!stdout(&output).contains("Invented data"), "{command}");
    }
    // the one line says where they are whole, and there nothing of them is lost
    assert_eq!(text::cautions().lines().count(), 1);
    assert!(text::cautions().contains("linedrift help"));
    for help in [&["help"][..], &["--help"], &["help", "plan"], &["trim", "--help"]] {
        let said = stdout(&linedrift(folder.path(), help)).split_whitespace().collect::<Vec<_>>().join(" ");
        for caution in CAUTIONS {
            assert!(said.contains(caution), "{help:?}: {caution}");
        }
        assert!(said.contains("Exit codes:"));
    }
}

#[test]
fn tables_go_where_out_says() {
    let folder = loft();
    for (command, names) in [
        ("trim", &["trim_checks", "trim_diagnosis", "trim_rows", "trim_lines", "trim_twist"][..]),
        ("vet", &["vet_checks", "vet_findings"]),
        ("wear", &["wear_terms", "wear_spread", "wear_drift"]),
        ("due", &["due"]),
    ] {
        let output = linedrift(folder.path(), &[command, "loft", "--out", &format!("deep/{command}")]);
        assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
        for name in names {
            for ending in ["csv", "parquet"] {
                let path = folder.path().join(format!("deep/{command}/{name}.{ending}"));
                assert!(fs::metadata(&path).unwrap().len() > 0, "{}", path.display());
            }
        }
    }
}

#[test]
fn tables_say_why_there_is_no_wear() {
    let folder = TempDir::new().unwrap();
    let small = folder.path().join("small");
    fs::create_dir(&small).unwrap();
    fs::write(small.join("lines.csv"), "model,line,row,rank,nominal_mm\nHeron,A1,A,1,6000\n").unwrap();
    fs::write(small.join("wings.csv"), "wing,model\n7,Heron\n").unwrap();
    let tables = |checks: usize| {
        let check = |at: usize| {
            let (year, month, day) = (2001 + at / 336, at / 28 % 12 + 1, at % 28 + 1);
            format!("c{at},7,{year}-{month:02}-{day:02},{at}\n")
        };
        let both = |at: usize| format!("c{at},left,A1,5990\nc{at},right,A1,5990\n");
        let all = "check,wing,date,hours\n".to_owned() + &(0..checks).map(check).collect::<String>();
        let readings = "check,side,line,reading_mm\n".to_owned() + &(0..checks).map(both).collect::<String>();
        fs::write(small.join("checks.csv"), all).unwrap();
        fs::write(small.join("readings.csv"), readings).unwrap();
        linedrift(folder.path(), &["tables", "small", "--no-backtest", "--json"])
    };
    let one = tables(0);
    assert_eq!(one.status.code(), Some(0), "{}", stderr(&one));
    let told: Value = serde_json::from_str(stdout(&one)).unwrap();
    assert_eq!(told["remarks"].as_array().unwrap().len(), 1, "{told}");
    // however many, readings that are all alike have no spread
    let alike = tables(1501);
    assert_eq!(alike.status.code(), Some(0), "{}", stderr(&alike));
    let told: Value = serde_json::from_str(stdout(&alike)).unwrap();
    assert_eq!(told["remarks"].as_array().unwrap().len(), 1, "{told}");
    assert!(told["failed"].is_null(), "{told}");
}

#[test]
fn a_report_of_one_wing_speaks_of_that_wing_only() {
    let folder = loft();
    let all = document(folder.path(), &["trim", "loft", "--json"]);
    let wing = all["checks"][1]["wing"].as_str().unwrap();
    let call = ["report", "loft", "--wing", wing, "--out", "one", "--figures", "svg", "--json"];
    let report = document(folder.path(), &call);
    assert_eq!(report["wings"], 1);
    assert_eq!(report["due"].as_array().unwrap().len(), 1);
    let page = fs::read_to_string(folder.path().join("one/index.html")).unwrap();
    assert_eq!(page.matches("<details").count(), 2, "the cautions and all lines, on demand");
    assert!(page.contains(&format!("<h1>Wing {wing}</h1>")));
    let figures = report["figures"].as_array().unwrap();
    assert_eq!(figures.len(), page.matches("<svg").count());
    for file in figures {
        let svg = fs::read_to_string(folder.path().join(file.as_str().unwrap())).unwrap();
        assert!(svg.starts_with("<svg xmlns=") && svg.contains("<desc"), "{file}");
    }
    // among all wings it gets the same answer
    let every = document(folder.path(), &["due", "loft", "--json"]);
    let rows = every["wings"].as_array().unwrap();
    let row = rows.iter().find(|row| row["wing"] == wing).unwrap();
    assert_eq!(row["due_hours"], report["due"][0]["due_hours"]);
}

#[test]
fn a_plain_call_in_an_empty_folder_makes_the_report_of_the_demo() {
    let folder = TempDir::new().unwrap();
    let output = linedrift(folder.path(), &[]);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    assert!(stdout(&output).contains("Invented data"), "{}", stdout(&output));
    assert!(stdout(&output).contains("linedrift-report/index.html") || cfg!(windows));
    let page = fs::read_to_string(folder.path().join("linedrift-report/index.html")).unwrap();
    assert!(page.contains("(invented demo)") && page.contains("Invented data"));
    // as tests/report_page.rs bounds it, by 48 wings and their lines
    let lines =
        fs::read_to_string(folder.path().join("linedrift-report/trim_lines.csv")).unwrap().lines().count() - 1;
    let most = 100_000 + 18_000 * 48 + 330 * lines;
    assert!(page.len() < most, "{} of at most {most}", page.len());
    for table in [
        "trim_checks",
        "trim_diagnosis",
        "trim_rows",
        "trim_lines",
        "trim_twist",
        "wear_terms",
        "wear_spread",
        "wear_drift",
        "due",
    ] {
        for ending in ["csv", "parquet"] {
            assert!(folder.path().join(format!("linedrift-report/{table}.{ending}")).is_file(), "{table}.{ending}");
        }
    }
    assert_eq!(stderr(&output), "", "no progress when stderr is no terminal");
    let temporary = fs::read_dir(folder.path().join("linedrift-report")).unwrap();
    // with the page of cautions and the list of what was written
    assert_eq!(temporary.count(), 21);
}

#[test]
fn the_demo_folder_gives_the_page_that_the_seed_gives() {
    let folder = TempDir::new().unwrap();
    let made = linedrift(folder.path(), &["simulate", "--demo", "--out", "notebooks-data/demo"]);
    assert_eq!(made.status.code(), Some(0), "{}", stderr(&made));
    let demo = folder.path().join("notebooks-data/demo");
    assert!(fs::read_to_string(demo.join("README.md")).unwrap().contains("linedrift simulate --demo"));
    let truth: Value = serde_json::from_str(&fs::read_to_string(demo.join("truth.json")).unwrap()).unwrap();
    assert!(truth.is_object());
    for command in ["trim", "wear", "summary", "vet"] {
        let document = document(folder.path(), &[command, "notebooks-data/demo", "--json"]);
        assert_eq!(document["demo"], true, "{command}");
    }
    let from_folder = document(folder.path(), &["--json", "--out", "a"]);
    assert_eq!(from_folder["demo"], true);
    // a plain call makes its page of the same fleet, from its seed (the test before this one)
    let from_seed = FleetSpec::demo().run().unwrap().fleet.marked_demo();
    let read = FolderSpec::default().read(&demo).unwrap().fleet;
    assert_eq!(read.histories().len(), from_seed.histories().len());
    for (one, other) in read.histories().iter().zip(from_seed.histories()) {
        assert_eq!((&one.wing.id, one.checks.len()), (&other.wing.id, other.checks.len()));
        assert_eq!(one.actions.len(), other.actions.len());
        for (one, other) in one.checks.iter().zip(&other.checks) {
            assert_eq!((&one.id, one.date, one.readings.len()), (&other.id, other.date, other.readings.len()));
            let off = |mm: f64, other_mm: f64| (mm - other_mm).abs() > 1e-6;
            assert!(!off(one.datum_mm, other.datum_mm) && !off(one.hours_h, other.hours_h), "{}", one.id);
            for (a, b) in one.readings.iter().zip(&other.readings) {
                assert_eq!((a.side, a.line), (b.side, b.line), "{}", one.id);
                assert!(!off(a.reading_mm, b.reading_mm), "{}: {a:?} {b:?}", one.id);
            }
        }
    }
}

#[cfg(unix)]
#[test]
fn a_reader_that_leaves_early_is_no_fault() {
    use std::process::Stdio;
    let folder = loft();
    let mut child = Command::new(env!("CARGO_BIN_EXE_linedrift"))
        .args(["trim", "loft", "--json"])
        .current_dir(folder.path())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!(stderr(&output), "");
    assert_eq!(output.status.code(), Some(0));
}
