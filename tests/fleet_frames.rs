//! Frames: inputs there and back, results with exactly the columns that are documented.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use linedrift::Fleet;
use linedrift::fleet::batch::{BatchJob, BatchSpec, DueJob, PlanJob, TrimJob, VetJob};
use linedrift::fleet::dictionary::{self, ColumnKind, TableEntry};
use linedrift::fleet::frames::{FleetFrames, UnreadColumn, of_table, unreadable_type};
use linedrift::fleet::{FleetReadError, FleetSummary, FolderSpec, Table, tables, write_folder};
use linedrift::forecast::{BacktestSpec, DueSpec};
use linedrift::simulate::{FleetSpec, Policy, PolicyRow};
use linedrift::wear::{LineAt, PredictSpec, WearSpec};
use linedrift::wing::Side;
use polars::prelude::{
    ArrowDataType, ArrowTimeUnit, Column, DataFrame, DataType, NamedFrom, ParquetReader, ParquetWriter, SerReader,
    Series, TimeUnit,
};
use tempfile::TempDir;

fn fleet() -> Fleet {
    FleetSpec::default().wings(10).unchecked_wings(1).seed(3).run().unwrap().fleet
}

fn go(_: linedrift::fleet::batch::BatchProgress) -> std::ops::ControlFlow<()> {
    std::ops::ControlFlow::Continue(())
}

fn answers<J: BatchJob>(fleet: &Fleet, job: &J) -> Vec<Table> {
    let batch = BatchSpec::default().run(fleet, job, &go).unwrap();
    assert!(!batch.answers.is_empty() && batch.failures.is_empty());
    job.tables(&batch.answers)
}

/// The columns of the failures of every job, as they are written in parts.
fn failures(fleet: &Fleet) -> Vec<(String, DataFrame)> {
    fn one<J: BatchJob>(fleet: &Fleet, job: &J) -> (String, DataFrame) {
        let folder = TempDir::new().unwrap();
        let written = BatchSpec::default().write(fleet, job, folder.path(), &go).unwrap();
        let name = written.tables.last().unwrap().clone();
        let file = fs::File::open(folder.path().join(&name).join("part-00000.parquet")).unwrap();
        (name, ParquetReader::new(file).finish().unwrap())
    }
    let fit = WearSpec::default().fit(fleet).unwrap();
    let due = DueJob::new(&DueSpec::default().draws(200), fleet, &fit).unwrap();
    let (vet, trim, plan) = (VetJob::default(), TrimJob::default(), PlanJob::default());
    vec![one(fleet, &vet), one(fleet, &trim), one(fleet, &plan), one(fleet, &due)]
}

/// Every result table of a small fleet but those of failures.
fn results(fleet: &Fleet) -> Vec<Table> {
    let summary = FleetSummary::of(fleet);
    let mut all = vec![tables::summary_models(&summary), tables::summary_rows(&summary)];
    all.extend(answers(fleet, &VetJob::default()));
    all.extend(answers(fleet, &TrimJob::default()));
    all.extend(answers(fleet, &PlanJob::default()));
    let fit = WearSpec::default().fit(fleet).unwrap();
    all.extend([
        tables::terms(fit.terms()),
        tables::spread(fit.spread()),
        tables::drift(&fit.drift(fleet.line_sets())),
    ]);
    let history = &fleet.histories()[0];
    let at = [LineAt { side: Side::Left, line: 0, hours_h: 50.0 }];
    let rows = PredictSpec::default().run(&fit, fleet.line_set(history), history, &at).unwrap();
    all.push(tables::predictions(&rows));
    let spec = DueSpec::default().draws(200);
    all.extend(answers(fleet, &DueJob::new(&spec, fleet, &fit).unwrap()));
    let test = BacktestSpec::default().draws(200).run(fleet).unwrap();
    all.extend([tables::backtest(test.scores()), tables::backtest_coverage(&test), tables::backtest_crps(&test)]);
    let row = PolicyRow {
        policy: Policy::AtRisk { risk: 0.1 },
        checks_per_100_h: 1.5,
        out_of_trim_pct: 2.0,
        out_of_trim_se_pct: 0.5,
        found_out_pct: 9.0,
    };
    all.push(tables::policies(&[row]));
    all
}

