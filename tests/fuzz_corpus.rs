//! The inputs kept from fuzzing (`tests/corpus/TARGET`), run through the same functions without any fuzzing tool.

use std::fs;

#[cfg(feature = "frames")]
#[path = "fuzzed/files.rs"]
mod files;
#[path = "fuzzed/mod.rs"]
mod fuzzed;

fn replay(target: &str, run: fn(&[u8])) {
    let folder = format!("{}/tests/corpus/{target}", env!("CARGO_MANIFEST_DIR"));
    let mut count = 0;
    for entry in fs::read_dir(&folder).unwrap() {
        let path = entry.unwrap().path();
        // which one it was shows in the output of a failure
        println!("{}", path.display());
        run(&fs::read(path).unwrap());
        count += 1;
    }
    assert!(count > 0, "{target} has no input");
}

#[test]
fn kept_inputs_do_no_harm() {
    fuzzed::TARGETS.iter().for_each(|(name, run)| replay(name, *run));
}

#[cfg(feature = "frames")]
#[test]
fn kept_files_do_no_harm() {
    files::TARGETS.iter().for_each(|(name, run)| replay(name, *run));
}
