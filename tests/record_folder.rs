//! Adding a check to a fleet folder: what is there stays, every step leaves a folder that reads, faults are told.

use std::fs;
use std::path::Path;

use linedrift::check::{Check, Fleet, Reading, RoundEvent, Stage};
use linedrift::fleet::{
    Addition, AdditionError, FleetWriteError, FolderLock, FolderSpec, Journal, JournalError, RoundHead, TableFormat,
    write_folder, write_new_folder,
};
use linedrift::simulate::FleetSpec;
use linedrift::wing::{Side, Wing};
use polars::prelude::{
    Column, DataFrame, DataType, NamedFrom, ParquetReader, ParquetWriter, SerReader, Series, TimeUnit,
};
use tempfile::TempDir;

fn invented() -> Fleet {
    // as it is read: with the line sets that wings follow
    let folder = TempDir::new().unwrap();
    write_folder(&FleetSpec::default().wings(3).seed(8).run().unwrap().fleet, folder.path(), TableFormat::Csv)
        .unwrap();
    read(folder.path())
}

fn read(folder: &Path) -> Fleet {
    FolderSpec::default().read(folder).unwrap_or_else(|error| panic!("{error}")).fleet
}

/// One more check of the second wing, everything about it unusual.
fn one_more(fleet: &Fleet) -> (String, Check) {
    let history = &fleet.histories()[1];
    let last = history.checks.last().unwrap();
    let mut check = Check::new("new, \"one\"", last.date, last.hours_h + 1.5);
    check.load_n = 45.0;
    check.datum_mm = -212.5;
    for side in Side::BOTH {
        for line in 0..10 {
            let reading_mm = fleet.line_set(history).lines()[line].nominal_mm - 212.0;
            check.readings.push(Reading { side, line, reading_mm, repeat: 1, operator: None });
        }
    }
    (history.wing.id.clone(), check)
}

fn add(folder: &Path, wing: &str, check: &Check) -> Result<(), AdditionError> {
    let lock = FolderLock::take(folder)?;
    Addition::new(wing, check.clone()).stage(folder, &read(folder), &lock)?.commit()
}

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    names
}

fn with(fleet: &Fleet, wing: &str, check: &Check) -> Fleet {
    let mut histories = fleet.histories().to_vec();
    histories.iter_mut().find(|history| history.wing.id == wing).unwrap().checks.push(check.clone());
    Fleet::new(fleet.line_sets().to_vec(), histories).unwrap()
}

#[test]
fn a_check_is_added_to_either_format_and_all_else_is_as_before() {
    let fleet = invented();
    let (wing, check) = one_more(&fleet);
    for format in [TableFormat::Csv, TableFormat::Parquet] {
        let folder = TempDir::new().unwrap();
        write_folder(&fleet, folder.path(), format).unwrap();
        // writing a folder takes its lock, as adding to it does
        let before = names(folder.path());
        add(folder.path(), &wing, &check).unwrap();
        assert!(read(folder.path()) == with(&fleet, &wing, &check), "{format:?}");
        assert_eq!(names(folder.path()), before, "no file is left over");
        let error = add(folder.path(), &wing, &check).unwrap_err();
        assert!(matches!(error, AdditionError::CheckThere { readings: 20, .. }), "{error}");
    }
}

