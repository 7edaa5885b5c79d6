//! What a report is made of: result rows of the other rooms, as plain data.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::check::Fleet;
use crate::forecast::{Backtest, DueDetail, DueRow, DueTable, ForecastFan};
use crate::plan::{Alternative, Plan};
use crate::trim::Trim;
use crate::wear::{Diagnostic, DriftSeries, Shape, SpreadRow, TermRow, WearFit};

/// What a report says of a wear fit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WearSummary {
    /// Readings in the fit.
    pub readings: usize,
    /// Wings in the fit.
    pub wings: usize,
    /// Checks in the fit.
    pub checks: usize,
    /// Lines in the fit.
    pub lines: usize,
    /// Line offsets that began anew after an adjustment.
    pub restarted_lines: usize,
    /// Time shape.
    pub shape: Shape,
    /// Whether the fit converged.
    pub converged: bool,
    /// Fixed terms.
    pub terms: Vec<TermRow>,
    /// Spreads and correlations.
    pub spread: Vec<SpreadRow>,
    /// Terms that the data could not tell apart.
    pub dropped_terms: Vec<String>,
    /// Remarks.
    pub diagnostics: Vec<Diagnostic>,
}

impl From<&WearFit> for WearSummary {
    fn from(fit: &WearFit) -> Self {
        Self {
            readings: fit.readings(),
            wings: fit.wings(),
            checks: fit.checks(),
            lines: fit.lines(),
            restarted_lines: fit.restarted_lines(),
            shape: fit.shape(),
            converged: fit.converged(),
            terms: fit.terms().to_vec(),
            spread: fit.spread().to_vec(),
            dropped_terms: fit.dropped_terms().to_vec(),
            diagnostics: fit.diagnostics().to_vec(),
        }
    }
}

/// The plan of one wing, and the best plans with fewer actions.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WingPlan {
    /// The plan.
    pub plan: Plan,
    /// The best plans with at most 0, 1, 2, … actions; empty to leave the trade-off out.
    pub curve: Vec<Alternative>,
}

/// Everything that goes into a report. Wings without a judged check or a forecast are named and left blank. A fleet of one wing
/// gives the page of a wing. [`ReportData::of`] starts with the fleet alone.
#[derive(Debug, Clone, Copy)]
pub struct ReportData<'a> {
    /// The fleet.
    pub fleet: &'a Fleet,
    /// One judged check per wing, the one to show.
    pub trims: &'a [Trim],
    /// The next check of each wing, where it was forecast.
    pub due: Option<&'a DueTable>,
    /// The wear fit, where there is one.
    pub wear: Option<&'a WearSummary>,
    /// Row means against hours, with the wear model's path where there is one.
    pub drifts: &'a [DriftSeries],
    /// The plans, where they were made.
    pub plans: &'a [WingPlan],
    /// Forecasts to draw, where they were made.
    pub fans: &'a [ForecastFan],
    /// How good earlier forecasts were, where the fleet has the history to tell.
    pub backtest: Option<&'a Backtest>,
    /// What the reader must know besides, in sentences: what could not be worked out, and why.
    pub remarks: &'a [String],
}

/// One wing with what is known of it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Entry<'a> {
    pub(super) wing: &'a str,
    pub(super) model: &'a str,
    pub(super) trim: Option<&'a Trim>,
    pub(super) due: Option<&'a DueRow>,
    pub(super) detail: Option<&'a DueDetail>,
    pub(super) explanation: Option<&'a str>,
    pub(super) plan: Option<&'a WingPlan>,
    pub(super) fan: Option<&'a ForecastFan>,
    pub(super) check: Option<&'a crate::check::Check>,
    pub(super) set: &'a crate::wing::LineSet,
}

impl Entry<'_> {
    /// Lines outside their tolerance.
    pub(super) fn outside(&self) -> usize {
        self.trim.map_or(0, |trim| super::words::verdicts(trim, crate::trim::Verdict::Outside))
    }
}

/// The first of each wing and its place, by wing.
fn by_wing<T>(all: &[T], wing: impl Fn(&T) -> &String) -> BTreeMap<&str, (usize, &T)> {
    let mut index = BTreeMap::new();
    for (place, one) in all.iter().enumerate() {
        index.entry(wing(one).as_str()).or_insert((place, one));
    }
    index
}

impl<'a> ReportData<'a> {
    /// The fleet alone, without any result.
    #[must_use]
    pub fn of(fleet: &'a Fleet) -> Self {
        Self {
            fleet,
            trims: &[],
            due: None,
            wear: None,
            drifts: &[],
            plans: &[],
            fans: &[],
            backtest: None,
            remarks: &[],
        }
    }

    /// The wings of the fleet, the most urgent first; those without a forecast come last, by name.
    pub(super) fn entries(&self) -> Vec<Entry<'a>> {
        let trims = by_wing(self.trims, |trim| &trim.wing);
        let due = by_wing(self.due.map_or(&[][..], DueTable::rows), |row| &row.wing);
        let details = self.due.map_or(&[][..], DueTable::details);
        let plans = by_wing(self.plans, |plan| &plan.plan.wing);
        let fans = by_wing(self.fans, |fan| &fan.wing);
        let mut entries: Vec<Entry<'a>> = self
            .fleet
            .histories()
            .iter()
            .map(|history| {
                let wing = history.wing.id.as_str();
                let trim = trims.get(wing).map(|(_, trim)| *trim);
                let detail = due.get(wing).and_then(|(place, _)| details.get(*place));
                Entry {
                    wing,
                    model: &history.wing.model,
                    trim,
                    due: due.get(wing).map(|(_, row)| *row),
                    detail,
                    explanation: detail.map(|detail| detail.explanation.as_str()),
                    plan: plans.get(wing).map(|(_, plan)| *plan),
                    fan: fans.get(wing).map(|(_, fan)| *fan),
                    set: self.fleet.line_set(history),
                    check: trim.and_then(|trim| history.checks.iter().find(|check| check.id == trim.check)),
                }
            })
            .collect();
        entries.sort_by(|a, b| match (a.due, b.due) {
            (Some(first), Some(second)) => first.urgency(a.outside(), second, b.outside()),
            (Some(_), None) => std::cmp::Ordering::Less,
            (None, Some(_)) => std::cmp::Ordering::Greater,
            (None, None) => a.wing.cmp(b.wing),
        });
        entries
    }

    /// Refuses results of wings that the fleet does not have.
    pub(super) fn validate(&self) -> Result<(), super::ReportError> {
        let known = by_wing(self.fleet.histories(), |history| &history.wing.id);
        let wings = known.len();
        let found = |wing: &str| known.contains_key(wing).then_some(());
        let stranger = |what, wing: &str| super::ReportError::NoWing { what, wing: wing.to_owned(), wings };
        for trim in self.trims {
            found(&trim.wing).ok_or_else(|| stranger("trim", &trim.wing))?;
        }
        for row in self.due.map_or(&[][..], DueTable::rows) {
            found(&row.wing).ok_or_else(|| stranger("due row", &row.wing))?;
        }
        for plan in self.plans.iter().map(|planned| &planned.plan) {
            found(&plan.wing).ok_or_else(|| stranger("plan", &plan.wing))?;
        }
        for fan in self.fans {
            found(&fan.wing).ok_or_else(|| stranger("forecast", &fan.wing))?;
        }
        Ok(())
    }
}
