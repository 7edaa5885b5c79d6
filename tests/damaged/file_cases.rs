//! Damage to files: missing, twice, of another kind, cut, links, pipes and devices.
#![allow(clippy::semicolon_if_nothing_returned, clippy::too_many_lines)]

use std::fs;

use super::case::Damage::Do;
use super::case::Outcome::{Faults, Reads};
#[cfg(unix)]
use super::case::link;
use super::case::{Case, parquet, path};

pub fn cases() -> Vec<Case> {
    vec![
        // files
        (
            "a folder where a table is expected",
            Do(|f| {
                fs::remove_file(path(f, "rows.csv")).unwrap();
                fs::create_dir(path(f, "rows.csv")).unwrap();
            }),
            Faults(&[("rows", 0, "", "a file that can be read")]),
        ),
        (
            "a folder where a Parquet table is expected",
            Do(|f| {
                fs::remove_file(path(f, "rows.csv")).unwrap();
                fs::create_dir(path(f, "rows.parquet")).unwrap();
            }),
            Faults(&[("rows", 0, "", "a Parquet file that can be read")]),
        ),
        (
            "readings in parts, and no part",
            Do(|f| {
                fs::remove_file(path(f, "readings.csv")).unwrap();
                fs::create_dir(path(f, "readings")).unwrap();
            }),
            Faults(&[("readings", 0, "", "at least one Parquet file")]),
        ),
        (
            "readings in parts and in one",
            Do(|f| fs::create_dir(path(f, "readings")).unwrap()),
            Faults(&[("readings", 0, "", "one of these")]),
        ),
        (
            "a file where the folder is expected inside readings",
            Do(|f| {
                fs::remove_file(path(f, "readings.csv")).unwrap();
                fs::create_dir_all(path(f, "readings/x.parquet")).unwrap();
            }),
            Faults(&[("readings/x.parquet", 0, "", "a Parquet file that can be read")]),
        ),
        (
            "a damaged record of tables to be put in place",
            Do(|f| fs::write(path(f, ".linedrift-pending"), "{").unwrap()),
            Faults(&[("", 0, ".linedrift-pending", "put in place")]),
        ),
        (
            "a record of tables that would move another file",
            Do(|f| {
                fs::write(
                    path(f, ".linedrift-pending"),
                    r#"{"format":"linedrift.pending/1","tables":[{"from":"../x.tmp","to":"wings.csv"}],"remove":[]}"#,
                )
                .unwrap()
            }),
            Faults(&[("", 0, ".linedrift-pending", "put in place")]),
        ),
        // Parquet
        ("Parquet as it should be", Do(|f| parquet(f, |_| {})), Reads("")),
        (
            "Parquet cut in the middle",
            Do(|f| parquet(f, |b| b.truncate(b.len() / 2))),
            Faults(&[("readings", 0, "", "Parquet file that can be read")]),
        ),
        (
            "Parquet without its end",
            Do(|f| parquet(f, |b| b.truncate(b.len() - 4))),
            Faults(&[("readings", 0, "", "Parquet file that can be read")]),
        ),
        (
            "Parquet with an end of another kind",
            Do(|f| {
                parquet(f, |b| {
                    let n = b.len();
                    b[n - 4..].copy_from_slice(b"PARE");
                })
            }),
            Faults(&[("readings", 0, "", "Parquet file that can be read")]),
        ),
        (
            "Parquet whose description is longer than it",
            Do(|f| {
                parquet(f, |b| {
                    let n = b.len();
                    b[n - 8..n - 4].copy_from_slice(&[0xFF, 0xFF, 0xFF, 0x7F]);
                })
            }),
            Faults(&[("readings", 0, "", "Parquet file that can be read")]),
        ),
        (
            "Parquet with its first page wiped",
            Do(|f| parquet(f, |b| b[4..24].fill(0xFF))),
            Faults(&[("readings", 0, "", "Parquet file that can be read")]),
        ),
        (
            "CSV under the name of Parquet",
            Do(|f| fs::rename(path(f, "rows.csv"), path(f, "rows.parquet")).unwrap()),
            Faults(&[("rows", 0, "", "Parquet file that can be read")]),
        ),
        (
            "Parquet under the name of CSV",
            Do(|f| {
                parquet(f, |_| {});
                fs::rename(path(f, "readings.parquet"), path(f, "readings.csv")).unwrap();
            }),
            Faults(&[("readings", 1, "", "UTF-8")]),
        ),
    ]
}

/// Cases that only some systems have: links, pipes, devices, rights.
#[cfg(unix)]
pub fn unix_cases() -> Vec<Case> {
    vec![
        (
            "a link to a table",
            Do(|f| {
                fs::rename(path(f, "rows.csv"), path(f, "elsewhere")).unwrap();
                link("elsewhere", path(f, "rows.csv"));
            }),
            Reads(""),
        ),
        (
            "a link that leads nowhere",
            Do(|f| {
                fs::remove_file(path(f, "rows.csv")).unwrap();
                link("nowhere", path(f, "rows.csv"));
            }),
            Faults(&[("rows", 0, "", "a file that can be read")]),
        ),
        (
            "a link to itself",
            Do(|f| {
                fs::remove_file(path(f, "rows.csv")).unwrap();
                link("rows.csv", path(f, "rows.csv"));
            }),
            Faults(&[("rows", 0, "", "a file that can be read")]),
        ),
        (
            "a source without end",
            Do(|f| {
                fs::remove_file(path(f, "rows.csv")).unwrap();
                link("/dev/zero", path(f, "rows.csv"));
            }),
            Faults(&[("rows", 0, "", "a file that can be read")]),
        ),
        (
            "a source without end, as Parquet",
            Do(|f| {
                fs::remove_file(path(f, "rows.csv")).unwrap();
                link("/dev/zero", path(f, "rows.parquet"));
            }),
            Faults(&[("rows", 0, "", "a Parquet file that can be read")]),
        ),
        (
            "a pipe that nobody writes into",
            Do(|f| {
                fs::remove_file(path(f, "rows.csv")).unwrap();
                assert!(std::process::Command::new("mkfifo").arg(path(f, "rows.csv")).status().unwrap().success());
            }),
            Faults(&[("rows", 0, "", "a file that can be read")]),
        ),
    ]
}

#[cfg(not(unix))]
pub fn unix_cases() -> Vec<Case> {
    Vec::new()
}
