//! A line set while its folder is being read.

use polars::prelude::PlHashMap as HashMap;

use super::lines::LineEntry;
use super::segments::Cascade;
use crate::wing::{LineSet, LineSetError, ModelData, RowData, Segment, Side};

/// Material of a line that says none.
const UNKNOWN_MATERIAL: &str = "unknown";

/// One model's lines in one version, with the look-ups that other tables need.
#[derive(Debug, Clone)]
pub(crate) struct LineDraft {
    pub(crate) model: String,
    pub(crate) version: Option<String>,
    lines: Vec<LineEntry>,
    /// Index of a line by name, for left and right.
    index: HashMap<String, [Option<usize>; 2]>,
    cascade: Option<Cascade>,
    pub(crate) rows: Vec<RowData>,
    pub(crate) data: ModelData,
    /// Whether every line that should be here is here.
    pub(crate) whole: bool,
    /// Whether every segment that should be here is here.
    pub(crate) segments_whole: bool,
}

impl LineDraft {
    /// The lines of a version; lines that the version does not list come from the table without a version.
    pub(crate) fn new(model: &str, version: Option<&str>, all: &[LineEntry], cascade: Option<Cascade>) -> Self {
        let own = all.iter().filter(|entry| entry.model == model);
        let mut draft = Self {
            model: model.to_owned(),
            version: version.map(str::to_owned),
            lines: Vec::new(),
            index: HashMap::default(),
            cascade,
            rows: Vec::new(),
            data: ModelData::default(),
            whole: true,
            segments_whole: true,
        };
        for entry in own.clone().filter(|entry| entry.version.as_deref() == version) {
            draft.push(entry.clone());
        }
        if version.is_some() {
            for entry in own.filter(|entry| entry.version.is_none()) {
                let free = |side: Side| draft.find(&entry.line.name, side).is_none();
                let wanted = |side: Side| entry.line.side.is_none_or(|only| only == side) && free(side);
                let mut entry = entry.clone();
                entry.line.side = match (wanted(Side::Left), wanted(Side::Right)) {
                    (false, false) => continue,
                    (true, true) => None,
                    (true, false) => Some(Side::Left),
                    (false, true) => Some(Side::Right),
                };
                draft.push(entry);
            }
        }
        draft.assume_spans();
        draft
    }

    fn push(&mut self, entry: LineEntry) {
        let at = self.lines.len();
        let places = self.index.entry(entry.line.name.clone()).or_default();
        for (place, side) in places.iter_mut().zip(Side::BOTH) {
            if entry.line.side.is_none_or(|only| only == side) {
                *place = Some(at);
            }
        }
        self.lines.push(entry);
    }

    /// `span = (rank − ½)/lines in the row`, on the line's side; the highest rank counts where ranks have gaps.
    fn assume_spans(&mut self) {
        let mut spans = Vec::new();
        for entry in self.lines.iter().filter(|entry| entry.line.span_assumed) {
            let side = entry.line.side.unwrap_or(Side::Left);
            let mates = self.lines.iter().map(|mate| &mate.line);
            let mates = mates.filter(|mate| mate.row == entry.line.row && mate.side.is_none_or(|only| only == side));
            let (count, highest) =
                mates.fold((0_u32, 1), |(count, highest), mate| (count + 1, mate.rank.max(highest)));
            spans.push((f64::from(entry.line.rank) - 0.5) / f64::from(count.max(highest)));
        }
        let assumed = self.lines.iter_mut().filter(|entry| entry.line.span_assumed);
        for (entry, span) in assumed.zip(spans) {
            entry.line.span = span;
        }
    }

    /// How many lines have an assumed span.
    pub(crate) fn assumed_spans(&self) -> usize {
        self.lines.iter().filter(|entry| entry.line.span_assumed).count()
    }

    pub(crate) fn line_count(&self) -> usize {
        self.lines.len()
    }

    /// Whether the line at an index has that name and is on that side.
    pub(crate) fn is_line(&self, at: usize, name: &str, side: Side) -> bool {
        self.lines
            .get(at)
            .is_some_and(|entry| entry.line.name == name && entry.line.side.is_none_or(|only| only == side))
    }

    /// Index of the line of that name on that side.
    pub(crate) fn find(&self, name: &str, side: Side) -> Option<usize> {
        self.index.get(name).and_then(|places| places[side.index()])
    }

    /// Index of the segment of that name; without a cascade each line is a segment.
    pub(crate) fn find_segment(&self, name: &str, side: Side) -> Option<usize> {
        match &self.cascade {
            Some(cascade) => cascade.index.get(name).copied(),
            None => self.find(name, side),
        }
    }

    /// Puts the set together.
    pub(crate) fn finish(self) -> Result<LineSet, LineSetError> {
        let version = self.version.as_deref();
        let set = if let Some(cascade) = self.cascade {
            let lines = self.lines.into_iter().map(|entry| {
                let mut line = entry.line;
                line.segment = cascade.index.get(&line.name).copied().unwrap_or(usize::MAX);
                line
            });
            LineSet::new(&self.model, version, lines.collect(), cascade.segments)?
        } else {
            let mut lines = Vec::with_capacity(self.lines.len());
            let mut segments: Vec<Segment> = Vec::with_capacity(self.lines.len());
            for (at, entry) in self.lines.into_iter().enumerate() {
                let twice = self.index.get(&entry.line.name).is_some_and(|[left, _]| *left != Some(at));
                // the name says the side where both sides have a line of that name, with lengths of their own
                let name = match entry.line.side {
                    Some(side) if twice => format!("{} ({side})", entry.line.name),
                    _ => entry.line.name.clone(),
                };
                segments.push(Segment {
                    name,
                    parent: None,
                    material: entry.material.unwrap_or_else(|| UNKNOWN_MATERIAL.to_owned()),
                    length_mm: entry.line.nominal_mm,
                    diameter_mm: None,
                    can_loop: None,
                });
                lines.push(crate::wing::Line { segment: at, ..entry.line });
            }
            LineSet::new(&self.model, version, lines, segments)?.without_cascade()
        };
        Ok(set.with_rows(self.rows).with_data(self.data))
    }
}
