//! `linedrift record` with a sheet or a spreadsheet, run as people run it.

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use linedrift::check::Fleet;
use linedrift::fleet::FolderSpec;
use serde_json::Value;
use tempfile::TempDir;

use crate::cli_run::{assert_has, document, linedrift, loft, stderr, stdout};

pub(crate) fn fleet(folder: &Path) -> Fleet {
    FolderSpec::default().read(folder).unwrap_or_else(|error| panic!("{error}")).fleet
}

/// The wing in the loft with most checks, and hours past its last.
pub(crate) fn busiest(folder: &Path) -> (String, f64) {
    let fleet = fleet(&folder.join("loft"));
    let history = fleet.histories().iter().max_by_key(|history| history.checks.len()).unwrap();
    (history.wing.id.clone(), history.checks.last().unwrap().hours_h + 10.0)
}

/// A sheet of the wing, filled with what each line showed last (`change` by its place in the sheet).
pub(crate) fn filled(folder: &Path, wing: &str, change: impl Fn(usize, f64) -> Option<f64>) -> String {
    let made = linedrift(folder, &["sheet", "loft", "--wing", wing, "--datum", "-120"]);
    assert_eq!(made.status.code(), Some(0), "{}", stderr(&made));
    let mut out = String::new();
    for (at, row) in stdout(&made).lines().enumerate() {
        out += row;
        if at > 0 {
            let cells: Vec<&str> = row.split(',').collect();
            let shown = if cells[6].is_empty() { cells[5] } else { cells[6] };
            if let Some(value) = change(at - 1, shown.parse::<f64>().unwrap().round()) {
                out += &value.to_string();
            }
        }
        out.push('\n');
    }
    out
}

fn snapshot(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let mut all: Vec<(String, Vec<u8>)> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| !path.ends_with(".linedrift-lock"))
        .map(|path| (path.file_name().unwrap().to_string_lossy().into_owned(), fs::read(&path).unwrap()))
        .collect();
    all.sort();
    all
}

#[test]
fn a_whole_sheet_without_findings_is_added_and_all_else_stays() {
    let folder = loft();
    let home = folder.path();
    let (wing, hours) = busiest(home);
    fs::write(home.join("sheet.csv"), filled(home, &wing, |_, shown| Some(shown))).unwrap();
    let before = snapshot(&home.join("loft"));
    let hours = hours.to_string();
    let args = ["record", "sheet.csv", "loft", "--wing", &wing, "--date", "2030-02-03", "--hours", &hours];
    let done = linedrift(home, &args);
    assert_eq!(done.status.code(), Some(0), "{}{}", stdout(&done), stderr(&done));
    assert!(stdout(&done).contains("datum -120 mm") && stdout(&done).contains("Added check"), "{}", stdout(&done));
    for (name, bytes) in snapshot(&home.join("loft")) {
        let old = &before.iter().find(|(known, _)| *known == name).unwrap_or_else(|| panic!("{name} is new")).1;
        let grows = name == "checks.csv" || name == "readings.csv";
        assert!(bytes.starts_with(old) && (bytes.len() > old.len()) == grows, "{name}");
    }
    let fleet = fleet(&home.join("loft"));
    let check = fleet.history(&wing).unwrap().checks.last().unwrap();
    assert_eq!((check.datum_mm, check.date.to_string().as_str()), (-120.0, "2030-02-03"));
    let lines = fleet.line_set(fleet.history(&wing).unwrap()).lines().len();
    assert_eq!(check.readings.len(), 2 * lines);
    // the same again is seen, not added twice
    let again = linedrift(home, &args);
    assert_eq!(again.status.code(), Some(1));
    assert!(stderr(&again).contains(&check.id) && stderr(&again).contains("--check"), "{}", stderr(&again));
    // and other commands take it as the latest
    assert_eq!(document(home, &["trim", "loft", "--wing", &wing, "--json"])["checks"][0]["check"], check.id.as_str());
}

