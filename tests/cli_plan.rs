//! `linedrift plan` and what follows it, run as people run it.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use serde_json::Value;
use tempfile::TempDir;

use crate::cli_run::{assert_has, document, linedrift, loft, stderr, stdout};

/// A check of the loft that calls for work, by wing and check.
fn worn(folder: &Path) -> (String, String) {
    let all = document(folder, &["plan", "loft", "--all", "--json"]);
    let works = |plan: &&Value| plan["actions"].as_array().is_some_and(|actions| !actions.is_empty());
    let plan = all["plans"].as_array().unwrap().iter().find(works).unwrap();
    (plan["wing"].as_str().unwrap().to_owned(), plan["check"].as_str().unwrap().to_owned())
}

#[test]
fn all_wings_have_a_plan_or_nothing_to_do() {
    let folder = loft();
    let all = document(folder.path(), &["plan", "loft", "--all", "--json"]);
    assert_eq!(all["schema"], "linedrift.plan-all/1");
    let plans = all["plans"].as_array().unwrap();
    let quiet = all["nothing_to_do"].as_array().unwrap();
    assert_eq!(all["wings"], plans.len() + quiet.len());
    assert!(!plans.is_empty());
    for plan in plans {
        assert_has(plan, &["schema", "check", "remeasure", "actions", "before", "after", "lines", "optimal"]);
        let one = document(folder.path(), &["plan", "loft", "--check", plan["check"].as_str().unwrap(), "--json"]);
        // the document of all plans carries the cautions once
        let mut one = one;
        assert!(one.as_object_mut().unwrap().remove("cautions").is_some());
        assert_eq!(&one, plan);
    }
    let text = linedrift(folder.path(), &["plan", "loft", "--all"]);
    let lines: Vec<&str> = stdout(&text).lines().collect();
    assert!(lines.iter().all(|row| row.chars().count() <= 80), "{}", stdout(&text));
    assert!(stdout(&text).contains(&format!("Wings with nothing to do: {}.", quiet.len())));
    assert_eq!(linedrift(folder.path(), &["plan", "loft", "--all", "--wing", "W01"]).status.code(), Some(2));
}

