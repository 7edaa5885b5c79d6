//! One wing: an aircraft of a model.

use std::collections::BTreeMap;

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use super::Service;

/// One aircraft. The fields are those of the `wings` table; `None` is an empty cell.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Wing {
    /// The wing's id, unique in its fleet.
    pub id: String,
    /// Model name; with `table_version` it names the line set.
    pub model: String,
    /// Version of the maker's table this wing follows.
    pub table_version: Option<String>,
    /// All-up mass flown, kg.
    pub mass_kg: Option<f64>,
    /// Date of the first flight.
    pub first_flight: Option<Date>,
    /// Hours flown per year.
    pub hours_per_year: Option<f64>,
    /// The longest time between checks, hours flown.
    pub interval_h: Option<f64>,
    /// The longest time between checks, calendar months.
    pub interval_months: Option<f64>,
    /// Covariates by name, as asked for by the reader's caller: `COLUMN` for a number, `COLUMN=LEVEL` for whether the text in a
    /// column is that level (1 or 0).
    pub covariates: BTreeMap<String, f64>,
    /// Serial number, for the record of its lengths.
    // personal data stays in the folder: reductions and documents are passed on
    #[serde(skip)]
    pub serial_number: Option<String>,
    /// Who owns it, for the record of its lengths.
    #[serde(skip)]
    pub owner: Option<String>,
    /// How it is used and looked after.
    // always written: a part of a reduction is read field by field
    #[serde(default)]
    pub service: Service,
}

impl Wing {
    /// A wing of which only id and model are known.
    #[must_use]
    pub fn new(id: &str, model: &str) -> Self {
        Self {
            id: id.to_owned(),
            model: model.to_owned(),
            table_version: None,
            mass_kg: None,
            first_flight: None,
            hours_per_year: None,
            interval_h: None,
            interval_months: None,
            covariates: BTreeMap::new(),
            serial_number: None,
            owner: None,
            service: Service::default(),
        }
    }
}
