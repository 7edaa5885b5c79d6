//! What a fleet folder holds, counted.

use std::fmt;

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use crate::check::{Fleet, History, Stage};

/// Counts of one model, or of a whole fleet.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Holdings {
    /// Wings.
    pub wings: usize,
    /// Checks, both stages.
    pub checks: usize,
    /// Checks that are `as_left`.
    pub as_left: usize,
    /// Readings.
    pub readings: usize,
    /// Adjustments recorded.
    pub actions: usize,
    /// Day of the first check.
    pub first_date: Option<Date>,
    /// Day of the last check.
    pub last_date: Option<Date>,
    /// Most hours flown at a check, h.
    pub most_hours: Option<f64>,
}

/// One model of a fleet.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ModelHoldings {
    /// Model name.
    pub model: String,
    /// Version of the maker's table.
    pub table_version: Option<String>,
    /// Lines on one side (a set that is not symmetric: on both).
    pub lines: usize,
    /// Materials, by name.
    pub materials: Vec<String>,
    /// Whether the cascade is known.
    pub cascade: bool,
    /// Counts.
    #[serde(flatten)]
    pub holds: Holdings,
}

/// What a fleet holds: totals and one row per model.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FleetSummary {
    /// Totals.
    #[serde(flatten)]
    pub total: Holdings,
    /// One row per line set.
    pub models: Vec<ModelHoldings>,
}

impl FleetSummary {
    /// Counts a fleet.
    #[must_use]
    pub fn of(fleet: &Fleet) -> Self {
        let mut total = Holdings::default();
        for history in fleet.histories() {
            total.add(history);
        }
        let models = fleet
            .line_sets()
            .iter()
            .enumerate()
            .map(|(index, set)| {
                let mut holds = Holdings::default();
                for history in fleet.histories().iter().filter(|history| history.line_set == index) {
                    holds.add(history);
                }
                let mut materials: Vec<String> =
                    set.segments().iter().map(|segment| segment.material.clone()).collect();
                materials.sort();
                materials.dedup();
                ModelHoldings {
                    model: set.model().to_owned(),
                    table_version: set.table_version().map(str::to_owned),
                    lines: set.lines().len(),
                    materials,
                    cascade: set.has_cascade(),
                    holds,
                }
            })
            .collect();
        Self { total, models }
    }
}

impl Holdings {
    fn add(&mut self, history: &History) {
        self.wings += 1;
        self.checks += history.checks.len();
        self.actions += history.actions.len();
        for check in &history.checks {
            self.as_left += usize::from(check.stage == Stage::AsLeft);
            self.readings += check.readings.len();
            self.first_date = Some(self.first_date.map_or(check.date, |date| date.min(check.date)));
            self.last_date = Some(self.last_date.map_or(check.date, |date| date.max(check.date)));
            self.most_hours = Some(self.most_hours.map_or(check.hours_h, |hours| hours.max(check.hours_h)));
        }
    }
}

impl fmt::Display for FleetSummary {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let total = &self.total;
        writeln!(f, "{} wings, {} checks ({} as left)", total.wings, total.checks, total.as_left)?;
        writeln!(f, "{} readings, {} adjustments", total.readings, total.actions)?;
        if let (Some(first), Some(last), Some(hours)) = (total.first_date, total.last_date, total.most_hours) {
            writeln!(f, "checks from {first} to {last}, up to {hours:.0} h flown")?;
        }
        writeln!(f, "\n{:<24} {:>6} {:>7} {:>9} {:>6}  materials", "model", "wings", "checks", "readings", "lines")?;
        for model in &self.models {
            writeln!(
                f,
                "{:<24} {:>6} {:>7} {:>9} {:>6}  {}{}",
                super::text::cut(&model.model, 24),
                model.holds.wings,
                model.holds.checks,
                model.holds.readings,
                model.lines,
                super::text::cut(&model.materials.join(", "), 20),
                if model.cascade { "" } else { " *" }
            )?;
        }
        if self.models.iter().any(|model| !model.cascade) {
            writeln!(f, "* no cascade given: each line counts as one piece of its material")?;
        }
        Ok(())
    }
}