#[test]
fn missing_and_doubtful_readings_need_the_users_word() {
    let folder = loft();
    let home = folder.path();
    let (wing, hours) = busiest(home);
    let spoilt = filled(home, &wing, |at, shown| match at {
        3 | 4 => None,
        20 => Some(shown + 1000.0),
        _ => Some(shown),
    });
    fs::write(home.join("sheet.csv"), spoilt).unwrap();
    let before = snapshot(&home.join("loft"));
    let hours = hours.to_string();
    let base = ["record", "sheet.csv", "loft", "--wing", &wing, "--date", "2030-02-03", "--hours", &hours];
    for (flags, missing, doubtful) in
        [(&[][..], true, true), (&["--accept-missing"], false, true), (&["--accept-doubtful"], true, false)]
    {
        let refused = linedrift(home, &[&base[..], flags].concat());
        assert_eq!(refused.status.code(), Some(1), "{flags:?}");
        assert_eq!(stderr(&refused).contains("--accept-missing"), missing, "{}", stderr(&refused));
        assert_eq!(stderr(&refused).contains("--accept-doubtful"), doubtful, "{}", stderr(&refused));
        assert!(stdout(&refused).contains("thousand-off") && stdout(&refused).contains("not read: left"));
        assert!(!stdout(&refused).contains("Added"));
        assert_eq!(snapshot(&home.join("loft")), before, "{flags:?}");
    }
    let refused = linedrift(home, &[&base[..], &["--json"]].concat());
    assert_eq!(refused.status.code(), Some(1));
    let told: Value = serde_json::from_str(stdout(&refused)).unwrap();
    assert_has(&told, &["schema", "wing", "check", "added", "readings", "unread", "findings", "notes"]);
    assert_eq!((&told["schema"], &told["added"]), (&"linedrift.record/1".into(), &false.into()));
    assert_eq!((told["unread"].as_array().unwrap().len(), &told["findings"][0]["kind"]), (2, &"thousand-off".into()));
    let taken = document(home, &[&base[..], &["--json", "--accept-missing", "--accept-doubtful"]].concat());
    assert_eq!(taken["added"], true);
    let fleet = fleet(&home.join("loft"));
    let check = fleet.history(&wing).unwrap().checks.last().unwrap();
    assert_eq!(check.readings.len() as u64, taken["readings"].as_u64().unwrap());
}

/// A line that was read twice alike is so: it needs nobody's word.
#[test]
fn a_second_reading_that_agrees_settles_a_doubtful_one() {
    let folder = loft();
    let home = folder.path();
    let (wing, hours) = busiest(home);
    let text = filled(home, &wing, |at, shown| Some(if at == 20 { shown + 60.0 } else { shown }));
    let mut lines: Vec<String> = text.lines().map(|line| format!("{line},1")).collect();
    lines[0] = text.lines().next().unwrap().to_owned() + ",repeat";
    let cells: Vec<&str> = text.lines().nth(21).unwrap().split(',').collect();
    let value: f64 = cells[7].parse().unwrap();
    lines.push([&cells[..7], &[(value + 1.0).to_string().as_str(), "2"]].concat().join(","));
    fs::write(home.join("sheet.csv"), lines.join("\n")).unwrap();
    let hours = hours.to_string();
    let args = ["record", "sheet.csv", "loft", "--wing", &wing, "--date", "2030-02-03", "--hours", &hours];
    let done = linedrift(home, &args);
    assert_eq!(done.status.code(), Some(0), "{}{}", stdout(&done), stderr(&done));
    assert!(stdout(&done).contains("readings taken again agree"), "{}", stdout(&done));
}

