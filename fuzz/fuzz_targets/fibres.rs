//! See `tests/fuzzed`.
#![no_main]

#[path = "../../tests/fuzzed/mod.rs"]
mod fuzzed;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    fuzzed::fibres(bytes);
});
