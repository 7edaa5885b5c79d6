//! Tables for HTML.

use std::fmt::Write as _;

use crate::report::escape;

/// One cell of a table: plain text that is escaped when written.
#[derive(Debug, Clone)]
pub(super) struct Cell {
    text: String,
    link: Option<String>,
    class: &'static str,
}

impl Cell {
    /// A cell of words.
    pub(super) fn words(text: impl Into<String>) -> Self {
        Self { text: text.into(), link: None, class: "" }
    }

    /// A cell of figures, set flush right.
    pub(super) fn figure(text: impl Into<String>) -> Self {
        Self { text: text.into(), link: None, class: "n" }
    }

    /// A cell of words that stay on one line, such as a date.
    pub(super) fn short(text: impl Into<String>) -> Self {
        Self { text: text.into(), link: None, class: "k" }
    }

    /// A cell of many words, which keeps some width.
    pub(super) fn long(text: impl Into<String>) -> Self {
        Self { text: text.into(), link: None, class: "w" }
    }

    /// The same cell, marked as needing a look.
    pub(super) fn marked(mut self) -> Self {
        self.class = match self.class {
            "n" => "n mark",
            "k" => "k mark",
            _ => "mark",
        };
        self
    }

    /// The same cell as a link to a place in the page.
    pub(super) fn linked(mut self, id: &str) -> Self {
        self.link = Some(id.to_owned());
        self
    }

    fn inner(&self) -> String {
        let text = escape(&self.text);
        match &self.link {
            Some(id) => format!("<a href=\"#{}\">{text}</a>", escape(id)),
            None => text,
        }
    }
}

/// A table in a wrapper that scrolls by itself. The first cell of each row is its header. `heads` are plain text.
pub(super) fn table(caption: &str, heads: &[&str], rows: &[Vec<Cell>]) -> String {
    let mut out = format!(
        "<div class=\"wide\" tabindex=\"0\" role=\"group\" aria-label=\"{0}\"><table><caption><span>{0}</span></caption><thead><tr>",
        escape(caption)
    );
    let figures = rows.first();
    for (column, head) in heads.iter().enumerate() {
        let class = match figures.and_then(|row| row.get(column)) {
            Some(cell) if cell.class.starts_with('n') => " class=\"n\"",
            _ => "",
        };
        let _ = write!(out, "<th scope=\"col\"{class}>{}</th>", escape(head));
    }
    out.push_str("</tr></thead><tbody>\n");
    for row in rows {
        out.push_str("<tr>");
        for (column, cell) in row.iter().enumerate() {
            let class = if cell.class.is_empty() { String::new() } else { format!(" class=\"{}\"", cell.class) };
            let inner = cell.inner();
            let _ = if column == 0 {
                write!(out, "<th scope=\"row\"{class}>{inner}</th>")
            } else {
                write!(out, "<td{class}>{inner}</td>")
            };
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody></table></div>\n");
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn table_marks_heads_and_escapes_cells() {
        let html = table("Wings", &["wing", "hours"], &[vec![Cell::words("<i>"), Cell::figure("12").marked()]]);
        assert!(html.contains("<th scope=\"col\">wing</th><th scope=\"col\" class=\"n\">hours</th>"));
        assert!(html.contains("<th scope=\"row\">&lt;i&gt;</th><td class=\"n mark\">12</td>"));
    }
}
