//! A page while it is being written: its HTML, and the figures that stand in it.

use std::fmt::Write as _;

use serde::{Deserialize, Serialize};

use super::table::{Cell, table};
use crate::report::escape;
use crate::report::figures::Figure;

/// One figure of a page, with a name that serves for a file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PageFigure {
    /// Name, unique in the page: letters, digits, `-` and `_`.
    pub name: String,
    /// The figure.
    pub figure: Figure,
}

/// A page while it is being written.
pub(super) struct Draft {
    pub(super) html: String,
    pub(super) figures: Vec<PageFigure>,
    /// Level of the headings that come next.
    pub(super) level: u8,
}

impl Draft {
    pub(super) fn new() -> Self {
        Self { html: String::new(), figures: Vec::new(), level: 2 }
    }

    /// HTML that is ready.
    pub(super) fn raw(&mut self, html: &str) {
        self.html.push_str(html);
    }

    /// A heading of the present level.
    pub(super) fn heading(&mut self, id: &str, text: &str) {
        let _ = writeln!(self.html, "<h{0} id=\"{1}\">{2}</h{0}>", self.level, escape(id), escape(text));
    }

    /// Opens a section with its heading; [`Draft::close`] ends it.
    pub(super) fn open(&mut self, id: &str, heading: &str) {
        let _ = writeln!(self.html, "<section aria-labelledby=\"{}\">", escape(id));
        self.heading(id, heading);
    }

    pub(super) fn close(&mut self) {
        self.html.push_str("</section>\n");
    }

    /// A paragraph of plain text.
    pub(super) fn text(&mut self, text: &str) {
        let _ = writeln!(self.html, "<p>{}</p>", escape(text));
    }

    /// A remark.
    pub(super) fn note(&mut self, text: &str) {
        let _ = writeln!(self.html, "<p class=\"note\">{}</p>", escape(text));
    }

    pub(super) fn table(&mut self, caption: &str, heads: &[&str], rows: &[Vec<Cell>]) {
        self.html.push_str(&table(caption, heads, rows));
    }

    /// Figures with their values in pairs.
    pub(super) fn facts(&mut self, facts: &[(&str, String)]) {
        self.html.push_str("<dl class=\"facts\">\n");
        for (name, value) in facts {
            let _ = writeln!(self.html, "<div><dt>{}</dt><dd>{}</dd></div>", escape(name), escape(value));
        }
        self.html.push_str("</dl>\n");
    }

    /// Panels of one figure under one caption. `name` keeps ids and files apart.
    pub(super) fn panels(&mut self, caption: &str, key: &str, name: &str, figures: Vec<Figure>) {
        if figures.is_empty() {
            return;
        }
        self.caption(caption, key);
        self.html.push_str("<div class=\"panels\">");
        for (place, figure) in figures.into_iter().enumerate() {
            self.figure(format!("{name}-{place}"), figure);
        }
        self.html.push_str("</div></figure>\n");
    }

    /// A figure over the whole width, in a wrapper that scrolls by itself on a narrow screen.
    pub(super) fn whole(&mut self, caption: &str, key: &str, name: &str, figure: Figure) {
        self.caption(caption, key);
        let _ = write!(
            self.html,
            "<div class=\"wide\" tabindex=\"0\" role=\"group\" aria-label=\"{}\">",
            escape(&format!("{}: {caption}", figure.title()))
        );
        self.figure(name.to_owned(), figure);
        self.html.push_str("</div></figure>\n");
    }

    fn caption(&mut self, caption: &str, key: &str) {
        let _ = write!(
            self.html,
            "<figure><figcaption>{}<span class=\"key\">{}</span></figcaption>",
            escape(caption),
            escape(key)
        );
    }

    fn figure(&mut self, name: String, figure: Figure) {
        self.html.push_str(&figure.inline_svg(&name));
        self.figures.push(PageFigure { name, figure });
    }
}
