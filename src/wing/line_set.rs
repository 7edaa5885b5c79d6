//! A model's lines and the cascade they hang on.

use std::collections::HashSet;

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::{Fibre, Row, Side, fibre};

/// One line of a model as its maker's table gives it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Line {
    /// Name, such as `A1`; the same on both sides of a symmetric set.
    pub name: String,
    /// Row of the line.
    pub row: Row,
    /// Count from the centre outwards in its row, from 1.
    pub rank: u32,
    /// The maker's length, mm.
    pub nominal_mm: f64,
    /// Position along the half span, 0 centre … 1 tip.
    pub span: f64,
    /// Whether `span` was not given and is taken from `rank`.
    pub span_assumed: bool,
    /// Position along the local chord, 0 leading … 1 trailing edge.
    pub chord: Option<f64>,
    /// Name of the main that the line hangs on, where the table gives it.
    pub main: Option<String>,
    /// The maker's own tolerance, mm.
    pub tolerance_mm: Option<f64>,
    /// The only side that has this line (`None`: both).
    pub side: Option<Side>,
    /// Index of the line's top segment in [`LineSet::segments`].
    pub segment: usize,
}

/// One piece of the cascade between two junctions.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Segment {
    /// Name, unique in the model.
    pub name: String,
    /// Index of the segment below (`None`: at the riser).
    pub parent: Option<usize>,
    /// Material name.
    pub material: String,
    /// Length, mm.
    pub length_mm: f64,
    /// Diameter, mm.
    pub diameter_mm: Option<f64>,
    /// Whether a loop can be laid at this segment's link (`None`: not said).
    pub can_loop: Option<bool>,
}

/// What the `rows` table says of one row.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RowData {
    /// Row.
    pub row: Row,
    /// Chord position of the row, 0 leading … 1 trailing edge.
    pub chord: Option<f64>,
    /// Nominal length of the row's riser, mm.
    pub riser_mm: Option<f64>,
}

/// What the `models` table says of one model.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct ModelData {
    /// Flat span, m.
    pub span_m: Option<f64>,
    /// Flat area, m².
    pub area_m2: Option<f64>,
    /// Chord at the centre, m.
    pub root_chord_m: Option<f64>,
    /// Trim speed, km/h.
    pub trim_speed_kmh: Option<f64>,
    /// Glide ratio at trim.
    pub glide: Option<f64>,
    /// The maker's interval between checks, hours flown.
    pub interval_h: Option<f64>,
    /// The maker's interval between checks, months.
    pub interval_months: Option<f64>,
    /// The maker's interval between full inspections, hours flown.
    #[serde(default)]
    pub inspection_h: Option<f64>,
    /// The maker's interval between full inspections, months.
    #[serde(default)]
    pub inspection_months: Option<f64>,
}

/// Why lines and segments do not make a line set.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum LineSetError {
    /// Two lines of one name on one side.
    #[error("line `{line}` appears twice")]
    DuplicateLine {
        /// The line.
        line: String,
    },
    /// A line's top segment is not among the segments.
    #[error("line `{line}` names segment {segment}, of {segments}")]
    NoSegment {
        /// The line.
        line: String,
        /// Index asked for.
        segment: usize,
        /// How many there are.
        segments: usize,
    },
    /// A segment's parents lead back to itself, or to no segment.
    #[error("the parents of segment `{segment}` do not lead to the riser")]
    Cycle {
        /// The segment.
        segment: String,
    },
}

/// One model's lines and cascade, in one version of the maker's table. Immutable and checked: every path ends at the riser.
///
/// ```
/// use linedrift::{Line, LineSet, Row, Segment};
///
/// // one line on one piece of cord; a cascade is built by `parent`
/// let segment = Segment {
///     name: "A1".to_owned(),
///     parent: None,
///     material: "uhmwpe".to_owned(),
///     length_mm: 6520.0,
///     diameter_mm: None,
///     can_loop: None,
/// };
/// let line = Line {
///     name: "A1".to_owned(),
///     row: Row::A,
///     rank: 1,
///     nominal_mm: 6520.0,
///     span: 0.05,
///     span_assumed: false,
///     chord: Some(0.1),
///     main: None,
///     tolerance_mm: None,
///     side: None,
///     segment: 0,
/// };
/// let set = LineSet::new("Heron", None, vec![line], vec![segment])?;
/// assert_eq!(set.exposure_m(0)[0].length_m, 6.52);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "LineSetRead")]
pub struct LineSet {
    model: String,
    table_version: Option<String>,
    lines: Vec<Line>,
    segments: Vec<Segment>,
    rows: Vec<RowData>,
    data: ModelData,
    has_cascade: bool,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    fibres: Vec<Fibre>,
}

