//! Fleet folders that are sound: what is read, what is assumed, and the way back.

use std::fs;
use std::path::{Path, PathBuf};

use linedrift::check::{ActionKind, Fleet, Stage};
use linedrift::fleet::{
    Column, ColumnData, FolderSpec, Table, TableFormat, write_atomic, write_folder, write_table,
    write_table_in_pieces,
};
use linedrift::wing::{Row, Side};
use polars::prelude::{ParquetReader, SerReader};

fn data(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data").join(name)
}

fn read(folder: &Path) -> Fleet {
    match FolderSpec::default().read(folder) {
        Ok(folder) => folder.fleet,
        Err(error) => panic!("{error}"),
    }
}

#[test]
fn the_reference_fleets_are_read_whole() {
    for (name, wings, checks, readings, actions) in
        [("fleet-60", 60, 206, 18_130, 0), ("fleet-adjusted", 16, 60, 5_326, 66)]
    {
        let fleet = read(&data(name));
        let all =
            |count: &dyn Fn(&linedrift::check::History) -> usize| fleet.histories().iter().map(count).sum::<usize>();
        assert_eq!(fleet.histories().len(), wings, "{name}");
        assert_eq!(all(&|history| history.checks.len()), checks, "{name}");
        assert_eq!(all(&|history| history.checks.iter().map(|check| check.readings.len()).sum()), readings, "{name}");
        assert_eq!(all(&|history| history.actions.len()), actions, "{name}");
        for set in fleet.line_sets() {
            assert!(set.has_cascade());
            for line in 0..set.lines().len() {
                let path: f64 = set.path(line).map(|segment| segment.length_mm).sum();
                assert!((path / set.lines()[line].nominal_mm - 1.0).abs() < 0.2);
            }
        }
    }
    let fleet = read(&data("fleet-adjusted"));
    let history = fleet.history("W00000").unwrap();
    let set = fleet.line_set(history);
    let action = &history.actions[0];
    assert_eq!((action.kind, action.turns, action.change_mm), (ActionKind::Turn, Some(1.0), -10.0));
    assert_eq!(set.segments()[action.segment.unwrap()].name, "AM1");
    assert_eq!(action.check.as_deref(), Some("W00000-2L"));
    let left = history.checks.iter().find(|check| check.id == "W00000-2L").unwrap();
    assert_eq!((left.stage, left.hours_h, left.date.to_string().as_str()), (Stage::AsLeft, 87.8, "2021-07-05"));
    let first = &history.checks[0].readings[0];
    assert_eq!((first.side, set.lines()[first.line].name.as_str(), first.reading_mm), (Side::Left, "A1", 7029.0));
}

#[test]
fn what_is_written_is_read_back_in_either_format() {
    round_trip(&data("fleet-60"), &[]);
    round_trip(&data("fleet-adjusted"), &[]);
    round_trip(full().path(), &["coastal"]);
}

fn round_trip(source: &Path, covariates: &[&str]) {
    let spec = FolderSpec::default().covariates(covariates.iter().copied());
    let fleet = spec.read(source).unwrap().fleet;
    for (format, other) in [(TableFormat::Csv, TableFormat::Parquet), (TableFormat::Parquet, TableFormat::Csv)] {
        let out = tempfile::tempdir().unwrap();
        write_folder(&fleet, out.path(), format).unwrap();
        assert_eq!(spec.read(out.path()).unwrap().fleet, fleet, "{format:?} of {}", source.display());
        // and over itself in the other format, which leaves no old table beside a new one; recorded work is never written over
        let over = write_folder(&fleet, out.path(), other);
        assert_eq!(
            over.is_err(),
            out.path().join("actions.csv").exists() || out.path().join("actions.parquet").exists()
        );
        assert_eq!(spec.read(out.path()).unwrap().fleet, fleet);
    }
}

/// A small folder that uses every table and column.
fn full() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in FULL {
        fs::write(folder.path().join(name), text).unwrap();
    }
    folder
}