/// One wing is not to be judged, another not to be looked through: two failed.
#[test]
fn a_wing_that_fails_in_either_way_is_counted_once() {
    let fleet = fleet();
    assert_eq!(FleetSummary::of(&fleet).failed, 0);
    let with = |other_model: &[usize], far_datum: &[usize]| {
        let mut histories = fleet.histories().to_vec();
        other_model.iter().for_each(|at| histories[*at].wing.model.push_str(" II"));
        for at in far_datum {
            histories[*at].checks.iter_mut().for_each(|check| check.datum_mm = -2e6);
        }
        FleetSummary::of(&Fleet::new(fleet.line_sets().to_vec(), histories).unwrap()).failed
    };
    let checked: Vec<usize> = (0..10).filter(|at| !fleet.histories()[*at].checks.is_empty()).collect();
    let (first, second) = (checked[0], checked[1]);
    assert_eq!((with(&[first], &[]), with(&[], &[second])), (1, 1));
    assert_eq!((with(&[first], &[second]), with(&[first], &[first])), (2, 1));
}

fn names(frame: &DataFrame) -> Vec<&str> {
    frame.get_column_names().into_iter().map(|name| &**name).collect()
}

fn assert_kinds(entry: &TableEntry, frame: &DataFrame) {
    for column in entry.columns {
        let Ok(found) = frame.column(column.name) else { continue };
        let fits = match column.kind {
            ColumnKind::Text => *found.dtype() == DataType::String,
            ColumnKind::Number => *found.dtype() == DataType::Float64,
            ColumnKind::Count => found.dtype().is_integer(),
        };
        assert!(fits, "{}.{}: {} for {:?}", entry.name, column.name, found.dtype(), column.kind);
        assert!(!column.meaning.is_empty());
    }
}

#[test]
fn results_have_exactly_the_documented_columns() {
    let fleet = fleet();
    let made = results(&fleet).into_iter().map(|table| (table.name.clone(), of_table(&table).unwrap()));
    let made: Vec<(String, DataFrame)> = made.chain(failures(&fleet)).collect();
    let documented: Vec<&str> = dictionary::results().iter().map(|entry| entry.name).collect();
    let produced: BTreeSet<&str> = made.iter().map(|(name, _)| name.as_str()).collect();
    assert_eq!(produced, documented.iter().copied().collect());
    assert_eq!(produced.len(), documented.len());
    for (name, frame) in &made {
        let entry = dictionary::results().iter().find(|entry| entry.name == name).unwrap();
        let columns: Vec<&str> = entry.columns.iter().map(|column| column.name).collect();
        assert_eq!(names(frame), columns, "{name}");
        // nothing is doubtful and no wing fails in this fleet
        let may_be_empty = name == "vet_findings" || name.ends_with("_failures");
        assert!(may_be_empty || frame.height() > 0, "{name} is empty");
        assert_kinds(entry, frame);
    }
}

#[test]
fn inputs_have_documented_columns_and_come_back_as_the_same_fleet() {
    let made = FleetSpec::demo().wings(12).run().unwrap().fleet;
    let frames = FleetFrames::of(&made).unwrap();
    let documented: Vec<&str> = dictionary::inputs().iter().map(|entry| entry.name).collect();
    for named in frames.named() {
        let entry = dictionary::inputs().iter().find(|entry| entry.name == named.name).unwrap();
        let known: Vec<&str> = entry.columns.iter().map(|column| column.name).collect();
        let own = names(named.frame);
        assert!(own.iter().all(|name| known.contains(name)), "{}: {own:?}", named.name);
        assert_kinds(entry, named.frame);
        assert!(documented.contains(&named.name));
    }
    assert!(frames.actions.is_some() && frames.segments.is_some() && frames.risers.is_none());
    let back = frames.read(&FolderSpec::default()).unwrap();
    assert_eq!(back.fleet, made);
}

/// The dictionary says the columns that the reader knows: a folder with all of them reads without a note.
#[test]
fn every_documented_input_column_is_read() {
    for entry in dictionary::inputs() {
        let folder = TempDir::new().unwrap();
        write_folder(&fleet(), folder.path(), linedrift::fleet::TableFormat::Csv).unwrap();
        let path = folder.path().join(format!("{}.csv", entry.name));
        // the columns that are there, the documented ones that are not, without cells, and one that nobody knows
        let before = fs::read_to_string(&path).unwrap_or_default();
        let here: Vec<&str> = before.lines().next().map_or(Vec::new(), |header| header.split(',').collect());
        let documented = entry.columns.iter().map(|column| column.name);
        let mut columns = here.clone();
        columns.extend(documented.filter(|name| !here.contains(name)));
        columns.push("no_such_column");
        let empty = ",".repeat(columns.len() - here.len());
        let header = columns.join(",");
        let rows = before.lines().skip(1).fold(header + "\n", |text, row| text + row + &empty + "\n");
        fs::write(&path, rows).unwrap();
        let read =
            FolderSpec::default().read(folder.path()).unwrap_or_else(|error| panic!("{}: {error}", entry.name));
        assert!(read.fleet == fleet(), "{}", entry.name);
        let left_out: Vec<&String> = read.notes.iter().filter(|note| note.contains("left out the column")).collect();
        let expected = format!("Table `{}`: left out the column `no_such_column`", entry.name);
        assert!(matches!(left_out[..], [note] if note.contains(&expected)), "{left_out:?}");
    }
}

