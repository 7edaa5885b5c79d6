//! Batches: one answer per wing, failures beside them, parts that add up and runs that go on.

use std::collections::BTreeMap;
use std::fs;
use std::ops::ControlFlow;
use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};

use linedrift::Fleet;
use linedrift::check::History;
use linedrift::fleet::batch::{
    BatchError, BatchFailure, BatchJob, BatchProgress, BatchSpec, DueJob, EarlierParts, PlanJob, TrimJob, VetJob,
    latest_checks,
};
use linedrift::fleet::{Table, tables};
use linedrift::forecast::{DueSpec, Limits, LimitsTable};
use linedrift::simulate::FleetSpec;
use linedrift::trim::{Trim, TrimSpec};
use linedrift::wear::WearSpec;
use tempfile::TempDir;

const GO: fn(BatchProgress) -> ControlFlow<()> = |_| ControlFlow::Continue(());

fn fleet(wings: usize) -> Fleet {
    FleetSpec::default().wings(wings).unchecked_wings(1).seed(11).run().unwrap().fleet
}

/// Every file below a folder with its bytes, less the lock.
fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut all = BTreeMap::new();
    let mut open = vec![folder.to_owned()];
    while let Some(at) = open.pop() {
        for entry in fs::read_dir(at).unwrap() {
            let path = entry.unwrap().path();
            let name = path.strip_prefix(folder).unwrap().to_string_lossy().into_owned();
            if path.is_dir() {
                open.push(path);
            } else if name != ".linedrift-lock" {
                all.insert(name, fs::read(&path).unwrap());
            }
        }
    }
    all
}

/// Trims every wing but those named, of which it fails or panics.
struct Odd {
    trim: TrimJob,
    fails: &'static str,
    panics: &'static str,
}

impl BatchJob for Odd {
    type Answer = Trim;

    fn name(&self) -> &'static str {
        "odd"
    }

    fn settings(&self) -> String {
        format!("{} {}", self.fails, self.panics)
    }

    fn wing(&self, fleet: &Fleet, history: &History) -> Result<Option<Trim>, BatchFailure> {
        let id = history.wing.id.as_str();
        assert!(id != self.panics, "on purpose");
        if id == self.fails {
            return Err(BatchFailure::of_wing(id, &"a bad line set"));
        }
        Ok(self.trim.wing(fleet, history)?.map(|judged| judged.trim))
    }

    fn tables(&self, answers: &[Trim]) -> Vec<Table> {
        vec![tables::checks(answers)]
    }
}

#[test]
fn answers_stand_in_the_fleets_order_and_are_those_of_single_calls() {
    let fleet = fleet(9);
    let batch = BatchSpec::default().run(&fleet, &TrimJob::default(), &GO).unwrap();
    assert_eq!((batch.answers.len(), batch.without, batch.failures.len()), (8, 1, 0));
    let latest = latest_checks(&fleet);
    assert_eq!(latest.len(), 8);
    for (judged, one) in batch.answers.iter().zip(&latest) {
        let alone = TrimSpec::default().judge(fleet.line_set(one.history), one.history, one.at).unwrap();
        assert_eq!(judged.trim, alone);
        assert_eq!(judged.change.is_some(), one.before().is_some());
    }
    let pool = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
    let one_thread = pool.install(|| BatchSpec::default().run(&fleet, &TrimJob::default(), &GO).unwrap());
    assert_eq!(one_thread, batch);
    assert_eq!(BatchSpec::default().run(&fleet, &VetJob::default(), &GO).unwrap().answers.len(), 8);
    assert_eq!(BatchSpec::default().run(&fleet, &PlanJob::default(), &GO).unwrap().answers.len(), 8);
}

#[test]
fn due_of_single_wings_is_due_of_the_fleet() {
    let fleet = fleet(8);
    let fit = WearSpec::default().fit(&fleet).unwrap();
    let spec = DueSpec::default().draws(200);
    let whole = spec.run(&fleet, &fit).unwrap();
    let batch = BatchSpec::default().run(&fleet, &DueJob::new(&spec, &fleet, &fit).unwrap(), &GO).unwrap();
    assert_eq!(batch.answers.len(), 8);
    for (wing, history) in batch.answers.iter().zip(fleet.histories()) {
        assert_eq!(wing.row.wing, history.wing.id);
        assert_eq!(whole.wing(&history.wing.id), Some(&wing.row));
    }
}

