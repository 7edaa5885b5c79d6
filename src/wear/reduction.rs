//! The compact exact form of a fleet's readings.

use serde::{Deserialize, Serialize};

use super::spec::WearError;
use crate::check::{ActionKind, Check, Fleet, History, Stage, reading_deviation_mm};
use crate::wing::{LineSet, Side};

/// Deviations are held as integers of this many per millimetre, so that sums are exact and order does not matter.
const PER_MM: f64 = 1000.0;

/// Readings of one line on one side at one check, summed exactly.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Cell {
    pub(crate) level: u32,
    pub(crate) check: u32,
    pub(crate) count: u32,
    /// Sum of deviations, µm.
    pub(crate) sum_um: i64,
    /// Sum of squared deviations, µm².
    pub(crate) squares_um2: i128,
}

impl Cell {
    pub(crate) fn sum_mm(&self) -> f64 {
        self.sum_um as f64 / PER_MM
    }

    pub(crate) fn squares_mm2(&self) -> f64 {
        self.squares_um2 as f64 / (PER_MM * PER_MM)
    }
}

/// One line on one side between two restarts of its offset.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct LineEpoch {
    pub(crate) side: Side,
    pub(crate) line: usize,
    /// 0 as built; each restart adds one.
    pub(crate) epoch: usize,
    /// Hours at which each segment of the path (canopy down) was new; empty when all are as old as the wing.
    pub(crate) new_at_h: Vec<f64>,
    /// Intended change at the restart, mm.
    pub(crate) change_mm: f64,
    /// Segments that were adjusted at the restart; empty when nothing was recorded.
    pub(crate) adjusted: Vec<usize>,
}

/// One wing's readings, reduced to exact sums per line, side and check.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WingReduction {
    pub(crate) wing: String,
    pub(crate) line_set: usize,
    pub(crate) covariates: Vec<f64>,
    pub(crate) hours_h: Vec<f64>,
    /// By side, line, epoch.
    pub(crate) levels: Vec<LineEpoch>,
    /// By level, then check.
    pub(crate) cells: Vec<Cell>,
}

/// A fleet's readings, reduced. From here on a fit sees no reading again.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reduction {
    pub(crate) line_sets: Vec<LineSet>,
    pub(crate) wings: Vec<WingReduction>,
    pub(crate) covariates: Vec<String>,
}

impl Reduction {
    /// Reduces every wing of a fleet that has readings, with the named covariates of its wings.
    ///
    /// # Errors
    /// [`WearError::Covariate`] when a wing lacks a covariate that was asked for.
    pub fn new(fleet: &Fleet, covariates: &[String]) -> Result<Self, WearError> {
        let mut wings = Vec::with_capacity(fleet.histories().len());
        for history in fleet.histories() {
            let values = covariate_values(history, covariates)?;
            let reduced = WingReduction::new(fleet.line_set(history), history, values);
            if !reduced.cells.is_empty() {
                wings.push(reduced);
            }
        }
        Ok(Self { line_sets: fleet.line_sets().to_vec(), wings, covariates: covariates.to_vec() })
    }

    /// Wings with readings.
    #[must_use]
    pub fn wings(&self) -> &[WingReduction] {
        &self.wings
    }

    /// Readings in all.
    #[must_use]
    pub fn readings(&self) -> usize {
        self.wings.iter().flat_map(|wing| &wing.cells).map(|cell| cell.count as usize).sum()
    }
}

pub(crate) fn covariate_values(history: &History, names: &[String]) -> Result<Vec<f64>, WearError> {
    names
        .iter()
        .map(|name| {
            history
                .wing
                .covariates
                .get(name)
                .copied()
                .filter(|value| value.is_finite())
                .ok_or_else(|| WearError::Covariate { wing: history.wing.id.clone(), covariate: name.clone() })
        })
        .collect()
}

impl WingReduction {
    /// The wing's id.
    #[must_use]
    pub fn wing(&self) -> &str {
        &self.wing
    }

    pub(crate) fn new(set: &LineSet, history: &History, covariates: Vec<f64>) -> Self {
        let lines = set.lines().len();
        let restarts = Restarts::new(set, history);
        let mut levels: Vec<LineEpoch> = Vec::with_capacity(2 * lines);
        let mut first_level = vec![0usize; 2 * lines];
        for side in Side::BOTH {
            for line in (0..lines).filter(|line| set.has(*line, side)) {
                let key = side.index() * lines + line;
                first_level[key] = levels.len();
                let starts = &restarts.at[key];
                for epoch in 0..=starts.len() {
                    let from = epoch.checked_sub(1).and_then(|k| starts.get(k));
                    levels.push(LineEpoch {
                        side,
                        line,
                        epoch,
                        new_at_h: restarts.clocks(set, side, line, from.map(|start| start.check)),
                        change_mm: from.map_or(0.0, |start| start.change_mm),
                        adjusted: from.map_or_else(Vec::new, |start| start.adjusted.clone()),
                    });
                }
            }
        }
        let mut cells = Vec::new();
        for (index, check) in history.checks.iter().enumerate() {
            sum_check(set, check, index, &restarts, &first_level, &mut cells);
        }
        cells.sort_unstable_by_key(|cell| (cell.level, cell.check));
        Self {
            wing: history.wing.id.clone(),
            line_set: history.line_set,
            covariates,
            hours_h: history.checks.iter().map(|check| check.hours_h).collect(),
            levels,
            cells,
        }
    }
}