#[test]
fn bytes_of_a_csv_table_stay_and_new_columns_are_empty_before() {
    let folder = TempDir::new().unwrap();
    let write = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
    write("lines.csv", "model,line,row,rank,nominal_mm\nHeron,A1,A,1,6500\n");
    write("wings.csv", "wing,model\n7,Heron\n");
    // a mark, odd line ends, quotes over two lines, blanks, an unknown column, no end of the last line
    let checks = "\u{feff}colour,check,wing,date,hours\r\nred,7-1,7,2025-04-12,85\r\n\r\n\"a\r\nb, \"\"c\"\"\",7-2,7,2025-05-12,86.50";
    write("checks.csv", checks);
    let readings = "check,side,line,reading_mm,note\n7-1,left,A1,06500.0,x\n";
    write("readings.csv", readings);
    let mut check = Check::new("7-3", "2025-06-01".parse().unwrap(), 90.0);
    check.datum_mm = -30.0;
    check.readings.push(Reading {
        side: Side::Left,
        line: 0,
        reading_mm: 6470.5,
        repeat: 1,
        operator: Some("a,b".into()),
    });
    check.readings.push(Reading { side: Side::Left, line: 0, reading_mm: 6471.0, repeat: 2, operator: None });
    add(folder.path(), "7", &check).unwrap();
    let text = |name: &str| fs::read_to_string(folder.path().join(name)).unwrap();
    assert_eq!(
        text("checks.csv"),
        "\u{feff}colour,check,wing,date,hours,datum_mm\r\nred,7-1,7,2025-04-12,85,\r\n\r\n\"a\r\nb, \"\"c\"\"\",7-2,7,2025-05-12,86.50,\r\n\
         ,7-3,7,2025-06-01,90,-30\r\n"
    );
    assert_eq!(
        text("readings.csv"),
        "check,side,line,reading_mm,note,repeat,operator\n7-1,left,A1,06500.0,x,,\n7-3,left,A1,6470.5,,1,\"a,b\"\n7-3,left,A1,6471,,2,\n"
    );
    assert_eq!(read(folder.path()).histories()[0].checks[2], check);
    // a usual check needs no new column, and nothing before it changes
    let before = text("checks.csv");
    let mut usual = Check::new("7-4", "2025-07-01".parse().unwrap(), 95.0);
    usual.readings.push(Reading { side: Side::Right, line: 0, reading_mm: 6500.0, repeat: 1, operator: None });
    add(folder.path(), "7", &usual).unwrap();
    assert_eq!(text("checks.csv"), format!("{before},7-4,7,2025-07-01,95,0\r\n"));
}

#[test]
fn parquet_columns_keep_type_and_values_and_widen_only_where_they_must() {
    let folder = TempDir::new().unwrap();
    let fleet = invented();
    let (wing, check) = one_more(&fleet);
    write_folder(&fleet, folder.path(), TableFormat::Parquet).unwrap();
    let path = folder.path().join("checks.parquet");
    let open = || ParquetReader::new(fs::File::open(&path).unwrap()).finish().unwrap();
    let frame = open();
    let height = frame.height();
    let dates: Vec<i32> = (0..height)
        .map(|at| {
            let day: linedrift::Date = frame.column("date").unwrap().str().unwrap().get(at).unwrap().parse().unwrap();
            day.since(linedrift::Date::constant(1970, 1, 1)).unwrap().get_days()
        })
        .collect();
    for (date_type, hours_type) in [
        (DataType::Date, DataType::Float32),
        (DataType::Datetime(TimeUnit::Milliseconds, None), DataType::Float64),
        (DataType::String, DataType::String),
    ] {
        let mut columns: Vec<Column> = frame.columns().to_vec();
        let hours = frame.column("hours").unwrap().cast(&DataType::Float64).unwrap();
        // quarters fit into every type of these
        let hours = (hours.as_materialized_series().f64().unwrap() * 4.0).cast_hours();
        for column in &mut columns {
            match column.name().as_str() {
                "date" if date_type != DataType::String => {
                    let days = Series::new("date".into(), dates.clone());
                    *column = days.cast(&DataType::Date).unwrap().cast(&date_type).unwrap().into();
                }
                "hours" => *column = hours.cast(&hours_type).unwrap().with_name("hours".into()).into(),
                _ => {}
            }
        }
        let marks: Vec<u8> = (0..height).map(|at| u8::try_from(at % 200).unwrap()).collect();
        columns.push(Series::new("mark".into(), marks.clone()).into());
        columns.push(Series::new("wet".into(), (0..height).map(|at| at % 2 == 0).collect::<Vec<bool>>()).into());
        let mut written = DataFrame::new_infer_height(columns).unwrap();
        ParquetWriter::new(fs::File::create(&path).unwrap()).finish(&mut written).unwrap();
        fs::remove_file(folder.path().join("readings.parquet")).unwrap_or_default();
        let base = read_after_readings(&fleet, folder.path());
        let hours_h = (base.histories()[1].checks.last().unwrap().hours_h + 1.0).round() + 0.1;
        let check = Check { hours_h, ..check.clone() };
        add(folder.path(), &wing, &check).unwrap();
        let now = open();
        assert_eq!(now.height(), height + 1);
        let head = now.head(Some(height));
        for column in written.columns() {
            let name = column.name().as_str();
            let same = head.column(name).unwrap().cast(column.dtype()).unwrap();
            assert!(same.as_materialized_series().equals_missing(column.as_materialized_series()), "{name}");
            let kept = now.column(name).unwrap().dtype() == column.dtype();
            let widened = name == "hours" && hours_type == DataType::Float32;
            assert_eq!(kept, !widened, "{name}: {:?}", now.column(name).unwrap().dtype());
        }
        assert!(now.column("mark").unwrap().get(height).unwrap().is_null());
        let added = read(folder.path());
        let found = added.histories()[1].checks.iter().find(|one| one.id == check.id).unwrap().clone();
        assert_eq!(found, check, "{date_type:?} {hours_type:?}");
    }
}

