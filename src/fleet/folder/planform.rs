//! A wing's planform from a file of stations.

use std::path::Path;

use crate::fleet::read::fault::{FaultList, FleetReadError};
use crate::fleet::read::grid::Grid;
use crate::fleet::read::user_file::read_list;
use crate::fleet::schema::{PLANFORM, StationRow};
use crate::wing::{Planform, PlanformStation};

/// Reads a planform from a CSV file: stations of one half from the centre outwards, columns `y_m` (distance from the plane
/// of symmetry), `chord_m`, and `z_m` (height, 0 when missing).
///
/// # Errors
/// [`FleetReadError`] with every fault of the file, by row and column.
pub fn read_planform(file: &Path) -> Result<Planform, FleetReadError> {
    // a planform that is none has its fault noted
    read_list(file, PLANFORM, read)?.ok_or_else(|| FleetReadError::Faulty(FaultList::default()))
}

fn read(grid: &Grid, faults: &mut FaultList) -> Option<Planform> {
    let mut stations = Vec::with_capacity(grid.height);
    for record in grid.records() {
        let StationRow { y_m, chord_m, z_m, .. } = StationRow::read(record, faults);
        if let (Some(y_m), Some(chord_m)) = (y_m, chord_m) {
            stations.push(PlanformStation { y_m, z_m: z_m.unwrap_or(0.0), chord_m });
        }
    }
    if !faults.is_empty() {
        return None;
    }
    Planform::through(&stations)
        .map_err(|error| faults.add(PLANFORM.name, 0, "", error, format_args!("stations that make a wing")))
        .ok()
}
