//! A wing and its check of what a spreadsheet says.

use super::spec::Spreadsheet;
use crate::check::{Check, Fleet, FleetError, History};
use crate::wing::{LineSet, Wing};

impl Spreadsheet {
    /// The wing that the file speaks of, under an id.
    #[must_use]
    pub fn wing(&self, id: &str, model: &str) -> Wing {
        Wing {
            mass_kg: self.facts.mass_kg,
            first_flight: self.facts.first_flight,
            hours_per_year: self.facts.hours_per_year,
            serial_number: self.facts.serial_number.clone(),
            owner: self.facts.owner.clone(),
            ..Wing::new(id, model)
        }
    }
}

/// A fleet of one wing with one check.
///
/// # Errors
/// [`FleetError`] when they do not fit together.
pub fn fleet_of_one(set: LineSet, wing: Wing, check: Check) -> Result<Fleet, FleetError> {
    let history = History { wing, line_set: 0, checks: vec![check], actions: Vec::new(), fittings: Vec::new() };
    Fleet::new(vec![set], vec![history])
}
