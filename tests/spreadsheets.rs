//! Spreadsheets in the forms people have them, each with the answer that must come: `tests/data/spreadsheets/make.py` made
//! them, and `manifest.json` beside them says what is in them.

use std::collections::HashMap;
use std::fs;
use std::path::{Path, PathBuf};

use linedrift::check::sheet::SheetSpec;
use linedrift::fleet::spreadsheet::{
    Spreadsheet, SpreadsheetError, SpreadsheetSpec, WrittenDay, sheet_xlsx, written_day,
};
use linedrift::simulate::FleetSpec;
use linedrift::wing::{LineSet, Side};
use serde_json::Value;

pub(crate) fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/spreadsheets")
}

fn manifest() -> Vec<Value> {
    serde_json::from_str(&fs::read_to_string(folder().join("manifest.json")).unwrap()).unwrap()
}

fn spec(case: &Value, folder: &Path) -> SpreadsheetSpec {
    let args: Vec<&str> = case["args"].as_array().unwrap().iter().map(|arg| arg.as_str().unwrap()).collect();
    args.chunks(2).fold(SpreadsheetSpec::default(), |spec, pair| match pair[0] {
        "--nominal" => spec.nominal(&folder.join(pair[1])),
        "--sheet" => spec.sheet(pair[1]),
        "--stage" => spec.stage(pair[1].parse().unwrap()),
        "--columns" => pair[1].split(',').fold(spec, |spec, column| {
            let (what, heading) = column.split_once('=').unwrap();
            spec.column(what, heading)
        }),
        _ => spec,
    })
}

fn read(case: &Value) -> Result<(Spreadsheet, LineSet), SpreadsheetError> {
    let sheet = spec(case, &folder()).read(&folder().join(case["file"].as_str().unwrap()))?;
    let set = sheet.line_set("Heron")?;
    Ok((sheet, set))
}

/// What is wrong with the answer to one case.
fn faults(case: &Value) -> Vec<String> {
    let mut wrong = Vec::new();
    let (sheet, set) = match (read(case), case["error"].as_str()) {
        (Ok(read), _) => read,
        (Err(error), None) => return vec![error.to_string()],
        (Err(error), Some(kind)) => {
            let is_kind = match error {
                SpreadsheetError::File { .. } => kind == "file",
                SpreadsheetError::Question { .. } => kind == "question",
                SpreadsheetError::Cells { .. } => kind == "cells",
                _ => false,
            };
            let says = case["says"].as_str().unwrap();
            return if is_kind && error.to_string().contains(says) {
                vec![]
            } else {
                vec![format!("{error:?}, in place of {says}")]
            };
        }
    };
    if case["error"].is_string() {
        // a date that is two is asked about by the command, which knows whether the call says it
        let either = matches!(sheet.facts().date, Some(WrittenDay::Either { .. }));
        return if either { vec![] } else { vec!["no question".to_owned()] };
    }
    let readings = sheet.readings(&set).unwrap();
    let understood = sheet.understood(&set, &readings, 0.0);
    let mut expect = |what: &str, got: String, want: String| {
        if got != want {
            wrong.push(format!("{what}: {got}, in place of {want}"));
        }
    };
    expect("lines", understood.lines.to_string(), case["lines"].to_string());
    expect("readings", understood.readings.to_string(), case["readings"].to_string());
    expect("unit", understood.unit.to_owned(), case["unit"].as_str().unwrap().to_owned());
    for (row, count) in case["rows"].as_object().unwrap() {
        let got = understood.rows.iter().find(|one| one.row.name() == row).map_or(0, |one| one.lines);
        expect(row, got.to_string(), count.to_string());
    }
    for row in case["readings_mm"].as_array().unwrap() {
        let name = row[0].as_str().unwrap();
        for (side, want) in [(Side::Left, &row[1]), (Side::Right, &row[2])] {
            let line = set.find(name, side).unwrap_or_else(|| panic!("{}: no line {name}", case["file"]));
            let all: Vec<f64> = readings
                .iter()
                .filter(|one| one.side == side && one.line == line)
                .map(|one| one.reading_mm)
                .collect();
            let repeats = all.len();
            let is_right = match want.as_f64() {
                None => repeats == 0,
                // read twice, the first a millimetre short
                Some(want) if repeats == 2 => all[0] == want && all[1] == want + 1.0,
                Some(want) => repeats == 1 && (all[0] - want).abs() < 1e-6,
            };
            expect(&format!("{name} {side}"), format!("{all:?}, {is_right}"), format!("{all:?}, true"));
        }
    }
    if let Some(count) = case["segments"].as_u64() {
        expect("segments", set.segments().len().to_string(), count.to_string());
    }
    if let Some(rank) = case["rank"].as_array() {
        let line = set.find(rank[0].as_str().unwrap(), Side::Left).unwrap();
        expect("rank", set.lines()[line].rank.to_string(), rank[1].to_string());
    }
    if let Some(hours) = case["hours"].as_f64() {
        expect("hours", format!("{:?}", sheet.facts().hours_h), format!("{:?}", Some(hours)));
    }
    if let Some(datum) = case["datum_mm"].as_f64() {
        expect("datum", format!("{:?}", sheet.facts().datum_mm), format!("{:?}", Some(datum)));
    }
    if let (Some(date), true) = (case["date"].as_str(), case["args"].as_array().unwrap().is_empty()) {
        let day = WrittenDay::Day(date.parse().unwrap());
        expect("date", format!("{:?}", sheet.facts().date), format!("{:?}", Some(day)));
    }
    if let Some(note) = case["notes"].as_str() {
        expect("notes", understood.notes.iter().any(|one| one.contains(note)).to_string(), "true".to_owned());
    }
    wrong
}

