//! Damaged input as files bring it: what is refused is refused at its place and in words, by the library and by the command;
//! what is harmless is read.
#![allow(clippy::too_many_lines, clippy::format_push_string)]

use std::fs;

use linedrift::fleet::{Fault, FolderSpec};
use serde_json::Value;

use crate::cli_run::{linedrift, stderr, stdout};
use crate::damaged::case::Damage::{Bytes, Do, Swap};
use crate::damaged::case::Outcome::{Faults, Reads};
use crate::damaged::case::path;
use crate::damaged::{file_cases, sound, text_cases};

fn places(faults: &[Fault]) -> Vec<String> {
    faults.iter().map(|f| format!("{} {} {}: {:.40} / {}", f.table, f.row, f.column, f.value, f.expected)).collect()
}

#[test]
fn damaged_files_are_refused_at_their_place_or_read() {
    let (mut wrong, mut count) = (Vec::new(), 0);
    for (name, damage, outcome) in
        text_cases::cases().into_iter().chain(file_cases::cases()).chain(file_cases::unix_cases())
    {
        count += 1;
        let home = sound();
        let folder = home.path();
        match damage {
            Swap(table, from, to) => {
                let at = path(folder, &format!("{table}.csv"));
                let before = fs::read_to_string(&at).unwrap();
                assert!(before.contains(from), "{name}: `{from}` is not in {table}");
                // one case is a field that no literal can hold
                let long = "x".repeat(10_000_000);
                let after = if name.contains("ten million") {
                    before.replacen(",two", &format!(",{long}"), 1)
                } else {
                    before.replacen(from, to, 1)
                };
                fs::write(&at, after).unwrap();
            }
            Bytes(table, change) => {
                let at = path(folder, &format!("{table}.csv"));
                let before = fs::read(&at).unwrap();
                fs::write(&at, change(before)).unwrap();
            }
            Do(change) => change(folder),
        }
        let read = FolderSpec::default().read(folder);
        let output = linedrift(folder, &["summary", ".", "--json"]);
        let document: Value = serde_json::from_str(stdout(&output)).unwrap_or_default();
        match (outcome, read) {
            (Reads(words), Ok(read)) => {
                let noted = words.is_empty() || read.notes.iter().any(|note| note.contains(words));
                if !noted || output.status.code() != Some(0) || document["schema"] != "linedrift.summary/1" {
                    wrong.push(format!("{name}: {:?} {}", read.notes, stderr(&output)));
                }
            }
            (Faults(expected), Err(error)) => {
                let found = error.faults();
                let right = found.len() == expected.len()
                    && found.iter().zip(expected).all(|(found, (table, row, column, words))| {
                        (found.table.as_str(), found.row, found.column.as_str()) == (*table, *row, *column)
                            && found.expected.contains(words)
                            && found.value.chars().count() <= 200
                    });
                let told = document["faults"].as_array().is_some_and(|all| {
                    all.len() == found.len()
                        && all.iter().zip(found).all(|(a, b)| *a == serde_json::to_value(b).unwrap())
                });
                if !right || !told || output.status.code() != Some(1) {
                    wrong.push(format!("{name} (told {told}):\n    {}", places(found).join("\n    ")));
                }
            }
            (Reads(_), Err(error)) => {
                wrong.push(format!("{name} should be read:\n    {}", places(error.faults()).join("\n    ")));
            }
            (Faults(_), Ok(_)) => wrong.push(format!("{name} is read")),
        }
    }
    assert!(wrong.is_empty(), "{} of {count}:\n{}", wrong.len(), wrong.join("\n"));
    assert!(count >= 60, "{count}");
}

