//! What a page gathers while it is written: its figures, and the level of its headings.

use maud::{Markup, PreEscaped, html};
use serde::{Deserialize, Serialize};

use crate::report::figures::Figure;
use crate::report::words::typeset;

/// One figure of a page, with a name that serves for a file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PageFigure {
    /// Name, unique in the page: letters, digits, `-` and `_`.
    pub name: String,
    /// The figure.
    pub figure: Figure,
}

/// How the panels of a figure are laid out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Layout {
    /// As many side by side as there is room for.
    Panels,
    /// One over the whole width; on a narrow screen it scrolls by itself.
    Whole,
}

/// What a page gathers while it is written.
#[derive(Debug, Default)]
pub(super) struct Draft {
    pub(super) figures: Vec<PageFigure>,
    /// Headings stand so many levels deeper than in the page of one wing.
    pub(super) deeper: u8,
}

impl Draft {
    /// A heading within a section.
    pub(super) fn heading(&self, id: &str, text: &str) -> Markup {
        match self.deeper {
            0 => html! { h2 id=(id) { (text) } },
            1 => html! { h3 id=(id) { (text) } },
            _ => html! { h4 id=(id) { (text) } },
        }
    }

    /// Figures under one caption. `name` keeps ids and files apart.
    pub(super) fn figures(
        &mut self,
        layout: Layout,
        caption: &str,
        key: &str,
        name: &str,
        figures: Vec<Figure>,
    ) -> Markup {
        let drawn: Vec<Markup> = figures
            .into_iter()
            .enumerate()
            .map(|(place, figure)| {
                let name = format!("{name}-{place}");
                let svg = PreEscaped(figure.inline_svg(&name));
                self.figures.push(PageFigure { name, figure });
                svg
            })
            .collect();
        html! {
            @if !drawn.is_empty() {
                figure {
                    figcaption { (caption) span .key { (key) } }
                    @match layout {
                        Layout::Panels => div .panels { @for one in &drawn { (one) } },
                        Layout::Whole => div .wide tabindex="0" role="group" aria-label=(format!("Figure: {caption}")) {
                            @for one in &drawn { (one) }
                        },
                    }
                }
                "\n"
            }
        }
    }
}

/// A section with its heading.
pub(super) fn section(id: &str, heading: &str, inner: &Markup) -> Markup {
    html! { section aria-labelledby=(id) { h2 id=(id) { (heading) } (inner) } "\n" }
}

/// A remark.
pub(super) fn note(text: &str) -> Markup {
    html! { p .note { (typeset(text)) } }
}
