//! Work written into a fleet folder: nothing that was there is lost.

use std::fs;
use std::path::Path;

use linedrift::check::{Action, ActionKind, Fitting, History};
use linedrift::fleet::{
    FolderLock, FolderSpec, Table, TableFormat, WingWork, read_given, read_planform, read_steps, record_work,
    write_folder, write_table,
};
use linedrift::simulate::FleetSpec;
use linedrift::wing::Side;
use tempfile::TempDir;

fn loft(format: TableFormat) -> TempDir {
    let folder = TempDir::new().unwrap();
    let fleet = FleetSpec::demo().wings(20).run().unwrap().fleet;
    write_folder(&fleet, folder.path(), format).unwrap();
    folder
}

fn action(history: &History, segment: usize, kind: ActionKind, change_mm: f64) -> Action {
    let check = history.checks.last().unwrap();
    let turns = matches!(kind, ActionKind::Turn | ActionKind::RemoveLoop).then_some(1.0);
    let (date, hours_h, side) = (check.date, check.hours_h, Side::Left);
    Action { date, hours_h, side, segment: Some(segment), kind, change_mm, turns, check: None }
}

/// Records one turn and one splice on the first wing; what the folder says then.
fn record(folder: &Path) -> (Vec<Action>, Vec<Fitting>) {
    let fleet = FolderSpec::default().read(folder).unwrap().fleet;
    let history = &fleet.histories()[0];
    let mut fittings = history.fittings.clone();
    let known = fittings.iter().position(|fitting| fitting.side == Side::Left).unwrap();
    let at = fittings[known].segment;
    fittings[known].turns = Some(fittings[known].turns.unwrap_or(0.0) + 1.0);
    fittings[known].step_mm = Some(9.25);
    let set = fleet.line_set(history);
    let free = (0..set.segments().len())
        .find(|at| fittings.iter().all(|fitting| fitting.segment != *at || fitting.side != Side::Left))
        .unwrap();
    fittings.push(Fitting {
        side: Side::Left,
        segment: free,
        turns: Some(2.0),
        spare_mm: Some(17.5),
        can_loop: Some(true),
        link_diameter_mm: None,
        step_mm: None,
    });
    let actions =
        vec![action(history, at, ActionKind::Turn, -10.053), action(history, free, ActionKind::Splice, 6.0)];
    let work = WingWork { set, history, actions: actions.clone(), fittings: fittings.clone() };
    let record = record_work(folder, &[work], &FolderLock::take(folder).unwrap()).unwrap();
    assert_eq!((record.actions, record.fittings_changed, record.fittings_new), (2, 1, 1));
    let mut expected = history.actions.clone();
    expected.extend(actions);
    (expected, fittings)
}

fn check_read_back(folder: &Path, before: &linedrift::Fleet, actions: &[Action], fittings: &[Fitting]) {
    let after = FolderSpec::default().read(folder).unwrap().fleet;
    let history = &after.histories()[0];
    assert_eq!(history.actions, actions);
    for fitting in fittings {
        assert!(history.fittings.contains(fitting), "{fitting:?}");
    }
    assert_eq!(history.fittings.len(), fittings.len());
    assert_eq!(after.histories()[1..], before.histories()[1..]);
    assert_eq!(history.checks, before.histories()[0].checks);
    assert!(fs::read_dir(folder).unwrap().all(|file| !file.unwrap().file_name().to_string_lossy().contains(".tmp")));
}