trait CastHours {
    fn cast_hours(self) -> Series;
}

impl CastHours for polars::prelude::Float64Chunked {
    fn cast_hours(self) -> Series {
        let quarters: Vec<f64> = self.iter().map(|value| value.unwrap().round() / 4.0).collect();
        Series::new("hours".into(), quarters)
    }
}

/// Writes the readings of a fleet again beside tables that are there, and reads the folder.
fn read_after_readings(fleet: &Fleet, folder: &Path) -> Fleet {
    let other = TempDir::new().unwrap();
    write_folder(fleet, other.path(), TableFormat::Parquet).unwrap();
    fs::copy(other.path().join("readings.parquet"), folder.join("readings.parquet")).unwrap();
    read(folder)
}

#[test]
fn a_folder_of_readings_gets_a_file_of_its_own_name() {
    let folder = TempDir::new().unwrap();
    let fleet = invented();
    write_folder(&fleet, folder.path(), TableFormat::Parquet).unwrap();
    let parts = folder.path().join("readings");
    fs::create_dir(&parts).unwrap();
    // a part that bears the name which the new one would have
    fs::rename(folder.path().join("readings.parquet"), parts.join("new___one_.parquet")).unwrap();
    let (wing, check) = one_more(&fleet);
    let old = fs::read(parts.join("new___one_.parquet")).unwrap();
    add(folder.path(), &wing, &check).unwrap();
    assert_eq!(names(&parts), ["new___one_-2.parquet", "new___one_.parquet"]);
    assert_eq!(fs::read(parts.join("new___one_.parquet")).unwrap(), old);
    assert!(read(folder.path()) == with(&fleet, &wing, &check));
}

#[test]
fn a_table_that_cannot_be_written_again_without_loss_is_left_alone() {
    let folder = TempDir::new().unwrap();
    let fleet = invented();
    write_folder(&fleet, folder.path(), TableFormat::Parquet).unwrap();
    let path = folder.path().join("checks.parquet");
    let mut frame = ParquetReader::new(fs::File::open(&path).unwrap()).finish().unwrap();
    let odd = Series::new("took".into(), vec![5_i64; frame.height()]);
    let odd = odd.cast(&DataType::Duration(TimeUnit::Milliseconds)).unwrap();
    frame.with_column(odd.into()).unwrap();
    ParquetWriter::new(fs::File::create(&path).unwrap()).finish(&mut frame).unwrap();
    let before = fs::read(&path).unwrap();
    let (wing, check) = one_more(&fleet);
    let error = add(folder.path(), &wing, &check).unwrap_err();
    assert!(error.to_string().contains("`took`") && error.to_string().contains("without loss"), "{error}");
    assert_eq!(fs::read(&path).unwrap(), before);
    assert!(names(folder.path()).iter().all(|name| !name.contains("tmp")));
}