#[test]
fn every_form_gives_the_answer_that_is_in_it() {
    let cases = manifest();
    let files: std::collections::BTreeSet<&str> = cases.iter().map(|case| case["file"].as_str().unwrap()).collect();
    assert!(files.len() >= 40, "{} files", files.len());
    let wrong: Vec<String> = cases
        .iter()
        .map(|case| (case, faults(case)))
        .filter(|(_, faults)| !faults.is_empty())
        .map(|(case, faults)| {
            format!("{} ({}): {}", case["file"], case["form"], faults[..faults.len().min(4)].join("; "))
        })
        .collect();
    assert!(wrong.is_empty(), "{} of {} cases\n{}", wrong.len(), cases.len(), wrong.join("\n"));
}

/// What is wrong with one of the further forms.
#[allow(clippy::too_many_lines)] // a list of what a case may say
fn form_faults(case: &Value) -> Vec<String> {
    let text = |key: &str| case[key].as_str();
    if let Some(day) = case["days"].as_array() {
        let want = WrittenDay::Day(day[1].as_str().unwrap().parse().unwrap());
        let got = written_day(day[0].as_str().unwrap());
        return if got == want { vec![] } else { vec![format!("{got:?}")] };
    }
    let folder = folder().join("forms");
    let read = || {
        let sheet = spec(case, &folder).read(&folder.join(text("file").unwrap()))?;
        let set = sheet.line_set("Plover")?;
        let readings = sheet.readings(&set)?;
        Ok::<_, SpreadsheetError>((sheet, set, readings))
    };
    let (sheet, set, readings) = match (read(), text("asks").or(text("cells")).or(text("refused"))) {
        (Ok(read), None) => read,
        (Ok(_), Some(says)) => return vec![format!("no question, in place of {says}")],
        (Err(error), None) => return vec![error.to_string()],
        (Err(error), Some(says)) => {
            let is_kind = match error {
                SpreadsheetError::Question { .. } => text("asks").is_some(),
                SpreadsheetError::Cells { .. } => text("cells").is_some(),
                _ => text("refused").is_some(),
            };
            let is_right = is_kind && error.to_string().contains(says);
            return if is_right { vec![] } else { vec![format!("{error}, in place of {says}")] };
        }
    };
    let mut wrong = Vec::new();
    let mut expect = |what: &str, got: &dyn std::fmt::Debug, want: &dyn std::fmt::Debug| {
        let (got, want) = (format!("{got:?}"), format!("{want:?}"));
        if got != want {
            wrong.push(format!("{what}: {got}, in place of {want}"));
        }
    };
    let within_mm = case["within_mm"].as_f64().unwrap_or(1e-6);
    let near = |got: f64, want: &Value| (got - want.as_f64().unwrap()).abs() <= within_mm;
    let rows = case["lines"].as_array().or(case["model"].as_array()).unwrap();
    expect("lines", &set.lines().len(), &rows.len());
    for row in rows {
        let name = row[0].as_str().unwrap();
        let Some(line) = set.find(name, Side::Left) else {
            expect(name, &false, &true);
            continue;
        };
        let own = &set.lines()[line];
        expect(name, &own.row.name(), &row[1].as_str().unwrap());
        expect(name, &(own.nominal_mm, near(own.nominal_mm, &row[2])), &(own.nominal_mm, true));
        if case["ranks"] == true {
            let digits: String = name.chars().filter(char::is_ascii_digit).collect();
            expect(name, &own.rank, &digits.parse::<u32>().unwrap());
        }
        for (side, at) in [(Side::Left, 3), (Side::Right, 4)] {
            let all: Vec<f64> = readings
                .iter()
                .filter(|one| one.side == side && one.line == line)
                .map(|one| one.reading_mm)
                .collect();
            let count = if row[at].is_null() { 0 } else { case["repeats"].as_u64().unwrap_or(1) };
            let is_right = all.len() as u64 == count && all.iter().all(|mm| near(*mm, &row[at]));
            expect(&format!("{name} {side}"), &(&all, is_right), &(&all, true));
        }
    }
    let find = |name: &Value| set.lines().iter().find(|line| line.name == name.as_str().unwrap()).unwrap();
    for pair in case["mains"].as_array().into_iter().flatten() {
        expect("main", &find(&pair[0]).main.as_deref(), &pair[1].as_str());
    }
    for pair in case["tolerances"].as_array().into_iter().flatten() {
        expect("tolerance", &find(&pair[0]).tolerance_mm, &pair[1].as_f64());
    }
    for want in case["segments"].as_array().into_iter().flatten() {
        let Some(own) = set.segments().iter().find(|segment| segment.name == want[0].as_str().unwrap()) else {
            expect("segment", &false, &want);
            continue;
        };
        let parent = own.parent.map_or("", |at| set.segments()[at].name.as_str());
        expect("parent", &parent, &want[1].as_str().unwrap());
        expect("material", &own.material.as_str(), &want[2].as_str().unwrap());
        if let Some(length) = want[3].as_f64() {
            expect("length", &own.length_mm, &length);
        }
    }
    let facts = sheet.facts();
    if let Some(day) = text("date") {
        expect("date", &facts.date, &Some(WrittenDay::Day(day.parse().unwrap())));
    }
    for (key, got) in [("wing", &facts.wing), ("serial", &facts.serial_number), ("owner", &facts.owner)] {
        if text(key).is_some() {
            expect(key, &got.as_deref(), &text(key));
        }
    }
    for (key, got) in [("hours", facts.hours_h), ("load_n", facts.load_n.map(|load| (load * 100.0).round() / 100.0))]
    {
        if case[key].is_f64() {
            expect(key, &got, &case[key].as_f64());
        }
    }
    if text("operator").is_some() {
        expect("operator", &readings.iter().all(|one| one.operator.as_deref() == text("operator")), &true);
    }
    let understood = sheet.understood(&set, &readings, 0.0);
    if let Some(unit) = text("unit") {
        expect("unit", &understood.unit, &unit);
    }
    if let Some(note) = text("notes") {
        expect(
            "notes",
            &(&understood.notes, understood.notes.iter().any(|one| one.contains(note))),
            &(&understood.notes, true),
        );
    }
    wrong
}

