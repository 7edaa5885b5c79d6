//! What a command gives back, and how it is printed.

use std::fmt::Write as _;
use std::io::{self, ErrorKind, Write};
use std::path::Path;
use std::process::ExitCode;

use linedrift::wing::is_hidden;
use serde::Serialize;

use super::Failure;

/// The answer of a command.
#[derive(Debug)]
pub(super) struct Output {
    text: String,
    failed: Vec<String>,
}

/// A document with the mark of the demo behind its own keys.
#[derive(Debug, Serialize)]
pub(super) struct Document<T> {
    #[serde(flatten)]
    inner: T,
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    demo: bool,
}

impl<T: Serialize> Document<T> {
    pub(super) fn new(inner: T, demo: bool) -> Self {
        Self { inner, demo }
    }
}

impl Output {
    /// Text for people. Names come from tables: whatever in them could move the cursor or turn the text around is shown as
    /// `?`.
    #[allow(clippy::needless_pass_by_value)] // what is printed is this and nothing else: its maker is done with it
    pub(super) fn text(text: String) -> Self {
        Self { text: harmless(&text), failed: Vec::new() }
    }

    /// One JSON document.
    pub(super) fn json(document: &impl Serialize) -> Result<Self, super::Failure> {
        let text = serde_json::to_string_pretty(document).map_err(|error| super::Failure::result(&error))?;
        Ok(Self { text: ascii_where_hidden(&text) + "\n", failed: Vec::new() })
    }

    /// The same answer, with what could not be done for some wings: they go to stderr and the exit code is 1.
    pub(super) fn with_failed(mut self, failed: Vec<String>) -> Self {
        self.failed = failed;
        self
    }

    /// Prints the answer. A reader that closes the pipe early is no fault.
    pub(super) fn print(&self) -> ExitCode {
        let written = write_out(self.text.as_bytes());
        for failed in &self.failed {
            say(&format!("error: {failed}\n"));
        }
        if written && self.failed.is_empty() { ExitCode::SUCCESS } else { ExitCode::from(1) }
    }
}

/// Prints a JSON document; one that cannot be formed is said on stderr.
pub(super) fn print_json(document: &impl Serialize) {
    match serde_json::to_string_pretty(document) {
        Ok(text) => {
            write_out((ascii_where_hidden(&text) + "\n").as_bytes());
        }
        Err(error) => say(&format!("error: {error}\n")),
    }
}

/// Writes to stdout; false when it could not for another reason than a closed pipe.
fn write_out(bytes: &[u8]) -> bool {
    let mut out = io::stdout().lock();
    match out.write_all(bytes).and_then(|()| out.flush()) {
        Ok(()) => true,
        Err(error) if error.kind() == ErrorKind::BrokenPipe => true,
        Err(error) => {
            say(&format!("error: cannot write the result: {error}\n"));
            false
        }
    }
}

/// Writes to stderr. There is nowhere left to say that this failed.
pub(super) fn say(text: &str) {
    let _ = io::stderr().lock().write_all(harmless(text).as_bytes());
}

/// Text for a terminal: characters that are not seen, or change how others are shown, become `?`; lines stay.
pub(super) fn harmless(text: &str) -> String {
    text.replace(|letter: char| letter != '\n' && is_hidden(letter), "?")
}

/// JSON whose hidden characters are written by their numbers. They stand within strings only; line ends stand between
/// tokens only.
fn ascii_where_hidden(json: &str) -> String {
    let mut out = String::with_capacity(json.len());
    for letter in json.chars() {
        if letter == '\n' || !is_hidden(letter) {
            out.push(letter);
        } else {
            let mut pair = [0; 2];
            for unit in letter.encode_utf16(&mut pair) {
                // writing to a string does not fail
                let _ = write!(out, "\\u{unit:04x}");
            }
        }
    }
    out
}

/// Makes a folder, with those above it, where it is not there yet.
pub(super) fn make_folder(path: &Path) -> Result<(), Failure> {
    std::fs::create_dir_all(path)
        .map_err(|error| Failure::Result(format!("cannot make the folder `{}`: {error}", path.display())))
}
