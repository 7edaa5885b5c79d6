//! The models of a folder: which line sets there are, and which the wings follow.

use std::collections::HashSet;

use polars::prelude::PlHashMap as HashMap;

use super::line_draft::LineDraft;
use super::lines::{LineEntry, read_lines, read_models, read_rows};
use super::segments::{Cascade, read_segments};
use crate::fleet::folder::ShortTables;
use crate::fleet::read::fault::FaultList;
use crate::fleet::read::grid::{Loaded, Record};
use crate::fleet::schema::{LINES, MODELS, ROWS, SEGMENTS};
use crate::wing::{ModelData, RowData};

/// The tables about models, read.
#[derive(Debug)]
pub(crate) struct Catalogue {
    lines: Vec<LineEntry>,
    cascades: HashMap<String, Cascade>,
    rows: HashMap<String, Vec<RowData>>,
    data: HashMap<String, ModelData>,
    models: HashSet<String>,
    sets: HashSet<SetKey>,
    /// Whether every model and line that should be here is here.
    whole: bool,
    /// Whether every segment that should be here is here.
    segments_whole: bool,
}

impl Catalogue {
    pub(crate) fn read(tables: &ShortTables, faults: &mut FaultList) -> Self {
        let (line_table, segment_table) = (tables.of(LINES), tables.of(SEGMENTS));
        let cascades = read_segments(segment_table, faults);
        let lines = read_lines(line_table, &cascades, faults);
        let rows = read_rows(tables.of(ROWS), faults);
        let data = read_models(tables.of(MODELS), faults);
        let models = lines.iter().map(|entry| entry.model.clone()).collect();
        let key = |entry: &LineEntry| SetKey { model: entry.model.clone(), version: entry.version.clone() };
        let sets = lines.iter().map(key).collect();
        let there = matches!(line_table, Loaded::Read(_));
        let whole = there && line_table.is_whole(&["model", "line"]);
        let segments_whole = segment_table.is_whole(&["model", "segment"]);
        let catalogue = Self { lines, cascades, rows, data, models, sets, whole, segments_whole };
        for loaded in [SEGMENTS, ROWS, MODELS].map(|schema| tables.of(schema)) {
            let mut reported: HashSet<String> = HashSet::new();
            for record in loaded.records() {
                // one fault per model and table: a model's whole cascade would say the same
                if let Some(model) = record.text("model")
                    && !catalogue.models.contains(model.as_ref())
                    && reported.insert(model.to_string())
                {
                    catalogue.unknown_model(record, faults);
                }
            }
        }
        catalogue
    }

    fn unknown_model(&self, record: Record<'_>, faults: &mut FaultList) {
        if self.whole {
            record.fault(faults, "model", format_args!("a model that `lines` has"));
        }
    }

    /// The line set that a wing's record follows, as model and version; faults when there is none.
    pub(crate) fn follow(&self, record: Record<'_>, model: &str, faults: &mut FaultList) -> Option<SetKey> {
        if !self.models.contains(model) {
            self.unknown_model(record, faults);
            return None;
        }
        let version = record.text("table_version").map(std::borrow::Cow::into_owned);
        let key = SetKey { model: model.to_owned(), version };
        if !self.sets.contains(&key) {
            if self.whole {
                let mut versions: Vec<&str> = self
                    .lines
                    .iter()
                    .filter(|entry| entry.model == model)
                    .map(|entry| entry.version.as_deref().unwrap_or("nothing"))
                    .collect();
                versions.dedup();
                let versions = versions.join(", ");
                record.fault(faults, "table_version", format_args!("one that `lines` has for `{model}`: {versions}"));
            }
            return None;
        }
        Some(key)
    }

    /// The line sets in use, in the order of the `lines` table.
    pub(crate) fn drafts(&self, used: &HashSet<SetKey>) -> Vec<LineDraft> {
        let mut drafts = Vec::new();
        let mut done: HashSet<(&str, Option<&str>)> = HashSet::new();
        for entry in &self.lines {
            let key = SetKey { model: entry.model.clone(), version: entry.version.clone() };
            if !done.insert((&entry.model, entry.version.as_deref())) || !used.contains(&key) {
                continue;
            }
            let cascade = self.cascades.get(&entry.model).cloned();
            let mut draft = LineDraft::new(&entry.model, entry.version.as_deref(), &self.lines, cascade);
            draft.rows = self.rows.get(&entry.model).cloned().unwrap_or_default();
            draft.data = self.data.get(&entry.model).copied().unwrap_or_default();
            draft.whole = self.whole;
            // without a cascade the lines are the segments
            draft.segments_whole = self.segments_whole && self.whole;
            drafts.push(draft);
        }
        drafts
    }
}

/// Which line set: model and version of its table.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(crate) struct SetKey {
    pub(crate) model: String,
    pub(crate) version: Option<String>,
}