#[test]
fn csv_rows_stay_byte_for_byte() {
    let folder = loft(TableFormat::Csv);
    let before = FolderSpec::default().read(folder.path()).unwrap().fleet;
    // a column of the workshop's own, windows line ends, a quoted cell over two lines, a blank line
    for (table, own) in [("actions", "who"), ("fittings", "note")] {
        let path = folder.path().join(format!("{table}.csv"));
        let text = fs::read_to_string(&path).unwrap();
        let mut rows: Vec<String> = text.lines().map(|row| format!("{row},\"Ann, \"\"A\"\"\nB\"")).collect();
        rows[0] = format!("{},{own}", text.lines().next().unwrap());
        rows.insert(2, String::new());
        fs::write(&path, format!("\u{feff}{}", rows.join("\r\n"))).unwrap();
    }
    let old =
        ["actions", "fittings"].map(|table| fs::read_to_string(folder.path().join(format!("{table}.csv"))).unwrap());
    let (actions, fittings) = record(folder.path());
    check_read_back(folder.path(), &before, &actions, &fittings);
    let new =
        ["actions", "fittings"].map(|table| fs::read_to_string(folder.path().join(format!("{table}.csv"))).unwrap());
    // the actions only grow
    assert!(new[0].starts_with(&old[0]), "{}", new[0]);
    assert_eq!(new[0][old[0].len()..].matches("\r\n").count(), 3);
    // columns that were not there come at the end of each row; one row differs otherwise
    let same = |row: &str| old[1].split("\r\n").filter(|known| !known.is_empty()).any(|known| row.starts_with(known));
    let changed = new[1].split("\r\n").filter(|row| !row.is_empty() && !same(row)).count();
    assert_eq!(changed, 2, "{}", new[1]);
    assert!(new[1].starts_with('\u{feff}') && new[1].contains("Ann, \"\"A\"\"\nB\""));
}

#[test]
fn parquet_keeps_its_columns_and_types() {
    let folder = loft(TableFormat::Parquet);
    let before = FolderSpec::default().read(folder.path()).unwrap().fleet;
    let (actions, fittings) = record(folder.path());
    check_read_back(folder.path(), &before, &actions, &fittings);
    assert!(!folder.path().join("actions.csv").exists());
    // unknown columns, and ids that are whole numbers
    let other = loft(TableFormat::Csv);
    fs::remove_file(other.path().join("actions.csv")).unwrap();
    let fleet = FolderSpec::default().read(other.path()).unwrap().fleet;
    let history = &fleet.histories()[0];
    let name = fleet.line_set(history).segments()[0].name.clone();
    let table = Table::new("actions")
        .text("who", [Some("Ann")])
        .count("batch", [Some(7)])
        .text("wing", [Some(history.wing.id.as_str())])
        .text("date", [Some(history.checks[0].date.to_string())])
        .count("hours", [Some(0)])
        .text("side", [Some("left")])
        .text("segment", [Some(name)])
        .text("action", [Some("turn")])
        .number("change_mm", [Some(-10.0)]);
    write_table(&table, other.path(), TableFormat::Parquet).unwrap();
    let fleet = FolderSpec::default().read(other.path()).unwrap();
    let work = WingWork {
        set: fleet.fleet.line_set(&fleet.fleet.histories()[0]),
        history: &fleet.fleet.histories()[0],
        actions: vec![action(&fleet.fleet.histories()[0], 0, ActionKind::Turn, -9.5)],
        fittings: fleet.fleet.histories()[0].fittings.clone(),
    };
    record_work(other.path(), &[work], &FolderLock::take(other.path()).unwrap()).unwrap();
    let after = FolderSpec::default().read(other.path()).unwrap();
    assert_eq!(after.notes, fleet.notes, "the unknown columns are still there");
    let read = &after.fleet.histories()[0].actions;
    assert_eq!((read.len(), read[0].hours_h, read[1].change_mm), (2, 0.0, -9.5));
    assert_eq!(read[1].hours_h, history.checks.last().unwrap().hours_h);
}

