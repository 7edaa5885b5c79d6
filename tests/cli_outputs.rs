//! Outputs that cannot be written where they should be: a full disk, links, devices.

use std::fs;
use std::os::unix::fs::FileTypeExt;
use std::path::{Path, PathBuf};

use linedrift::fleet::OUTPUT_LIST;

use crate::cli_run::{linedrift, stderr};
use crate::damaged::case::link;

/// Everything below a folder.
fn all_below(folder: &Path) -> Vec<PathBuf> {
    let mut all = Vec::new();
    for path in fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()) {
        if path.is_dir() {
            all.extend(all_below(&path));
        }
        all.push(path);
    }
    all
}

/// Files grow to half a kilobyte and no further, as on a disk that is full: what was there stays, and it is said.
#[cfg(target_os = "linux")]
#[test]
fn a_disk_that_is_full_leaves_the_old_and_says_so() {
    let home = crate::cli_run::loft();
    let run = |command: &str| {
        let shell = format!("trap '' XFSZ; ulimit -f 1; exec \"$0\" {command}");
        let program = env!("CARGO_BIN_EXE_linedrift");
        let output =
            std::process::Command::new("sh").args(["-c", &shell, program]).current_dir(home.path()).output().unwrap();
        assert_eq!(output.status.code(), Some(1), "{command}: {}", stderr(&output));
        assert!(
            stderr(&output).contains("too large") || stderr(&output).contains("could not write"),
            "{}",
            stderr(&output)
        );
    };
    let before: Vec<_> = ["due.csv", "fit.json", "sheet.csv"].map(|name| (name, "old\n")).to_vec();
    for (name, text) in &before {
        fs::write(home.path().join(name), text).unwrap();
    }
    run("wear loft --save fit.json --force");
    run("due loft --calendar due.csv --force");
    run("sheet loft --wing W01 --out sheet.csv --force");
    run("report loft --out report");
    run("simulate --out other --wings 3");
    for (name, text) in &before {
        assert_eq!(fs::read_to_string(home.path().join(name)).unwrap(), *text, "{name}");
    }
    let mut left = all_below(home.path());
    left.retain(|path| path.extension().is_some_and(|ending| ending == "tmp"));
    assert!(left.is_empty(), "{left:?}");
    // no table of the fleet, and no page
    let tables = all_below(&home.path().join("other"));
    assert!(tables.iter().all(|path| path.ends_with(".linedrift-lock") || path.ends_with(OUTPUT_LIST)), "{tables:?}");
    assert!(!home.path().join("report/index.html").exists());
    // the result itself cannot be written
    let full = fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
    let output = std::process::Command::new(env!("CARGO_BIN_EXE_linedrift"))
        .args(["trim", "loft"])
        .current_dir(home.path())
        .stdout(full)
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(1));
    assert!(stderr(&output).contains("cannot write the result"), "{}", stderr(&output));
    let full = fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
    let help =
        std::process::Command::new(env!("CARGO_BIN_EXE_linedrift")).arg("--help").stdout(full).status().unwrap();
    assert_eq!(help.code(), Some(1), "help that nobody can read");
}

/// A name that is a device, or a link to another place, is not renamed over.
#[test]
fn outputs_go_through_links_and_leave_devices_alone() {
    let home = crate::cli_run::loft();
    fs::create_dir(home.path().join("away")).unwrap();
    fs::write(home.path().join("away/fit.json"), "old\n").unwrap();
    link("away/fit.json", home.path().join("fit.json"));
    let output = linedrift(home.path(), &["wear", "loft", "--save", "fit.json", "--force"]);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    assert!(home.path().join("fit.json").is_symlink());
    assert!(fs::read_to_string(home.path().join("away/fit.json")).unwrap().contains("linedrift wear fit"));
    let device = home.path().join("device");
    assert!(std::process::Command::new("mkfifo").arg(&device).status().unwrap().success());
    let output = linedrift(home.path(), &["wear", "loft", "--save", "device", "--force"]);
    assert_eq!(output.status.code(), Some(1));
    assert!(stderr(&output).contains("not a file"), "{}", stderr(&output));
    assert!(fs::symlink_metadata(&device).unwrap().file_type().is_fifo());
}