#[test]
fn curve_steps_and_what_if() {
    let folder = loft();
    let (_, check) = worn(folder.path());
    let call = ["plan", "loft", "--check", &check, "--aim", "work"];
    let plan = document(folder.path(), &[&call[..], &["--curve", "--json", "--out", "pictures"]].concat());
    assert_eq!((&plan["aim"], plan["alternatives"].as_array().unwrap().len()), (&"work".into(), 2));
    for other in plan["alternatives"].as_array().unwrap() {
        assert_has(other, &["aim", "actions", "outside", "incidence_change_deg", "asymmetry_deg"]);
    }
    assert_has(&plan["before"], &["outside", "worst_mm", "incidence_change_deg", "asymmetry_deg"]);
    let curve = plan["curve"].as_array().unwrap();
    assert_eq!(curve.len(), plan["actions"].as_array().unwrap().len() + 1);
    assert_eq!((&curve[0]["most_actions"], &curve[0]["outside"]), (&0.into(), &plan["before"]["outside"]));
    assert_eq!(curve.last().unwrap()["actions"], plan["actions"]);
    for name in ["before-after.svg", "curve.svg"] {
        let text = fs::read_to_string(folder.path().join("pictures").join(name)).unwrap();
        assert!(text.starts_with("<svg xmlns=") && text.contains("<desc"), "{name}");
    }
    let text = linedrift(folder.path(), &["plan", "loft", "--check", &check, "--curve"]);
    assert!(stdout(&text).contains("The best plan for each number of actions"), "{}", stdout(&text));

    // the plan's own actions, given: the same trim
    let mut args: Vec<String> = [&call[..], &["--json"]].concat().into_iter().map(str::to_owned).collect();
    let mut rows = String::from("segment,side,action,amount\n");
    for action in plan["actions"].as_array().unwrap() {
        let [segment, side, kind] = ["segment", "side", "action"].map(|key| action[key].as_str().unwrap());
        let amount = match (action["turns"].as_i64().unwrap(), kind) {
            (0, "larks_head") => String::new(),
            (0, _) => action["change_mm"].to_string(),
            (turns, _) => turns.abs().to_string(),
        };
        let colon = if amount.is_empty() { "" } else { ":" };
        args.extend(["--apply".to_owned(), format!("{segment}:{side}:{kind}{colon}{amount}")]);
        writeln!(rows, "{segment},{side},{kind},{amount}").unwrap();
    }
    let given = document(folder.path(), &args.iter().map(String::as_str).collect::<Vec<_>>());
    assert_eq!((&given["given"], &given["optimal"]), (&true.into(), &false.into()));
    for key in ["after", "before", "lines", "actions"] {
        assert_eq!(given[key], plan[key], "{key}");
    }
    fs::write(folder.path().join("try.csv"), rows).unwrap();
    let file = document(folder.path(), &[&call[..], &["--apply-file", "try.csv", "--json"]].concat());
    assert_eq!(file, given);

    fs::write(folder.path().join("steps.csv"), "action,change_mm\nsplice,-5\n").unwrap();
    let steps = document(folder.path(), &["plan", "loft", "--check", &check, "--steps", "steps.csv", "--json"]);
    assert!(steps["actions"].as_array().unwrap().iter().all(|action| action["action"] == "splice"));
    fs::write(folder.path().join("steps.csv"), "action,change_mm\nsplice,none\n").unwrap();
    let wrong = linedrift(folder.path(), &["plan", "loft", "--check", &check, "--steps", "steps.csv", "--json"]);
    assert_eq!(wrong.status.code(), Some(1));
    let faults: Value = serde_json::from_str(stdout(&wrong)).unwrap();
    assert_eq!((&faults["faults"][0]["row"], &faults["faults"][0]["column"]), (&2.into(), &"change_mm".into()));
    let rows = ["plan", "loft", "--check", &check, "--row-target", "A=-4", "--row-target", "B=1.5", "--json"];
    let rows = document(folder.path(), &rows);
    assert_eq!((&rows["target"], &rows["target_mm"]), (&"rows".into(), &plan["target_mm"]));
    // lines outside are the trim's to count; the distances are from what was asked for
    assert_eq!(rows["before"]["outside"], plan["before"]["outside"]);
    assert_ne!(rows["lines"][0]["before_mm"], plan["lines"][0]["before_mm"]);
    let refuses = |args: &[&str]| {
        let output = linedrift(folder.path(), &[&["plan", "loft", "--check", &check], args].concat());
        assert_eq!(output.status.code(), Some(2), "{args:?}: {}", stderr(&output));
        stderr(&output).to_owned()
    };
    assert!(refuses(&["--forbid", "XX9:left"]).contains("XX9"));
    let segment = plan["actions"][0]["segment"].as_str().unwrap();
    let given = format!("{segment}:left:splice:-4");
    assert!(refuses(&["--forbid", segment, "--apply", &given]).contains("left alone"));
    assert!(refuses(&["--aim", "table", "--target", "free"]).contains("table"));
    assert!(refuses(&["--aim", "trim", "--row-target", "A=-4"]).contains("trim"));
    let barred = document(folder.path(), &[&call[..], &["--forbid", segment, "--json"]].concat());
    assert!(barred["actions"].as_array().unwrap().iter().all(|action| action["segment"] != segment));
    for (way, sign) in [("shorten", -1.0), ("lengthen", 1.0)] {
        let one = document(folder.path(), &[&call[..], &["--only", way, "--json"]].concat());
        let changes = one["actions"].as_array().unwrap().iter().map(|action| action["change_mm"].as_f64().unwrap());
        assert!(changes.into_iter().all(|change| change * sign > 0.0), "{way}");
    }
    let most = document(folder.path(), &[&call[..], &["--most", "1", "--json"]].concat());
    assert!(most["actions"].as_array().unwrap().len() <= 1);
    let same = document(folder.path(), &["plan", "loft", "--check", &check, "--same-sides", "--json"]);
    let places = |side: &str| {
        let actions = same["actions"].as_array().unwrap().iter().filter(|action| action["side"] == side);
        actions.map(|action| (action["segment"].clone(), action["action"].clone())).collect::<Vec<_>>()
    };
    assert_eq!(places("left"), places("right"));
    for args in [
        ["--row-target", "Q=3"].as_slice(),
        &["--row-target", "A"],
        &["--apply", "XX:left:turn"],
        &["--apply", "nonsense"],
        &["--as-left", "c1"],
        &["--date", "2025-01-01"],
        &["--again"],
        &["--curve", "--done"],
        &["--only", "sideways"],
        &["--aim", "best"],
        &["--forbid", "AM1:port"],
        &["--without", "knot"],
        &["--stretch", "500"],
    ] {
        let call = [&["plan", "loft", "--check", &check], args].concat();
        assert_eq!(linedrift(folder.path(), &call).status.code(), Some(2), "{args:?}");
    }
}

