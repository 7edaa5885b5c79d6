//! Steps whose size is what the lines need: the brake handle, a new line, a stretch.

use super::Step;
use super::case::Case;
use super::forest::{Need, Node};
use super::map::PlaceKind;
use super::settle::Placed;
use crate::check::ActionKind;
use crate::wing::{Row, Side};

/// The most that a brake line is moved at its handle, mm.
const MOST_AT_HANDLE_MM: f64 = 150.0;
/// Stretches come in steps of this, mm.
const STRETCH_MM: f64 = 5.0;

/// Which places may be replaced although steps are possible there: lines that stay outside, by more than can be told, in the
/// best plan without.
#[derive(Debug, Clone, Default)]
pub(super) struct Needed {
    /// By side and place: what that plan does below, mm.
    open: [Vec<Option<f64>>; 2],
}

impl Needed {
    /// What a plan leaves past the reach of its steps.
    pub(super) fn after(case: &Case<'_>, steps: &[Placed], target_mm: f64) -> Option<Self> {
        let mut open = [vec![None; case.map.len()], vec![None; case.map.len()]];
        let mut any = false;
        for (at, line) in case.lines.iter().enumerate() {
            let moved = |place: usize| -> f64 {
                let here = steps.iter().filter(|one| one.side == line.side && one.place == Some(place));
                here.map(|one| one.step.change_mm).sum()
            };
            let path = case.map.path(line.line);
            let all: f64 = path.iter().map(|place| moved(*place)).sum();
            let after_mm = case.off_mm(line, target_mm) + all;
            if after_mm.abs() - case.mean_uncertainty(&[at]).expanded() <= line.tolerance_mm {
                continue;
            }
            let mut below = all;
            for &place in path {
                below -= moved(place);
                open[line.side.index()][place] = Some(below);
                any = true;
            }
        }
        any.then_some(Self { open })
    }

    /// Steps of the size that the lines above a node need. `sizes_um`: what steps of given size do there.
    pub(super) fn steps(&self, case: &Case<'_>, node: &Node, below: Option<Need>, sizes_um: &[i64]) -> Vec<Step> {
        let place = case.map.get(node.place);
        let mut steps = Vec::new();
        let mut offer = |kind: ActionKind, changes: Vec<f64>| {
            if let Some(offer) = case.spec.needed(kind) {
                let allowed = |change: &f64| *change != 0.0 && case.spec.only.is_none_or(|only| only.allows(*change));
                let made = changes.into_iter().filter(allowed).map(|change| offer.priced(Step::of(kind, change)));
                steps.extend(made);
            }
        };
        match place.kind {
            PlaceKind::Handle => offer(ActionKind::BrakeHandle, handle(node.need)),
            PlaceKind::Segment if case.set.has_cascade() => {
                offer(ActionKind::ReplaceLine, self.replacing(case, node, below, sizes_um));
            }
            _ => {}
        }
        let is_main = matches!(place.kind, PlaceKind::Segment | PlaceKind::Main) && place.level == 0;
        if is_main && is_rear(case, node) {
            let most = case.spec.most_stretch();
            let changes = std::iter::successors(Some(STRETCH_MM), |mm| Some(mm + STRETCH_MM));
            offer(ActionKind::Stretch, changes.take_while(|mm| *mm <= most).collect());
        }
        steps
    }

    /// Changes that a new line, or one re-spliced, may bring. A group may be replaced where its mean is past the tolerance,
    /// and no step brings its farthest line within it or its mean within half of it; anything, where steps do not reach.
    fn replacing(&self, case: &Case<'_>, node: &Node, below: Option<Need>, sizes_um: &[i64]) -> Vec<f64> {
        let need = node.need;
        let mean_mm = need.mean_mm();
        let past = mean_mm.abs() > need.tolerance_mm.max(need.guard_mm);
        let is_group = node.sides.iter().all(|side| case.above[side.index()][node.place].total > 1);
        let helpful = sizes_um.iter().filter(|um| (**um as f64) * mean_mm < 0.0);
        let reach_mm = helpful.map(|um| um.unsigned_abs() as f64 / 1000.0).fold(0.0, f64::max);
        let farthest_mm = if mean_mm > 0.0 { need.most_mm } else { -need.least_mm };
        let bound_mm = need.tolerance_mm.max(need.guard_mm);
        let stuck = farthest_mm - reach_mm > bound_mm && 2.0 * (mean_mm.abs() - reach_mm) > bound_mm;
        let left: Vec<f64> =
            node.sides.iter().filter_map(|side| self.open[side.index()].get(node.place).copied().flatten()).collect();
        let mut changes = Vec::new();
        if (is_group && past && stuck) || !left.is_empty() {
            changes.push(-mean_mm.round());
            changes.extend(below.map(|below| (below.mean_mm() - mean_mm).round()));
        }
        changes.extend(left.iter().map(|below_mm| -(mean_mm + below_mm).round()));
        changes.sort_by(f64::total_cmp);
        changes.dedup();
        changes
    }
}

/// Whole millimetres between what the shortest and the longest brake line need.
fn handle(need: Need) -> Vec<f64> {
    let (from, to) = ((-need.most_mm).floor(), (-need.least_mm).ceil());
    let (from, to) = (from.max(-MOST_AT_HANDLE_MM), to.min(MOST_AT_HANDLE_MM));
    std::iter::successors(Some(from), |mm| Some(mm + 1.0)).take_while(|mm| *mm <= to).collect()
}

/// Whether a node carries lines of the rows behind the first alone.
fn is_rear(case: &Case<'_>, node: &Node) -> bool {
    let rows = || {
        let known = node.sides.iter().flat_map(|side: &Side| &case.above[side.index()][node.place].known);
        known.filter_map(|at| case.lines.get(*at)).map(|line| line.row)
    };
    rows().all(|row| row.is_trim() && row != Row::A)
}