#[test]
fn every_further_form_gives_its_answer_or_its_question() {
    let text = fs::read_to_string(folder().join("forms/manifest.json")).unwrap();
    let cases: Vec<Value> = serde_json::from_str(&text).unwrap();
    assert!(cases.len() >= 80, "{} cases", cases.len());
    let wrong: Vec<String> = cases
        .iter()
        .map(|case| (case, form_faults(case)))
        .filter(|(_, faults)| !faults.is_empty())
        .map(|(case, faults)| {
            format!(
                "{} {} ({}): {}",
                case["file"],
                case["args"],
                case["form"],
                faults[..faults.len().min(4)].join("; ")
            )
        })
        .collect();
    assert!(wrong.is_empty(), "{} of {} cases\n{}", wrong.len(), cases.len(), wrong.join("\n"));
}

#[test]
fn rows_and_names_in_another_order_give_the_same_lines() {
    let plain = SpreadsheetSpec::default().read(&folder().join("wide-plain.xlsx")).unwrap();
    let other = SpreadsheetSpec::default().read(&folder().join("sorted-as-text.csv")).unwrap();
    let lines = |sheet: &Spreadsheet| -> HashMap<String, (u32, f64)> {
        let set = sheet.line_set("Heron").unwrap();
        set.lines().iter().map(|line| (line.name.clone(), (line.rank, line.nominal_mm))).collect()
    };
    assert_eq!(lines(&plain), lines(&other));
}