/// A chain of segments as deep as the table is long, and a comb as wide: no recursion, nothing that grows with the square.
#[test]
fn a_cascade_of_a_hundred_thousand_segments_is_read_and_judged() {
    let depth = 100_000;
    let home = sound();
    let folder = home.path();
    let mut chain = String::from("model,segment,parent,material,length_mm\n");
    for at in 0..depth {
        let below = if at + 1 < depth { format!("S{}", at + 1) } else { String::new() };
        let name = if at == 0 { "A1".to_owned() } else { format!("S{at}") };
        chain += &format!("Egret,{name},{below},uhmwpe,0.07\n");
    }
    fs::write(folder.join("segments.csv"), &chain).unwrap();
    fs::write(folder.join("lines.csv"), "model,line,row,rank,nominal_mm\nEgret,A1,A,1,7000\n").unwrap();
    fs::write(folder.join("wings.csv"), "wing,model\n8,Egret\n").unwrap();
    fs::write(folder.join("checks.csv"), "check,wing,date,hours\nc,8,2022-06-01,10\ne,8,2023-06-01,60\n").unwrap();
    fs::write(
        folder.join("readings.csv"),
        "check,side,line,reading_mm\nc,left,A1,6988\nc,right,A1,6990\ne,left,A1,6980\ne,right,A1,6991\n",
    )
    .unwrap();
    for table in ["rows", "models", "risers", "actions", "fittings"] {
        fs::remove_file(folder.join(format!("{table}.csv"))).unwrap();
    }
    for (command, expected) in [
        (&["summary", "."][..], 0),
        (&["vet", ".", "--wing", "8"], 0),
        (&["trim", ".", "--wing", "8"], 0),
        (&["plan", ".", "--wing", "8"], 0),
        (&["sheet", ".", "--wing", "8"], 0),
        (&["wear", "."], 0),
        (&["due", ".", "--wing", "8"], 0),
    ] {
        let output = linedrift(folder, command);
        assert_eq!(output.status.code(), Some(expected), "{command:?}: {}", stderr(&output));
    }
    // the same in a ring
    fs::write(folder.join("segments.csv"), chain.replace(",,uhmwpe", ",A1,uhmwpe")).unwrap();
    let error = FolderSpec::default().read(folder).unwrap_err();
    assert_eq!((error.faults().len(), error.faults()[0].column.as_str()), (1, "parent"), "{error}");
}

/// Asked as another user where this one may read everything.
#[cfg(unix)]
#[test]
fn what_may_not_be_read_is_a_fault() {
    use std::os::unix::fs::PermissionsExt;
    use std::os::unix::process::CommandExt;
    /// A user that owns nothing.
    const NOBODY: u32 = 65_534;
    let home = sound();
    let at = home.path().join("rows.csv");
    let mode = |path: &std::path::Path, mode| fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
    mode(&at, 0o0);
    let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_linedrift"));
    if fs::read(&at).is_ok() {
        // where that user can reach it
        let program = home.path().join("program");
        fs::copy(env!("CARGO_BIN_EXE_linedrift"), &program).unwrap();
        mode(home.path(), 0o755);
        command = std::process::Command::new(program);
        command.uid(NOBODY).gid(NOBODY);
    }
    let output = command.args(["summary", ".", "--json"]).current_dir(home.path()).output().unwrap();
    assert_eq!(output.status.code(), Some(1), "{}", stderr(&output));
    let document: Value = serde_json::from_str(stdout(&output)).unwrap();
    let faults = document["faults"].as_array().unwrap();
    assert_eq!((faults.len(), &faults[0]["table"], &faults[0]["row"]), (1, &"rows".into(), &0.into()), "{document}");
    assert_eq!(faults[0]["expected"], "a file that can be read");
}

/// One bit of this file's description makes the decoder panic (`thrift bool field`): the fault is told, and no more.
#[test]
fn a_file_that_makes_the_decoder_panic_is_a_fault_without_noise() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let made = linedrift(at, &["simulate", "--wings", "4", "--format", "parquet", "--out", "loft"]);
    assert_eq!(made.status.code(), Some(0), "{}", stderr(&made));
    fs::write(at.join("loft/rows.parquet"), include_bytes!("damaged/rows-flag.parquet")).unwrap();
    let output = linedrift(at, &["summary", "loft"]);
    assert_eq!(output.status.code(), Some(1));
    let expected =
        "error: 1 fault in the tables\n  rows: found `damaged`, expected a Parquet file that can be read\n";
    assert_eq!(stderr(&output).trim_end(), expected.trim_end());
    assert!(stdout(&output).is_empty());
}
