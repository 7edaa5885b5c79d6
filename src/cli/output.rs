//! What a command gives back, and how it is printed.

use std::io::{self, ErrorKind, IsTerminal, Write};
use std::path::Path;
use std::process::ExitCode;

use linedrift::check::Fleet;
use linedrift::fleet::{Table, TableFormat, tables, write_table, write_table_in_pieces};
use linedrift::report::{Document, Figure, plain_json, to_json};
use linedrift::trim::Trim;
use linedrift::wing::is_hidden;
use serde::Serialize;

pub(super) use super::gate::make_folder;
use super::paint;

/// Checks whose tables are held at a time: their lines take some ten megabytes.
const CHECKS_A_PIECE: usize = 512;
/// Widest line of what is said on a terminal.
const WIDTH: usize = 80;

/// The answer of a command.
#[derive(Debug)]
pub(super) struct Output {
    text: String,
    failed: Vec<String>,
    form: Form,
}

/// Who reads the text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Form {
    /// People: telling words are coloured on a terminal.
    Words,
    /// Programs: never changed.
    Exact,
}

/// A figure as it is saved by itself: that of the demo says so.
pub(super) fn alone(figure: &Figure, fleet: &Fleet) -> Figure {
    if fleet.is_demo() { figure.clone().marked_demo() } else { figure.clone() }
}

/// A document, marked where the demo is behind it.
pub(super) fn marked<T: Serialize>(document: Document<T>, demo: bool) -> Document<T> {
    if demo { document.marked_demo() } else { document }
}

/// A document that names its schema, marked where the demo is behind it.
pub(super) fn document<T: Serialize>(inner: T, demo: bool) -> Document<T> {
    marked(Document::new(inner), demo)
}

/// A result as the document of a command, marked where the demo is behind it.
pub(super) fn of_command<T: Serialize>(command: &str, inner: T, demo: bool) -> Document<T> {
    marked(Document::of_command(command, inner), demo)
}

impl Output {
    /// Text for people, within 80 columns. Names come from tables: whatever in them could move the cursor or turn the text
    /// around is shown as `?`.
    #[allow(clippy::needless_pass_by_value)] // what is printed is this and nothing else: its maker is done with it
    pub(super) fn text(text: String) -> Self {
        Self { text: wrapped(harmless(&text)), failed: Vec::new(), form: Form::Words }
    }

    /// Text for programs.
    pub(super) fn raw(text: String) -> Self {
        Self { text, failed: Vec::new(), form: Form::Exact }
    }

    /// One JSON document.
    pub(super) fn json(document: &impl Serialize) -> Result<Self, super::Failure> {
        Ok(Self::raw(to_json(document)?))
    }

    /// The same text with more behind it.
    pub(super) fn followed_by(mut self, text: &str) -> Self {
        self.text.push_str(&wrapped(harmless(text)));
        self
    }

    /// The same answer, with what could not be done for some wings: they go to stderr and the exit code is 1.
    pub(super) fn with_failed(mut self, failed: Vec<String>) -> Self {
        self.failed = failed;
        self
    }

    /// Prints the answer. A reader that closes the pipe early is no fault.
    pub(super) fn print(&self) -> ExitCode {
        let written = if self.form == Form::Words && paint::on_stdout(&io::stdout()) {
            write_out(paint::painted(&self.text).as_bytes())
        } else {
            write_out(self.text.as_bytes())
        };
        for failed in &self.failed {
            say(&format!("error: {failed}\n"));
        }
        if written && self.failed.is_empty() { ExitCode::SUCCESS } else { ExitCode::from(1) }
    }
}

/// Prints a JSON document; one that cannot be formed is said on stderr.
pub(super) fn print_json(document: &impl Serialize) {
    match plain_json(document) {
        Ok(text) => {
            write_out(text.as_bytes());
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
    let mut text = harmless(text);
    if io::stderr().is_terminal() {
        text = wrapped(text);
    }
    if paint::on_stderr(&io::stderr()) {
        text = paint::painted(&text);
    }
    let _ = io::stderr().lock().write_all(text.as_bytes());
}

/// Text for a terminal: characters that are not seen, or change how others are shown, become `?`; lines stay.
pub(super) fn harmless(text: &str) -> String {
    text.replace(|letter: char| letter != '\n' && is_hidden(letter), "?")
}

/// Both formats of result tables.
pub(super) const BOTH: [TableFormat; 2] = [TableFormat::Csv, TableFormat::Parquet];

/// Writes a result table into a folder in some formats, and gives the paths of the files.
pub(super) fn write_formats(
    table: &Table,
    folder: &Path,
    formats: &[TableFormat],
) -> Result<Vec<String>, super::Failure> {
    let mut files = Vec::new();
    for format in formats {
        write_table(table, folder, *format)?;
        files.push(folder.join(format!("{}.{}", table.name, format.ending())).display().to_string());
    }
    Ok(files)
}

/// Writes every table of judged checks into a folder that exists; of a large fleet some wings at a time.
pub(super) fn write_trims(
    trims: &[Trim],
    folder: &Path,
    formats: &[TableFormat],
) -> Result<Vec<String>, super::Failure> {
    let trims: Vec<&Trim> = trims.iter().collect();
    let pieces: Vec<&[&Trim]> = if trims.is_empty() { vec![&[]] } else { trims.chunks(CHECKS_A_PIECE).collect() };
    let mut files = Vec::new();
    for make in tables::TRIM {
        for format in formats {
            write_table_in_pieces(pieces.iter().map(|piece| make(piece)), folder, *format)?;
            files.push(folder.join(format!("{}.{}", make(&[]).name, format.ending())).display().to_string());
        }
    }
    Ok(files)
}

/// Lines of at most 80 characters, where words allow it; a line that goes on is indented.
fn wrapped(text: String) -> String {
    if text.lines().all(|line| line.chars().count() <= WIDTH) {
        return text;
    }
    let mut out = String::with_capacity(text.len());
    for line in text.split_inclusive('\n') {
        let mut at = 0;
        for (nth, word) in line.split_inclusive(' ').enumerate() {
            let length = word.trim_end().chars().count();
            if nth > 0 && at + length > WIDTH {
                out.truncate(out.trim_end_matches(' ').len());
                out.push_str("\n    ");
                at = 4;
            }
            out.push_str(word);
            at += word.chars().count();
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_wrapped_between_words_and_nothing_is_lost() {
        let long = format!("error: {}\n  short line\n{}\n", "some words ".repeat(20), "x".repeat(200));
        let text = wrapped(long.clone());
        assert!(text.lines().all(|line| line.chars().count() <= WIDTH || !line.trim().contains(' ')), "{text}");
        let words = |text: &str| text.split_whitespace().map(str::to_owned).collect::<Vec<_>>();
        assert_eq!(words(&text), words(&long));
        assert!(text.contains("\n  short line\n"));
    }
}