#[test]
fn a_wing_that_fails_or_breaks_the_program_takes_none_with_it() {
    let fleet = fleet(6);
    let job = Odd { trim: TrimJob::default(), fails: "W02", panics: "W04" };
    let batch = BatchSpec::default().run(&fleet, &job, &GO).unwrap();
    let failed: Vec<&str> = batch.failures.iter().map(|failure| failure.wing.as_str()).collect();
    assert_eq!(failed, ["W02", "W04"]);
    assert_eq!(batch.failures[0].to_string(), "wing `W02`: a bad line set");
    assert!(batch.failures[1].message.contains("fault of the program"));
    assert_eq!(batch.answers.len() + batch.without, 4);

    let folder = TempDir::new().unwrap();
    let written = BatchSpec::default().wings_per_part(2).write(&fleet, &job, folder.path(), &GO).unwrap();
    assert_eq!(
        (written.failures, written.answers, written.without),
        (batch.failures, batch.answers.len(), batch.without)
    );
    assert_eq!(written.tables, ["trim_checks", "odd_failures"]);
}

#[test]
fn progress_counts_every_wing_and_can_stop_the_batch() {
    let fleet = fleet(7);
    let seen = AtomicUsize::new(0);
    let count = |at: BatchProgress| {
        assert_eq!((at.wings, at.resumed), (7, 0));
        seen.fetch_max(at.done, Ordering::Relaxed);
        ControlFlow::Continue(())
    };
    BatchSpec::default().run(&fleet, &VetJob::default(), &count).unwrap();
    assert_eq!(seen.into_inner(), 7);
    // one thread: with as many threads as wings, all have begun before the first can say that it is enough
    let pool = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
    let stop = |_: BatchProgress| ControlFlow::Break(());
    let stopped = pool.install(|| BatchSpec::default().run(&fleet, &VetJob::default(), &stop)).unwrap_err();
    assert!(matches!(stopped, BatchError::Stopped { done: 1, wings: 7 }), "{stopped}");
    let none = BatchSpec::default().wings_per_part(0).write(&fleet, &VetJob::default(), Path::new("x"), &GO);
    assert!(matches!(none, Err(BatchError::WingsPerPart { got: 0 })));
    assert!(!Path::new("x").exists());
}

