//! The `actions` and `fittings` tables.

use polars::prelude::PlHashSet;

use super::checks::Checks;
use super::wings::Wings;
use crate::check::{Action, ActionKind, Fitting, Stage};
use crate::fleet::read::fault::FaultList;
use crate::fleet::read::grid::{Loaded, Record};
use crate::fleet::schema::{ActionRow, FittingRow};
use crate::wing::Side;

/// One record with the index of its wing.
#[derive(Debug)]
pub(crate) struct OfWing<T> {
    pub(crate) wing: usize,
    pub(crate) what: T,
}

/// Reads `actions`, in table order.
pub(crate) fn read_actions(
    loaded: &Loaded,
    wings: &Wings,
    checks: &Checks,
    faults: &mut FaultList,
) -> Vec<OfWing<Action>> {
    let mut actions = Vec::new();
    for record in loaded.records() {
        let row = ActionRow::read(record, faults);
        let wing = row.wing.and_then(|wing| wings.find(record, &wing, faults));
        let segment = find_segment(record, row.segment.as_deref(), wings, wing, row.side, faults);
        let is_whole_set = row.segment.is_none() && record.grid.column("segment").is_some();
        if is_whole_set && row.action.is_some_and(|kind| kind != ActionKind::Replace) {
            record.fault(faults, "segment", format_args!("a segment (only `replace` may mean the whole set)"));
        }
        let check = row.check.map(std::borrow::Cow::into_owned);
        if let (Some(check), Some(wing)) = (&check, wing) {
            judge_check(record, check, wing, checks, faults);
        }
        if let (Some(wing), Some(date), Some(hours_h), Some(side), Some(kind), Some(change_mm)) =
            (wing, row.date, row.hours, row.side, row.action, row.change_mm)
        {
            let what = Action { date, hours_h, side, segment, kind, change_mm, turns: row.turns, check };
            actions.push(OfWing { wing, what });
        }
    }
    actions
}

/// What becomes of `fittings`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Fittings {
    /// They are kept.
    Kept,
    /// Their faults are found, and no more: a large fleet has millions of them.
    Judged,
}

/// Reads `fittings`, in table order.
pub(crate) fn read_fittings(
    loaded: &Loaded,
    wings: &Wings,
    what_for: Fittings,
    faults: &mut FaultList,
) -> Vec<OfWing<Fitting>> {
    let mut fittings: Vec<OfWing<Fitting>> = Vec::new();
    let mut seen: PlHashSet<(usize, Side, usize)> = PlHashSet::default();
    // a wing's fittings mostly stand together
    let mut last: Option<(String, usize)> = None;
    for record in loaded.records() {
        let row = FittingRow::read(record, faults);
        let wing = match (&last, &row.wing) {
            (Some((known, wing)), Some(name)) if known == name.as_ref() => Some(*wing),
            (_, name) => {
                let wing = name.as_ref().and_then(|wing| wings.find(record, wing, faults));
                last = name.clone().map(std::borrow::Cow::into_owned).zip(wing);
                wing
            }
        };
        let side = row.side;
        let segment = find_segment(record, row.segment.as_deref(), wings, wing, side, faults);
        let (Some(wing), Some(side), Some(segment)) = (wing, side, segment) else { continue };
        if seen.insert((wing, side, segment)) {
            if what_for == Fittings::Judged {
                continue;
            }
            let FittingRow { turns, spare_mm, can_loop, link_diameter_mm, step_mm, .. } = row;
            let what = Fitting { side, segment, turns, spare_mm, can_loop, link_diameter_mm, step_mm };
            fittings.push(OfWing { wing, what });
        } else {
            record.fault(faults, "segment", format_args!("each segment once per wing and side"));
        }
    }
    fittings
}

fn find_segment(
    record: Record<'_>,
    name: Option<&str>,
    wings: &Wings,
    wing: Option<usize>,
    side: Option<Side>,
    faults: &mut FaultList,
) -> Option<usize> {
    let name = name?;
    let draft = wings.draft_of(wing?)?;
    let known = draft.find_segment(name, side?);
    if known.is_none() && draft.segments_whole {
        record.fault(faults, "segment", format_args!("a segment of model `{}`", draft.model));
    }
    known
}

/// The check that an action names is an `as_left` check of the same wing.
fn judge_check(record: Record<'_>, check: &str, wing: usize, checks: &Checks, faults: &mut FaultList) {
    match checks.index.get(check).and_then(|check| checks.entries.get(*check)) {
        Some(entry) if entry.wing.is_some_and(|its| its != wing) => {
            record.fault(faults, "check", format_args!("a check of the same wing"));
        }
        Some(entry) if entry.check.stage != Stage::AsLeft => {
            record.fault(faults, "check", format_args!("an as_left check"));
        }
        None if checks.whole => record.fault(faults, "check", format_args!("a check that `checks` has")),
        _ => {}
    }
}
