//! Steps whose size is what the lines need: the brake handle, a new line, a stretch.

use super::Step;
use super::case::Case;
use super::forest::{Need, Node};
use super::map::PlaceKind;
use crate::check::ActionKind;
use crate::wing::{Row, Side};

/// The most that a brake line is moved at its handle, mm.
const MOST_AT_HANDLE_MM: f64 = 150.0;
/// Stretches come in steps of this, mm.
const STRETCH_MM: f64 = 5.0;

/// Steps of the size that the lines above a node need. `sizes_um`: what steps of given size do there.
pub(super) fn needed_steps(case: &Case<'_>, node: &Node, below: Option<Need>, sizes_um: &[i64]) -> Vec<Step> {
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
            offer(ActionKind::ReplaceLine, replacing(node, below, sizes_um));
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

/// Changes that a new line, or one re-spliced, may bring: where what is above is off by more than the tolerance as it is, or
/// against what it hangs on, and no step there brings the farthest line within it or the mean within half of it.
fn replacing(node: &Node, below: Option<Need>, sizes_um: &[i64]) -> Vec<f64> {
    let need = node.need;
    let bound_mm = need.tolerance_mm.max(need.guard_mm);
    let stuck = |level_mm: f64| {
        let mean_mm = need.mean_mm() - level_mm;
        let helpful = sizes_um.iter().filter(|um| (**um as f64) * mean_mm < 0.0);
        let reach_mm = helpful.map(|um| um.unsigned_abs() as f64 / 1000.0).fold(0.0, f64::max);
        let farthest_mm = if mean_mm > 0.0 { need.most_mm - level_mm } else { level_mm - need.least_mm };
        let is_stuck = mean_mm.abs() > bound_mm
            && farthest_mm - reach_mm > bound_mm
            && 2.0 * (mean_mm.abs() - reach_mm) > bound_mm;
        is_stuck.then(|| -mean_mm.round())
    };
    let mut changes: Vec<f64> =
        [Some(0.0), below.map(|below| below.mean_mm())].into_iter().flatten().filter_map(stuck).collect();
    changes.dedup();
    changes
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