#[test]
fn faults_of_sheet_and_folder_are_told_with_their_place_and_nothing_changes() {
    let folder = loft();
    let home = folder.path();
    let (wing, hours) = busiest(home);
    let good = filled(home, &wing, |_, shown| Some(shown));
    fs::write(home.join("good.csv"), &good).unwrap();
    fs::write(home.join("bad.csv"), good.replacen("left,A,", "lft,A,", 1).replacen(",A2,", ",A99,", 1)).unwrap();
    let other = fleet(&home.join("loft"));
    let model = &other.history(&wing).unwrap().wing.model;
    let stranger = other.histories().iter().find(|history| history.wing.model != *model).unwrap().wing.id.clone();
    let before = snapshot(&home.join("loft"));
    let hours = hours.to_string();
    let late = ["--date", "2030-02-03", "--hours", &hours];
    for (sheet, wing, more, code, words) in [
        ("bad.csv", &wing, &late[..], 1, &["bad.csv", "row 2", "`side`", "row 3", "`line`", "A99"][..]),
        ("good.csv", &wing, &["--date", "2030-02-03", "--hours", "1"], 1, &["checks, row", "column hours", "`1`"]),
        ("good.csv", &wing, &["--date", "2030-02-03", "--hours", &hours, "--stage", "as_left"], 1, &["column stage"]),
        ("good.csv", &wing, &[], 2, &["--date"]),
        ("good.csv", &wing, &["--date", "2030-02-03", "--hours", "-4"], 2, &["negative"]),
        ("good.csv", &wing, &["--date", "2030-02-03", "--hours", &hours, "--datum", "-100"], 2, &["-120", "-100"]),
        ("good.csv", &wing, &["--date", "2030-02-03", "--hours", &hours, "--stage", "found"], 2, &["as_left"]),
        ("good.csv", &"nobody".to_owned(), &late, 2, &["nobody"]),
        ("good.csv", &stranger, &late, 1, &["expected_mm"]),
        ("none.csv", &wing, &late, 1, &["none.csv"]),
    ] {
        let refused = linedrift(home, &[&["record", sheet, "loft", "--wing", wing], more].concat());
        let told = stderr(&refused);
        assert_eq!(refused.status.code(), Some(code), "{sheet} {more:?}: {told}");
        assert!(words.iter().all(|word| told.contains(word)), "{more:?}: {told}");
        assert_eq!(snapshot(&home.join("loft")), before, "{more:?}");
    }
    let id = other.history(&wing).unwrap().checks[0].id.clone();
    let there =
        linedrift(home, &[&["record", "good.csv", "loft", "--wing", &wing, "--check", &id], &late[..]].concat());
    assert_eq!(there.status.code(), Some(1));
    assert!(stderr(&there).contains("already"), "{}", stderr(&there));
    let error = linedrift(home, &[&["record", "bad.csv", "loft", "--json", "--wing", &wing], &late[..]].concat());
    let document: Value = serde_json::from_str(stdout(&error)).unwrap();
    assert_eq!((&document["schema"], &document["faults"][0]["row"]), (&"linedrift.error/1".into(), &2.into()));
    for (args, word) in [
        (&["record", "good.csv"][..], "--live"),
        (&["record", "--live", "good.csv", "loft"], "no sheet"),
        (&["record", "good.csv", "loft", "--unit", "km"], "km"),
        (&["record", "good.csv", "loft", "--wing", &wing, "--unit", "cm"], "is in mm"),
        (&["record", "good.csv", "loft", "--model", "x"], "--new-wing"),
        (&["record"], "FILE"),
    ] {
        let wrong = linedrift(home, args);
        assert_eq!(wrong.status.code(), Some(2), "{args:?}");
        assert!(stderr(&wrong).contains(word), "{args:?}: {}", stderr(&wrong));
    }
    let nowhere = linedrift(home, &[&["record", "good.csv", "nowhere"], &late[..]].concat());
    assert_eq!(nowhere.status.code(), Some(1));
    assert!(stderr(&nowhere).contains("--new-wing"), "{}", stderr(&nowhere));
    assert!(!home.join("nowhere").exists());
}

const WIDE: &str = "line,row,nominal_mm,left_mm,right_mm\nA1,A,6500,6501,6499\nA2,A,6400,6402,6400\nA3,A,6250,6250,6251\n\
    C1,C,6480,6475,6476\nC2,C,6380,6374,6375\nC3,C,6230,6226,6224\nK1,brake,7100,7085,7083\n";

fn dressed(unit_mm: f64, delimiter: &str, mark: &str) -> String {
    let cell = |cell: &str| match cell.parse::<f64>() {
        Ok(value) => (value / unit_mm).to_string().replace('.', mark),
        Err(_) => cell.trim_end_matches("_mm").to_owned(),
    };
    WIDE.lines().map(|line| line.split(',').map(cell).collect::<Vec<_>>().join(delimiter) + "\r\n").collect()
}

