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

use fuzzed::Outcome;
pub(crate) use fuzzed::not_finite;

type Body = fn(&[u8]) -> Outcome;

/// Inputs named `refused…` are there to be refused, those named `random…` may be; every other one must reach the checks.
fn replay(target: &str, run: Body) {
    let folder = format!("{}/tests/corpus/{target}", env!("CARGO_MANIFEST_DIR"));
    let mut accepted = 0;
    let mut wrong = Vec::new();
    for entry in fs::read_dir(&folder).unwrap() {
        let path = entry.unwrap().path();
        // which one it was shows in the output of a failure
        println!("{}", path.display());
        let outcome = run(&fs::read(&path).unwrap());
        accepted += usize::from(outcome == Outcome::Accepted);
        let name = path.file_name().unwrap().to_str().unwrap();
        if !name.starts_with("random") && outcome != Outcome::of(!name.starts_with("refused")) {
            wrong.push(format!("{name}: {outcome:?}"));
        }
    }
    assert!(wrong.is_empty(), "{target}: {wrong:?}");
    assert!(accepted > 0, "no input of {target} was accepted");
}

#[test]
fn what_is_not_finite_is_seen_wherever_it_stands() {
    let shown = |what: &dyn std::fmt::Debug| fuzzed::not_finite(&format!("{what:?}"));
    assert_eq!(shown(&[1.0, f64::NAN]), Some("NaN"));
    assert_eq!(shown(&(1.0, f64::NEG_INFINITY)), Some("inf"));
    assert_eq!(shown(&(Some(f64::INFINITY), "x")), Some("inf"));
    assert_eq!(shown(&("a \" b", f64::NAN)), Some("NaN"));
    assert_eq!(shown(&('"', f64::NAN, '"')), Some("NaN"));
    for sound in ["x: inf", "NaN", "a \" inf \\", "\\"] {
        assert_eq!(shown(&[sound]), None, "{sound}");
    }
    assert_eq!(shown(&("info", 1e308, '"', "inf", '\'')), None);
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
fn mutated(target: &str, run: Body, executions: u64) {
    let folder = format!("{}/tests/corpus/{target}", env!("CARGO_MANIFEST_DIR"));
    let mut seeds: Vec<Vec<u8>> =
        fs::read_dir(&folder).unwrap().map(|entry| fs::read(entry.unwrap().path()).unwrap()).collect();
    seeds.sort();
    let mut random = ChaCha8Rng::seed_from_u64(number("FUZZ_SEED", 1));
    let mut accepted = 0;
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
        let Ok(outcome) = std::panic::catch_unwind(|| run(&bytes)) else {
            let path = std::env::temp_dir().join(format!("linedrift-{target}-{at}"));
            fs::write(&path, &bytes).unwrap();
            panic!("{target}: execution {at} fails, its input is {}", path.display());
        };
        accepted += u64::from(outcome == Outcome::Accepted);
    }
    eprintln!("{target}: {executions} changed inputs, {accepted} of them accepted, no failure");
    assert!(accepted > 0 || executions < 100, "{target}: no changed input was accepted");
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

/// A number from the environment.
fn number(name: &str, default: u64) -> u64 {
    std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(default)
}

/// How many inputs a target is given: `FUZZ_EXECUTIONS`, else 20,000. `FUZZ_TARGET` names the only one to run, `FUZZ_SEED` other
/// changes.
fn executions() -> u64 {
    number("FUZZ_EXECUTIONS", 20_000)
}

#[test]
#[ignore = "slow: 20,000 changed inputs for each target, a million for each reader of text"]
fn slow_changed_inputs_do_no_harm() {
    let only = std::env::var("FUZZ_TARGET").ok();
    for (name, run) in fuzzed::TARGETS {
        if only.as_ref().is_some_and(|only| only != name) {
            continue;
        }
        // a reader of text takes microseconds, a fleet's fit milliseconds
        let times = if ["sheet", "limits", "fibres", "round"].contains(&name) { 50 } else { 1 };
        mutated(name, run, times * executions());
    }
}

#[cfg(feature = "frames")]
#[test]
#[ignore = "slow: 20,000 changed files for each target"]
fn slow_changed_files_do_no_harm() {
    let only = std::env::var("FUZZ_TARGET").ok();
    // panics of decoders are caught and told as faults of the file
    linedrift::fleet::hush_decoder();
    for (name, run) in files::TARGETS {
        if only.as_ref().is_none_or(|only| only == name) {
            mutated(name, run, executions());
        }
    }
}

/// Writes the kept inputs that are made from others: the sound tables, as CSV and Parquet, small fleets that have a plan,
/// a fit and a due table, a sheet and a round of the fuzzed line set.
#[cfg(feature = "frames")]
#[test]
#[ignore = "writes tests/corpus again"]
fn write_the_kept_inputs() {
    use linedrift::fleet::{FolderSpec, TableFormat, write_folder};
    use linedrift::wear::{Reduction, SavedFit, WearSpec};

    let corpus = std::path::PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/corpus");
    let sound = crate::damaged::sound();
    let fleet = FolderSpec::default().read(sound.path()).unwrap().fleet;
    let written = tempfile::tempdir().unwrap();
    write_folder(&fleet, written.path(), TableFormat::Parquet).unwrap();
    for (target, folder, ending) in [("table", &sound, "csv"), ("parquet", &written, "parquet")] {
        fs::remove_dir_all(corpus.join(target)).unwrap();
        fs::create_dir(corpus.join(target)).unwrap();
        for (at, (name, _)) in crate::damaged::SOUND.iter().enumerate() {
            if let Ok(file) = fs::read(folder.path().join(format!("{name}.{ending}"))) {
                let bytes = [&[u8::try_from(at).unwrap()], file.as_slice()].concat();
                fs::write(corpus.join(target).join(name), bytes).unwrap();
            }
        }
    }
    write_rounds(&corpus);
    let mut random = ChaCha8Rng::seed_from_u64(2);
    let mut designs = 0;
    while designs < 4 {
        let bytes: Vec<u8> = (0..random.random_range(50..600)).map(|_| random.random()).collect();
        if fuzzed::engine(&bytes) == Outcome::Accepted {
            fs::write(corpus.join(format!("engine/sound{designs}")), bytes).unwrap();
            designs += 1;
        }
    }
    let mut made: Vec<(Vec<u8>, linedrift::Fleet)> = Vec::new();
    for _ in 0..20_000 {
        let bytes: Vec<u8> = (0..random.random_range(100..2500)).map(|_| random.random()).collect();
        if made.len() < 4 && fuzzed::fleet(&bytes) == Outcome::Accepted {
            let fleet = fuzzed::arbitrary_fleet(&mut fuzzed::Source(&bytes)).unwrap();
            made.push((bytes, fleet));
        }
    }
    assert_eq!(made.len(), 4, "fleets with a due table");
    for (at, (bytes, _)) in made.iter().enumerate() {
        fs::write(corpus.join(format!("fleet/sound{at}")), bytes).unwrap();
    }
    let json = |fleet: &linedrift::Fleet| serde_json::to_vec(fleet).unwrap();
    let (_, small) = made.iter().min_by_key(|(_, fleet)| json(fleet).len()).unwrap();
    fs::write(corpus.join("document/fleet"), json(small)).unwrap();
    let reduction = Reduction::new(small, &[]).unwrap();
    fs::write(corpus.join("document/reduction"), serde_json::to_vec(&reduction).unwrap()).unwrap();
    let fit = WearSpec::default().fit_reduced(&reduction).unwrap();
    fs::write(corpus.join("saved_fit/random"), SavedFit::new(fit, small).to_json().unwrap()).unwrap();
}

/// A filled sheet of the fuzzed line set, and a round of it with every kind of event, alone and in its journal.
#[cfg(feature = "frames")]
fn write_rounds(corpus: &std::path::Path) {
    use linedrift::check::sheet::SheetSpec;
    use linedrift::check::{Check, RoundEvent};
    use linedrift::fleet::{Journal, RoundHead};

    let sheet = SheetSpec::default().datum_mm(-120.0).run(&fuzzed::SET, None);
    let mut text = String::new();
    for (at, row) in sheet.to_csv().lines().enumerate() {
        let reading = if at > 0 { row.split(',').nth(5).unwrap() } else { "" };
        text.extend([row, reading, "\n"]);
    }
    fs::write(corpus.join("sheet/filled"), text).unwrap();
    let mut events = Vec::new();
    for (at, row) in sheet.rows().iter().enumerate() {
        let (side, line) = (row.side, row.line.clone());
        let reading_mm = row.expected_mm + 0.5;
        events.push(match at % 8 {
            6 => RoundEvent::Skip { side, line: line.clone() },
            5 => RoundEvent::Read { side, line: line.clone(), reading_mm: reading_mm + 1000.0 },
            _ => RoundEvent::Read { side, line: line.clone(), reading_mm },
        });
        match at % 8 {
            5 => events.push(RoundEvent::Keep { side, line }),
            4 => events.push(RoundEvent::Strike { side, line }),
            _ => {}
        }
    }
    let mut text: String = events.iter().map(|event| serde_json::to_string(event).unwrap() + "\n").collect();
    text += "back\nagain\non\nopen\n";
    fs::write(corpus.join("round/events"), text).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let check = Check::new("a", linedrift::Date::constant(2024, 1, 1), 10.0);
    let mut journal = Journal::begin(folder.path(), &RoundHead::new("7", "Heron", &check, Some("one"))).unwrap();
    journal.add(&events).unwrap();
    fs::copy(journal.path(), corpus.join("journal/round")).unwrap();
}