impl LineSet {
    /// Puts lines and segments together.
    ///
    /// # Errors
    /// [`LineSetError`] when a line appears twice on a side, names a segment that is not there, or a segment's parents do
    /// not lead to the riser.
    pub fn new(
        model: &str,
        table_version: Option<&str>,
        lines: Vec<Line>,
        segments: Vec<Segment>,
    ) -> Result<Self, LineSetError> {
        let mut seen: HashSet<(&str, Side)> = HashSet::new();
        for line in &lines {
            if line.segment >= segments.len() {
                return Err(LineSetError::NoSegment {
                    line: line.name.clone(),
                    segment: line.segment,
                    segments: segments.len(),
                });
            }
            for side in Side::BOTH.into_iter().filter(|side| line.side.is_none_or(|only| only == *side)) {
                if !seen.insert((&line.name, side)) {
                    return Err(LineSetError::DuplicateLine { line: line.name.clone() });
                }
            }
        }
        if let Some(segment) = off_the_riser(&segments) {
            return Err(LineSetError::Cycle { segment: segment.name.clone() });
        }
        Ok(Self {
            model: model.to_owned(),
            table_version: table_version.map(str::to_owned),
            lines,
            segments,
            rows: Vec::new(),
            data: ModelData::default(),
            has_cascade: true,
            fibres: Vec::new(),
        })
    }

    /// A set without lines, of no model.
    pub(crate) fn empty() -> Self {
        Self {
            model: String::new(),
            table_version: None,
            lines: Vec::new(),
            segments: Vec::new(),
            rows: Vec::new(),
            data: ModelData::default(),
            has_cascade: false,
            fibres: Vec::new(),
        }
    }

    /// The same set with what the `rows` table says.
    #[must_use]
    pub fn with_rows(mut self, rows: Vec<RowData>) -> Self {
        self.rows = rows;
        self
    }

    /// The same set with what the `models` table says.
    #[must_use]
    pub fn with_data(mut self, data: ModelData) -> Self {
        self.data = data;
        self
    }

    /// The same set with a user's own fibres, which go before the documented ones of the same name.
    #[must_use]
    pub fn with_fibres(mut self, fibres: Vec<Fibre>) -> Self {
        self.fibres = fibres;
        self
    }

    /// The fibre of a material: the set's own, else the documented one.
    #[must_use]
    pub fn fibre(&self, material: &str) -> Option<&Fibre> {
        self.fibres.iter().find(|own| own.name == material).or_else(|| fibre(material))
    }

    /// The same set, marked as having no real cascade: each line is one piece from the riser (no `segments` table).
    #[must_use]
    pub fn without_cascade(mut self) -> Self {
        self.has_cascade = false;
        self
    }

    /// Model name.
    #[must_use]
    pub fn model(&self) -> &str {
        &self.model
    }

    /// Version of the maker's table, if it has one.
    #[must_use]
    pub fn table_version(&self) -> Option<&str> {
        self.table_version.as_deref()
    }

    /// The lines, in table order.
    #[must_use]
    pub fn lines(&self) -> &[Line] {
        &self.lines
    }

    /// The segments of the cascade.
    #[must_use]
    pub fn segments(&self) -> &[Segment] {
        &self.segments
    }

    /// What the `rows` table says.
    #[must_use]
    pub fn rows(&self) -> &[RowData] {
        &self.rows
    }

    /// What the `models` table says.
    #[must_use]
    pub fn data(&self) -> &ModelData {
        &self.data
    }

