//! The streaming pass over a folder's readings, against the folder read whole: to the bit, and fault by fault.

use std::fs::{self, File};
use std::path::{Path, PathBuf};

use linedrift::check::{Fleet, RiserReading};
use linedrift::fleet::{Fault, FolderSpec, ScanSpec, TableFormat, write_folder};
use linedrift::simulate::FleetSpec;
use linedrift::wear::{Reduction, WearSpec};
use linedrift::{Row, Side};
use polars::prelude::{
    DataFrame, IdxCa, NamedFrom, NewChunkedArray, ParquetReader, ParquetWriter, SerReader, Series,
};

/// Adjusted wings, repeats, loads, warmth and risers with a datum of their own: whatever a deviation depends on.
fn fleet() -> Fleet {
    let made = FleetSpec::demo().wings(14).unchecked_wings(1).adjusted_share(0.8).repeats(2).seed(43).run().unwrap();
    let mut histories = made.fleet.histories().to_vec();
    for (at, check) in histories.iter_mut().flat_map(|history| &mut history.checks).enumerate() {
        check.load_n = [50.0, 60.0, 42.5][at % 3];
        check.temperature_c = [20.0, 31.25, -4.0, 20.0][at % 4];
        if at % 5 == 0 {
            let riser = |side, row, datum| RiserReading { side, row, datum_mm: Some(datum), riser_mm: None };
            check.risers = vec![riser(Side::Left, Row::A, check.datum_mm + 1.5), riser(Side::Right, Row::B, 0.25)];
        }
        // some lines were read once only
        check.readings.retain(|reading| (reading.line + at) % 3 > 0 || reading.repeat == 1);
    }
    Fleet::new(made.fleet.line_sets().to_vec(), histories).unwrap()
}

fn in_threads<T: Send>(threads: usize, run: impl FnOnce() -> T + Send) -> T {
    rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap().install(run)
}

fn frame(path: &Path) -> DataFrame {
    ParquetReader::new(File::open(path).unwrap()).finish().unwrap()
}

/// Rows of a frame, as a file of row groups of so many rows.
fn write_rows(frame: &DataFrame, rows: &[usize], group: usize, path: &Path) {
    let places: Vec<u32> = rows.iter().map(|row| u32::try_from(*row).unwrap()).collect();
    let mut picked = frame.take(&IdxCa::from_slice("".into(), &places)).unwrap();
    picked.rechunk_mut_par();
    let file = File::create(path).unwrap();
    ParquetWriter::new(file).with_row_group_size(Some(group)).finish(&mut picked).unwrap();
}

/// A folder whose readings are in three files, row by row as `part_of(row)` says, in the order that `order` gives them.
fn cut(fleet: &Fleet, part_of: impl Fn(usize) -> usize, order: impl Fn(usize) -> usize) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    write_folder(fleet, folder.path(), TableFormat::Parquet).unwrap();
    let whole = folder.path().join("readings.parquet");
    let readings = frame(&whole);
    fs::remove_file(&whole).unwrap();
    fs::create_dir(folder.path().join("readings")).unwrap();
    for part in 0..3 {
        let mut rows: Vec<usize> = (0..readings.height()).filter(|row| part_of(*row) == part).collect();
        rows.sort_by_key(|row| order(*row));
        write_rows(&readings, &rows, 97 + 400 * part, &part_file(folder.path(), part));
    }
    folder
}

fn part_file(folder: &Path, part: usize) -> PathBuf {
    folder.join(format!("readings/part-{part}.parquet"))
}

/// A number that looks drawn.
fn mixed(row: usize) -> usize {
    (row.wrapping_mul(2_654_435_761) ^ (row >> 3)) % 1_000_003
}

