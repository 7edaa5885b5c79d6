//! What every page has: head, styles, script, mark of the demo, cautions, foot.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::check::DEMO_NOTE;
use crate::report::figures::FIGURE_CSS;
use crate::report::words::CAUTIONS;
use crate::wing::is_hidden;

const PAGE_CSS: &str = include_str!("page.css");
const PAGE_SCRIPT: &str = include_str!("page.js");

/// A whole self-contained document. Characters that no document may hold, and those that turn the text around them, become U+FFFD.
pub(super) fn document(title: &str, styles: &[&str], body: &Markup) -> String {
    let page = html! {
        (DOCTYPE) "\n"
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="generator" content="linedrift";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { @for css in styles { (PreEscaped(css)) } }
            }
            "\n"
            body { (body) }
        }
        "\n"
    };
    let text = page.into_string();
    let hidden = |letter: char| is_hidden(letter) && !matches!(letter, '\n' | '\t');
    if text.contains(hidden) { text.replace(hidden, "\u{fffd}") } else { text }
}

/// A page of the report before it is written.
pub(super) struct Document<'a> {
    pub(super) title: String,
    /// Line under the title.
    pub(super) under: String,
    pub(super) demo: bool,
    /// Id of the first part, and what it is, for readers who skip to it.
    pub(super) first: (&'a str, &'a str),
    pub(super) body: Markup,
}

impl Document<'_> {
    /// The page as HTML.
    pub(super) fn html(&self) -> String {
        let (first, what) = self.first;
        let title = format!("{}{}", self.title, if self.demo { " (invented demo)" } else { "" });
        let body = html! {
            a .skip href={ "#" (first) } { "To " (what) }
            main {
                header {
                    h1 { (self.title) }
                    p .under { (self.under) }
                }
                @if self.demo { (demo()) }
                (self.body)
                footer { p {
                    "Made by linedrift " (env!("CARGO_PKG_VERSION"))
                    " from the tables named above. The same tables give the same page."
                } }
            }
            script { (PreEscaped(PAGE_SCRIPT)) }
        };
        document(&title, &[PAGE_CSS, FIGURE_CSS], &body)
    }
}

/// Says that the data is invented.
pub(super) fn demo() -> Markup {
    html! { p .demo { strong { "Demo." } " " (DEMO_NOTE) } "\n" }
}

/// The cautions, whole: in view on a wide screen and in print, on a phone the first of them with the others a touch away.
pub(super) fn cautions() -> Markup {
    let [first, rest @ ..] = &CAUTIONS;
    html! {
        aside .cautions aria-labelledby="cautions" {
            h2 #cautions { "Before you act on this" }
            p { (first) }
            details { summary { "The other cautions" } ul { @for caution in rest { li { (caution) } } } }
        }
        "\n"
    }
}