/// Stopped between two tables of an addition, the folder reads as if it were done, and the next lock completes it.
#[test]
fn stopped_between_two_tables_an_addition_reads_as_done() {
    let fleet = invented();
    let (wing, check) = one_more(&fleet);
    let expected = with(&fleet, &wing, &check);
    for in_parts in [false, true] {
        let format = if in_parts { TableFormat::Parquet } else { TableFormat::Csv };
        let old = TempDir::new().unwrap();
        write_folder(&fleet, old.path(), format).unwrap();
        if in_parts {
            fs::create_dir(old.path().join("readings")).unwrap();
            fs::rename(old.path().join("readings.parquet"), old.path().join("readings/all.parquet")).unwrap();
        }
        let new = TempDir::new().unwrap();
        copy(old.path(), new.path());
        add(new.path(), &wing, &check).unwrap();
        let part = "readings/new___one_.parquet";
        let tables = if in_parts { ["checks.parquet", part] } else { ["checks.csv", "readings.csv"] };
        let hidden = |table: &str| match table.split_once('/') {
            Some((folder, name)) => format!("{folder}/.{name}.1-0.tmp"),
            None => format!(".{table}.1-0.tmp"),
        };
        let entry = |table: &str| format!(r#"{{"from":"{}","to":"{table}"}}"#, hidden(table));
        let pending = format!(
            r#"{{"format":"linedrift.pending/1","tables":[{},{}],"remove":[]}}"#,
            entry(tables[0]),
            entry(tables[1])
        );
        for renamed in 0..3 {
            let half = TempDir::new().unwrap();
            copy(old.path(), half.path());
            for (at, table) in tables.iter().enumerate() {
                let place = if at < renamed { (*table).to_owned() } else { hidden(table) };
                fs::write(half.path().join(place), fs::read(new.path().join(table)).unwrap()).unwrap();
            }
            assert_eq!(read(half.path()) == expected, renamed == 2, "without the record: the old, or a part of it");
            fs::write(half.path().join(".linedrift-pending"), &pending).unwrap();
            assert!(read(half.path()) == expected, "{renamed} of {tables:?} renamed");
            drop(FolderLock::take(half.path()).unwrap());
            assert!(!half.path().join(".linedrift-pending").exists());
            assert!(tables.iter().all(|table| !half.path().join(hidden(table)).exists()));
            assert!(read(half.path()) == expected);
        }
        // a record that names anything but tables is refused
        let strange = TempDir::new().unwrap();
        copy(old.path(), strange.path());
        for to in ["readings/../wings.csv", "readings/", "readings/.parquet", "notes/x.parquet", "readings/x.csv"] {
            let text = pending.replace(tables[1], to);
            fs::write(strange.path().join(".linedrift-pending"), text).unwrap();
            assert!(FolderLock::take(strange.path()).is_err(), "{to}");
        }
    }
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap().map(Result::unwrap) {
        let to = to.join(entry.file_name());
        if entry.path().is_dir() {
            copy(&entry.path(), &to);
        } else {
            fs::copy(entry.path(), to).unwrap();
        }
    }
}

/// A check without its readings, as a table that is a link may leave it: they follow.
#[test]
fn a_check_without_readings_gets_them_by_the_same_addition() {
    for format in [TableFormat::Csv, TableFormat::Parquet] {
        let folder = TempDir::new().unwrap();
        let fleet = invented();
        write_folder(&fleet, folder.path(), format).unwrap();
        let (wing, check) = one_more(&fleet);
        add(folder.path(), &wing, &Check { readings: Vec::new(), ..check.clone() }).unwrap();
        let half = read(folder.path());
        assert!(half.histories()[1].checks.iter().any(|one| one.id == check.id && one.readings.is_empty()));
        let other = Check { hours_h: check.hours_h + 1.0, ..check.clone() };
        let error = add(folder.path(), &wing, &other).unwrap_err();
        assert!(matches!(error, AdditionError::CheckDiffers { what: "hours", .. }), "{error}");
        add(folder.path(), &wing, &check).unwrap();
        assert!(read(folder.path()) == with(&fleet, &wing, &check), "{format:?}");
    }
}

#[test]
fn what_would_be_a_fault_is_refused_with_table_row_and_column() {
    let folder = TempDir::new().unwrap();
    let fleet = invented();
    write_folder(&fleet, folder.path(), TableFormat::Csv).unwrap();
    let (wing, check) = one_more(&fleet);
    let before: Vec<Vec<u8>> =
        ["checks.csv", "readings.csv"].map(|name| fs::read(folder.path().join(name)).unwrap()).to_vec();
    let rows = String::from_utf8(before[0].clone()).unwrap().lines().count();
    let read_rows = String::from_utf8(before[1].clone()).unwrap().lines().count();
    let mut twice = check.clone();
    twice.readings[3] = twice.readings[2].clone();
    for (bad, table, row, column) in [
        (Check { hours_h: 0.1, ..check.clone() }, "checks", rows + 1, "hours"),
        (Check { stage: Stage::AsLeft, ..check.clone() }, "checks", rows + 1, "stage"),
        (twice, "readings", read_rows + 4, "line"),
    ] {
        let error = add(folder.path(), &wing, &bad).unwrap_err();
        let AdditionError::Read(faults) = error else { panic!("{error}") };
        assert_eq!(faults.faults().len(), 1, "{faults}");
        let fault = &faults.faults()[0];
        assert_eq!((fault.table.as_str(), fault.row, fault.column.as_str()), (table, row, column), "{fault}");
    }
    assert!(matches!(add(folder.path(), "nobody", &check), Err(AdditionError::NoWing { .. })));
    for (name, bytes) in ["checks.csv", "readings.csv"].iter().zip(&before) {
        assert_eq!(&fs::read(folder.path().join(name)).unwrap(), bytes, "{name}");
    }
    assert!(names(folder.path()).iter().all(|name| !name.contains("tmp")));
}

#[test]
fn a_new_wing_brings_its_lines_where_its_model_is_new() {
    let folder = TempDir::new().unwrap();
    let fleet = invented();
    write_folder(&fleet, folder.path(), TableFormat::Csv).unwrap();
    let other = FleetSpec::default().wings(1).seed(77).run().unwrap().fleet;
    let history = &other.histories()[0];
    let known = other.line_set(history);
    let plain = linedrift::LineSet::new("Tern 4", None, known.lines().to_vec(), known.segments().to_vec()).unwrap();
    // as a wide file gives it: one piece a line
    let segments = plain.lines().iter().map(|line| linedrift::Segment {
        name: line.name.clone(),
        parent: None,
        material: "unknown".to_owned(),
        length_mm: line.nominal_mm,
        diameter_mm: None,
        can_loop: None,
    });
    let lines: Vec<_> =
        (0..).zip(plain.lines()).map(|(at, line)| linedrift::Line { segment: at, ..line.clone() }).collect();
    let set = linedrift::LineSet::new("Tern 4", None, lines, segments.collect()).unwrap().without_cascade();
    let check = Check { id: "T1-1".to_owned(), ..history.checks[0].clone() };
    let stage = |wing: &str, set: &linedrift::LineSet, check: &Check| {
        let lock = FolderLock::take(folder.path())?;
        let addition = Addition::of_new_wing(Wing::new(wing, set.model()), set.clone(), check.clone());
        addition.stage(folder.path(), &read(folder.path()), &lock)?.commit()
    };
    stage("T1", &set, &check).unwrap();
    let now = read(folder.path());
    assert_eq!(now.histories().len(), 4);
    assert_eq!(now.history("T1").unwrap().checks[0].readings.len(), check.readings.len());
    let lines = fs::read_to_string(folder.path().join("lines.csv")).unwrap();
    // a second wing of that model adds no lines
    stage("T2", &set, &Check { id: "T2-1".to_owned(), ..check.clone() }).unwrap();
    assert_eq!(fs::read_to_string(folder.path().join("lines.csv")).unwrap(), lines);
    assert!(matches!(
        stage("T1", &set, &Check { id: "T1-9".to_owned(), ..check.clone() }),
        Err(AdditionError::WingThere { .. })
    ));
    let mut lines = set.lines().to_vec();
    lines[4].nominal_mm += 3.0;
    let longer = linedrift::LineSet::new("Tern 4", None, lines, set.segments().to_vec()).unwrap().without_cascade();
    let error = stage("T3", &longer, &Check { id: "T3-1".to_owned(), ..check }).unwrap_err();
    assert!(matches!(error, AdditionError::ModelDiffers { .. }), "{error}");
    assert_eq!(read(folder.path()).histories().len(), 5);
}

#[test]
fn a_new_folder_is_there_whole_or_not_at_all() {
    let home = TempDir::new().unwrap();
    let fleet = invented();
    let folder = home.path().join("far/loft");
    write_new_folder(&fleet, &folder, TableFormat::Csv).unwrap();
    assert!(read(&folder) == fleet);
    assert!(write_new_folder(&fleet, &folder, TableFormat::Csv).is_err(), "not over one that holds something");
    assert!(read(&folder) == fleet);
    assert_eq!(names(&home.path().join("far")), ["loft"]);
    let empty = home.path().join("empty");
    fs::create_dir(&empty).unwrap();
    write_new_folder(&fleet, &empty, TableFormat::Parquet).unwrap();
    assert!(read(&empty) == fleet);
}

#[test]
fn two_cannot_add_at_once_and_a_lock_left_behind_locks_nothing() {
    let folder = TempDir::new().unwrap();
    fs::write(folder.path().join(".linedrift-lock"), "4711\n").unwrap();
    let first = FolderLock::take(folder.path()).unwrap();
    let error = FolderLock::take(folder.path()).unwrap_err();
    let FleetWriteError::Locked { path, holder } = &error else { panic!("{error}") };
    assert_eq!(path, &folder.path().join(".linedrift-lock"));
    assert_eq!(holder, &std::process::id().to_string());
    assert!(error.to_string().contains(".linedrift-lock"), "{error}");
    drop(first);
    FolderLock::take(folder.path()).unwrap();
}

/// Several tables are put in place together, which only one may do at a time.
#[test]
fn a_folder_is_not_written_over_while_another_adds_to_it() {
    let fleet = invented();
    let folder = TempDir::new().unwrap();
    write_folder(&fleet, folder.path(), TableFormat::Csv).unwrap();
    let lock = FolderLock::take(folder.path()).unwrap();
    let before = names(folder.path());
    let refused = write_folder(&fleet, folder.path(), TableFormat::Parquet).unwrap_err();
    assert!(refused.to_string().contains("another process"), "{refused}");
    assert_eq!(names(folder.path()), before);
    drop(lock);
    write_folder(&fleet, folder.path(), TableFormat::Parquet).unwrap();
    assert!(read(folder.path()) == fleet);
}

#[test]
fn a_journal_gives_back_what_was_written_and_tells_what_is_damaged() {
    let folder = TempDir::new().unwrap();
    let check = Check::new("7/ü-1", "2026-03-01".parse().unwrap(), 85.0);
    let head = RoundHead::new("7/ü", "Heron", &check, Some("first"));
    let path = Journal::path_of(folder.path(), "7/ü");
    assert_eq!(path, folder.path().join("record-7%2F%C3%BC.journal"));
    assert!(Journal::resume(folder.path(), "7/ü").unwrap().is_none());
    let event = |reading_mm| RoundEvent::Read { side: Side::Left, line: "A\n1".to_owned(), reading_mm };
    let mut journal = Journal::begin(folder.path(), &head).unwrap();
    journal.add(&[event(6500.5)]).unwrap();
    journal.add(&[RoundEvent::Strike { side: Side::Left, line: "A\n1".to_owned() }, event(6501.0)]).unwrap();
    let busy = Journal::resume(folder.path(), "7/ü").unwrap_err();
    assert!(matches!(busy, JournalError::Write(FleetWriteError::Locked { .. })), "{busy}");
    drop(journal);
    assert!(Journal::begin(folder.path(), &head).is_err(), "an interrupted round is not begun anew");

    let open = Journal::resume(folder.path(), "7/ü").unwrap().unwrap();
    assert_eq!((open.head, open.events.len()), (head.clone(), 3));
    assert_eq!(open.events[0], event(6500.5));
    drop(open.journal);
    // cut in the middle of the last line: it was never answered
    let whole = fs::read(&path).unwrap();
    for cut in 1..20 {
        fs::write(&path, &whole[..whole.len() - cut]).unwrap();
        let mut open = Journal::resume(folder.path(), "7/ü").unwrap().unwrap();
        assert_eq!(open.events.len(), 2, "{cut}");
        open.journal.add(&[event(6502.0)]).unwrap();
        drop(open);
        let again = Journal::resume(folder.path(), "7/ü").unwrap().unwrap();
        assert_eq!(again.events[2], event(6502.0));
    }
    // a head that was cut is no round yet
    fs::write(&path, &whole[..30]).unwrap();
    assert!(Journal::resume(folder.path(), "7/ü").unwrap().is_none());
    drop(Journal::begin(folder.path(), &head).unwrap());
    assert_eq!(Journal::resume(folder.path(), "7/ü").unwrap().unwrap().head, head);
    let text = String::from_utf8(whole).unwrap();
    for (from, to) in [("strike", "strake"), ("6500.5", "x"), ("\n{\"step\":\"strike\"", "\n\n{\"step\":\"strike\"")]
    {
        fs::write(&path, text.replace(from, to)).unwrap();
        let error = Journal::resume(folder.path(), "7/ü").unwrap_err();
        assert!(matches!(error, JournalError::Damaged { line: 2 | 3, .. }), "{from}: {error}");
    }
    fs::write(&path, text.replace("linedrift.journal/1", "linedrift.journal/9")).unwrap();
    assert!(matches!(Journal::resume(folder.path(), "7/ü"), Err(JournalError::Damaged { line: 1, .. })));
    fs::write(&path, text.replacen("\"wing\":\"7/ü\"", "\"wing\":\"8\"", 1)).unwrap();
    assert!(matches!(Journal::resume(folder.path(), "7/ü"), Err(JournalError::Differs { what: "wing", .. })));
}