#[test]
fn scanned_is_what_reading_whole_gives_for_any_threads_files_and_order() {
    let fleet = fleet();
    let whole = Reduction::new(&fleet, &[]).unwrap();
    assert!(whole.readings() > 5000);
    let rows = whole.readings();
    let cuts: [(&str, tempfile::TempDir); 4] = [
        ("one after the other", cut(&fleet, |row| row * 3 / rows, |row| row)),
        ("backwards", cut(&fleet, |row| 2 - row * 3 / rows, |row| usize::MAX - row)),
        ("wings in every file", cut(&fleet, |row| row % 3, |row| row)),
        ("shuffled", cut(&fleet, |row| mixed(row) % 3, mixed)),
    ];
    for (name, folder) in &cuts {
        for threads in [1, 2, 5] {
            let scan = in_threads(threads, || ScanSpec::default().run(folder.path())).unwrap();
            assert_eq!(scan.reduction, whole, "{name}, {threads} threads");
        }
    }
    // one file, Parquet and CSV
    for format in [TableFormat::Parquet, TableFormat::Csv] {
        let folder = tempfile::tempdir().unwrap();
        write_folder(&fleet, folder.path(), format).unwrap();
        for threads in [1, 2] {
            let scan = in_threads(threads, || ScanSpec::default().run(folder.path())).unwrap();
            assert_eq!(scan.reduction, whole, "{format:?}");
        }
    }
    let fit =
        |reduction: &Reduction, threads| in_threads(threads, || WearSpec::default().fit_reduced(reduction)).unwrap();
    let scan = ScanSpec::default().run(cuts[3].1.path()).unwrap();
    assert_eq!(fit(&scan.reduction, 1), fit(&whole, 2));
}

#[test]
fn some_files_only_are_reduced_when_they_are_named_and_add_up() {
    let fleet = fleet();
    let folder = cut(&fleet, |row| mixed(row) % 3, mixed);
    let part = |names: &[&str]| ScanSpec::default().parts(names.to_vec()).run(folder.path());
    let some = part(&["part-0.parquet", "part-2.parquet"]).unwrap().reduction;
    let rest = part(&["part-1.parquet"]).unwrap().reduction;
    assert_eq!(some.merge_with_repeats(rest).unwrap().reduction, Reduction::new(&fleet, &[]).unwrap());
    let error = part(&["part-1.parquet", "part-7.parquet"]).unwrap_err();
    assert_eq!((error.faults().len(), error.faults()[0].value.as_str()), (1, "part-7.parquet"));
}

#[test]
fn covariates_and_notes_are_those_of_the_folder() {
    let folder = tempfile::tempdir().unwrap();
    write_folder(&fleet(), folder.path(), TableFormat::Csv).unwrap();
    for (name, column) in [("wings", "sea"), ("readings", "mood")] {
        let path = folder.path().join(format!("{name}.csv"));
        let text = fs::read_to_string(&path).unwrap();
        let more = text
            .lines()
            .enumerate()
            .map(|(at, line)| if at == 0 { format!("{line},{column}\n") } else { format!("{line},{}\n", at % 4) });
        fs::write(&path, more.collect::<String>()).unwrap();
    }
    let names = ["sea".to_owned(), "mass_kg".to_owned()];
    let asked = [names[0].clone()];
    let read = FolderSpec::default().covariates(&asked).read(folder.path()).unwrap();
    let scan = ScanSpec::default().covariates(&asked).run(folder.path()).unwrap();
    assert_eq!(scan.reduction, Reduction::new(&read.fleet, &asked).unwrap());
    assert_eq!(scan.notes, read.notes);
    assert!(scan.notes.iter().any(|note| note.contains("`mood`")));
    // a covariate that a wing with readings lacks
    let path = folder.path().join("wings.csv");
    let text = fs::read_to_string(&path).unwrap();
    fs::write(&path, text.replacen(",1\n", ",\n", 1)).unwrap();
    let error = ScanSpec::default().covariates(&asked).run(folder.path()).unwrap_err();
    assert!(error.to_string().contains("covariate `sea`"), "{error}");
}

