//! Characters that a reader does not see.

/// Whether a character is not seen, or changes how others are shown: controls, marks of writing direction, breaks of lines
/// and paragraphs, invisible fillers and tags. The joiners that Persian and Indian scripts need are not among them.
///
/// ```
/// use linedrift::wing::is_hidden;
/// assert!(is_hidden('\u{1b}') && is_hidden('\u{202e}') && is_hidden('\n'));
/// assert!(!is_hidden('A') && !is_hidden('é') && !is_hidden(' '));
/// ```
#[must_use]
pub fn is_hidden(letter: char) -> bool {
    letter.is_control()
        || matches!(letter,
            '\u{ad}' | '\u{61c}' | '\u{180e}' | '\u{200b}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}'
            | '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}' | '\u{e0000}'..='\u{e007f}')
}

/// Whether a spreadsheet would take the text for a formula, and run it.
pub(crate) fn is_formula(text: &str) -> bool {
    text.starts_with(['=', '+', '-', '@', '\t', '\r'])
}

/// A text as a cell of a CSV table: in quotes where it must be, whatever mark the reader takes for the end of a cell (RFC 4180,
/// from memory).
pub(crate) fn csv_cell(text: &str) -> String {
    if text.contains([',', ';', '"', '\n', '\r', '\t']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.to_owned()
    }
}

/// The same with an apostrophe in front where a spreadsheet would take it for a formula.
pub(crate) fn harmless_csv_cell(text: &str) -> String {
    if is_formula(text) { csv_cell(&format!("'{text}")) } else { csv_cell(text) }
}

/// The text on one line, with `?` for every character that is not seen.
#[must_use]
pub fn shown(text: &str) -> String {
    text.replace(is_hidden, "?")
}