const FULL: [(&str, &str); 10] = [
    (
        "lines.csv",
        "model,line,row,rank,nominal_mm,span,chord,main,material,tolerance_mm,side,table_version\n\
         Heron,A1,A,1,6000,,0.1,AM,,8,,\nHeron,A2,A,2,5900,,,AM,,,,\nHeron,K1,brake,1,6200,0.4,,,,,left,\n\
         Heron,K1,brake,1,6210,0.4,,,,,right,\nHeron,A1,A,1,6004,,,,,,,2024b\n\
         Egret,1,A,1,7000,,,M1,aramid,,,\nEgret,2,B,1,6990,,,,,,left,\nEgret,2,B,1,6985,,,,lcp,,right,\n",
    ),
    (
        "segments.csv",
        "model,segment,parent,material,length_mm,diameter_mm,can_loop\nHeron,A1,AM,uhmwpe,1500,0.8,true\n\
         Heron,A2,AM,uhmwpe,1400,0.8,false\nHeron,AM,,aramid,4500,1.4,\nHeron,K1,,uhmwpe,6200,,\n",
    ),
    ("rows.csv", "model,row,chord,riser_mm\nHeron,A,0.12,500\nHeron,brake,,\n"),
    (
        "models.csv",
        "model,span_m,area_m2,root_chord_m,trim_speed_kmh,glide,interval_h,interval_months\nHeron,9.5,24.5,2.9,38,9,100,24\n",
    ),
    (
        "wings.csv",
        "wing,model,mass_kg,first_flight,hours_per_year,interval_h,interval_months,table_version,coastal,colour\n\
         7,Heron,95.5,2021-05-01,60,80,12,2024b,1,grey\n8,Egret,,,,,,,,\n9,Heron,,,,,,,0.5,\n",
    ),
    (
        "checks.csv",
        "check,wing,date,hours,stage,load_n,datum_mm,temperature_c,condition,brake_setting_mm\n\
         a,7,2022-05-01,50.25,as_found,49,-12.5,-3,damp,80\nb,7,2022-05-01,50.25,as_left,,,,,\nc,8,2022-06-01,10,,,,,,\n",
    ),
    (
        "readings.csv",
        "check,side,line,reading_mm,repeat,operator\na,left,A1,5990,1,one\na,left,A1,5991.5,2,two\na,right,K1,6212,,\n\
         b,left,A2,5899,,\nc,left,2,6988,,\nc,right,2,6984,,one\nc,right,1,7001,,\n",
    ),
    ("risers.csv", "check,side,row,datum_mm,riser_mm\na,left,A,-10,498\na,right,A,,501\n"),
    (
        "actions.csv",
        "wing,date,hours,side,segment,action,change_mm,turns,check\n7,2022-05-01,50.25,left,AM,turn,-10,1,b\n\
         7,2022-05-01,50.25,right,,replace,0,,\n8,2022-06-02,10,right,2,small_link,8,,\n",
    ),
    (
        "fittings.csv",
        "wing,side,segment,turns,spare_mm,can_loop,link_diameter_mm,step_mm\n7,left,AM,1,20,true,4,9.5\n8,right,2,,,,,\n",
    ),
];

