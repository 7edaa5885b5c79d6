//! Fleet folders with faults: each is found, at its place, and nothing else is.

use std::fs;

use crate::damaged::{SOUND, faults_after, sound};
use linedrift::fleet::{FolderSpec, TableFormat, write_folder};

/// Table, text replaced, text put there; row, column and a word of what was expected.
type Case = (&'static str, &'static str, &'static str, usize, &'static str, &'static str);

const CASES: &[Case] = &[
    // headers
    ("lines", "nominal_mm", "nominal", 1, "nominal_mm", "column named"),
    ("readings", "reading_mm", "Reading_mm", 1, "reading_mm", "column named"),
    ("checks", "check,wing,date", "check,pilot,date", 1, "wing", "column named"),
    ("wings", "hours_per_year", "mass_kg", 1, "mass_kg", "once"),
    ("segments", "model,segment", "model;segment;x\nmodel,segment", 1, "", "semicolons"),
    ("readings", "check,side,line,reading_mm,repeat,operator", "check\tside", 1, "", "tabs"),
    // shape of the records
    ("readings", "a,left,K1,6212,,", "a,left,K1,6212,", 4, "", "6 fields"),
    ("readings", "a,left,K1,6212,,", "a,left,K1,6212,5,,", 4, "", "decimal comma"),
    ("readings", "a,left,K1,6212,,", "a;left;K1;6212;;", 4, "", "semicolons"),
    ("readings", "a,left,K1,6212,,", "a,left,K1,6212,,,x", 4, "", "6 fields"),
    ("readings", "a,left,K1", "a,le\"ft,K1", 4, "", "quotes"),
    ("readings", "c,left,A1,6988,,", "\"c,left,A1,6988,,", 6, "", "quotes"),
    // numbers
    ("lines", "A,2,5900", "A,2,long", 3, "nominal_mm", "number"),
    ("lines", "A,2,5900", "A,2,-5900", 3, "nominal_mm", "above 0"),
    ("lines", "A,2,5900", "A,2,", 3, "nominal_mm", "empty"),
    ("lines", "A,2,5900", "A,0,5900", 3, "rank", "from 1"),
    ("lines", "A,2,5900", "A,1.5,5900", 3, "rank", "whole"),
    ("lines", "5900,0.6", "5900,1.6", 3, "span", "0 to 1"),
    ("lines", "5900,0.6,0.1", "5900,0.6,-0.1", 3, "chord", "0 to 1"),
    ("lines", "0.4,,20", "0.4,,-20", 4, "tolerance_mm", "above 0"),
    ("segments", "uhmwpe,1400", "uhmwpe,-1400", 3, "length_mm", "negative"),
    ("segments", "1400,0.8", "1400,0", 3, "diameter_mm", "above 0"),
    ("rows", "0.12,500", "12,500", 2, "chord", "0 to 1"),
    ("rows", "0.12,500", "0.12,-500", 2, "riser_mm", "negative"),
    ("models", "9.5,24.5", "0,24.5", 2, "span_m", "above 0"),
    ("models", "38,9,100", "38,9,inf", 2, "interval_h", "finite"),
    ("wings", "95.5", "heavy", 2, "mass_kg", "number"),
    ("wings", "60,80", "-60,80", 2, "hours_per_year", "negative"),
    ("checks", "2023-05-01,90", "2023-05-01,-90", 4, "hours", "negative"),
    ("checks", "2023-05-01,90", "2023-05-01,", 4, "hours", "empty"),
    ("checks", "as_found,49", "as_found,-49", 2, "load_n", "negative"),
    ("checks", "-12.5,-3", "-12.5,NaN", 2, "temperature_c", "finite"),
    ("checks", "damp,80", "damp,-80", 2, "brake_setting_mm", "negative"),
    ("readings", "6212", "NaN", 4, "reading_mm", "finite"),
    ("readings", "6212", "-inf", 4, "reading_mm", "finite"),
    ("readings", "6212", "-6212", 4, "reading_mm", "negative"),
    ("readings", "6212", "62l2", 4, "reading_mm", "number"),
    ("readings", "6212", "\"6212,5\"", 4, "reading_mm", "decimal comma"),
    ("readings", "6212", "\" 6212\"", 4, "reading_mm", "blanks"),
    ("readings", "6212", "", 4, "reading_mm", "empty"),
    ("readings", "6212,,", "6212,0,", 4, "repeat", "from 1"),
    ("risers", "-10,498", "-10,-498", 2, "riser_mm", "negative"),
    ("actions", "turn,-10,1", "turn,x,1", 2, "change_mm", "number"),
    ("actions", "turn,-10,1", "turn,-10,-1", 2, "turns", "negative"),
    ("fittings", "1,20,true", "1,-20,true", 2, "spare_mm", "negative"),
    ("fittings", "4,9.5", "0,9.5", 2, "link_diameter_mm", "above 0"),
    // names
    ("lines", "Heron,A2,A,2", "Heron,A2,E,2", 3, "row", "stabilo"),
    ("lines", "20,left", "20,port", 4, "side", "left"),
    ("lines", "Heron,A2,A", ",A2,A", 3, "model", "empty"),
    ("segments", "0.8,true", "0.8,maybe", 2, "can_loop", "true or false"),
    ("segments", "Heron,K1,,uhmwpe,6200,,", "Heron,K1,,uhmwpe,6200,,\nHeon,X,,lcp,1,,", 6, "model", "`lines`"),
    ("rows", "Heron,brake", "Heron,B2", 3, "row", "brake"),
    ("rows", "Heron,brake,,", "Heron,brake,,\nGull,A,,", 4, "model", "`lines`"),
    ("models", "Heron,9.5", "Gull,9.5", 2, "model", "`lines`"),
    ("wings", "8,Egret", "8,Gull", 3, "model", "`lines`"),
    ("wings", "2024b", "2025", 2, "table_version", "2024b"),
    ("checks", "c,8", "c,9", 5, "wing", "`wings`"),
    ("checks", "as_found,49", "before,49", 2, "stage", "as_left"),
    ("checks", "damp", "moist", 2, "condition", "damp"),
    ("readings", "c,left,A1", "cc,left,A1", 6, "check", "`checks`"),
    ("readings", "c,left,A1", "c,left,A9", 6, "line", "Egret"),
    ("readings", "c,left,A1", "c,Left,A1", 6, "side", "left, right"),
    ("readings", "a,left,K1", "a,right,K1", 4, "side", "only there"),
    ("risers", "a,right", "x,right", 3, "check", "`checks`"),
    ("risers", "right,A", "right,E", 3, "row", "stabilo"),
    ("actions", "7,2022-05-01,50.25,left", "70,2022-05-01,50.25,left", 2, "wing", "`wings`"),
    ("actions", "left,AM,turn", "left,AX,turn", 2, "segment", "Heron"),
    ("actions", "left,AM,turn", "left,AM,knot", 2, "action", "larks_head"),
    ("actions", "left,AM,turn", "left,,turn", 2, "segment", "replace"),
    ("actions", "-10,1,b", "-10,1,z", 2, "check", "`checks`"),
    ("actions", "-10,1,b", "-10,1,a", 2, "check", "as_left"),
    ("fittings", "7,left,AM", "7,left,AX", 2, "segment", "Heron"),
    // the same thing twice
    ("lines", "Heron,A1,A,1,6004", "Heron,A1,A,3,6000,0.2,0.1,10,right,\nHeron,A1,A,1,6004", 5, "line", "once"),
    ("wings", "8,Egret,,,,,,", "8,Egret,,,,,,\n8,Egret,,,,,,", 4, "wing", "once"),
    ("checks", "c,8,2022-06-01,10,", "c,8,2022-06-01,10,,,,,,\nc,8,2022-06-01,10,", 6, "check", "once"),
    ("segments", "Heron,AM,,aramid", "Heron,A2,AM,uhmwpe,1400,,\nHeron,AM,,aramid", 4, "segment", "before"),
    ("models", "38,9,100,24", "38,9,100,24\nHeron,,,,,,,", 3, "model", "once"),
    ("rows", "Heron,brake", "Heron,A", 3, "row", "once"),
    ("readings", "5991.5,2", "5991.5,", 3, "line", "repeat"),
    ("risers", "a,right", "a,left", 3, "row", "once"),
    ("fittings", "7,left,A1", "7,left,AM", 3, "segment", "once"),
    // dates and hours
    ("checks", "2023-05-01,90", "2023-02-30,90", 4, "date", "YYYY-MM-DD"),
    ("checks", "2023-05-01,90", "01.05.2023,90", 4, "date", "YYYY-MM-DD"),
    ("wings", "2021-05-01", "spring", 2, "first_flight", "YYYY-MM-DD"),
    ("checks", "2023-05-01,90", "2023-05-01,9", 4, "hours", "2022-05-01"),
    ("checks", "50.25,as_left", "50.3,as_left", 3, "stage", "as_found"),
    // the cascade
    ("segments", "Heron,A2,AM", "Heron,A2,AN", 3, "parent", "riser"),
    ("segments", "Heron,AM,,", "Heron,AM,A1,", 2, "parent", "circle"),
    ("lines", "A,2,5900", "A,2,7900", 3, "nominal_mm", "20 %"),
];

#[test]
fn each_fault_is_found_at_its_place_and_no_other() {
    let mut missed = Vec::new();
    for (table, from, to, row, column, word) in CASES.iter().copied() {
        let faults = faults_after(&[(table, from, to)]);
        let is_it = matches!(faults.as_slice(), [fault] if fault.table == table
            && fault.row == row
            && fault.column == column
            && fault.expected.contains(word));
        if !is_it {
            missed.push(format!("{table}: `{from}` → `{to}`, expected {row} {column} {word}, got {faults:#?}"));
        }
    }
    assert!(missed.is_empty(), "{}", missed.join("\n"));
}

#[test]
fn the_sound_fleet_has_none() {
    assert_eq!(faults_after(&[]), []);
}

#[test]
fn the_value_is_quoted_as_it_stood() {
    let faults = faults_after(&[("readings", "6212", "\"6212,5\""), ("checks", "2023-05-01", "1 May")]);
    let values: Vec<&str> = faults.iter().map(|fault| fault.value.as_str()).collect();
    assert_eq!(values, ["1 May", "6212,5"]);
}

#[test]
fn faults_of_several_tables_come_in_one_go_by_table_and_row() {
    let changes = [
        ("readings", "6212", "x"),
        ("readings", "c,left,A1", "c,left,A9"),
        ("lines", "5900,0.6", "5900,6"),
        ("wings", "8,Egret", "8,Gull"),
        ("segments", "uhmwpe,1400", "uhmwpe,"),
        ("fittings", "7,left,A1", "7,middle,A1"),
    ];
    let faults = faults_after(&changes);
    let places: Vec<(&str, usize, &str)> =
        faults.iter().map(|fault| (fault.table.as_str(), fault.row, fault.column.as_str())).collect();
    // the reading of A9 cannot be judged: its wing's model is unknown
    let expected = [
        ("lines", 3, "span"),
        ("segments", 3, "length_mm"),
        ("wings", 3, "model"),
        ("readings", 4, "reading_mm"),
        ("fittings", 3, "side"),
    ];
    assert_eq!(places, expected);
}

#[test]
fn one_broken_table_does_not_accuse_the_others() {
    for (name, _) in SOUND {
        let folder = sound();
        let path = folder.path().join(format!("{name}.csv"));
        // UTF-16, as some programs save text
        fs::write(&path, b"\xFF\xFEm\0o\0d\0e\0l\0,\0l\0i\0n\0e\0\n\0").unwrap();
        let error = FolderSpec::default().read(folder.path()).unwrap_err();
        assert_eq!(error.faults().len(), 1, "{name}: {error}");
        assert_eq!((error.faults()[0].table.as_str(), error.faults()[0].column.as_str()), (name, ""));
        assert!(error.faults()[0].expected.contains("UTF-8"));
        // nothing at all
        fs::write(&path, b"").unwrap();
        let error = FolderSpec::default().read(folder.path()).unwrap_err();
        assert_eq!(error.faults().len(), 1, "{name}: {error}");
        assert!(error.faults()[0].expected.contains("header"));
    }
}

#[test]
fn folders_and_tables_that_are_not_there_are_faults() {
    let folder = sound();
    let error = FolderSpec::default().read(&folder.path().join("nowhere")).unwrap_err();
    assert_eq!(error.faults().len(), 1);
    assert!(error.faults()[0].expected.contains("folder"));
    for name in ["lines", "wings", "checks", "readings"] {
        let folder = sound();
        fs::remove_file(folder.path().join(format!("{name}.csv"))).unwrap();
        let error = FolderSpec::default().read(folder.path()).unwrap_err();
        assert_eq!(error.faults().len(), 1, "{name}: {error}");
        assert_eq!((error.faults()[0].table.as_str(), error.faults()[0].row), (name, 0));
    }
    // one table in two formats
    fs::write(folder.path().join("wings.parquet"), b"").unwrap();
    let error = FolderSpec::default().read(folder.path()).unwrap_err();
    assert_eq!((error.faults().len(), error.faults()[0].table.as_str()), (1, "wings"));
    // a covariate that is not there
    let folder = sound();
    let error = FolderSpec::default().covariates(["coastal"]).read(folder.path()).unwrap_err();
    assert_eq!((error.faults().len(), error.faults()[0].column.as_str()), (1, "coastal"));
}

#[test]
fn a_damaged_parquet_file_is_a_fault_and_never_a_panic() {
    let fleet = FolderSpec::default().read(sound().path()).unwrap().fleet;
    let folder = tempfile::tempdir().unwrap();
    write_folder(&fleet, folder.path(), TableFormat::Parquet).unwrap();
    let path = folder.path().join("readings.parquet");
    let bytes = fs::read(&path).unwrap();
    for length in [0, 3, 4, 12, bytes.len() / 2, bytes.len() - 1] {
        fs::write(&path, &bytes[..length]).unwrap();
        let error = FolderSpec::default().read(folder.path()).unwrap_err();
        assert_eq!(error.faults().len(), 1, "{length}: {error}");
        assert_eq!((error.faults()[0].table.as_str(), error.faults()[0].row), ("readings", 0));
    }
    // the description at the end of the file, here and there: a change may do nothing, but it must not panic
    for at in (bytes.len() / 2..bytes.len()).step_by(5) {
        let mut changed = bytes.clone();
        changed[at] ^= 0x55;
        fs::write(&path, &changed).unwrap();
        let _ = FolderSpec::default().read(folder.path());
    }
    // another kind of file under the name
    fs::write(&path, SOUND[6].1).unwrap();
    let error = FolderSpec::default().read(folder.path()).unwrap_err();
    assert_eq!((error.faults().len(), error.faults()[0].table.as_str()), (1, "readings"));
}

#[test]
fn what_reads_back_from_json_is_what_was_found() {
    let faults = faults_after(&[("readings", "6212", "x")]);
    let json = serde_json::to_value(&faults).unwrap();
    assert_eq!(
        json,
        serde_json::json!([{"table": "readings", "row": 4, "column": "reading_mm", "value": "x", "expected": "a number"}])
    );
}
