//! Steps that a workshop offers, from a file.

use std::path::Path;

use crate::fleet::read::fault::{FaultList, FleetReadError};
use crate::fleet::read::grid::Grid;
use crate::fleet::read::user_file::read_list;
use crate::fleet::schema::{STEPS, StepRow};
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
        let before = faults.faults().len();
        let StepRow { action, change_mm, spread_mm, price, row, most, .. } = StepRow::read(record, faults);
        let most = most.and_then(|most| {
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole and small")]
            let whole = (most.fract() == 0.0 && most <= 1000.0).then_some(most as u32);
            if whole.is_none() {
                record.fault(faults, "most", format_args!("a whole number"));
            }
            whole
        });
        let (Some(kind), true) = (action, before == faults.faults().len()) else { continue };
        let step = OfferedStep { kind, change_mm, standard_mm: spread_mm, price, row, most };
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
