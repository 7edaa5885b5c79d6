//! The inputs kept from fuzzing (`tests/corpus/TARGET`), run through the same functions without any fuzzing tool.
#![allow(clippy::needless_range_loop, clippy::doc_markdown, clippy::missing_panics_doc)]

use std::fs;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

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

/// Kept inputs, changed at random as a fuzzer without sight of the code would: bits, bytes, runs moved, doubled and cut,
/// pieces of other inputs.
fn mutated(target: &str, run: fn(&[u8]), executions: u64) {
    let folder = format!("{}/tests/corpus/{target}", env!("CARGO_MANIFEST_DIR"));
    let mut seeds: Vec<Vec<u8>> =
        fs::read_dir(&folder).unwrap().map(|entry| fs::read(entry.unwrap().path()).unwrap()).collect();
    seeds.sort();
    let mut random = ChaCha8Rng::seed_from_u64(1);
    for at in 0..executions {
        let mut bytes = seeds[random.random_range(0..seeds.len())].clone();
        // the first byte names the table, where there is one
        let from = usize::from(bytes.len() > 1);
        for _ in 0..random.random_range(1..6) {
            let place = random.random_range(from..=bytes.len().max(from));
            let length = random.random_range(0..=24_usize).min(bytes.len().saturating_sub(place));
            match random.random_range(0..7) {
                0 if place < bytes.len() => bytes[place] ^= 1 << random.random_range(0..8),
                1 if place < bytes.len() => bytes[place] = random.random(),
                2 => drop(bytes.drain(place..place + length)),
                3 => {
                    let run = bytes[place..place + length].to_vec();
                    let to = random.random_range(from..=bytes.len().max(from)).min(bytes.len());
                    bytes.splice(to..to, run);
                }
                4 => {
                    let word = WORDS[random.random_range(0..WORDS.len())];
                    let end = (place + random.random_range(0..=word.len())).min(bytes.len());
                    bytes.splice(place.min(end)..end, word.bytes());
                }
                5 => {
                    let other = &seeds[random.random_range(0..seeds.len())];
                    let start = random.random_range(0..=other.len());
                    let end = (start + random.random_range(0..=40)).min(other.len());
                    let place = place.min(bytes.len());
                    bytes.splice(place..place, other[start..end].iter().copied());
                }
                _ => bytes.truncate(place.max(from)),
            }
        }
        let result = std::panic::catch_unwind(|| run(&bytes));
        if result.is_err() {
            let path = std::env::temp_dir().join(format!("linedrift-{target}-{at}"));
            fs::write(&path, &bytes).unwrap();
            panic!("{target}: execution {at} fails, its input is {}", path.display());
        }
    }
    eprintln!("{target}: {executions} changed inputs, no failure");
}

/// What breaks readers.
const WORDS: [&str; 24] = [
    "\"",
    ",",
    ";",
    "\n",
    "\r",
    "\t",
    "\0",
    "\u{feff}",
    "NaN",
    "inf",
    "-0",
    "1e308",
    "-1",
    "0x10",
    "99999999999999999999",
    "null",
    "[]",
    "{}",
    "é",
    "e\u{301}",
    "\u{202e}",
    "left",
    "A1",
    "2024-02-30",
];

/// How many inputs a target is given: `FUZZ_EXECUTIONS`, else 20,000.
fn executions() -> u64 {
    std::env::var("FUZZ_EXECUTIONS").ok().and_then(|text| text.parse().ok()).unwrap_or(20_000)
}

#[test]
#[ignore = "slow: 20,000 changed inputs for each target, a million for each reader of text"]
fn slow_changed_inputs_do_no_harm() {
    for (name, run) in fuzzed::TARGETS {
        // a reader of text takes microseconds, a fleet's fit milliseconds
        let times = if ["sheet", "limits", "fibres", "round"].contains(&name) { 50 } else { 1 };
        mutated(name, run, times * executions());
    }
}

#[cfg(feature = "frames")]
#[test]
#[ignore = "slow: 20,000 changed files for each target"]
fn slow_changed_files_do_no_harm() {
    files::TARGETS.iter().for_each(|(name, run)| mutated(name, *run, executions()));
}
