//! Decoding that may panic: a damaged Parquet file or spreadsheet is a fault of the file like any other.

use std::panic::{AssertUnwindSafe, catch_unwind, set_hook, take_hook};
use std::sync::atomic::{AtomicUsize, Ordering};

/// How many files are being decoded; the decoder has threads of its own, so that it is no matter of one thread.
static DECODED_NOW: AtomicUsize = AtomicUsize::new(0);

/// Runs what may panic on a damaged file; `None` when it did.
pub(crate) fn guarded<T>(run: impl FnOnce() -> T) -> Option<T> {
    DECODED_NOW.fetch_add(1, Ordering::SeqCst);
    let ran = catch_unwind(AssertUnwindSafe(run)).ok();
    DECODED_NOW.fetch_sub(1, Ordering::SeqCst);
    ran
}

/// Keeps the decoder's panics off standard error while a Parquet file or a spreadsheet is read: each is caught, and told as a fault of the
/// file. For a program to call once, at its start; every other panic is told as before.
pub fn hush_decoder() {
    let usual = take_hook();
    set_hook(Box::new(move |panic| {
        let of_decoder = panic.location().is_some_and(|place| {
            ["polars", "calamine", "quick-xml", "zip"].iter().any(|name| place.file().contains(name))
        });
        if !(of_decoder && DECODED_NOW.load(Ordering::SeqCst) > 0) {
            usual(panic);
        }
    }));
}