/// A column of a type that tables do not have is the same fault, in the same words, whether it comes in a file, in a frame, or is
/// left out where frames of another library are taken over.
#[test]
fn a_column_of_another_type_is_the_fault_that_it_is_in_a_file() {
    let mut frames = FleetFrames::of(&fleet()).unwrap();
    let folder = TempDir::new().unwrap();
    write_folder(&fleet(), folder.path(), linedrift::fleet::TableFormat::Parquet).unwrap();
    let span = DataType::Duration(TimeUnit::Milliseconds);
    let hours = frames.checks.column("hours").unwrap().cast(&DataType::Int64).unwrap().cast(&span).unwrap();
    let height = hours.len();
    frames.checks.with_column(hours).unwrap();
    let file = fs::File::create(folder.path().join("checks.parquet")).unwrap();
    ParquetWriter::new(file).finish(&mut frames.checks).unwrap();
    let spec = FolderSpec::default();
    let of_file = spec.read(folder.path()).unwrap_err();
    assert_eq!(of_file.faults().iter().filter(|fault| fault.value == "lengths of time").count(), 1, "{of_file}");
    assert_eq!(frames.read(&spec).unwrap_err(), of_file);
    let holds = unreadable_type(&ArrowDataType::Duration(ArrowTimeUnit::Millisecond)).unwrap();
    frames.checks.with_column(Column::full_null("hours".into(), height, &DataType::Null)).unwrap();
    let unread = UnreadColumn { table: "checks".to_owned(), column: "hours".to_owned(), holds };
    assert_eq!(frames.read_with(&spec, &[unread]).unwrap_err(), of_file);
}

#[test]
fn frames_are_judged_as_files_are() {
    let fleet = fleet();
    let frames = FleetFrames::of(&fleet).unwrap();
    let mut broken = frames.clone();
    let height = broken.checks.height();
    let mut dates = vec!["2024-01-01"; height];
    dates[1] = "yesterday";
    broken.checks.with_column(Column::new("date".into(), dates)).unwrap();
    let models: Vec<&str> = (0..broken.wings.height()).map(|_| "no-such-model").collect();
    broken.wings.with_column(Column::new("model".into(), models)).unwrap();
    let readings = broken.readings.drop("reading_mm").unwrap();
    broken.readings = readings;
    let FleetReadError::Faulty(faults) = broken.read(&FolderSpec::default()).unwrap_err() else { panic!("other") };
    let has = |table: &str, row: usize, column: &str| {
        faults
            .faults()
            .iter()
            .any(|fault| (fault.table.as_str(), fault.row, fault.column.as_str()) == (table, row, column))
    };
    assert!(has("checks", 3, "date") && has("wings", 2, "model") && has("readings", 1, "reading_mm"), "{faults}");

    // other widths and types, dates as dates, columns of one's own
    let mut other = frames.clone();
    let days = other.checks.column("date").unwrap().as_materialized_series().clone();
    let days: Vec<i32> = days
        .str()
        .unwrap()
        .iter()
        .map(|day| {
            let day: linedrift::Date = day.unwrap().parse().unwrap();
            let since = day.since(linedrift::Date::constant(1970, 1, 1)).unwrap();
            since.get_days()
        })
        .collect();
    let days = Series::new("date".into(), days).cast(&DataType::Date).unwrap();
    other.checks.with_column(days.into()).unwrap();
    let hours = other.checks.column("hours").unwrap().cast(&DataType::Float64).unwrap();
    other.checks.with_column(hours).unwrap();
    let colour = vec!["red"; other.wings.height()];
    other.wings.with_column(Column::new("colour".into(), colour)).unwrap();
    let read = other.read(&FolderSpec::default()).unwrap();
    assert_eq!(read.fleet, fleet);
    assert!(read.notes.iter().any(|note| note.contains("`colour`")), "{:?}", read.notes);

    // a type that no column has
    let mut odd = frames;
    let odd_days = Series::new("date".into(), vec![1_i64; height]);
    let odd_days = odd_days.cast(&DataType::Duration(polars::prelude::TimeUnit::Milliseconds)).unwrap();
    odd.checks.with_column(odd_days.into()).unwrap();
    let error = odd.read(&FolderSpec::default()).unwrap_err();
    assert!(error.faults().iter().any(|fault| fault.table == "checks" && fault.column == "date"), "{error}");
}

