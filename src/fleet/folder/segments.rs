//! The `segments` table: one cascade per model.

use polars::prelude::PlHashMap as HashMap;

use crate::fleet::read::fault::FaultList;
use crate::fleet::read::grid::{Loaded, Record};
use crate::fleet::schema::SegmentRow;
use crate::wing::Segment;

/// One model's cascade as the table gives it.
#[derive(Debug, Clone, Default)]
pub(crate) struct Cascade {
    pub(crate) segments: Vec<Segment>,
    pub(crate) index: HashMap<String, usize>,
    /// Whether every name that should be here is here.
    pub(crate) whole: bool,
    /// Whether every segment has a length and leads to the riser.
    pub(crate) sound: bool,
}

/// A segment's record beside what it says of its parent.
struct Entry<'a> {
    record: Record<'a>,
    parent: Option<String>,
}

/// Reads the cascades by model. A model that is not in the table has none.
pub(crate) fn read_segments(loaded: &Loaded, faults: &mut FaultList) -> HashMap<String, Cascade> {
    let mut cascades: HashMap<String, Cascade> = HashMap::default();
    let mut entries: HashMap<String, Vec<Entry<'_>>> = HashMap::default();
    let whole = loaded.is_whole(&["model", "segment"]);
    for record in loaded.records() {
        let row = SegmentRow::read(record, faults);
        let (Some(model), Some(name)) = (row.model, row.segment) else { continue };
        let cascade =
            cascades.entry(model.to_string()).or_insert_with(|| Cascade { whole, sound: true, ..Cascade::default() });
        cascade.sound &= row.length_mm.is_some();
        if cascade.index.contains_key(name.as_ref()) {
            record.fault(faults, "segment", format_args!("a name that model `{model}` has not used before"));
            continue;
        }
        cascade.index.insert(name.to_string(), cascade.segments.len());
        cascade.segments.push(Segment {
            name: name.into_owned(),
            parent: None,
            material: row.material.unwrap_or_default().into_owned(),
            length_mm: row.length_mm.unwrap_or_default(),
            diameter_mm: row.diameter_mm,
            can_loop: row.can_loop,
        });
        let parent = row.parent.map(std::borrow::Cow::into_owned);
        entries.entry(model.into_owned()).or_default().push(Entry { record, parent });
    }
    let parents = loaded.grids().iter().all(|grid| grid.column("parent").is_some());
    for (model, entries) in &entries {
        if let Some(cascade) = cascades.get_mut(model) {
            cascade.sound &= parents && whole;
            cascade.hang(model, entries, faults);
        }
    }
    cascades
}

impl Cascade {
    /// Hangs every segment on its parent.
    fn hang(&mut self, model: &str, entries: &[Entry<'_>], faults: &mut FaultList) {
        for (segment, entry) in self.segments.iter_mut().zip(entries) {
            let Some(parent) = &entry.parent else { continue };
            segment.parent = self.index.get(parent).copied();
            if segment.parent.is_none() {
                self.sound = false;
                if self.whole {
                    let expected = format_args!("a segment of model `{model}`, or nothing at the riser");
                    entry.record.fault(faults, "parent", expected);
                }
            }
        }
        // walk down from each segment; whoever meets this walk's own mark again stands on a cycle
        let mut walk_of = vec![usize::MAX; self.segments.len()];
        for start in 0..self.segments.len() {
            let mut at = Some(start);
            while let Some(here) = at {
                let Some(mark) = walk_of.get_mut(here) else { break };
                if *mark == start {
                    self.sound = false;
                    if let Some(entry) = entries.get(here) {
                        let expected = format_args!("parents that lead to the riser (these lead in a circle)");
                        entry.record.fault(faults, "parent", expected);
                    }
                    break;
                }
                if *mark != usize::MAX {
                    break;
                }
                *mark = start;
                at = self.segments.get(here).and_then(|segment| segment.parent);
            }
        }
    }

    /// Length from the canopy to the riser, mm.
    pub(crate) fn path_length_mm(&self, top: usize) -> f64 {
        std::iter::successors(self.segments.get(top), |segment| self.segments.get(segment.parent?))
            .take(self.segments.len())
            .map(|segment| segment.length_mm)
            .sum()
    }
}
