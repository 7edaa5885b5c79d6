//! Colour, where there is a terminal that wants it; what is coloured says the same without.

use std::io::{Stderr, Stdout};

use anstream::{AutoStream, ColorChoice};

const RESET: &str = "\u{1b}[0m";
/// Words, each with the code that it is printed in.
const WORDS: [(&str, &str); 5] = [
    ("outside", "\u{1b}[1;31m"),
    ("undecided", "\u{1b}[33m"),
    ("error:", "\u{1b}[1;31m"),
    ("note:", "\u{1b}[36m"),
    ("!", "\u{1b}[1;33m"),
];

/// Whether stdout takes colour: a terminal that `NO_COLOR` does not forbid it, or `CLICOLOR_FORCE`.
pub(super) fn on_stdout(out: &Stdout) -> bool {
    AutoStream::choice(out) != ColorChoice::Never
}

/// The same of stderr.
pub(super) fn on_stderr(err: &Stderr) -> bool {
    AutoStream::choice(err) != ColorChoice::Never
}

/// The text with its telling words in colour.
pub(super) fn painted(text: &str) -> String {
    text.split_inclusive('\n').map(line).collect()
}

fn line(line: &str) -> String {
    let mut out = String::with_capacity(line.len());
    let mut rest = line;
    let mut before = ' ';
    while let Some(first) = rest.chars().next() {
        let found = WORDS.iter().find(|(word, _)| stands(rest, before, word, out.is_empty()));
        if let Some((word, code)) = found {
            out.push_str(code);
            out.push_str(word);
            out.push_str(RESET);
            rest = &rest[word.len()..];
            before = 'x';
        } else {
            out.push(first);
            rest = &rest[first.len_utf8()..];
            before = first;
        }
    }
    out
}

/// Whether the word stands here by itself; a mark only at the beginning of a line.
fn stands(rest: &str, before: char, word: &str, at_start: bool) -> bool {
    let after = || rest[word.len()..].chars().next();
    rest.starts_with(word)
        && !before.is_alphanumeric()
        && !after().is_some_and(char::is_alphanumeric)
        && (at_start || word.starts_with(char::is_alphabetic) && !word.ends_with(':'))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_coloured_whole_and_nothing_else_changes() {
        let text = "! heed\n  outside (mm): A1\nnote: 3 undecided\noutsides ! fine note: x\n";
        let coloured = painted(text);
        assert_eq!(coloured.matches(RESET).count(), 4, "{coloured:?}");
        let codes = WORDS.iter().map(|(_, code)| *code).chain([RESET]);
        assert_eq!(codes.fold(coloured, |text, code| text.replace(code, "")), text);
    }
}