/// The text between two marks of a page.
fn between<'a>(page: &'a str, begin: &str, end: &str) -> &'a str {
    let from = page.find(begin).expect(begin) + begin.len();
    page[from..].split(end).next().unwrap().trim()
}

#[test]
fn the_pages_say_what_the_code_says() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let inputs = dictionary::markdown(dictionary::inputs());
    let results = dictionary::markdown(dictionary::results());
    let read = |path: &str| fs::read_to_string(root.join(path)).unwrap();
    let again = "write it again with `linedrift tables --dictionary`";
    let page = read("docs/frames.md");
    assert_eq!(between(&page, "<!-- results -->", "<!-- end -->"), results.trim(), "docs/frames.md: {again}");
    let page = read("notebooks-data/README.md");
    assert_eq!(between(&page, "<!-- inputs -->", "<!-- end -->"), inputs.trim(), "notebooks-data/README.md: {again}");
    assert_eq!(
        between(&page, "<!-- results -->", "<!-- end -->"),
        results.trim(),
        "notebooks-data/README.md: {again}"
    );
}

#[cfg(feature = "cli")]
mod bundled {
    use polars::prelude::AnyValue;

    use super::{DataFrame, ParquetReader, Path, SerReader, TempDir, dictionary, fs};
    use crate::cli_run::{linedrift, stderr};

    /// Numbers may differ by so much of their size: another processor's or system's `exp` and `ln` differ in the last bits,
    /// and an optimiser carries that on to its tolerance.
    const RELATIVE: f64 = 1e-6;

    fn frame(path: &Path) -> DataFrame {
        let file = fs::File::open(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
        ParquetReader::new(file).finish().unwrap()
    }

    fn assert_same(own: &Path, made: &Path, table: &str) {
        let (own, made) = (frame(own), frame(made));
        assert_eq!((own.shape(), own.schema()), (made.shape(), made.schema()), "{table}");
        for column in own.columns() {
            let other = made.column(column.name()).unwrap();
            for at in 0..column.len() {
                let (a, b) = (column.get(at).unwrap(), other.get(at).unwrap());
                let same = match (&a, &b) {
                    (AnyValue::Float64(a), AnyValue::Float64(b)) => (a - b).abs() <= RELATIVE * (1.0 + a.abs()),
                    _ => a == b,
                };
                assert!(same, "{table}, {} row {at}: {a} and {b}", column.name());
            }
        }
    }

    /// Makes the tables of the demo again and compares them with those in the project.
    fn compare(more: &[&str], wanted: impl Fn(&str) -> bool) {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let folder = TempDir::new().unwrap();
        let out = folder.path().to_str().unwrap();
        let args = [&["tables", "notebooks-data/demo", "--format", "parquet", "--out", out][..], more].concat();
        let output = linedrift(root, &args);
        assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
        let elsewhere = |name: &str| ["wear_predictions", "policies"].contains(&name) || name.ends_with("_failures");
        let tables = dictionary::results().iter().filter(|entry| !elsewhere(entry.name));
        let mut compared = 0;
        for entry in tables.filter(|entry| wanted(entry.name)) {
            let name = format!("{}.parquet", entry.name);
            assert_same(&root.join("notebooks-data/results").join(&name), &folder.path().join(&name), entry.name);
            compared += 1;
        }
        assert!(compared > 0);
    }

    #[test]
    #[ignore = "slow: forecasts of the demo"]
    fn bundled_results_but_the_backtest_are_what_the_command_makes() {
        compare(&["--no-backtest"], |name| !name.starts_with("backtest"));
    }

    #[test]
    #[ignore = "slow: the backtest of the demo"]
    fn bundled_results_of_the_backtest_are_what_the_command_makes() {
        compare(&[], |name| name.starts_with("backtest"));
    }
}
