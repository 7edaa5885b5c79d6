//! The `wings` table.

use std::borrow::Cow;
use std::collections::HashSet;

use polars::prelude::PlHashMap as HashMap;

use super::catalogue::{Catalogue, SetKey};
use super::line_draft::LineDraft;
use crate::fleet::read::cell::Limit;
use crate::fleet::read::fault::FaultList;
use crate::fleet::read::grid::{Loaded, Record};
use crate::fleet::schema::WingRow;
use crate::wing::{CovariateName, Service, Wing};

/// The wings of a folder and the line sets that they follow.
#[derive(Debug)]
pub(crate) struct Wings {
    pub(crate) entries: Vec<WingEntry>,
    pub(crate) index: HashMap<String, usize>,
    /// Whether every wing that should be here is here.
    pub(crate) whole: bool,
    pub(crate) drafts: Vec<LineDraft>,
}

#[derive(Debug)]
pub(crate) struct WingEntry {
    pub(crate) wing: Wing,
    /// Index of its line set (`None`: a fault).
    pub(crate) set: Option<usize>,
}

impl Wings {
    pub(crate) fn read(
        loaded: &Loaded,
        catalogue: &Catalogue,
        covariates: &[String],
        faults: &mut FaultList,
    ) -> Self {
        let mut read: Vec<(Wing, Option<SetKey>)> = Vec::new();
        let mut index: HashMap<String, usize> = HashMap::default();
        for record in loaded.records() {
            let row = WingRow::read(record, faults);
            let mut wing =
                Wing::new(row.wing.as_deref().unwrap_or_default(), row.model.as_deref().unwrap_or_default());
            let owned = |text: Option<Cow<'_, str>>| text.map(Cow::into_owned);
            wing.table_version = owned(row.table_version);
            wing.mass_kg = row.mass_kg;
            wing.first_flight = row.first_flight;
            wing.hours_per_year = row.hours_per_year;
            wing.interval_h = row.interval_h;
            wing.interval_months = row.interval_months;
            wing.service = Service {
                class_of_use: owned(row.class_of_use),
                ground_share: row.ground_share,
                inspection_h: row.inspection_h,
                inspection_months: row.inspection_months,
                inspected: row.inspected,
                inspected_h: row.inspected_hours,
                events: Vec::new(),
            };
            wing.serial_number = owned(row.serial_number);
            wing.owner = owned(row.owner);
            for name in covariates {
                let CovariateName { column, level, .. } = CovariateName::parse(name);
                let Some(cell) = record.cell(column) else { continue };
                let value = match level {
                    Some(level) => Ok(f64::from(u8::from(cell.text() == level))),
                    None => cell.number(Limit::Any),
                };
                match value {
                    Ok(value) => {
                        wing.covariates.insert(name.clone(), value);
                    }
                    Err(expected) => {
                        let text = cell.text();
                        let hint = format_args!("{expected}, or one level of a column of text: `{column}={text}`");
                        record.fault(faults, column, hint);
                    }
                }
            }
            let key = row.model.and_then(|model| catalogue.follow(record, &model, faults));
            let Some(id) = row.wing else { continue };
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

    /// The wing that a record names.
    pub(crate) fn find(&self, record: Record<'_>, name: &str, faults: &mut FaultList) -> Option<usize> {
        let known = self.index.get(name).copied();
        if known.is_none() && self.whole {
            record.fault(faults, "wing", format_args!("a wing that `wings` has"));
        }
        known
    }

    /// The line set of a wing.
    pub(crate) fn draft_of(&self, wing: usize) -> Option<&LineDraft> {
        self.drafts.get(self.entries.get(wing)?.set?)
    }
}
