//! Parts on the command line: `reduce`, `wear --from`, and `simulate` in parts.

use std::fs;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

use crate::cli_run::{document, linedrift, loft, stderr, stdout};

/// Exit code and what was said of a call that must fail.
fn refused(folder: &Path, args: &[&str]) -> (Option<i32>, String) {
    let output = linedrift(folder, args);
    assert!(output.stdout.is_empty());
    (output.status.code(), stderr(&output).to_owned())
}

/// Folders `odd` and `even` beside `loft`, each with every other reading of it: all wings are in both.
fn halves(folder: &Path) {
    let text = fs::read_to_string(folder.join("loft/readings.csv")).unwrap();
    let (header, rows) = text.split_once('\n').unwrap();
    for (name, rest) in [("odd", 1), ("even", 0)] {
        let half = folder.join(name);
        fs::create_dir(&half).unwrap();
        for entry in fs::read_dir(folder.join("loft")).unwrap() {
            let path = entry.unwrap().path();
            fs::copy(&path, half.join(path.file_name().unwrap())).unwrap();
        }
        let rows = rows.lines().enumerate().filter(|(at, _)| at % 2 == rest).map(|(_, row)| format!("{row}\n"));
        fs::write(half.join("readings.csv"), format!("{header}\n{}", rows.collect::<String>())).unwrap();
    }
}

#[test]
fn parts_give_the_fit_of_the_whole_to_the_bit_also_when_they_share_wings() {
    let folder = loft();
    let at = folder.path();
    halves(at);
    for name in ["odd", "even"] {
        let said = document(at, &["reduce", name, "--out", &format!("{name}.part"), "--json"]);
        assert_eq!(said["schema"], "linedrift.reduce/1");
        assert_eq!(said["wings"], 8);
    }
    for options in [&[][..], &["--influence", "--terms", "rate"]] {
        let call = |source: &[&str]| {
            let mut args = vec!["wear", "--json"];
            args.extend_from_slice(options);
            args.extend_from_slice(source);
            stdout(&linedrift(at, &args)).to_owned()
        };
        let whole = call(&["loft", "--threads", "1"]);
        assert!(whole.contains("\"converged\": true"));
        for source in [
            &["--threads", "1", "--from", "odd.part", "even.part"][..],
            &["--threads", "2", "--from", "even.part", "odd.part"],
            &["loft", "--threads", "2"],
        ] {
            assert_eq!(call(source), whole, "{options:?} {source:?}");
        }
    }
    // saved fits too
    for (source, file) in [(&["loft"][..], "whole.fit"), (&["--from", "odd.part", "even.part"], "parts.fit")] {
        let mut args = vec!["wear", "--save", file];
        args.extend_from_slice(source);
        assert_eq!(linedrift(at, &args).status.code(), Some(0));
    }
    assert_eq!(fs::read(at.join("whole.fit")).unwrap(), fs::read(at.join("parts.fit")).unwrap());
}

#[test]
fn parts_that_are_damaged_given_twice_or_of_no_one_fleet_are_refused_by_name() {
    let folder = loft();
    let at = folder.path();
    halves(at);
    for name in ["odd", "even"] {
        assert_eq!(linedrift(at, &["reduce", name, "--out", name.get(..1).unwrap()]).status.code(), Some(0));
    }
    let bytes = fs::read(at.join("o")).unwrap();
    fs::write(at.join("cut"), &bytes[..bytes.len() - 7]).unwrap();
    let mut flipped = bytes.clone();
    flipped[bytes.len() / 2] ^= 4;
    fs::write(at.join("flipped"), flipped).unwrap();
    let mut newer = bytes.clone();
    newer[8] = 9;
    fs::write(at.join("newer"), newer).unwrap();
    fs::copy(at.join("o"), at.join("again")).unwrap();
    for (parts, words) in [
        (["e", "cut"], "cut: the part is damaged"),
        (["e", "flipped"], "flipped: the part is damaged: its checksum"),
        (["e", "newer"], "newer: the part is of version 9"),
        (["e", "loft/readings.csv"], "loft/readings.csv: this is not a part"),
        (["e", "nowhere"], "nowhere: "),
        (["o", "again"], "again: the same part as o"),
    ] {
        let (code, said) = refused(at, &["wear", "--from", parts[0], parts[1]]);
        assert_eq!(code, Some(1), "{parts:?}");
        assert!(said.contains(words), "{said}");
    }
    // one wing with other hours
    let checks = fs::read_to_string(at.join("odd/checks.csv")).unwrap();
    let row = checks.lines().nth(1).unwrap();
    let cells: Vec<&str> = row.split(',').collect();
    let hours: f64 = cells[3].parse().unwrap();
    let moved = row.replacen(&format!(",{}", cells[3]), &format!(",{}", hours + 0.1), 1);
    fs::write(at.join("odd/checks.csv"), checks.replace(row, &moved)).unwrap();
    assert_eq!(linedrift(at, &["reduce", "odd", "--out", "moved"]).status.code(), Some(0));
    let (code, said) = refused(at, &["wear", "--from", "e", "moved"]);
    assert_eq!(code, Some(1));
    assert!(said.contains("is described otherwise"), "{said}");
    // calls that make no sense
    for args in [&["wear"][..], &["wear", "--from"], &["wear", "loft", "--from", "e"], &["reduce", "loft"]] {
        assert_eq!(refused(at, args).0, Some(2), "{args:?}");
    }
    let (code, said) = refused(at, &["reduce", "loft", "--out", "x", "--part", "part-0.parquet"]);
    assert!(code == Some(1) && said.contains("a file of the folder"), "{said}");
    assert!(!at.join("x").exists());
}

