//! A user's table of materials.

use std::collections::HashSet;
use std::path::Path;

use crate::fleet::read::fault::{FaultList, FleetReadError};
use crate::fleet::read::grid::Grid;
use crate::fleet::read::user_file::read_list;
use crate::fleet::schema::{MATERIALS, MaterialRow};
use crate::wing::{Fibre, MaterialError};

/// Reads a user's materials from a CSV file: `material`, `break_elongation_pct`, `expansion_per_k`, `source`, and where known
/// `density_kg_m3` and `modulus_gpa`. Give them to [`crate::fleet::FolderSpec::fibres`].
///
/// # Errors
/// [`FleetReadError`] with every fault of the table, in one go: what makes a CSV table faulty anywhere, a material that stands
/// twice, and a figure outside what a fibre can have.
pub fn read_materials(file: &Path) -> Result<Vec<Fibre>, FleetReadError> {
    read_list(file, MATERIALS, read)
}

fn read(grid: &Grid, faults: &mut FaultList) -> Vec<Fibre> {
    let mut fibres: Vec<Fibre> = Vec::new();
    let mut seen: HashSet<String> = HashSet::new();
    for record in grid.records() {
        let row = MaterialRow::read(record, faults);
        let (Some(name), Some(elongation), Some(expansion), Some(source)) =
            (row.material, row.break_elongation_pct, row.expansion_per_k, row.source)
        else {
            continue;
        };
        if !seen.insert(name.to_string()) {
            record.fault(faults, "material", format_args!("each material once"));
        }
        match Fibre::new(&name, elongation, expansion, &source)
            .and_then(|fibre| fibre.with_figures(row.density_kg_m3, row.modulus_gpa, &source))
        {
            Ok(fibre) => fibres.push(fibre),
            Err(MaterialError::OutOfRange { what, expected, .. }) => {
                record.fault(faults, what, format_args!("{expected}"));
            }
            Err(error) => record.fault(faults, "material", format_args!("{error}")),
        }
    }
    fibres
}
