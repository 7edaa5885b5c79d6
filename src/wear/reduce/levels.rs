//! The levels of the line offset: each line on each side, anew after each restart.

use serde::{Deserialize, Serialize};

use crate::wing::Side;

/// One line on one side between two restarts of its offset.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct LineEpoch<'a> {
    pub(crate) side: Side,
    pub(crate) line: usize,
    /// 0 as built; each restart adds one.
    pub(crate) epoch: usize,
    /// Hours at which each segment of the path (canopy down) was new; empty when all are as old as the wing.
    pub(crate) new_at_h: &'a [f64],
    /// Intended change at the restart, mm.
    pub(crate) change_mm: f64,
    /// Its standard uncertainty, mm; `None` where a segment was replaced, or nothing says what was done.
    pub(crate) change_sd_mm: Option<f64>,
    /// Segments that were adjusted at the restart; empty when nothing was recorded.
    pub(crate) adjusted: &'a [usize],
}

/// What a restart brought.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Restarted {
    level: usize,
    epoch: usize,
    new_at_h: Vec<f64>,
    change_mm: f64,
    change_sd_mm: Option<f64>,
    adjusted: Vec<usize>,
}

/// The levels of one wing, by side, line, epoch. Most wings are never adjusted, so that a level takes four bytes and only
/// restarts take more.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Levels {
    /// Twice the line, plus one on the right.
    keys: Vec<u32>,
    /// By level.
    restarted: Vec<Restarted>,
}

impl Levels {
    pub(crate) fn with_capacity(levels: usize) -> Self {
        Self { keys: Vec::with_capacity(levels), restarted: Vec::new() }
    }

    /// Adds a level behind the others.
    #[allow(clippy::cast_possible_truncation)]
    pub(crate) fn push(&mut self, level: LineEpoch<'_>) {
        let LineEpoch { side, line, epoch, new_at_h, change_mm, change_sd_mm, adjusted } = level;
        if epoch > 0 || !new_at_h.is_empty() || change_mm != 0.0 || !adjusted.is_empty() {
            self.restarted.push(Restarted {
                level: self.keys.len(),
                epoch,
                new_at_h: new_at_h.to_vec(),
                change_mm,
                change_sd_mm,
                adjusted: adjusted.to_vec(),
            });
        }
        self.keys.push((2 * line + side.index()) as u32);
    }

    pub(crate) fn len(&self) -> usize {
        self.keys.len()
    }

    /// The level at a place below [`Levels::len`].
    pub(crate) fn at(&self, index: usize) -> LineEpoch<'_> {
        let key = self.keys[index] as usize;
        let plain = LineEpoch {
            side: Side::BOTH[key % 2],
            line: key / 2,
            epoch: 0,
            new_at_h: &[],
            change_mm: 0.0,
            change_sd_mm: None,
            adjusted: &[],
        };
        if self.restarted.is_empty() {
            return plain;
        }
        match self.restarted.binary_search_by_key(&index, |restarted| restarted.level) {
            Ok(place) => {
                let Restarted { epoch, new_at_h, change_mm, change_sd_mm, adjusted, .. } = &self.restarted[place];
                let (change_mm, change_sd_mm) = (*change_mm, *change_sd_mm);
                LineEpoch { epoch: *epoch, new_at_h, change_mm, change_sd_mm, adjusted, ..plain }
            }
            Err(_) => plain,
        }
    }

    /// Place of the first level of the line that a level is of.
    pub(crate) fn unit(&self, index: usize) -> usize {
        index - self.at(index).epoch.min(index)
    }

    /// The levels of the line whose first level this is.
    pub(crate) fn of_unit(&self, unit: usize) -> impl Iterator<Item = usize> + '_ {
        (unit..self.len()).take_while(move |&index| self.unit(index) == unit)
    }

    pub(crate) fn iter(&self) -> impl Iterator<Item = LineEpoch<'_>> {
        (0..self.len()).map(|index| self.at(index))
    }

    /// Places of the levels that a restart began.
    pub(crate) fn restarted(&self) -> impl Iterator<Item = usize> + '_ {
        self.restarted.iter().filter(|restarted| restarted.epoch > 0).map(|restarted| restarted.level)
    }
}