#[test]
fn every_table_says_its_part() {
    let folder = full();
    let read = FolderSpec::default().covariates(["coastal"]).read(folder.path()).unwrap();
    let fleet = &read.fleet;
    let seven = fleet.history("7").unwrap();
    assert_eq!(seven.wing.covariates.get("coastal"), Some(&1.0));
    assert!(fleet.history("8").unwrap().wing.covariates.is_empty());

    // the version's own line, then those that it does not list
    let set = fleet.line_set(seven);
    assert_eq!(set.table_version(), Some("2024b"));
    let lengths: Vec<f64> = set.lines().iter().map(|line| line.nominal_mm).collect();
    assert_eq!(lengths, [6004.0, 5900.0, 6200.0, 6210.0]);
    let old = fleet.line_set(fleet.history("9").unwrap());
    assert_eq!((old.table_version(), old.lines()[0].nominal_mm), (None, 6000.0));

    // span from rank, two lines in the row
    assert_eq!((set.lines()[0].span, set.lines()[1].span), (0.25, 0.75));
    assert!(set.lines()[0].span_assumed && !set.lines()[2].span_assumed);
    // chord of the line, else of its row
    assert_eq!((old.chord(0), old.chord(1), old.chord(2)), (Some(0.1), Some(0.12), None));
    assert_eq!(set.row(Row::A).unwrap().riser_mm, Some(500.0));
    assert_eq!(set.data().interval_months, Some(24.0));
    assert_eq!(set.segments()[0].can_loop, Some(true));
    assert_eq!(set.segments()[2].can_loop, None);

    // without segments, a line is one piece of its own
    let egret = fleet.line_set(fleet.history("8").unwrap());
    assert!(!egret.has_cascade());
    let of = |name: &str, side| &egret.segments()[egret.lines()[egret.find(name, side).unwrap()].segment];
    assert_eq!((of("1", Side::Left).material.as_str(), of("1", Side::Left).length_mm), ("aramid", 7000.0));
    assert_eq!((of("2", Side::Left).material.as_str(), of("2", Side::Left).length_mm), ("unknown", 6990.0));
    assert_eq!((of("2", Side::Right).material.as_str(), of("2", Side::Right).length_mm), ("lcp", 6985.0));
    assert_eq!(egret.lines()[0].main.as_deref(), Some("M1"));

    let check = &seven.checks[0];
    assert_eq!((check.load_n, check.datum_mm, check.temperature_c), (49.0, -12.5, -3.0));
    assert_eq!((check.datum_mm(Side::Left, Row::A), check.datum_mm(Side::Right, Row::A)), (-10.0, -12.5));
    assert_eq!((seven.checks[1].load_n, seven.checks[1].temperature_c), (50.0, 20.0));
    assert_eq!(check.readings[1].operator.as_deref(), Some("two"));
    let whole_set = seven.actions.iter().find(|action| action.kind == ActionKind::Replace).unwrap();
    assert_eq!((whole_set.segment, whole_set.side), (None, Side::Right));
    assert_eq!(seven.fittings[0].step_mm, Some(9.5));

    let about = |word: &str| read.notes.iter().filter(|note| note.contains(word)).count();
    assert_eq!(about("`colour`"), 1, "{:?}", read.notes);
    assert_eq!(about("span"), 3, "{:?}", read.notes);
    // a check without a datum has that of the check before, and it is said
    let datums: Vec<f64> = seven.checks.iter().map(|check| check.datum_mm).collect();
    assert_eq!((datums, about("`b` has the -12.5 mm of `a`")), (vec![-12.5, -12.5], 1), "{:?}", read.notes);
}

#[test]
fn spreadsheet_habits_are_tolerated() {
    let folder = full();
    let expected = read(folder.path());
    for (name, text) in FULL {
        let mut bytes = b"\xEF\xBB\xBF".to_vec();
        bytes.extend(text.replace('\n', "\r\n").bytes());
        bytes.extend(b"\r\n\r\n");
        fs::write(folder.path().join(name), bytes).unwrap();
    }
    assert_eq!(read(folder.path()), expected);
    // columns in another order, quoted cells, no line end at the end
    let quoted = "\"operator\",line,\"check\",reading_mm,repeat,side\none,A1,a,\"5990\",1,left\n\
                  two,\"A1\",a,5991.5,2,left\n,K1,a,6212,,right\n\"\",A2,b,5899,,left\n,2,c,6988,,left\n\
                  one,2,c,6984,,right\n,1,c,7001,,right";
    fs::write(folder.path().join("readings.csv"), quoted).unwrap();
    assert_eq!(read(folder.path()), expected);
    // a header alone will do for an optional table
    fs::write(folder.path().join("fittings.csv"), FULL[9].1.lines().next().unwrap()).unwrap();
    assert!(read(folder.path()).histories().iter().all(|history| history.fittings.is_empty()));
}

#[test]
fn row_order_does_not_matter() {
    let folder = full();
    let expected = read(folder.path());
    let mut rows: Vec<&str> = FULL[6].1.lines().collect();
    rows[1..].sort_by_key(|row| row.split(',').nth(2));
    fs::write(folder.path().join("readings.csv"), rows.join("\n")).unwrap();
    let shuffled = read(folder.path());
    for (history, same) in shuffled.histories().iter().zip(expected.histories()) {
        for (check, same) in history.checks.iter().zip(&same.checks) {
            let sorted = |check: &linedrift::check::Check| {
                let mut readings = check.readings.clone();
                readings.sort_by_key(|reading| (reading.side, reading.line, reading.repeat));
                readings
            };
            assert_eq!(sorted(check), sorted(same));
        }
    }
}

