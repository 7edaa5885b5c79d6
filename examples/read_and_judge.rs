//! Reads a fleet folder and judges the trim of each wing's latest check.
//!
//! `cargo run --example read_and_judge [FLEET]`; without a folder it takes the bundled demo, an invented fleet.

#![allow(clippy::print_stderr, clippy::print_stdout, reason = "an example prints what it finds")]

use linedrift::{FolderSpec, TrimSpec};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = std::env::args().nth(1).unwrap_or_else(|| "notebooks-data/demo".to_owned());
    let read = FolderSpec::default().read(folder.as_ref())?;
    for note in &read.notes {
        eprintln!("{note}");
    }
    for history in read.fleet.histories().iter().take(3) {
        let Some(check) = history.checks.last() else { continue };
        println!("{}\n", TrimSpec::default().run(read.fleet.line_set(history), &history.wing, check)?);
    }
    Ok(())
}
