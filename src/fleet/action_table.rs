//! The `actions` and `fittings` tables.

use polars::prelude::PlHashSet;

use super::cell::Limit;
use super::check_table::Checks;
use super::fault::FaultList;
use super::grid::{Grid, Loaded, Record};
use super::wing_table::Wings;
use crate::check::{Action, ActionKind, Fitting, Stage};
use crate::wing::Side;

/// One record with the index of its wing.
#[derive(Debug)]
pub(super) struct OfWing<T> {
    pub(super) wing: usize,
    pub(super) what: T,
}

/// Reads `actions`, in table order.
pub(super) fn read_actions(
    loaded: &Loaded,
    wings: &Wings,
    checks: &Checks,
    faults: &mut FaultList,
) -> Vec<OfWing<Action>> {
    let mut actions = Vec::new();
    for record in loaded.grids().iter().flat_map(Grid::records) {
        let wing = find_wing(record, wings, faults);
        let day = record.needed_day("date", faults);
        let hours_h = record.needed_number("hours", Limit::NotNegative, faults);
        let side: Option<Side> = record.needed_name("side", faults);
        let kind: Option<ActionKind> = record.needed_name("action", faults);
        let change_mm = record.needed_number("change_mm", Limit::Any, faults);
        let turns = record.number("turns", Limit::NotNegative, faults);
        let segment = find_segment(record, wings, wing, side, faults);
        let has_column = record.grid.column("segment").is_some();
        if has_column && record.text("segment").is_none() && kind.is_some_and(|kind| kind != ActionKind::Replace) {
            record.fault(faults, "segment", format_args!("a segment (only `replace` may mean the whole set)"));
        }
        let check = record.text("check").map(std::borrow::Cow::into_owned);
        if let (Some(check), Some(wing)) = (&check, wing) {
            judge_check(record, check, wing, checks, faults);
        }
        if let (Some(wing), Some(date), Some(hours_h), Some(side), Some(kind), Some(change_mm)) =
            (wing, day, hours_h, side, kind, change_mm)
        {
            let what = Action { date, hours_h, side, segment, kind, change_mm, turns, check };
            actions.push(OfWing { wing, what });
        }
    }
    actions
}

/// What becomes of `fittings`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Fittings {
    /// They are kept.
    Kept,
    /// Their faults are found, and no more: a large fleet has millions of them.
    Judged,
}

/// Reads `fittings`, in table order.
pub(super) fn read_fittings(
    loaded: &Loaded,
    wings: &Wings,
    what_for: Fittings,
    faults: &mut FaultList,
) -> Vec<OfWing<Fitting>> {
    let mut fittings: Vec<OfWing<Fitting>> = Vec::new();
    let mut seen: PlHashSet<(usize, Side, usize)> = PlHashSet::default();
    // a wing's fittings mostly stand together
    let mut last: Option<(String, usize)> = None;
    for record in loaded.grids().iter().flat_map(Grid::records) {
        let name = record.text("wing");
        let wing = match (&last, &name) {
            (Some((known, wing)), Some(name)) if known == name.as_ref() => Some(*wing),
            _ => {
                let wing = find_wing(record, wings, faults);
                last = name.map(std::borrow::Cow::into_owned).zip(wing);
                wing
            }
        };
        let side: Option<Side> = record.needed_name("side", faults);
        let name = record.needed_text("segment", faults);
        let segment = name.and_then(|_| find_segment(record, wings, wing, side, faults));
        let turns = record.number("turns", Limit::NotNegative, faults);
        let spare_mm = record.number("spare_mm", Limit::NotNegative, faults);
        let can_loop = record.truth("can_loop", faults);
        let link_diameter_mm = record.number("link_diameter_mm", Limit::Positive, faults);
        let step_mm = record.number("step_mm", Limit::Positive, faults);
        let (Some(wing), Some(side), Some(segment)) = (wing, side, segment) else { continue };
        if seen.insert((wing, side, segment)) {
            if what_for == Fittings::Judged {
                continue;
            }
            let what = Fitting { side, segment, turns, spare_mm, can_loop, link_diameter_mm, step_mm };
            fittings.push(OfWing { wing, what });
        } else {
            record.fault(faults, "segment", format_args!("each segment once per wing and side"));
        }
    }
    fittings
}

pub(super) fn find_wing(record: Record<'_>, wings: &Wings, faults: &mut FaultList) -> Option<usize> {
    let name = record.needed_text("wing", faults)?;
    let known = wings.index.get(name.as_ref()).copied();
    if known.is_none() && wings.whole {
        record.fault(faults, "wing", format_args!("a wing that `wings` has"));
    }
    known
}

fn find_segment(
    record: Record<'_>,
    wings: &Wings,
    wing: Option<usize>,
    side: Option<Side>,
    faults: &mut FaultList,
) -> Option<usize> {
    let name = record.text("segment")?;
    let draft = wings.draft_of(wing?)?;
    let known = draft.find_segment(&name, side?);
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