#[test]
fn readings_may_come_in_parts() {
    let fleet = read(&data("fleet-adjusted"));
    let out = tempfile::tempdir().unwrap();
    write_folder(&fleet, out.path(), TableFormat::Parquet).unwrap();
    let parts = out.path().join("readings");
    fs::create_dir(&parts).unwrap();
    fs::rename(out.path().join("readings.parquet"), parts.join("b.parquet")).unwrap();
    assert_eq!(read(out.path()), fleet);
    // the same readings twice are duplicates, named by their file
    fs::copy(parts.join("b.parquet"), parts.join("c.parquet")).unwrap();
    let error = FolderSpec::default().read(out.path()).unwrap_err();
    assert_eq!(error.faults().len() + error.more(), 5_326);
    assert_eq!((error.faults()[0].table.as_str(), error.faults()[0].row), ("readings/c.parquet", 2));
}

#[test]
fn a_result_table_is_harmless_in_a_spreadsheet() {
    let cells = ["=1+1", "+1", "-1", "@a", "\tb", "plain, with comma", "quote\""];
    let names = cells.iter().map(|cell| Some((*cell).to_owned())).chain([None]).collect();
    let values: Vec<Option<f64>> =
        vec![Some(0.1), Some(-2.5), Some(f64::NAN), None, Some(1e300), Some(3.0), None, None];
    let counts = (0..8).map(Some).collect();
    let table = Table {
        name: "out".to_owned(),
        columns: vec![
            Column { name: "name".to_owned(), data: ColumnData::Text(names) },
            Column { name: "value_mm".to_owned(), data: ColumnData::Number(values) },
            Column { name: "count".to_owned(), data: ColumnData::Count(counts) },
        ],
    };
    let folder = tempfile::tempdir().unwrap();
    write_table(&table, folder.path(), TableFormat::Csv).unwrap();
    let text = fs::read_to_string(folder.path().join("out.csv")).unwrap();
    let lines: Vec<&str> = text.lines().collect();
    assert_eq!(lines[0], "name,value_mm,count");
    assert_eq!(lines[1], "'=1+1,0.1,0");
    for (line, start) in lines[1..].iter().zip(["'=", "'+", "'-", "'@", "'\t", "\"plain", "\"quote"]) {
        assert!(line.starts_with(start), "{line}");
    }
    assert_eq!(lines[3], "'-1,,2", "a number that is not finite is an empty cell");
    write_table(&table, folder.path(), TableFormat::Parquet).unwrap();
    assert!(folder.path().join("out.parquet").exists());
    let uneven = Table {
        name: "uneven".to_owned(),
        columns: vec![
            Column { name: "a".to_owned(), data: ColumnData::Count(vec![Some(1)]) },
            Column { name: "b".to_owned(), data: ColumnData::Count(vec![Some(1), Some(2)]) },
        ],
    };
    assert!(write_table(&uneven, folder.path(), TableFormat::Csv).is_err());
    assert!(!folder.path().join("uneven.csv").exists());
}

#[test]
fn a_file_is_written_whole_or_not_at_all() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("page.html");
    write_atomic(&path, b"one").unwrap();
    write_atomic(&path, b"two").unwrap();
    assert_eq!(fs::read(&path).unwrap(), b"two");
    // a folder stands where the file should go: the rename fails, and nothing is left behind
    let taken = folder.path().join("taken");
    fs::create_dir(&taken).unwrap();
    fs::write(taken.join("x"), b"").unwrap();
    assert!(write_atomic(&taken, b"three").is_err());
    assert!(write_atomic(&folder.path().join("nowhere/page.html"), b"").is_err());
    let left: Vec<_> = fs::read_dir(folder.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    assert_eq!(left.len(), 2, "{left:?}");
}

