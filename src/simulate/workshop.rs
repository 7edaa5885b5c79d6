//! What a workshop does to a wing that a check finds out of trim.

use std::collections::BTreeMap;

use crate::check::{ActionKind, Check, Fitting, common_offset_mm, deviations};
use crate::wing::{LineSet, Row, Side};

/// Shortening by one extra turn of a main on its link, mm (order of size: practice).
pub(super) const TURN_MM: f64 = 10.0;
/// Lengthening by one small link, mm.
const SMALL_LINK_MM: f64 = 8.0;
/// Diameter of a link's rod, mm: with a main of 1.9 mm one turn takes `π(D + d)/2` = 10.05 mm.
const LINK_DIAMETER_MM: f64 = 4.5;
/// A main is judged on no fewer lines than this.
const FEWEST_LINES: usize = 2;
/// The brake fan may be off by so many times what the other mains may.
const BRAKE_SLACK: f64 = 2.0;

/// Turns that lie on each main, by side and segment.
pub(super) struct Links {
    turns: BTreeMap<(Side, usize), u32>,
}

/// One job on one main.
pub(super) struct Job {
    pub(super) side: Side,
    pub(super) segment: usize,
    pub(super) kind: ActionKind,
    pub(super) change_mm: f64,
    pub(super) turns: Option<f64>,
}

impl Links {
    /// As delivered: one turn on each main of the rearmost row of A–D, to be taken out when it shrinks; none elsewhere.
    pub(super) fn new(set: &LineSet) -> Self {
        let rear = set.lines().iter().map(|line| line.row).filter(|row| row.is_trim()).max();
        let turns = Side::BOTH
            .into_iter()
            .flat_map(|side| mains(set).into_iter().map(move |main| (side, main)))
            .map(|(side, main)| ((side, main.segment), u32::from(Some(main.row) == rear)))
            .collect();
        Self { turns }
    }

    /// The jobs that the check's own readings call for: a main whose lines' median relative deviation is past
    /// `past_mm` (twice that in the brake fan) is brought back: in rows A–D by whole turns, by a loop taken out, or by a
    /// small link, in stabilo and brake by a splice to length.
    pub(super) fn judge(&mut self, set: &LineSet, check: &Check, past_mm: f64) -> Vec<Job> {
        let read = deviations(set, check);
        let Some(common_mm) = common_offset_mm(set, &read) else { return Vec::new() };
        let mut jobs = Vec::new();
        for side in Side::BOTH {
            for main in mains(set) {
                let mut off: Vec<f64> = read
                    .iter()
                    .filter(|one| one.side == side && set.path_indices(one.line).any(|at| at == main.segment))
                    .map(|one| one.deviation_mm - common_mm)
                    .collect();
                if off.len() < FEWEST_LINES {
                    continue;
                }
                off.sort_by(f64::total_cmp);
                let Some(&median_mm) = off.get(off.len() / 2) else { continue };
                let slack = if main.row == Row::Brake { BRAKE_SLACK } else { 1.0 };
                if median_mm.abs() > past_mm * slack {
                    jobs.push(self.job(side, &main, median_mm));
                }
            }
        }
        jobs
    }

    fn job(&mut self, side: Side, main: &Main, off_mm: f64) -> Job {
        let segment = main.segment;
        if !main.row.is_trim() {
            return Job { side, segment, kind: ActionKind::Splice, change_mm: -off_mm.round(), turns: None };
        }
        let on_it = self.turns.entry((side, segment)).or_insert(0);
        if off_mm > 0.0 {
            let mut turns = 1u32;
            while off_mm - f64::from(turns) * TURN_MM > 0.5 * TURN_MM && turns < 3 {
                turns += 1;
            }
            *on_it += turns;
            let turned = f64::from(turns);
            Job { side, segment, kind: ActionKind::Turn, change_mm: -turned * TURN_MM, turns: Some(turned) }
        } else if *on_it > 0 {
            *on_it -= 1;
            Job { side, segment, kind: ActionKind::RemoveLoop, change_mm: TURN_MM, turns: Some(1.0) }
        } else {
            Job { side, segment, kind: ActionKind::SmallLink, change_mm: SMALL_LINK_MM, turns: None }
        }
    }

    /// What hangs on the mains now.
    pub(super) fn fittings(&self) -> Vec<Fitting> {
        self.turns
            .iter()
            .map(|(&(side, segment), &turns)| Fitting {
                side,
                segment,
                turns: Some(f64::from(turns)),
                spare_mm: None,
                can_loop: None,
                link_diameter_mm: Some(LINK_DIAMETER_MM),
                step_mm: None,
            })
            .collect()
    }
}

struct Main {
    segment: usize,
    row: Row,
}

/// All mains, each with its row.
fn mains(set: &LineSet) -> Vec<Main> {
    let mut mains: Vec<Main> = Vec::new();
    for (index, line) in set.lines().iter().enumerate() {
        if let Some(segment) = set.path_indices(index).last()
            && mains.iter().all(|known| known.segment != segment)
        {
            mains.push(Main { segment, row: line.row });
        }
    }
    mains
}
