//! Documents as text: what every answer in JSON carries besides its own keys.

use std::fmt::Write as _;

use serde::Serialize;

use super::{CAUTIONS, ReportError};
use crate::wing::is_hidden;

/// A document with its schema before and the mark of the demo behind its own keys.
#[derive(Debug, Clone, Serialize)]
pub struct Document<T> {
    #[serde(skip_serializing_if = "Option::is_none")]
    schema: Option<String>,
    #[serde(flatten)]
    inner: T,
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    demo: bool,
}

impl<T: Serialize> Document<T> {
    /// Of a document that names its schema itself.
    pub fn new(inner: T) -> Self {
        Self { schema: None, inner, demo: false }
    }

    /// Of a result without a schema of its own: `linedrift.COMMAND/1`.
    pub fn of_command(command: &str, inner: T) -> Self {
        Self { schema: Some(format!("linedrift.{command}/1")), inner, demo: false }
    }

    /// With `"demo": true` behind its own keys: the bundled invented demo is behind it.
    #[must_use]
    pub fn marked_demo(mut self) -> Self {
        self.demo = true;
        self
    }
}

#[derive(Serialize)]
struct Cautioned<'a, T> {
    #[serde(flatten)]
    inner: &'a T,
    cautions: &'static [&'static str],
}

/// An answer as one JSON document, the cautions behind its own keys; ends in a line end. Letters that are not seen are written
/// by their numbers.
///
/// # Errors
/// [`ReportError::Json`] when the document is none that JSON can hold.
pub fn to_json(document: &impl Serialize) -> Result<String, ReportError> {
    plain_json(&Cautioned { inner: document, cautions: &CAUTIONS })
}

/// The same without the cautions: what says only what is wrong with some data.
///
/// # Errors
/// As [`to_json`].
pub fn plain_json(document: &impl Serialize) -> Result<String, ReportError> {
    let text =
        serde_json::to_string_pretty(document).map_err(|error| ReportError::Json { reason: error.to_string() })?;
    Ok(ascii_where_hidden(&text) + "\n")
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