#[test]
fn a_plan_says_when_to_check_next_once_it_is_done() {
    let folder = loft();
    let (wing, check) = worn(folder.path());
    let call = ["plan", "loft", "--check", &check, "--due"];
    let one = document(folder.path(), &[&call[..], &["--json"]].concat());
    assert_has(&one, &["schema", "actions", "due_after"]);
    let due = &one["due_after"];
    assert_has(due, &["wing", "basis", "hours_now", "due_hours", "reason", "crossing_hours", "risk_now"]);
    assert_eq!(due["wing"], wing.as_str());
    assert!(due["due_hours"].as_f64().unwrap() >= due["hours_now"].as_f64().unwrap());
    let text = linedrift(folder.path(), &call);
    assert!(stdout(&text).contains("Once this plan is done"), "{}", stdout(&text));
    assert!(stdout(&text).lines().all(|row| row.chars().count() <= 80));
}

/// Rows of a table, without the header.
fn rows(folder: &Path, table: &str) -> Vec<String> {
    let text = fs::read_to_string(folder.join("loft").join(format!("{table}.csv"))).unwrap_or_default();
    text.lines().skip(1).map(str::to_owned).collect()
}

#[test]
fn work_is_recorded_once_compared_and_learnt_from() {
    let folder: TempDir = loft();
    let (wing, check) = worn(folder.path());
    let before = (rows(folder.path(), "actions"), rows(folder.path(), "readings"));
    let call = ["plan", "loft", "--check", &check, "--done", "--date", "2031-02-03", "--json"];
    let done = document(folder.path(), &call);
    let actions = done["actions"].as_array().unwrap().len();
    // what stands for several segments is recorded for each
    let recorded = usize::try_from(done["recorded"]["actions"].as_u64().unwrap()).unwrap();
    assert!(recorded >= actions && actions > 0);
    let after = rows(folder.path(), "actions");
    assert_eq!((after.len(), &after[..before.0.len()]), (before.0.len() + recorded, before.0.as_slice()));
    assert!(after[before.0.len()..].iter().all(|row| row.starts_with(&format!("{wing},2031-02-03,"))));
    assert_eq!(rows(folder.path(), "readings"), before.1);

    let again = linedrift(folder.path(), &call);
    assert_eq!(again.status.code(), Some(2));
    assert!(stderr(&again).contains("--again"), "{}", stderr(&again));
    assert_eq!(rows(folder.path(), "actions"), after);
    let early = ["plan", "loft", "--check", &check, "--done", "--again", "--date", "1999-01-01"];
    assert_eq!(linedrift(folder.path(), &early).status.code(), Some(2));
    let twice = [&call[..], &["--again"]].concat();
    assert_eq!(linedrift(folder.path(), &twice).status.code(), Some(0));
    // the folder is as sound as before
    document(folder.path(), &["summary", "loft", "--json"]);
    let none = linedrift(folder.path(), &["plan", "loft", "--check", &check, "--achieved"]);
    assert_eq!(none.status.code(), Some(1));
    assert!(stderr(&none).contains("as_left"), "{}", stderr(&none));
}

/// Two who record at once would each plan from what stood there before the other: the lock is taken before the tables are read.
#[test]
fn work_is_planned_from_what_nobody_else_is_changing() {
    let folder: TempDir = loft();
    let (_, check) = worn(folder.path());
    let loft = folder.path().join("loft");
    let lock = linedrift::fleet::FolderLock::take(&loft).unwrap();
    // as another process may leave a table for a moment: whoever reads it before asking for the lock says so
    fs::write(loft.join("actions.csv"), "half a table\n").unwrap();
    for call in [&["plan", "loft", "--check", &check, "--done"][..], &["plan", "loft", "--learn"]] {
        let output = linedrift(folder.path(), call);
        assert_eq!(output.status.code(), Some(1), "{call:?}");
        assert!(stderr(&output).contains("another process"), "{call:?}: {}", stderr(&output));
    }
    drop(lock);
    let looked = linedrift(folder.path(), &["plan", "loft", "--check", &check]);
    assert!(stderr(&looked).contains("actions"), "{}", stderr(&looked));
    let missing = linedrift(folder.path(), &["plan", "nowhere", "--learn"]);
    assert_eq!(missing.status.code(), Some(1));
    assert!(stderr(&missing).contains("folder"), "{}", stderr(&missing));
    assert!(!folder.path().join("nowhere").exists());
}

