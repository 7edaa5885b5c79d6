//! See `tests/fuzzed/files.rs`.
#![no_main]

#[allow(dead_code)]
#[path = "../../tests/damaged/mod.rs"]
mod damaged;
#[path = "../../tests/fuzzed/files.rs"]
mod files;
#[path = "../../tests/fuzzed/mod.rs"]
mod fuzzed;

// a panic of the decoder is caught and told as a fault of the file: only others end the run
libfuzzer_sys::fuzz_target!(init: linedrift::fleet::hush_decoder(), |bytes: &[u8]| {
    files::spreadsheet(bytes);
});