/// Faults of the scan, which must be those that reading whole finds.
fn faults(folder: &Path) -> Vec<Fault> {
    let whole = FolderSpec::default().read(folder).unwrap_err();
    for threads in [1, 3] {
        let scanned = in_threads(threads, || ScanSpec::default().run(folder)).unwrap_err();
        assert_eq!(scanned.faults(), whole.faults());
        assert_eq!(scanned.more(), whole.more());
        assert_eq!(scanned.to_string(), whole.to_string());
    }
    whole.faults().to_vec()
}

#[test]
fn a_reading_that_stands_in_two_files_is_told_where_it_stands_again() {
    let fleet = fleet();
    let folder = cut(&fleet, |row| row % 3, |row| row);
    let (first, last) = (frame(&part_file(folder.path(), 0)), frame(&part_file(folder.path(), 2)));
    let both = last.vstack(&first.slice(200, 3)).unwrap();
    let rows: Vec<usize> = (0..both.height()).collect();
    write_rows(&both, &rows, 50, &part_file(folder.path(), 2));
    let found = faults(folder.path());
    let places: Vec<(&str, usize, &str)> =
        found.iter().map(|fault| (fault.table.as_str(), fault.row, fault.column.as_str())).collect();
    let row = |k| last.height() + 2 + k;
    let expected = [0, 1, 2].map(|k| ("readings/part-2.parquet", row(k), "line"));
    assert_eq!(places, expected);
    assert!(found[0].expected.contains("once per check and side"));
}

#[test]
fn faults_in_many_rows_are_numbered_across_row_groups_and_counted() {
    let fleet = fleet();
    let folder = cut(&fleet, |row| row % 3, |row| row);
    // checks that `checks` does not have: a run of rows is named once, however it is cut into row groups
    let path = folder.path().join("checks.parquet");
    let checks = frame(&path);
    let kept: Vec<usize> = (0..checks.height()).filter(|row| row % 2 == 0).collect();
    write_rows(&checks, &kept, 1000, &path);
    fs::remove_file(folder.path().join("actions.parquet")).unwrap();
    let found = faults(folder.path());
    let of_readings = found.iter().filter(|fault| fault.table.starts_with("readings/"));
    let unknown = of_readings.filter(|fault| fault.expected.contains("a check that `checks` has")).count();
    assert_eq!(unknown, 3 * (checks.height() - kept.len()), "once per run and file");
}

#[test]
fn a_damaged_file_among_sound_ones_is_named_and_so_are_other_columns_and_types() {
    let fleet = fleet();
    let folder = cut(&fleet, |row| row % 3, |row| row);
    let path = part_file(folder.path(), 1);
    let bytes = fs::read(&path).unwrap();
    for length in [0, 3, 12, bytes.len() / 2, bytes.len() - 1] {
        fs::write(&path, &bytes[..length]).unwrap();
        let found = faults(folder.path());
        assert_eq!(found.len(), 1, "{length}");
        assert_eq!((found[0].table.as_str(), found[0].row), ("readings/part-1.parquet", 0));
    }
    // data pages that cannot be unpacked
    let mut torn = bytes.clone();
    torn[8..400].fill(0x5a);
    fs::write(&path, &torn).unwrap();
    let error = ScanSpec::default().run(folder.path()).unwrap_err();
    assert!(error.faults().iter().all(|fault| fault.table == "readings/part-1.parquet"), "{error}");
    // another table under the name
    fs::copy(folder.path().join("wings.parquet"), &path).unwrap();
    let found = faults(folder.path());
    assert_eq!(found.len(), 4, "{found:#?}");
    assert!(found.iter().all(|fault| fault.row == 1 && fault.expected.starts_with("a column named")));
    // a column of another type: the row says what is wrong with it
    let mut other = frame(&part_file(folder.path(), 0));
    other.rename("reading_mm", "side2".into()).unwrap();
    other.rename("side", "reading_mm".into()).unwrap();
    other.rename("side2", "side".into()).unwrap();
    let rows: Vec<usize> = (0..40).collect();
    write_rows(&other, &rows, 15, &path);
    let found = faults(folder.path());
    assert!(found.iter().all(|fault| fault.table == "readings/part-1.parquet"));
    assert!(found.iter().any(|fault| fault.expected == "a number" && fault.value == "left"));
    // nothing at all
    for part in 0..3 {
        fs::remove_file(part_file(folder.path(), part)).unwrap();
    }
    let found = faults(folder.path());
    assert_eq!(found.len(), 1);
    assert!(found[0].expected.contains("at least one Parquet file"));
}

