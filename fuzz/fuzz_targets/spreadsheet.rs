//! See `tests/fuzzed/files.rs`.
#![no_main]

#[allow(dead_code)]
#[path = "../../tests/damaged/mod.rs"]
mod damaged;
#[path = "../../tests/fuzzed/files.rs"]
mod files;
#[path = "../../tests/fuzzed/mod.rs"]
mod fuzzed;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    files::spreadsheet(bytes);
});