#[test]
fn a_run_stopped_after_any_wing_goes_on_to_the_same_bytes() {
    let fleet = fleet(11);
    let spec = BatchSpec::default().wings_per_part(3);
    let job = TrimJob::default();
    let whole = TempDir::new().unwrap();
    let written = spec.write(&fleet, &job, whole.path(), &GO).unwrap();
    assert_eq!((written.parts, written.resumed, written.wings), (4, 0, 11));
    let expected = files(whole.path());
    let names = ["trim_checks", "trim_diagnosis", "trim_rows", "trim_lines", "trim_twist", "trim_failures"];
    assert_eq!(written.tables, names);
    assert_eq!(expected.len(), 4 * names.len() + 1);

    for stop_at in [1, 4, 7, 10] {
        let folder = TempDir::new().unwrap();
        let watch = |at: BatchProgress| {
            if at.done >= stop_at { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
        };
        // one thread, so that the stop comes where it is told
        let pool = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
        let stopped = pool.install(|| spec.write(&fleet, &job, folder.path(), &watch)).unwrap_err();
        assert!(
            matches!(stopped, BatchError::Stopped { done, wings: 11 } if done == (stop_at - 1) / 3 * 3),
            "{stopped}"
        );
        assert!(files(folder.path()).len() < expected.len());
        // what a killed process leaves: half a file under a hidden name, and a part that the manifest does not know
        fs::create_dir_all(folder.path().join("trim_rows")).unwrap();
        fs::write(folder.path().join("trim_rows/.part-00003.parquet.77-1.tmp"), "half").unwrap();
        fs::write(folder.path().join("trim_rows/part-00003.parquet"), "not known").unwrap();
        let first = AtomicUsize::new(0);
        let watch = |at: BatchProgress| {
            first.store(at.resumed, Ordering::Relaxed);
            ControlFlow::Continue(())
        };
        let resumed = spec.write(&fleet, &job, folder.path(), &watch).unwrap();
        assert_eq!(resumed.resumed, (stop_at - 1) / 3);
        assert_eq!(first.into_inner(), (stop_at - 1) / 3 * 3);
        assert_eq!((resumed.answers, resumed.without), (written.answers, written.without));
        assert!(files(folder.path()) == expected, "stopped at {stop_at}");
    }
}

#[test]
fn a_part_that_is_lost_or_altered_is_made_again() {
    let fleet = fleet(6);
    let spec = BatchSpec::default().wings_per_part(2);
    let folder = TempDir::new().unwrap();
    spec.write(&fleet, &VetJob::default(), folder.path(), &GO).unwrap();
    let expected = files(folder.path());
    assert_eq!(spec.write(&fleet, &VetJob::default(), folder.path(), &GO).unwrap().resumed, 3);
    fs::remove_file(folder.path().join("vet_checks/part-00000.parquet")).unwrap();
    let altered = folder.path().join("vet_failures/part-00002.parquet");
    let mut bytes = fs::read(&altered).unwrap();
    bytes[9] ^= 1;
    fs::write(&altered, bytes).unwrap();
    assert_eq!(spec.write(&fleet, &VetJob::default(), folder.path(), &GO).unwrap().resumed, 1);
    assert!(files(folder.path()) == expected);
}

#[test]
fn parts_of_another_run_are_refused_and_stay_or_are_discarded() {
    let fleet = fleet(6);
    let folder = TempDir::new().unwrap();
    let spec = BatchSpec::default().wings_per_part(2);
    let job = TrimJob::default();
    spec.write(&fleet, &job, folder.path(), &GO).unwrap();
    let before = files(folder.path());
    let refused = |spec: &BatchSpec, fleet: &Fleet, job: &TrimJob, what: &str| {
        let error = spec.write(fleet, job, folder.path(), &GO).unwrap_err();
        assert!(matches!(error, BatchError::OtherRun { .. }) && error.to_string().contains(what), "{error}");
        assert!(files(folder.path()) == before, "{what}");
    };
    let other_fleet = FleetSpec::default().wings(6).unchecked_wings(1).seed(12).run().unwrap().fleet;
    refused(&spec, &other_fleet, &job, "the fleet differs");
    refused(&spec.wings_per_part(3), &fleet, &job, "the number of wings a part differs");
    let limits = LimitsTable::from(Limits::default().line_mm(7.0));
    let other_job = TrimJob::new(TrimSpec::default(), limits);
    refused(&spec, &fleet, &other_job, "a setting differs");

    // another question beside it is no other run
    spec.write(&fleet, &VetJob::default(), folder.path(), &GO).unwrap();
    let discard = spec.wings_per_part(4).earlier(EarlierParts::Discard);
    let anew = discard.write(&fleet, &other_job, folder.path(), &GO).unwrap();
    assert_eq!((anew.parts, anew.resumed), (2, 0));
    let after = files(folder.path());
    assert!(!after.contains_key("trim_lines/part-00002.parquet"));
    assert!(after.contains_key("vet_checks/part-00002.parquet"));

    // a manifest of another version, one that is none, and parts without one
    let path = folder.path().join("trim_parts.json");
    let text = fs::read_to_string(&path).unwrap();
    fs::write(&path, text.replacen(env!("CARGO_PKG_VERSION"), "0.0.0", 1)).unwrap();
    let spec = BatchSpec::default().wings_per_part(4);
    let error = spec.write(&fleet, &other_job, folder.path(), &GO).unwrap_err();
    assert!(error.to_string().contains("the program's version differs"), "{error}");
    fs::write(&path, "{").unwrap();
    let error = spec.write(&fleet, &other_job, folder.path(), &GO).unwrap_err();
    assert!(matches!(error, BatchError::Manifest { .. }), "{error}");
    fs::remove_file(&path).unwrap();
    let error = spec.write(&fleet, &other_job, folder.path(), &GO).unwrap_err();
    assert!(error.to_string().contains("without a manifest"), "{error}");
}

#[cfg(feature = "cli")]
mod from_the_command_line {
    use std::path::Path;
    use std::process::{Command, Stdio};
    use std::time::{Duration, Instant};

    use super::{TempDir, files, fs};
    use crate::cli_run::{linedrift, loft, stderr, stdout};

    /// Parts of a run that was killed once its third stood; `None` when it came to its end first.
    fn killed_in_between(folder: &Path, args: &[&str], wings: usize) -> Option<usize> {
        let mut child = Command::new(env!("CARGO_BIN_EXE_linedrift"))
            .args(args)
            .current_dir(folder)
            .stdout(Stdio::null())
            .spawn()
            .unwrap();
        let third = folder.join("killed/plans/part-00002.parquet");
        let deadline = Instant::now() + Duration::from_mins(2);
        while !third.exists() && child.try_wait().unwrap().is_none() {
            if Instant::now() > deadline {
                child.kill().unwrap();
                child.wait().unwrap();
                panic!("no third part after two minutes");
            }
            std::thread::sleep(Duration::from_millis(1));
        }
        child.kill().unwrap();
        let by_itself = child.wait().unwrap().success();
        let standing = fs::read_dir(folder.join("killed/plans")).unwrap().count();
        assert!((3..=wings).contains(&standing), "{standing} parts of {wings}");
        (!by_itself && standing < wings).then_some(standing)
    }

    #[test]
    fn a_killed_run_goes_on_and_leaves_the_same_bytes() {
        // a fast machine may be through before it is killed: more wings then
        for wings in [60, 240, 960] {
            let folder = TempDir::new().unwrap();
            let number = wings.to_string();
            let made = linedrift(folder.path(), &["simulate", "--out", "loft", "--wings", &number, "--seed", "4"]);
            assert!(made.status.success(), "{}", stderr(&made));
            let args = |out: &'static str| ["plan", "loft", "--all", "--parts", "1", "--out", out];
            if killed_in_between(folder.path(), &args("killed"), wings).is_none() {
                continue;
            }
            let whole = linedrift(folder.path(), &args("whole"));
            assert_eq!(whole.status.code(), Some(0), "{}", stderr(&whole));
            assert!(stdout(&whole).contains(&format!("{wings} wings in {wings} parts")), "{}", stdout(&whole));
            let resumed = linedrift(folder.path(), &args("killed"));
            assert_eq!(resumed.status.code(), Some(0), "{}", stderr(&resumed));
            assert!(stdout(&resumed).contains("from an earlier run"), "{}", stdout(&resumed));
            assert!(files(&folder.path().join("killed")) == files(&folder.path().join("whole")));
            return;
        }
        panic!("no run was killed in between");
    }

    /// Leaves of a wing's last check only the brakes, on which no plan can rest.
    fn only_brakes(loft: &Path, wing: &str) -> String {
        let cells = |line: &str| line.split(',').map(str::to_owned).collect::<Vec<_>>();
        let column =
            |text: &str, name: &str| cells(text.lines().next().unwrap()).iter().position(|c| c == name).unwrap();
        let lines = fs::read_to_string(loft.join("lines.csv")).unwrap();
        let (line, row) = (column(&lines, "line"), column(&lines, "row"));
        let brakes: Vec<String> =
            lines.lines().map(cells).filter(|cells| cells[row] == "brake").map(|cells| cells[line].clone()).collect();
        let checks = fs::read_to_string(loft.join("checks.csv")).unwrap();
        let (id, of) = (column(&checks, "check"), column(&checks, "wing"));
        let last = checks.lines().map(cells).rfind(|cells| cells[of] == wing).unwrap()[id].clone();
        let readings = fs::read_to_string(loft.join("readings.csv")).unwrap();
        let (check, line) = (column(&readings, "check"), column(&readings, "line"));
        let kept: Vec<&str> = readings
            .lines()
            .filter(|text| cells(text)[check] != last || brakes.contains(&cells(text)[line]))
            .collect();
        fs::write(loft.join("readings.csv"), kept.join("\n") + "\n").unwrap();
        last
    }

    #[test]
    fn a_wing_that_fails_is_named_with_exit_1_and_the_others_have_their_plans() {
        let folder = loft();
        let check = only_brakes(&folder.path().join("loft"), "W03");
        for args in [
            &["plan", "loft", "--all", "--out", "tables"][..],
            &["plan", "loft", "--all", "--out", "parts", "--parts", "3"],
            // a run that goes on says so too
            &["plan", "loft", "--all", "--out", "parts", "--parts", "3"],
        ] {
            let output = linedrift(folder.path(), args);
            assert_eq!(output.status.code(), Some(1), "{args:?}");
            let said = format!("error: wing `W03`, check `{check}`: ");
            assert!(stderr(&output).contains(&said), "{}", stderr(&output));
            assert!(!stdout(&output).is_empty());
        }
        let plans = fs::read_to_string(folder.path().join("tables/plans.csv")).unwrap();
        let wings: Vec<&str> = plans.lines().skip(1).map(|line| line.split(',').nth(1).unwrap()).collect();
        assert!(wings.len() >= 6 && !wings.contains(&"W03"), "{wings:?}");
        assert!(folder.path().join("parts/plan_failures/part-00000.parquet").is_file());
    }

    #[test]
    fn parts_follow_their_flags() {
        let folder = loft();
        // trim of every wing still answers, and says what it lacks
        let rows = folder.path().join("loft/rows.csv");
        let text = fs::read_to_string(&rows).unwrap();
        let model = text.lines().nth(1).unwrap().split(',').next().unwrap().to_owned();
        let without: Vec<String> = text
            .lines()
            .map(|line| {
                let mut cells: Vec<&str> = line.split(',').collect();
                if cells[0] == model {
                    cells[2] = "";
                }
                cells.join(",")
            })
            .collect();
        fs::write(&rows, without.join("\n") + "\n").unwrap();
        let output = linedrift(folder.path(), &["trim", "loft", "--parts", "3", "--out", "parts"]);
        assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
        let output = linedrift(folder.path(), &["trim", "loft", "--parts", "3", "--out", "parts", "--json"]);
        let document: serde_json::Value = serde_json::from_str(stdout(&output)).unwrap();
        assert_eq!((&document["schema"], &document["resumed"]), (&"linedrift.trim-parts/1".into(), &3.into()));
        assert_eq!(stderr(&output), "", "no progress when stderr is no terminal");

        // another run there: refused with exit 1, and made anew when told so
        let other = ["trim", "loft", "--parts", "4", "--out", "parts"];
        let refused = linedrift(folder.path(), &other);
        assert_eq!(refused.status.code(), Some(1));
        assert!(stderr(&refused).contains("the number of wings a part differs"), "{}", stderr(&refused));
        let anew = linedrift(folder.path(), &[&other[..], &["--restart"]].concat());
        assert_eq!(anew.status.code(), Some(0), "{}", stderr(&anew));
        for senseless in [
            &["trim", "loft", "--parts", "3"][..],
            &["trim", "loft", "--parts", "3", "--out", "x", "--wing", "W01"],
            &["plan", "loft", "--parts", "3", "--out", "x", "--wing", "W01"],
            &["due", "loft", "--parts", "3", "--out", "x", "--wing", "W01"],
            &["vet", "loft", "--parts", "0", "--out", "x"],
            &["vet", "loft", "--restart", "--out", "x"],
        ] {
            let output = linedrift(folder.path(), senseless);
            assert_eq!(output.status.code(), Some(2), "{senseless:?}: {}", stderr(&output));
        }
        assert!(!folder.path().join("x").exists());
    }
}
