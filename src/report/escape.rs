//! Text made safe for HTML and SVG.

use crate::wing::is_hidden;

/// The text with the five characters that mean something in HTML and SVG written out.
#[must_use]
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            // characters that no HTML or XML document may hold, and those that turn the text around them
            c if is_hidden(c) && !matches!(c, '\n' | '\t') => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn escapes_what_html_reads_as_markup() {
        assert_eq!(escape("<b>&\"x'"), "&lt;b&gt;&amp;&quot;x&#39;");
        assert_eq!(escape("a\u{0}b"), "a\u{fffd}b");
        assert_eq!(escape("Zürich 7"), "Zürich 7");
    }
}
