//! A user's table of materials.

use std::collections::HashSet;
use std::fs;
use std::path::Path;

use super::cell::Limit;
use super::csv::read_csv;
use super::fault::{FaultList, FleetReadError};
use super::grid::Grid;
use super::schema::MATERIALS;
use crate::wing::{Fibre, MaterialError};

/// Reads a user's materials from a CSV file: `material`, `break_elongation_pct`, `expansion_per_k`, `source`, and where known
/// `density_kg_m3` and `modulus_gpa`. Give them to [`super::FolderSpec::fibres`].
///
/// # Errors
/// [`FleetReadError`] with every fault of the table, in one go: what makes a CSV table faulty anywhere, a material that stands
/// twice, and a figure outside what a fibre can have.
pub fn read_materials(file: &Path) -> Result<Vec<Fibre>, FleetReadError> {
    let mut faults = FaultList::default();
    let grid = match fs::read(file) {
        Ok(bytes) => read_csv(&bytes, MATERIALS, &[], &mut faults),
        Err(error) => {
            faults.add(
                MATERIALS.name,
                0,
                "",
                format!("{}: {error}", file.display()),
                format_args!("a file that can be read"),
            );
            None
        }
    };
    let mut fibres: Vec<Fibre> = Vec::new();
    let mut seen: HashSet<String> = HashSet::new();
    for record in grid.iter().flat_map(Grid::records) {
        let name = record.needed_text("material", &mut faults);
        let elongation = record.needed_number("break_elongation_pct", Limit::Any, &mut faults);
        let expansion = record.needed_number("expansion_per_k", Limit::Any, &mut faults);
        let source = record.needed_text("source", &mut faults);
        let density = record.number("density_kg_m3", Limit::Any, &mut faults);
        let modulus = record.number("modulus_gpa", Limit::Any, &mut faults);
        let (Some(name), Some(elongation), Some(expansion), Some(source)) = (name, elongation, expansion, source)
        else {
            continue;
        };
        if !seen.insert(name.to_string()) {
            record.fault(&mut faults, "material", format_args!("each material once"));
        }
        match Fibre::new(&name, elongation, expansion, &source)
            .and_then(|fibre| fibre.with_figures(density, modulus, &source))
        {
            Ok(fibre) => fibres.push(fibre),
            Err(MaterialError::OutOfRange { what, expected, .. }) => {
                record.fault(&mut faults, what, format_args!("{expected}"));
            }
            Err(error) => record.fault(&mut faults, "material", format_args!("{error}")),
        }
    }
    if faults.is_empty() { Ok(fibres) } else { Err(FleetReadError::Faulty(faults)) }
}