#[test]
fn the_folder_in_the_documents_is_sound() {
    let text = include_str!("../docs/data.md");
    let folder = tempfile::tempdir().unwrap();
    let mut tables = 0;
    for part in text.split("\n\n`").skip(1) {
        let Some((name, rest)) = part.split_once("`\n```csv\n") else { continue };
        fs::write(folder.path().join(name), rest.split("```").next().unwrap()).unwrap();
        tables += 1;
    }
    assert_eq!(tables, 4);
    let fleet = read(folder.path());
    let history = fleet.history("7").unwrap();
    let deviations = linedrift::check::deviations(fleet.line_set(history), &history.checks[0]);
    assert_eq!(deviations.len(), 8);
    assert_eq!(deviations[0].deviation_mm, 2.0);
}

#[test]
fn a_table_in_pieces_is_the_table_in_one() {
    let rows = |from: i64, until: i64| {
        let text = |at: i64| {
            (at % 3 > 0).then(|| format!("{}{at}, \"x\"", ["", "=", "a"][usize::try_from(at).unwrap() % 3]))
        };
        let mm = |at: i64| (at % 4 > 0).then_some(if at == 5 { f64::NAN } else { at as f64 * 0.1 });
        Table::new("made")
            .text("name", (from..until).map(text))
            .number("mm", (from..until).map(mm))
            .count("lines", (from..until).map(Some))
    };
    let [whole, pieces] = [tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap()];
    let frame = |folder: &Path| {
        let file = fs::File::open(folder.join("made.parquet")).unwrap();
        ParquetReader::new(file).finish().unwrap()
    };
    for cuts in [&[0, 30][..], &[0, 1, 30], &[0, 10, 10, 20, 30], &[0, 0]] {
        let until = cuts[cuts.len() - 1];
        for format in [TableFormat::Csv, TableFormat::Parquet] {
            write_table(&rows(0, until), whole.path(), format).unwrap();
            let made = cuts.windows(2).map(|cut| rows(cut[0], cut[1]));
            write_table_in_pieces(made, pieces.path(), format).unwrap();
        }
        let csv = |folder: &Path| fs::read_to_string(folder.join("made.csv")).unwrap();
        assert_eq!(csv(pieces.path()), csv(whole.path()), "{cuts:?}");
        assert!(frame(pieces.path()).equals_missing(&frame(whole.path())), "{cuts:?}");
    }
    let other = || [rows(0, 3), Table::new("made").count("lines", [Some(1)])];
    for format in [TableFormat::Csv, TableFormat::Parquet] {
        let before = fs::read(pieces.path().join(format!("made.{}", format.ending()))).unwrap();
        assert!(write_table_in_pieces(other(), pieces.path(), format).is_err());
        assert_eq!(fs::read(pieces.path().join(format!("made.{}", format.ending()))).unwrap(), before);
    }
    assert_eq!(fs::read_dir(pieces.path()).unwrap().count(), 2, "nothing half written is left");
}

