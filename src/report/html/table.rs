//! Tables for pages.

use maud::{Markup, html};

/// One cell of a table: plain text, escaped when it is written.
#[derive(Debug, Clone)]
pub(super) struct Cell {
    text: String,
    link: Option<String>,
    class: &'static str,
    marked: bool,
}

impl Cell {
    fn new(text: impl Into<String>, class: &'static str) -> Self {
        Self { text: text.into(), link: None, class, marked: false }
    }

    /// A cell of words.
    pub(super) fn words(text: impl Into<String>) -> Self {
        Self::new(text, "")
    }

    /// A cell of figures, set flush right.
    pub(super) fn figure(text: impl Into<String>) -> Self {
        Self::new(text, "n")
    }

    /// A cell of words that stay on one line, such as a date.
    pub(super) fn short(text: impl Into<String>) -> Self {
        Self::new(text, "k")
    }

    /// A cell of many words, which keeps some width.
    pub(super) fn long(text: impl Into<String>) -> Self {
        Self::new(text, "w")
    }

    /// The same cell, marked as needing a look where `when` holds.
    pub(super) fn marked_when(mut self, when: impl FnOnce() -> bool) -> Self {
        self.marked = when();
        self
    }

    /// The same cell as a link to a place in the page.
    pub(super) fn linked(mut self, id: Option<String>) -> Self {
        self.link = id;
        self
    }

    fn class(&self) -> Option<String> {
        let class = if self.marked { format!("{} mark", self.class) } else { self.class.to_owned() };
        (!class.is_empty()).then(|| class.trim_start().to_owned())
    }

    /// Several words, which may go on in another line.
    fn is_wordy(&self) -> bool {
        self.text.contains(' ') && self.text.chars().count() > 16
    }

    fn inner(&self) -> Markup {
        html! { @if let Some(id) = &self.link { a href={ "#" (id) } { (self.text) } } @else { (self.text) } }
    }
}

/// A table in a wrapper that scrolls by itself. The first cell of each row is its header. `heads` are plain text.
pub(super) fn table(caption: &str, heads: &[&str], rows: &[Vec<Cell>]) -> Markup {
    let flush = |column: usize| rows.first().and_then(|row| row.get(column)).is_some_and(|cell| cell.class == "n");
    html! {
        div .wide tabindex="0" role="group" aria-label=(caption) {
            table {
                caption { span { (caption) } }
                thead { tr {
                    @for (column, head) in heads.iter().enumerate() {
                        @if head.is_empty() {
                            td {}
                        } @else {
                            th scope="col" class=[flush(column).then_some("n")] { (head) }
                        }
                    }
                } }
                tbody {
                    @for row in rows {
                        tr {
                            @for (column, cell) in row.iter().enumerate() {
                                @if column == 0 {
                                    th scope="row" class=[if cell.is_wordy() { Some("w".to_owned()) } else { cell.class() }] { (cell.inner()) }
                                } @else {
                                    td class=[cell.class()] { (cell.inner()) }
                                }
                            }
                        }
                        "\n"
                    }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn table_marks_heads_and_escapes_cells() {
        let marked = Cell::figure("12").marked_when(|| true);
        let html = table("Wings", &["wing", "hours"], &[vec![Cell::words("<i>"), marked]]).into_string();
        assert!(html.contains("<th scope=\"col\">wing</th><th scope=\"col\" class=\"n\">hours</th>"), "{html}");
        assert!(html.contains("<th scope=\"row\">&lt;i&gt;</th><td class=\"n mark\">12</td>"), "{html}");
    }
}