#[test]
fn a_wide_file_in_any_dress_makes_the_same_folder_and_trim_works_on_it() {
    let home = TempDir::new().unwrap();
    let mut known: Option<Fleet> = None;
    for (at, (unit, unit_mm, delimiter, mark)) in
        [("mm", 1.0, ",", "."), ("cm", 10.0, ";", ","), ("m", 1000.0, "\t", ","), ("cm", 10.0, ",", ".")]
            .iter()
            .enumerate()
    {
        let name = format!("loft{at}");
        fs::write(home.path().join("wide.csv"), dressed(*unit_mm, delimiter, mark)).unwrap();
        let args = ["record", "wide.csv", &name, "--new-wing", "7", "--model", "Heron", "--unit", unit];
        let when = ["--date", "2026-03-14", "--hours", "85"];
        let made = linedrift(home.path(), &[&args[..], &when].concat());
        assert_eq!(made.status.code(), Some(0), "{unit}: {}{}", stdout(&made), stderr(&made));
        let fleet = fleet(&home.path().join(&name));
        assert_eq!(fleet.histories()[0].checks[0].readings.len(), 14);
        match &known {
            None => known = Some(fleet),
            Some(known) => assert!(&fleet == known, "{unit}"),
        }
    }
    let trim = linedrift(home.path(), &["trim", "loft0"]);
    assert_eq!(trim.status.code(), Some(0));
    let text = stdout(&trim).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("left out of incidence") && text.contains("C both -"), "{text}");
    assert!(text.contains("lay one tape along the centre cell"), "{text}");
    // a second wing of that model, then a second check of it; the header tells that the file is wide
    fs::write(home.path().join("wide.csv"), WIDE).unwrap();
    let second = ["record", "wide.csv", "loft0", "--new-wing", "8", "--model", "Heron", "--date", "2026-04-01"];
    let made = linedrift(home.path(), &[&second[..], &["--hours", "3"]].concat());
    assert_eq!(made.status.code(), Some(0), "{}", stderr(&made));
    let more = ["record", "wide.csv", "loft0", "--wing", "8", "--date", "2026-05-01", "--hours", "20"];
    assert_eq!(linedrift(home.path(), &more).status.code(), Some(0));
    let now = fleet(&home.path().join("loft0"));
    assert_eq!((now.histories().len(), now.history("8").unwrap().checks.len(), now.line_sets().len()), (2, 2, 1));
    // a file that is not whole, or says other lengths, is refused
    fs::write(home.path().join("part.csv"), WIDE.replace("6402,6400", "6402,")).unwrap();
    let part = linedrift(
        home.path(),
        &["record", "part.csv", "new", "--new-wing", "7", "--date", "2026-05-01", "--hours", "1"],
    );
    assert_eq!(part.status.code(), Some(1));
    assert!(stderr(&part).contains("--accept-missing") && !home.path().join("new").exists(), "{}", stderr(&part));
    fs::write(home.path().join("other.csv"), WIDE.replace("6400", "6440")).unwrap();
    let other = linedrift(
        home.path(),
        &["record", "other.csv", "loft0", "--wing", "8", "--date", "2026-06-01", "--hours", "30"],
    );
    assert_eq!(other.status.code(), Some(1));
    assert!(stderr(&other).contains("cell A3") && stderr(&other).contains("expected 6400 mm"), "{}", stderr(&other));
}

/// Ended at any moment, the folder reads, and the same command completes or is told that nothing is left to do.
#[test]
fn killed_at_any_moment_the_folder_reads_and_the_same_command_completes() {
    let folder = loft();
    let home = folder.path();
    let (wing, hours) = busiest(home);
    fs::write(home.join("sheet.csv"), filled(home, &wing, |_, shown| Some(shown))).unwrap();
    let hours = hours.to_string();
    let args = |loft: &str| {
        let args = ["record", "sheet.csv", loft, "--wing", &wing, "--date", "2030-02-03", "--hours", &hours];
        args.map(str::to_owned)
    };
    let copy = |name: &str| {
        let to = home.join(name);
        fs::create_dir(&to).unwrap();
        snapshot(&home.join("loft")).iter().for_each(|(file, bytes)| fs::write(to.join(file), bytes).unwrap());
    };
    copy("whole");
    let began = std::time::Instant::now();
    let whole = Command::new(env!("CARGO_BIN_EXE_linedrift")).args(args("whole")).current_dir(home).output().unwrap();
    assert_eq!(whole.status.code(), Some(0), "{}", stderr(&whole));
    let took = began.elapsed();
    let expected = fleet(&home.join("whole"));
    for at in 0..12_u32 {
        let name = format!("killed{at}");
        copy(&name);
        let mut child = Command::new(env!("CARGO_BIN_EXE_linedrift"))
            .args(args(&name))
            .current_dir(home)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        std::thread::sleep(took * at / 10 + Duration::from_micros(u64::from(at) * 137));
        child.kill().unwrap();
        child.wait().unwrap();
        let left = fleet(&home.join(&name));
        assert!(left.histories().len() == expected.histories().len(), "{name}");
        let again =
            Command::new(env!("CARGO_BIN_EXE_linedrift")).args(args(&name)).current_dir(home).output().unwrap();
        let complete = left == expected;
        assert_eq!(again.status.code(), Some(i32::from(complete)), "{name}: {}", stderr(&again));
        assert!(fleet(&home.join(&name)) == expected, "{name}");
    }
}