    /// Whether the cascade comes from a `segments` table (otherwise each line is one piece).
    #[must_use]
    pub fn has_cascade(&self) -> bool {
        self.has_cascade
    }

    /// Index of the line of that name on that side.
    #[must_use]
    pub fn find(&self, name: &str, side: Side) -> Option<usize> {
        self.lines.iter().position(|line| line.name == name && line.side.is_none_or(|only| only == side))
    }

    /// Index of the segment of that name.
    #[must_use]
    pub fn find_segment(&self, name: &str) -> Option<usize> {
        self.segments.iter().position(|segment| segment.name == name)
    }

    /// Whether the line exists on the side.
    #[must_use]
    pub fn has(&self, line: usize, side: Side) -> bool {
        self.lines.get(line).is_some_and(|line| line.side.is_none_or(|only| only == side))
    }

    /// Chord position of a line: its own, else its row's.
    #[must_use]
    pub fn chord(&self, line: usize) -> Option<f64> {
        let line = self.lines.get(line)?;
        line.chord.or_else(|| self.row(line.row)?.chord)
    }

    /// What the `rows` table says of a row.
    #[must_use]
    pub fn row(&self, row: Row) -> Option<&RowData> {
        self.rows.iter().find(|data| data.row == row)
    }

    /// The segments of a line from the canopy down to the riser.
    pub fn path(&self, line: usize) -> impl Iterator<Item = &Segment> {
        self.path_indices(line).filter_map(|index| self.segments.get(index))
    }

    /// Indices of the segments of a line from the canopy down to the riser.
    pub fn path_indices(&self, line: usize) -> impl Iterator<Item = usize> {
        let top = self.lines.get(line).map(|line| line.segment);
        std::iter::successors(top, |&at| self.segments.get(at)?.parent)
    }

    /// Metres of each material along a line's path, by material name, in the order met from the canopy down.
    #[must_use]
    pub fn exposure_m(&self, line: usize) -> Vec<Exposure<'_>> {
        let mut sum: Vec<Exposure<'_>> = Vec::new();
        for segment in self.path(line) {
            match sum.iter_mut().find(|known| known.material == segment.material) {
                Some(known) => known.length_m += segment.length_mm / 1000.0,
                None => sum.push(Exposure { material: &segment.material, length_m: segment.length_mm / 1000.0 }),
            }
        }
        sum
    }
}

/// The first segment whose parents do not lead to the riser. Each segment is walked over once, however deep the cascade.
fn off_the_riser(segments: &[Segment]) -> Option<&Segment> {
    let mut walk_of = vec![usize::MAX; segments.len()];
    for (start, segment) in segments.iter().enumerate() {
        let mut at = Some(start);
        while let Some(here) = at {
            match walk_of.get_mut(here) {
                // past the table, or back on this walk's own steps
                None => return Some(segment),
                Some(walk) if *walk == start => return Some(segment),
                // an earlier walk came to the riser from here
                Some(walk) if *walk != usize::MAX => break,
                Some(walk) => *walk = start,
            }
            at = segments.get(here).and_then(|below| below.parent);
        }
    }
    None
}

/// A line set as a document gives it, before it is checked.
#[derive(Deserialize)]
struct LineSetRead {
    model: String,
    table_version: Option<String>,
    lines: Vec<Line>,
    segments: Vec<Segment>,
    rows: Vec<RowData>,
    data: ModelData,
    has_cascade: bool,
    #[serde(default)]
    fibres: Vec<Fibre>,
}

impl TryFrom<LineSetRead> for LineSet {
    type Error = LineSetError;

    fn try_from(read: LineSetRead) -> Result<Self, LineSetError> {
        let set = Self::new(&read.model, read.table_version.as_deref(), read.lines, read.segments)?;
        let LineSetRead { rows, data, has_cascade, fibres, .. } = read;
        Ok(Self { rows, data, has_cascade, fibres, ..set })
    }
}

/// Metres of one material in a line's path.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Exposure<'a> {
    /// Material name.
    pub material: &'a str,
    /// Length, m.
    pub length_m: f64,
}
