//! What a question gives back.

use linedrift::fleet::Table;
use linedrift::report::{Figure, ReportError, text, to_json};
use pyo3::prelude::*;
use serde::Serialize;

use crate::arrow::Frame;
use crate::failure::Failure;

/// A figure with the name of its file.
pub(crate) struct NamedFigure {
    name: String,
    figure: Figure,
}

impl NamedFigure {
    pub(crate) fn new(name: impl Into<String>, figure: Figure) -> Self {
        Self { name: name.into(), figure }
    }
}

type Draw = Box<dyn Fn() -> Result<Vec<NamedFigure>, ReportError> + Send + Sync>;

/// One answer: as JSON, as text, as tables and as figures.
#[pyclass(frozen)]
pub(crate) struct Answer {
    json: String,
    text: String,
    tables: Vec<Table>,
    failed: Vec<String>,
    draw: Draw,
    page: Option<String>,
    demo: bool,
}

impl Answer {
    pub(crate) fn new(demo: bool, document: &impl Serialize, words: &str) -> Result<Self, Failure> {
        let note = if demo { text::demo_note() } else { String::new() };
        Ok(Self {
            json: to_json(document)?,
            text: format!("{}{note}\n{words}", text::cautions()),
            tables: Vec::new(),
            failed: Vec::new(),
            draw: Box::new(|| Ok(Vec::new())),
            page: None,
            demo,
        })
    }

    pub(crate) fn tables(mut self, tables: Vec<Table>) -> Self {
        self.tables = tables;
        self
    }

    pub(crate) fn failed(mut self, failed: Vec<String>) -> Self {
        self.failed = failed;
        self
    }

    pub(crate) fn page(mut self, html: String) -> Self {
        self.page = Some(html);
        self
    }

    pub(crate) fn figures(
        mut self,
        draw: impl Fn() -> Result<Vec<NamedFigure>, ReportError> + Send + Sync + 'static,
    ) -> Self {
        self.draw = Box::new(draw);
        self
    }
}

/// Figures as (name, title, description, SVG), each marked where the demo is behind it.
pub(crate) fn drawn(figures: Vec<NamedFigure>, demo: bool) -> Vec<(String, String, String, String)> {
    let marked = |figure: Figure| if demo { figure.marked_demo() } else { figure };
    figures
        .into_iter()
        .map(|NamedFigure { name, figure }| {
            let figure = marked(figure);
            (name, figure.title().to_owned(), figure.description().to_owned(), figure.standalone())
        })
        .collect()
}

#[pymethods]
impl Answer {
    fn json(&self) -> &str {
        &self.json
    }

    fn text(&self) -> &str {
        &self.text
    }

    fn failed_list(&self) -> Vec<String> {
        self.failed.clone()
    }

    fn page_html(&self) -> Option<&str> {
        self.page.as_deref()
    }

    fn table_names(&self) -> Vec<&str> {
        self.tables.iter().map(|table| table.name.as_str()).collect()
    }

    fn table(&self, py: Python<'_>, name: &str) -> PyResult<Option<Frame>> {
        let found = self.tables.iter().find(|table| table.name == name);
        found.map(Frame::of).transpose().map_err(|failure| failure.raise(py))
    }

    fn figure_list(&self, py: Python<'_>) -> PyResult<Vec<(String, String, String, String)>> {
        let figures = (self.draw)().map_err(|error| Failure::from(error).raise(py))?;
        Ok(drawn(figures, self.demo))
    }
}
