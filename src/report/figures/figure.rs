//! A drawing with its words: SVG that follows the page's light or dark theme.

use std::fmt::Write as _;

use serde::{Deserialize, Serialize};

use crate::check::DEMO_NOTE;
use crate::report::escape;

/// One drawing with a title and a description in words. Its SVG carries classes instead of colours, so that a page in
/// light or dark can dress it; [`Figure::standalone`] gives it its own colours.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Figure {
    title: String,
    description: String,
    width: u32,
    height: u32,
    body: String,
    #[serde(default)]
    wide: bool,
    #[serde(default)]
    demo: bool,
}

/// Height of the strip under the figure that names the demo.
const DEMO_STRIP: u32 = 34;

/// Height of the strip under a figure that stands by itself.
const CAUTION_STRIP: u32 = 64;
/// What it says there, in lines that fit the narrowest figure.
const CAUTION: [&str; 2] =
    ["Lengths only: nothing here says fit to fly.", "Have trim changes checked by a workshop."];

/// Rules that dress the classes of a figure, light and dark.
///
/// The colours are from the colour-blind-safe set of Okabe and Ito, "Color Universal Design", 2008 (second-hand), darkened
/// or lightened for contrast with the ground. No meaning hangs on colour alone: sides differ in mark and dash, rows in
/// panels of their own, lines outside in a cross and their name.
pub const FIGURE_CSS: &str = include_str!("figure.css");

/// Parts of a figure. Each has a class for its lines and one for what is filled.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Role {
    Ink,
    Muted,
    Grid,
    Zero,
    Band,
    Edge,
    Left,
    Right,
    RightMark,
    Outside,
    Model,
    ModelBand,
    Point,
    Interval,
    Spread,
    Fan95,
    Fan80,
    Fan50,
    Limit,
    Due,
    InkRing,
}

impl Role {
    pub(super) const fn class(self) -> &'static str {
        match self {
            Role::Ink => "ink",
            Role::Muted => "muted",
            Role::Grid => "grid",
            Role::Zero => "zero",
            Role::Band => "band",
            Role::Edge => "edge",
            Role::Left => "left",
            Role::Right => "right",
            Role::RightMark => "rightmark",
            Role::Outside => "outside",
            Role::Model => "model",
            Role::ModelBand => "modelband",
            Role::Point => "point",
            Role::Interval => "interval",
            Role::Spread => "spread",
            Role::Fan95 => "fan95",
            Role::Fan80 => "fan80",
            Role::Fan50 => "fan50",
            Role::Limit => "limit",
            Role::Due => "due",
            Role::InkRing => "inkring",
        }
    }
}

impl Figure {
    /// Takes a drawing: elements that carry the classes of [`FIGURE_CSS`].
    pub(super) fn drawn(title: String, description: String, width: u32, height: u32, body: &str) -> Self {
        Self { title, description, width, height, body: body.trim_end().to_owned(), wide: false, demo: false }
    }

    /// The same figure, to be shown over the whole width of a page.
    pub(super) fn wide(mut self) -> Self {
        self.wide = true;
        self
    }

    /// The same figure, to be shown by itself, marked as made from the bundled invented demo: in its title, in its description
    /// and in a line under the drawing.
    #[must_use]
    pub fn marked_demo(mut self) -> Self {
        if !self.demo {
            self.demo = true;
            self.title.push_str(" (invented)");
            self.description = format!("{} {DEMO_NOTE}", self.description);
            let line = self.height + DEMO_STRIP - 12;
            let _ = write!(self.body, "\n<text class=\"f-muted\" x=\"10\" y=\"{line}\">Invented data</text>");
            self.height += DEMO_STRIP;
        }
        self
    }

    /// Title, as plain text.
    #[must_use]
    pub fn title(&self) -> &str {
        &self.title
    }

    /// What the figure shows in words, as plain text.
    #[must_use]
    pub fn description(&self) -> &str {
        &self.description
    }

    /// The SVG element for use inside an HTML page that carries [`FIGURE_CSS`]. `id` must be unique in that page.
    #[must_use]
    pub fn inline_svg(&self, id: &str) -> String {
        self.svg(id, "", "")
    }

    /// A whole SVG document with its own colours, light and dark.
    #[must_use]
    pub fn standalone(&self) -> String {
        self.cautioned().dressed(FIGURE_CSS)
    }

    /// A whole SVG document with the given rules, on a ground.
    pub(super) fn dressed(&self, css: &str) -> String {
        let head = format!(
            "<style>{css}</style><rect class=\"f-ground\" width=\"{}\" height=\"{}\"/>",
            self.width, self.height
        );
        self.svg("figure", " xmlns=\"http://www.w3.org/2000/svg\"", &head)
    }

    /// The figure as it stands by itself, without a page's cautions around it: with one of its own.
    pub(super) fn cautioned(&self) -> Self {
        let mut alone = self.clone();
        for (line, y) in CAUTION.iter().zip([self.height + 24, self.height + 50]) {
            // writing to a string does not fail
            let _ = write!(alone.body, "\n<text class=\"f-muted\" x=\"10\" y=\"{y}\">{line}</text>");
        }
        alone.height += CAUTION_STRIP;
        alone
    }

    /// Width and height of the drawing.
    #[cfg(feature = "png")]
    pub(super) fn size(&self) -> [u32; 2] {
        [self.width, self.height]
    }

    fn svg(&self, id: &str, namespace: &str, style: &str) -> String {
        let id = escape(id);
        format!(
            "<svg{namespace} class=\"fig{}\" viewBox=\"0 0 {} {}\" role=\"img\" aria-labelledby=\"{id}-t {id}-d\">\
             <title id=\"{id}-t\">{}</title><desc id=\"{id}-d\">{}</desc>{style}\n{}\n</svg>",
            if self.wide { " plan" } else { "" },
            self.width,
            self.height,
            escape(&self.title),
            escape(&self.description),
            self.body
        )
    }
}
