//! The next check of every wing.

use super::fingerprint::Fingerprint;
use super::{BatchFailure, BatchJob};
use crate::check::{Fleet, History};
use crate::fleet::{Table, tables};
use crate::forecast::{DueRow, DueSpec, ForecastError, PreparedDue, WingDue};
use crate::wear::{DemoFit, SavedFit, WearFit};

/// Forecasts the next check of each wing, with or without a check of its own.
pub struct DueJob<'a> {
    prepared: PreparedDue<'a>,
    wear: String,
}

impl<'a> DueJob<'a> {
    /// From a wear fit of this fleet.
    ///
    /// # Errors
    /// As [`DueSpec::run`].
    pub fn new(spec: &DueSpec, fleet: &'a Fleet, wear: &'a WearFit) -> Result<Self, ForecastError> {
        Ok(Self { prepared: spec.prepare(fleet, wear)?, wear: Fingerprint::of(wear).to_string() })
    }

    /// Where no wear can be fitted to the fleet: present states and intervals.
    ///
    /// # Errors
    /// As [`DueSpec::run`].
    pub fn unfitted(spec: &DueSpec, fleet: &'a Fleet) -> Result<Self, ForecastError> {
        Ok(Self { prepared: spec.prepare_unfitted(fleet)?, wear: "none".to_owned() })
    }

    /// From a fit made elsewhere and saved.
    ///
    /// # Errors
    /// As [`DueSpec::run_saved`].
    pub fn saved(
        spec: &DueSpec,
        fleet: &'a Fleet,
        saved: &'a SavedFit,
        demo: DemoFit,
    ) -> Result<Self, ForecastError> {
        let wear = format!("saved {}", Fingerprint::of(saved.fit()));
        Ok(Self { prepared: spec.prepare_saved(fleet, saved, demo)?, wear })
    }
}

impl BatchJob for DueJob<'_> {
    type Answer = WingDue;

    fn name(&self) -> &'static str {
        "due"
    }

    fn settings(&self) -> String {
        format!("{:?} wear {}", self.prepared.spec(), self.wear)
    }

    fn wing(&self, _: &Fleet, history: &History) -> Result<Option<WingDue>, BatchFailure> {
        let found = self.prepared.wing(history);
        found.map(Some).map_err(|error| BatchFailure::of_wing(&history.wing.id, &error))
    }

    fn tables(&self, answers: &[WingDue]) -> Vec<Table> {
        let rows: Vec<DueRow> = answers.iter().map(|wing| wing.row.clone()).collect();
        vec![tables::due(&rows)]
    }
}
