//! When lines' offsets and segments' hours start anew.

use crate::check::{ActionKind, History, Stage};
use crate::plan::usual_uncertainty_mm;
use crate::wing::{LineSet, Side};

/// A restart of one line's offset: the first check that sees it, and the intended change.
#[derive(Debug, Clone)]
pub(crate) struct Restart {
    pub(crate) check: usize,
    pub(crate) change_mm: f64,
    /// Standard uncertainty of the change, mm (`None`: not known).
    pub(crate) change_sd_mm: Option<f64>,
    pub(crate) adjusted: Vec<usize>,
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
pub(crate) struct Restarts {
    /// By side and line.
    pub(crate) at: Vec<Vec<Restart>>,
    renewals: Vec<Renewal>,
}

impl Restarts {
    /// From what is recorded of a wing; `read(check)` gives the sides and lines that were read at a check.
    pub(crate) fn new<I: Iterator<Item = (Side, usize)>>(
        set: &LineSet,
        history: &History,
        read: impl Fn(usize) -> I,
    ) -> Self {
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
                    let sd_mm = (action.kind != ActionKind::Replace).then(|| usual_uncertainty_mm(action));
                    out.restart(key, check, action.change_mm, sd_mm, action.segment);
                }
            }
            if matches!(action.kind, ActionKind::Replace | ActionKind::ReplaceLine) {
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
                for (side, line) in read(index) {
                    out.restart(side.index() * lines + line, index, 0.0, None, None);
                }
            }
        }
        for starts in &mut out.at {
            starts.sort_by_key(|start| start.check);
        }
        out
    }

    fn restart(&mut self, key: usize, check: usize, change_mm: f64, sd_mm: Option<f64>, segment: Option<usize>) {
        let Some(starts) = self.at.get_mut(key) else { return };
        let place = starts.iter().position(|start| start.check == check).unwrap_or_else(|| {
            starts.push(Restart { check, change_mm: 0.0, change_sd_mm: Some(0.0), adjusted: Vec::new() });
            starts.len() - 1
        });
        let start = &mut starts[place];
        start.change_mm += change_mm;
        start.change_sd_mm = start.change_sd_mm.zip(sd_mm).map(|(known, sd)| known.hypot(sd));
        start.adjusted.extend(segment);
        start.adjusted.sort_unstable();
    }

    /// Hours at which each segment of a line's path (canopy down) was new, as seen from a check on; empty when all are as
    /// old as the wing.
    pub(crate) fn clocks(&self, set: &LineSet, side: Side, line: usize, from: Option<usize>) -> Vec<f64> {
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
