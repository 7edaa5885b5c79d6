//! The next check of every wing.

use super::fingerprint::Fingerprint;
use super::{Batch, BatchError, BatchFailure, BatchJob, BatchSpec, Watch, known_wing};
use crate::check::{Fleet, History};
use crate::fleet::{Table, tables};
use crate::forecast::{DueRow, DueSpec, DueTable, ForecastError, PreparedDue, WingDue, WingFailure};
use crate::wear::{DemoFit, SavedFit, WearError, WearFit, WearSpec};

/// What forecasts rest on.
#[derive(Debug, Clone)]
pub enum WearSource {
    /// A fit of the wings themselves.
    Fitted(Box<WearFit>),
    /// A fit made elsewhere and saved.
    Saved(Box<SavedFit>),
    /// No wear can be fitted, and why: wings have their present state and their interval.
    Unfitted(String),
}

impl WearSource {
    /// The model fitted to the fleet; a fleet with too little history for any fit has none.
    ///
    /// # Errors
    /// [`WearError`] for any other reason.
    pub fn fit(spec: &WearSpec, fleet: &Fleet) -> Result<Self, WearError> {
        match spec.fit(fleet) {
            Ok(fit) => Ok(Self::Fitted(Box::new(fit))),
            Err(error) if error.leaves_no_fit() => Ok(Self::Unfitted(error.to_string())),
            Err(error) => Err(error),
        }
    }

    /// The fit, where there is one.
    #[must_use]
    pub fn wear(&self) -> Option<&WearFit> {
        match self {
            Self::Fitted(fit) => Some(fit),
            Self::Saved(saved) => Some(saved.fit()),
            Self::Unfitted(_) => None,
        }
    }

    /// Whether it is a saved fit on the invented demo.
    #[must_use]
    pub fn is_demo(&self) -> bool {
        matches!(self, Self::Saved(saved) if saved.is_demo())
    }
}

/// Forecasts the next check of each wing, with or without a check of its own.
pub struct DueJob<'a> {
    prepared: PreparedDue<'a>,
    wear: String,
    of_demo: bool,
}

impl<'a> DueJob<'a> {
    /// From a wear fit of this fleet.
    ///
    /// # Errors
    /// As [`DueSpec::run`].
    pub fn new(spec: &DueSpec, fleet: &'a Fleet, wear: &'a WearFit) -> Result<Self, ForecastError> {
        Ok(Self {
            prepared: spec.prepare(fleet, wear)?,
            wear: Fingerprint::of(wear).to_string(),
            of_demo: fleet.is_demo(),
        })
    }

    /// Where no wear can be fitted to the fleet: present states and intervals.
    ///
    /// # Errors
    /// As [`DueSpec::run`].
    pub(crate) fn unfitted(spec: &DueSpec, fleet: &'a Fleet) -> Result<Self, ForecastError> {
        Ok(Self { prepared: spec.prepare_unfitted(fleet)?, wear: "none".to_owned(), of_demo: fleet.is_demo() })
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
        let of_demo = fleet.is_demo() || saved.is_demo();
        Ok(Self { prepared: spec.prepare_saved(fleet, saved, demo)?, wear, of_demo })
    }

    /// From whatever there is.
    ///
    /// # Errors
    /// As [`DueSpec::run`] and [`DueSpec::run_saved`].
    pub fn from_source(
        spec: &DueSpec,
        fleet: &'a Fleet,
        source: &'a WearSource,
        demo: DemoFit,
    ) -> Result<Self, ForecastError> {
        match source {
            WearSource::Fitted(fit) => Self::new(spec, fleet, fit),
            WearSource::Saved(saved) => Self::saved(spec, fleet, saved, demo),
            WearSource::Unfitted(_) => Self::unfitted(spec, fleet),
        }
    }

    /// The next checks of one wing or of all wings, most urgent first; marked where the invented demo is behind them.
    ///
    /// # Errors
    /// [`BatchError::Choice`] when the fleet has no such wing; as [`BatchSpec::run`].
    pub fn table(&self, fleet: &Fleet, wing: Option<&str>, watch: &dyn Watch) -> Result<DueTable, BatchError> {
        let batch = if let Some(wing) = wing {
            let mut batch = Batch { answers: Vec::new(), failures: Vec::new(), without: 0 };
            match self.wing(fleet, known_wing(fleet, wing)?) {
                Ok(answer) => batch.answers.extend(answer),
                Err(failure) => batch.failures.push(failure),
            }
            batch
        } else {
            watch.count(fleet.histories().len());
            BatchSpec::default().run(fleet, self, &|at| watch.wing(at))?
        };
        let failures = batch.failures.into_iter();
        let failures = failures.map(|failure| WingFailure { wing: failure.wing, message: failure.message });
        let table =
            DueTable::new(self.prepared.spec().accepted_risk(), batch.answers).with_failures(failures.collect());
        Ok(if self.of_demo { table.marked_demo() } else { table })
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