#[test]
fn a_part_of_the_demo_stays_marked() {
    let folder = loft();
    let at = folder.path();
    fs::write(at.join("loft/DEMO"), "").unwrap();
    assert_eq!(document(at, &["reduce", "loft", "--out", "part", "--json"])["demo"], true);
    assert_eq!(document(at, &["wear", "--from", "part", "--json"])["demo"], true);
    assert!(stdout(&linedrift(at, &["wear", "--from", "part"])).contains("Invented data"));
}

#[test]
fn a_fleet_simulated_in_parts_is_reduced_file_by_file() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let made = linedrift(at, &["simulate", "--wings", "9", "--format", "parquet", "--out", "big"]);
    assert_eq!(made.status.code(), Some(0), "{}", stderr(&made));
    let plain = linedrift(at, &["simulate", "--wings", "9", "--out", "small"]);
    assert_eq!(plain.status.code(), Some(0));
    let whole = document(at, &["wear", "big", "--json"]);
    assert_eq!(whole, document(at, &["wear", "small", "--json"]));
    let part = ["reduce", "big", "--part", "part-00000.parquet", "--out", "part", "--json"];
    let reduced = document(at, &part);
    assert!(reduced["readings"].as_u64().unwrap() > 100, "{reduced}");
    assert_eq!(reduced["readings"], whole["readings"]);
    assert_eq!(document(at, &["wear", "--from", "part", "--json"])["terms"], whole["terms"]);
    // the folder is not written over
    let again = linedrift(at, &["simulate", "--wings", "9", "--format", "parquet", "--out", "big"]);
    assert_eq!(again.status.code(), Some(1));
    assert!(stderr(&again).contains("big"), "{}", stderr(&again));
    assert_eq!(document(at, &["wear", "big", "--json"]), whole);
}

/// Runs the program where no file may grow past so many kilobytes: writing fails as it does on a full disk.
#[cfg(unix)]
fn with_little_room(folder: &Path, kilobytes: u32, args: &[&str]) -> Output {
    let script = format!("trap '' XFSZ; ulimit -f {}; exec \"$0\" \"$@\"", 2 * kilobytes);
    let mut command = Command::new("sh");
    command.arg("-c").arg(script).arg(env!("CARGO_BIN_EXE_linedrift")).args(args);
    command.current_dir(folder).output().unwrap()
}

#[cfg(unix)]
#[test]
fn writing_that_fails_half_way_is_named_and_leaves_nothing() {
    let folder = loft();
    let at = folder.path();
    let before = names(at);
    for args in [
        &["simulate", "--wings", "40", "--format", "parquet", "--out", "big"][..],
        &["reduce", "loft", "--out", "big"],
    ] {
        let output = with_little_room(at, 4, args);
        assert_eq!(output.status.code(), Some(1), "{}", stderr(&output));
        let said = stderr(&output);
        assert!(said.contains("could not write") && said.contains("big"), "{said}");
        assert_eq!(names(at), before, "{args:?}");
    }
}

#[cfg(unix)]
#[test]
fn a_killed_simulation_leaves_no_folder_of_that_name() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let mut child = Command::new(env!("CARGO_BIN_EXE_linedrift"))
        .args(["simulate", "--wings", "50000", "--format", "parquet", "--out", "big"])
        .current_dir(at)
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    let begun = Instant::now();
    while names(at).is_empty() && begun.elapsed() < Duration::from_mins(1) {
        std::thread::sleep(Duration::from_millis(5));
    }
    assert!(child.try_wait().unwrap().is_none(), "it ended before it could be killed");
    child.kill().unwrap();
    child.wait().unwrap();
    assert!(!at.join("big").exists());
    let left = names(at);
    assert!(!left.is_empty(), "nothing was begun within a minute");
    assert!(left.iter().all(|name| name.starts_with(".big.")), "{left:?}");
    let again = linedrift(at, &["simulate", "--wings", "3", "--format", "parquet", "--out", "big"]);
    assert_eq!(again.status.code(), Some(0), "{}", stderr(&again));
    assert_eq!(document(at, &["wear", "big", "--json"])["wings"], 3);
}

fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).unwrap();
    let mut names: Vec<String> =
        entries.map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}
