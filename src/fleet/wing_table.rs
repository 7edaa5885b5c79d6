//! The `wings` table.

use std::collections::HashSet;

use polars::prelude::PlHashMap as HashMap;

use super::catalogue::{Catalogue, SetKey};
use super::cell::Limit;
use super::fault::FaultList;
use super::grid::{Grid, Loaded};
use super::line_draft::LineDraft;
use crate::wing::{Service, Wing};

/// The wings of a folder and the line sets that they follow.
#[derive(Debug)]
pub(super) struct Wings {
    pub(super) entries: Vec<WingEntry>,
    pub(super) index: HashMap<String, usize>,
    /// Whether every wing that should be here is here.
    pub(super) whole: bool,
    pub(super) drafts: Vec<LineDraft>,
}

#[derive(Debug)]
pub(super) struct WingEntry {
    pub(super) wing: Wing,
    /// Index of its line set (`None`: a fault).
    pub(super) set: Option<usize>,
}

impl Wings {
    pub(super) fn read(
        loaded: &Loaded,
        catalogue: &Catalogue,
        covariates: &[String],
        faults: &mut FaultList,
    ) -> Self {
        let mut read: Vec<(Wing, Option<SetKey>)> = Vec::new();
        let mut index: HashMap<String, usize> = HashMap::default();
        for record in loaded.grids().iter().flat_map(Grid::records) {
            let id = record.needed_text("wing", faults);
            let model = record.needed_text("model", faults);
            let mut wing = Wing::new(&id.clone().unwrap_or_default(), &model.clone().unwrap_or_default());
            wing.table_version = record.text("table_version").map(std::borrow::Cow::into_owned);
            wing.mass_kg = record.number("mass_kg", Limit::Positive, faults);
            wing.first_flight = record.day("first_flight", faults);
            wing.hours_per_year = record.number("hours_per_year", Limit::NotNegative, faults);
            wing.interval_h = record.number("interval_h", Limit::Positive, faults);
            wing.interval_months = record.number("interval_months", Limit::Positive, faults);
            wing.service = Service {
                class_of_use: record.text("use").map(std::borrow::Cow::into_owned),
                ground_share: record.number("ground_share", Limit::NotNegative, faults),
                inspection_h: record.number("inspection_h", Limit::Positive, faults),
                inspection_months: record.number("inspection_months", Limit::Positive, faults),
                inspected: record.day("inspected", faults),
                inspected_h: record.number("inspected_hours", Limit::NotNegative, faults),
                events: Vec::new(),
            };
            wing.serial_number = record.text("serial_number").map(std::borrow::Cow::into_owned);
            wing.owner = record.text("owner").map(std::borrow::Cow::into_owned);
            for name in covariates {
                if let Some(value) = record.number(name, Limit::Any, faults) {
                    wing.covariates.insert(name.clone(), value);
                }
            }
            let key = model.and_then(|model| catalogue.follow(record, &model, faults));
            let Some(id) = id else { continue };
            if index.contains_key(id.as_ref()) {
                record.fault(faults, "wing", format_args!("each wing once"));
                continue;
            }
            index.insert(id.into_owned(), read.len());
            read.push((wing, key));
        }
        let used: HashSet<SetKey> = read.iter().filter_map(|(_, key)| key.clone()).collect();
        let drafts = catalogue.drafts(&used);
        let entries = read
            .into_iter()
            .map(|(wing, key)| {
                let is_its =
                    |draft: &LineDraft, key: &SetKey| draft.model == key.model && draft.version == key.version;
                let set = key.and_then(|key| drafts.iter().position(|draft| is_its(draft, &key)));
                WingEntry { wing, set }
            })
            .collect();
        let whole = matches!(loaded, Loaded::Read(_)) && loaded.is_whole(&["wing"]);
        Self { entries, index, whole, drafts }
    }

    /// The line set of a wing.
    pub(super) fn draft_of(&self, wing: usize) -> Option<&LineDraft> {
        self.drafts.get(self.entries.get(wing)?.set?)
    }
}