#[test]
fn a_table_that_is_missing_is_made_and_one_that_is_wrong_stays() {
    for format in [TableFormat::Csv, TableFormat::Parquet] {
        let folder = loft(format);
        let ending = if format == TableFormat::Csv { "csv" } else { "parquet" };
        for table in ["actions", "fittings"] {
            fs::remove_file(folder.path().join(format!("{table}.{ending}"))).unwrap();
        }
        let fleet = FolderSpec::default().read(folder.path()).unwrap().fleet;
        let history = &fleet.histories()[0];
        let actions = vec![action(history, 0, ActionKind::Turn, -10.0)];
        let work = WingWork { set: fleet.line_set(history), history, actions: actions.clone(), fittings: Vec::new() };
        assert_eq!(
            record_work(folder.path(), &[work], &FolderLock::take(folder.path()).unwrap()).unwrap().fittings_new,
            0
        );
        assert_eq!(FolderSpec::default().read(folder.path()).unwrap().fleet.histories()[0].actions, actions);
        assert!(!folder.path().join(format!("fittings.{ending}")).exists());
    }
    let folder = loft(TableFormat::Csv);
    let fleet = FolderSpec::default().read(folder.path()).unwrap().fleet;
    let history = &fleet.histories()[0];
    let path = folder.path().join("actions.csv");
    fs::write(&path, "wing;date\n").unwrap();
    let actions = vec![action(history, 0, ActionKind::Turn, -10.0)];
    let work = WingWork { set: fleet.line_set(history), history, actions, fittings: history.fittings.clone() };
    let error =
        record_work(folder.path(), &[work], &FolderLock::take(folder.path()).unwrap()).unwrap_err().to_string();
    assert!(error.contains("actions") && error.contains("semicolons"), "{error}");
    assert_eq!(fs::read_to_string(&path).unwrap(), "wing;date\n");
}

fn file(folder: &TempDir, text: &str) -> std::path::PathBuf {
    let path = folder.path().join("given.csv");
    fs::write(&path, text).unwrap();
    path
}

#[test]
fn files_of_their_own_are_read_with_every_fault_in_its_place() {
    let folder = TempDir::new().unwrap();
    let steps =
        read_steps(&file(&folder, "action,change_mm,spread_mm,price,most\nturn,-9,0.5,1,2\nsplice,12,,,\n")).unwrap();
    assert_eq!((steps.len(), steps[0].most, steps[0].standard_mm, steps[1].price), (2, Some(2), Some(0.5), None));
    let wrong = "action,change_mm,price,most\nturn,9,,\nglue,1,,\nsmall_link,,,\nlarks_head,-12,x,\nturn,,,1.5\n";
    let faults = read_steps(&file(&folder, wrong)).unwrap_err();
    let places: Vec<(usize, &str)> = faults.faults().iter().map(|fault| (fault.row, fault.column.as_str())).collect();
    assert_eq!(places, [(2, "change_mm"), (3, "action"), (4, "change_mm"), (5, "price"), (6, "most")]);
    assert!(read_steps(&file(&folder, "action\n")).is_err());
    assert!(read_steps(&folder.path().join("no.csv")).is_err());

    let given =
        read_given(&file(&folder, "segment,side,action,amount\nAM1,left,turn,2\nCM1,right,larks_head,\n")).unwrap();
    assert_eq!(
        given.iter().map(ToString::to_string).collect::<Vec<_>>(),
        ["AM1:left:turn:2", "CM1:right:larks_head"]
    );
    let faults = read_given(&file(&folder, "segment,side,action\n,left,turn\nA,up,turn\n")).unwrap_err();
    assert_eq!(faults.faults().iter().map(|fault| fault.row).collect::<Vec<_>>(), [2, 3]);

    let planform = read_planform(&file(&folder, "chord_m,y_m\n2.5,0\n1.0,5\n")).unwrap();
    assert_eq!((planform.span_m(), planform.root_chord_m()), (Some(10.0), 2.5));
    let faults = read_planform(&file(&folder, "chord_m,y_m\n2.5,0\nx,5\n")).unwrap_err();
    assert_eq!((faults.faults()[0].row, faults.faults()[0].column.as_str()), (3, "chord_m"));
    assert!(read_planform(&file(&folder, "chord_m,y_m\n2.5,0\n")).is_err());
}