fn sum_check(
    set: &LineSet,
    check: &Check,
    index: usize,
    restarts: &Restarts,
    first_level: &[usize],
    cells: &mut Vec<Cell>,
) {
    let lines = set.lines().len();
    let mut sums: Vec<Cell> = Vec::new();
    let mut place = vec![usize::MAX; 2 * lines];
    for reading in &check.readings {
        let Some(deviation_mm) = reading_deviation_mm(set, check, reading) else { continue };
        let key = reading.side.index() * lines + reading.line;
        if place[key] == usize::MAX {
            place[key] = sums.len();
            let epoch = restarts.at[key].iter().filter(|start| start.check <= index).count();
            #[allow(clippy::cast_possible_truncation)]
            sums.push(Cell {
                level: (first_level[key] + epoch) as u32,
                check: index as u32,
                count: 0,
                sum_um: 0,
                squares_um2: 0,
            });
        }
        #[allow(clippy::cast_possible_truncation)]
        let um = (deviation_mm * PER_MM).round() as i64;
        let cell = &mut sums[place[key]];
        cell.count += 1;
        cell.sum_um = cell.sum_um.saturating_add(um);
        cell.squares_um2 += i128::from(um) * i128::from(um);
    }
    cells.append(&mut sums);
}

/// A restart of one line's offset: the first check that sees it, and the intended change.
#[derive(Debug, Clone)]
struct Restart {
    check: usize,
    change_mm: f64,
    adjusted: Vec<usize>,
}

/// A segment made new: from which check on, at which hours.
#[derive(Debug, Clone, Copy)]
struct Renewal {
    side: Side,
    segment: usize,
    check: usize,
    hours_h: f64,
}

/// When each line's offset starts anew.
struct Restarts {
    /// By side and line.
    at: Vec<Vec<Restart>>,
    renewals: Vec<Renewal>,
}

impl Restarts {
    fn new(set: &LineSet, history: &History) -> Self {
        let lines = set.lines().len();
        let mut out = Self { at: vec![Vec::new(); 2 * lines], renewals: Vec::new() };
        let mut explained = vec![false; history.checks.len()];
        for action in &history.actions {
            let check = action.first_check_after(&history.checks);
            if let Some(seen) = explained.get_mut(check) {
                *seen = true;
            }
            for line in (0..lines).filter(|line| set.has(*line, action.side)) {
                if action.segment.is_none_or(|segment| set.path_indices(line).any(|on| on == segment)) {
                    let key = action.side.index() * lines + line;
                    out.restart(key, check, action.change_mm, action.segment);
                }
            }
            if action.kind == ActionKind::Replace {
                let segments = action.segment.map_or(0..set.segments().len(), |segment| segment..segment + 1);
                out.renewals.extend(segments.map(|segment| Renewal {
                    side: action.side,
                    segment,
                    check,
                    hours_h: action.hours_h,
                }));
            }
        }
        // an as_left check that no action explains: every line read in it starts anew
        for (index, check) in history.checks.iter().enumerate() {
            if check.stage == Stage::AsLeft && !explained[index] {
                for reading in &check.readings {
                    out.restart(reading.side.index() * lines + reading.line, index, 0.0, None);
                }
            }
        }
        for starts in &mut out.at {
            starts.sort_by_key(|start| start.check);
        }
        out
    }

    fn restart(&mut self, key: usize, check: usize, change_mm: f64, segment: Option<usize>) {
        let Some(starts) = self.at.get_mut(key) else { return };
        let place = starts.iter().position(|start| start.check == check).unwrap_or_else(|| {
            starts.push(Restart { check, change_mm: 0.0, adjusted: Vec::new() });
            starts.len() - 1
        });
        let start = &mut starts[place];
        start.change_mm += change_mm;
        start.adjusted.extend(segment);
        start.adjusted.sort_unstable();
    }

    fn clocks(&self, set: &LineSet, side: Side, line: usize, from: Option<usize>) -> Vec<f64> {
        let Some(from) = from else { return Vec::new() };
        let clocks: Vec<f64> = set
            .path_indices(line)
            .map(|segment| {
                self.renewals
                    .iter()
                    .filter(|new| new.side == side && new.segment == segment && new.check <= from)
                    .map(|new| new.hours_h)
                    .fold(0.0, f64::max)
            })
            .collect();
        if clocks.iter().all(|clock| *clock == 0.0) { Vec::new() } else { clocks }
    }
}
