//! Steps that a workshop offers, from a file.

use std::path::Path;

use super::cell::Limit;
use super::fault::{FaultList, FleetReadError};
use super::grid::Grid;
use super::schema::STEPS;
use super::user_file::read_list;
use crate::check::ActionKind;
use crate::plan::OfferedStep;

/// Reads the steps that a workshop offers from a CSV file: `action`, and where it is not as usual `change_mm`, `spread_mm`
/// (standard uncertainty), `price` and `most`. See `docs/data.md`.
///
/// # Errors
/// [`FleetReadError`] with every fault of the file, by row and column.
pub fn read_steps(file: &Path) -> Result<Vec<OfferedStep>, FleetReadError> {
    read_list(file, STEPS, read)
}

fn read(grid: &Grid, faults: &mut FaultList) -> Vec<OfferedStep> {
    let mut steps: Vec<OfferedStep> = Vec::with_capacity(grid.height);
    for record in grid.records() {
        let kind: Option<ActionKind> = record.needed_name("action", faults);
        let most = record.number("most", Limit::Positive, faults).and_then(|most| {
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole and small")]
            let whole = (most.fract() == 0.0 && most <= 1000.0).then_some(most as u32);
            if whole.is_none() {
                record.fault(faults, "most", format_args!("a whole number"));
            }
            whole
        });
        let row = record.text("row").is_some().then(|| record.needed_name("row", faults)).flatten();
        let step = |kind| OfferedStep {
            kind,
            change_mm: record.number("change_mm", Limit::Any, &mut FaultList::default()),
            standard_mm: record.number("spread_mm", Limit::Any, &mut FaultList::default()),
            price: record.number("price", Limit::Any, &mut FaultList::default()),
            row,
            most,
        };
        let before = faults.faults().len();
        for column in ["change_mm", "spread_mm", "price"] {
            record.number(column, Limit::Any, faults);
        }
        let (Some(step), true) = (kind.map(step), before == faults.faults().len()) else { continue };
        if let Some(fault) = step.fault() {
            record.fault(faults, fault.field, format_args!("{}", fault.expected));
            continue;
        }
        let several = step.comes_in_sizes();
        if !several && steps.iter().any(|known| known.kind == step.kind) {
            record.fault(faults, "action", format_args!("each action once, links, splices and risers apart"));
            continue;
        }
        steps.push(step);
    }
    if steps.is_empty() && faults.is_empty() {
        faults.add(STEPS.name, 0, "", "", format_args!("at least one step"));
    }
    steps
}