#[test]
fn a_sheet_to_fill_in_has_the_deviation_as_a_formula_and_is_read_back() {
    let made = FleetSpec::default().wings(1).missing_share(0.0).run().unwrap();
    let set = &made.fleet.line_sets()[0];
    let sheet = SheetSpec::default().datum_mm(-250.0).run(set, None);
    let bytes = sheet_xlsx(&sheet).unwrap();
    assert_eq!(bytes, sheet_xlsx(&sheet).unwrap());
    let mut book: calamine::Xlsx<_> = calamine::Reader::new(std::io::Cursor::new(bytes.clone())).unwrap();
    let formulas = calamine::Reader::worksheet_formula(&mut book, "Sheet").unwrap();
    assert_eq!(formulas.get_value((1, 8)).unwrap(), "IF(H2=\"\",\"\",H2-F2)");
    assert_eq!(formulas.used_cells().count(), sheet.rows().len());
    let read = SpreadsheetSpec::default().read_bytes("sheet.xlsx", &bytes, None).unwrap();
    assert_eq!(read.reading_count(), 0);
    assert_eq!(read.datum_of(set).unwrap(), Some(-250.0));
    // the sheet of another model is seen
    let other = FleetSpec::default().wings(4).seed(9).run().unwrap();
    let foreign =
        other.fleet.line_sets().iter().find(|known| known.lines()[0].nominal_mm != set.lines()[0].nominal_mm);
    assert!(foreign.is_none_or(|foreign| read.datum_of(foreign).is_err()));
}

#[test]
fn damaged_files_are_told_and_never_panic() {
    for name in ["wide-plain.xlsx", "wide.xls", "wide.ods", "macros.xlsm", "wide-french.csv", "locked.xlsx"] {
        let whole = fs::read(folder().join(name)).unwrap();
        for cut in (0..whole.len()).step_by(whole.len() / 23 + 1) {
            let _ = SpreadsheetSpec::default().read_bytes(name, &whole[..cut], None);
            let mut turned = whole.clone();
            turned[cut] ^= 0x5a;
            let _ = SpreadsheetSpec::default().read_bytes(name, &turned, None);
        }
    }
}