#[test]
fn a_reading_of_a_size_that_cannot_be_is_refused_as_reading_whole_refuses_it() {
    let folder = cut(&fleet(), |row| row % 3, |row| row);
    let path = part_file(folder.path(), 1);
    let mut readings = frame(&path);
    let mut values: Vec<f64> =
        readings.column("reading_mm").unwrap().f64().unwrap().iter().map(Option::unwrap).collect();
    values[7] = 5e9;
    readings.with_column(Series::new("reading_mm".into(), values).into()).unwrap();
    ParquetWriter::new(File::create(&path).unwrap()).finish(&mut readings).unwrap();
    let whole = FolderSpec::default().read(folder.path()).unwrap_err();
    assert_eq!((whole.faults().len(), whole.faults()[0].column.as_str()), (1, "reading_mm"));
    let scanned = ScanSpec::default().run(folder.path()).unwrap_err();
    assert_eq!(scanned.faults(), whole.faults());
}

/// Who measured is no part of the sums, and its name is judged all the same.
#[test]
fn a_hidden_character_in_the_name_of_an_operator_is_refused_as_reading_whole_refuses_it() {
    let mut histories = fleet().histories().to_vec();
    for (at, reading) in
        histories.iter_mut().flat_map(|history| &mut history.checks).flat_map(|check| &mut check.readings).enumerate()
    {
        let name = [None, Some("first"), Some("second of a long name"), Some("fir\u{200b}st")];
        reading.operator = name[if at == 1500 || at == 1502 { 3 } else { at / 97 % 3 }].map(str::to_owned);
    }
    let fleet = Fleet::new(fleet().line_sets().to_vec(), histories).unwrap();
    for format in [TableFormat::Csv, TableFormat::Parquet] {
        let folder = tempfile::tempdir().unwrap();
        write_folder(&fleet, folder.path(), format).unwrap();
        let whole = FolderSpec::default().read(folder.path()).unwrap_err();
        let at: Vec<(usize, &str)> = whole.faults().iter().map(|fault| (fault.row, fault.column.as_str())).collect();
        assert_eq!(at, [(1502, "operator"), (1504, "operator")]);
        let scanned = ScanSpec::default().run(folder.path()).unwrap_err();
        assert_eq!(scanned.faults(), whole.faults(), "{format:?}");
    }
}

/// A quote that is opened and not closed makes one record of the rest of a file, which is not held for it.
#[test]
fn a_record_without_end_is_refused_at_its_row_as_reading_whole_refuses_it() {
    let folder = tempfile::tempdir().unwrap();
    write_folder(&fleet(), folder.path(), TableFormat::Csv).unwrap();
    let path = folder.path().join("readings.csv");
    let sound = std::fs::read_to_string(&path).unwrap();
    let (begin, rest) = sound.match_indices('\n').nth(40).map(|(at, _)| sound.split_at(at + 1)).unwrap();
    let times = (66 << 20) / rest.len() + 1;
    std::fs::write(&path, format!("{begin}\"{}", rest.repeat(times))).unwrap();
    let whole = FolderSpec::default().read(folder.path()).unwrap_err();
    let found = whole.faults().iter().map(|fault| (fault.table.as_str(), fault.row)).collect::<Vec<_>>();
    assert_eq!(found, [("readings", 42)], "{whole}");
    assert!(whole.faults()[0].expected.contains("at most 64 MB"), "{whole}");
    let scanned = ScanSpec::default().run(folder.path()).unwrap_err();
    assert_eq!(scanned.faults(), whole.faults());
}