#[test]
fn own_materials_go_into_the_corrections_and_faults_are_told() {
    let folder = loft();
    let home = folder.path();
    let (wing, hours) = busiest(home);
    fs::write(home.join("sheet.csv"), filled(home, &wing, |_, shown| Some(shown))).unwrap();
    let hours = hours.to_string();
    let args = ["record", "sheet.csv", "loft", "--wing", &wing, "--date", "2030-02-03", "--hours", &hours];
    let done = linedrift(home, &[&args[..], &["--load-n", "40", "--accept-doubtful"]].concat());
    assert_eq!(done.status.code(), Some(0), "{}", stderr(&done));
    let common = |more: &[&str]| {
        let trim = document(home, &[&["trim", "loft", "--wing", &wing, "--json"], more].concat());
        trim["checks"][0]["common_mm"].as_f64().unwrap()
    };
    let head = "material,break_elongation_pct,expansion_per_k,source,modulus_gpa\n";
    let table = |factor: f64| {
        let row = |(name, elongation): (&str, f64)| format!("{name},{},-5e-6,own test,\n", factor * elongation);
        head.to_owned() + &[("uhmwpe", 3.5), ("aramid", 4.5), ("lcp", 3.8)].map(row).concat()
    };
    fs::write(home.join("same.csv"), table(1.0)).unwrap();
    fs::write(home.join("soft.csv"), table(3.0)).unwrap();
    let usual = common(&[]);
    assert!((common(&["--materials", "same.csv"]) - usual).abs() < 1e-9);
    // under 40 N a line of three times the stretch is corrected by three times as much: 2 to 3 mm more become 6 to 9
    let more = common(&["--materials", "soft.csv"]) - usual;
    assert!((3.5..7.0).contains(&more), "{more}");
    fs::write(home.join("bad.csv"), head.to_owned() + "silk,20,1e-5,own,\nsilk,-3,1e-5,own,\nwool,\"3,5\",0,own,0\n")
        .unwrap();
    let bad = linedrift(home, &["trim", "loft", "--materials", "bad.csv"]);
    assert_eq!(bad.status.code(), Some(1));
    for word in ["materials, row 3, column material", "row 3, column break_elongation_pct", "row 4", "decimal comma"]
    {
        assert!(stderr(&bad).contains(word), "{word}: {}", stderr(&bad));
    }
    assert_eq!(linedrift(home, &["trim", "loft", "--materials", "none.csv"]).status.code(), Some(1));
}

#[test]
fn the_printable_sheet_is_written_beside_the_other() {
    let folder = loft();
    let (wing, _) = busiest(folder.path());
    let both = ["sheet", "loft", "--wing", &wing, "--out", "s.csv", "--html", "s.html"];
    let made = linedrift(folder.path(), &both);
    assert_eq!(made.status.code(), Some(0), "{}", stderr(&made));
    assert_eq!(stdout(&made).lines().count(), 2);
    let page = fs::read_to_string(folder.path().join("s.html")).unwrap();
    assert!(page.starts_with("<!DOCTYPE html>"));
    assert!(fs::read_to_string(folder.path().join("s.csv")).unwrap().starts_with("order,side,"));
    let by_name = ["sheet", "loft", "--wing", &wing, "--out", "t.html"];
    assert_eq!(linedrift(folder.path(), &by_name).status.code(), Some(0));
    assert_eq!(fs::read_to_string(folder.path().join("t.html")).unwrap(), page);
}