#[test]
fn what_was_reached_is_told_and_learnt() {
    let folder = TempDir::new().unwrap();
    fs::create_dir(folder.path().join("loft")).unwrap();
    for file in fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/notebooks-data/demo")).unwrap() {
        let file = file.unwrap();
        if file.path().extension().is_some_and(|ending| ending == "csv") {
            fs::copy(file.path(), folder.path().join("loft").join(file.file_name())).unwrap();
        }
    }
    // an action names the check after the work in its last column
    let row = rows(folder.path(), "actions").first().unwrap().clone();
    let as_left = row.rsplit(',').next().unwrap();
    let found = as_left.trim_end_matches('L');
    let reached = document(folder.path(), &["plan", "loft", "--check", found, "--achieved", "--json"]);
    assert_eq!((&reached["schema"], &reached["check"]), (&"linedrift.achieved/1".into(), &as_left.into()));
    assert_has(&reached, &["shift_mm", "rms_mm", "outside", "lines", "actions"]);
    let text = linedrift(folder.path(), &["plan", "loft", "--check", found, "--achieved", "--as-left", as_left]);
    assert!(stdout(&text).contains("achieved mm"), "{}", stdout(&text));

    let trim = document(folder.path(), &["trim", "loft", "--check", as_left, "--json"]);
    assert_eq!((&trim["changes"][0]["before"], &trim["changes"][0]["after"]), (&found.into(), &as_left.into()));
    let text = linedrift(folder.path(), &["trim", "loft", "--check", as_left]);
    assert!(stdout(&text).contains("what changed from check"), "{}", stdout(&text));
    assert!(stdout(&text).lines().all(|row| row.chars().count() <= 80), "{}", stdout(&text));
    let only = document(folder.path(), &["trim", "loft", "--check", found, "--json"]);
    assert!(only["changes"].as_array().unwrap().iter().all(|change| change["after"] == found));

    let learnt = document(folder.path(), &["plan", "loft", "--learn", "--json"]);
    assert_eq!(learnt["schema"], "linedrift.learnt/1");
    let changed = learnt["fittings_changed"].as_u64().unwrap() + learnt["fittings_new"].as_u64().unwrap();
    assert!(changed > 0 && fs::read_to_string(folder.path().join("loft/fittings.csv")).unwrap().contains("step_mm"));
    // learning again finds the same and has nothing left to write
    let again = document(folder.path(), &["plan", "loft", "--learn", "--json"]);
    assert_eq!((&again["steps"], &again["fittings_changed"]), (&learnt["steps"], &0.into()));
}

#[test]
fn trim_takes_a_planform_and_an_arch() {
    let folder = loft();
    let plain = document(folder.path(), &["trim", "loft", "--wing", "W01", "--json"]);
    fs::write(folder.path().join("half.csv"), "y_m,chord_m\n0,2.6\n5.6,2.6\n").unwrap();
    let square = document(folder.path(), &["trim", "loft", "--wing", "W01", "--planform", "half.csv", "--json"]);
    let incidence = |trim: &Value| trim["checks"][0]["incidence_change_deg"]["value"].as_f64().unwrap();
    assert_ne!(incidence(&plain), incidence(&square));
    let bent = document(folder.path(), &["trim", "loft", "--wing", "W01", "--arch-radius-m", "6", "--json"]);
    assert_eq!(incidence(&plain), incidence(&bent));
    assert_ne!(plain["checks"][0]["bands"], bent["checks"][0]["bands"]);
    fs::write(folder.path().join("half.csv"), "y_m,chord_m\n0,2.6\n5.6,wide\n").unwrap();
    let wrong = linedrift(folder.path(), &["trim", "loft", "--planform", "half.csv"]);
    assert_eq!(wrong.status.code(), Some(1));
    assert!(stderr(&wrong).contains("planform, row 3, column chord_m"), "{}", stderr(&wrong));
    assert_eq!(linedrift(folder.path(), &["trim", "loft", "--arch-radius-m", "0"]).status.code(), Some(2));
}
