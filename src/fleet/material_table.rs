//! A user's table of materials.

use std::collections::HashSet;
use std::path::Path;

use super::cell::Limit;
use super::fault::{FaultList, FleetReadError};
use super::grid::Grid;
use super::schema::MATERIALS;
use super::user_file::read_list;
use crate::wing::{Fibre, MaterialError};

/// Reads a user's materials from a CSV file: `material`, `break_elongation_pct`, `expansion_per_k`, `source`, and where known
/// `density_kg_m3` and `modulus_gpa`. Give them to [`super::FolderSpec::fibres`].
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
        let name = record.needed_text("material", faults);
        let elongation = record.needed_number("break_elongation_pct", Limit::Any, faults);
        let expansion = record.needed_number("expansion_per_k", Limit::Any, faults);
        let source = record.needed_text("source", faults);
        let density = record.number("density_kg_m3", Limit::Any, faults);
        let modulus = record.number("modulus_gpa", Limit::Any, faults);
        let (Some(name), Some(elongation), Some(expansion), Some(source)) = (name, elongation, expansion, source)
        else {
            continue;
        };
        if !seen.insert(name.to_string()) {
            record.fault(faults, "material", format_args!("each material once"));
        }
        match Fibre::new(&name, elongation, expansion, &source)
            .and_then(|fibre| fibre.with_figures(density, modulus, &source))
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