#[test]
#[allow(clippy::too_many_lines, reason = "one list of tables")]
fn result_tables_name_their_units_and_say_the_words_of_the_documents() {
    use linedrift::check::sheet::LineOnSide;
    use linedrift::fleet::tables;
    use linedrift::forecast::{Basis, CrossingHours, DueRow, Reason};
    use linedrift::trim::{Diagnosis, DiagnosisCode, Interval, LineVerdict, RowTrim, Trim, TrimState, Verdict};
    use linedrift::wear::{SpreadRow, TermRow};

    let trim = Trim {
        check: "a".to_owned(),
        wing: "7".to_owned(),
        hours: 85.0,
        stage: Stage::AsFound,
        common_mm: None,
        state: TrimState::Adjust,
        summary: "Adjust: the brakes.".to_owned(),
        diagnosis: vec![Diagnosis {
            code: DiagnosisCode::WholeSet,
            text: "Long.".to_owned(),
            value_mm: Some(2.0),
            lower_mm: Some(1.0),
            upper_mm: Some(3.0),
            side: None,
            row: Some(Row::Brake),
            segment: None,
            lines: vec![LineOnSide { side: Side::Left, line: "A1".to_owned() }],
        }],
        again: Vec::new(),
        lines: vec![LineVerdict {
            side: Side::Left,
            line: "A1".to_owned(),
            row: Row::A,
            deviation_mm: 2.0,
            riser_mm: 0.0,
            relative_mm: 1.5,
            uncertainty_mm: 3.0,
            tolerance_mm: 10.0,
            span: 0.25,
            verdict: Some(Verdict::Within),
            chance_outside: 0.001,
            near: false,
            doubted: false,
        }],
        rows: vec![RowTrim {
            row: Row::Brake,
            side: "both".to_owned(),
            mean_mm: 1.0,
            effective_mm: None,
            effective_se_mm: None,
            se_mm: 0.5,
            lines: 8,
        }],
        row_differences: Vec::new(),
        side_differences: Vec::new(),
        mains: Vec::new(),
        incidence_change_deg: Interval { value: Some(0.1), lower: Some(-0.1), upper: Some(0.3) },
        flexible_incidence_change_deg: Interval::default(),
        incidence_left_deg: Interval::default(),
        incidence_right_deg: Interval::default(),
        aoa_change_deg: Interval::default(),
        speed_change_pct: Interval::default(),
        bands: None,
        twist: Vec::new(),
        tip_twist_deg: Interval::default(),
        centre_rotation: None,
        brakes: Vec::new(),
        shape_residual_mm: Vec::new(),
        asymmetry_deg: Interval::default(),
        notes: Vec::new(),
    };
    let term = |name: &str| TermRow {
        term: name.to_owned(),
        estimate: 1.0,
        se: 0.1,
        lower: 0.8,
        upper: 1.2,
        df: 60.0,
        p: 0.5,
    };
    let spread =
        SpreadRow { group: "wing".to_owned(), effect: "offset,rate".to_owned(), sd: None, correlation: Some(0.3) };
    let due = DueRow {
        wing: "7".to_owned(),
        model: "Heron".to_owned(),
        basis: Basis::History,
        hours_now: 85.0,
        due_hours: 120.0,
        due_date: None,
        reason: Reason::RowDifference,
        crossing_hours: CrossingHours { p10: Some(120.0), p50: Some(160.0), p90: None },
        risk_now: Some(0.01),
    };
    let folder = tempfile::tempdir().unwrap();
    let written = |table: &Table| {
        write_table(table, folder.path(), TableFormat::Csv).unwrap();
        fs::read_to_string(folder.path().join(format!("{}.csv", table.name))).unwrap()
    };
    let trims = [trim];
    assert_eq!(
        written(&tables::lines(&trims)),
        "check,wing,side,line,row,span,deviation_mm,relative_mm,uncertainty_mm,tolerance_mm,verdict,\
         chance_outside,near,doubted\n\
         a,7,left,A1,A,0.25,2.0,1.5,3.0,10.0,within,0.001,false,false\n"
    );
    assert_eq!(
        written(&tables::rows(&trims)),
        "check,wing,row,side,mean_mm,effective_mm,se_mm,lines\na,7,brake,both,1.0,,0.5,8\n"
    );
    let checks = written(&tables::checks(&trims));
    assert!(checks.starts_with(
        "check,wing,hours_h,stage,state,summary,outside,doubted,common_mm,incidence_change_deg,incidence_change_lower_deg,incidence_change_upper_deg,"
    ));
    assert!(checks.contains("\na,7,85.0,as_found,adjust,Adjust: the brakes.,0,0,,0.1,-0.1,0.3,,"), "{checks}");
    assert_eq!(
        written(&tables::diagnosis(&trims)),
        "check,wing,place,code,text,value_mm,lower_mm,upper_mm,side,row,segment,lines\n\
         a,7,1,whole-set,Long.,2.0,1.0,3.0,,brake,,left:A1\n"
    );
    let terms = written(&tables::terms(&[term("offset"), term("rate:lcp:A")]));
    assert!(terms.contains("\noffset,mm,1.0,0.1,0.8,1.2,60.0,0.5\nrate:lcp:A,mm/m in the first 100 h,"), "{terms}");
    let spread = written(&tables::spread(&[spread]));
    assert!(spread.ends_with("\nwing,\"offset,rate\",1,,0.3\n"), "{spread}");
    let due = written(&tables::due(&[due]));
    assert!(due.ends_with("\n7,Heron,history,85.0,120.0,,row-difference,120.0,160.0,,0.01\n"), "{due}");
}
