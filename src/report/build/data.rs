//! What a report is made of: result rows of the other rooms, as plain data.

use std::collections::{HashMap, HashSet};

use serde::{Deserialize, Serialize};

use crate::check::Fleet;
use crate::forecast::{Backtest, DueDetail, DueRow, DueTable, ForecastFan};
use crate::plan::{CurvePoint, Plan};
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
    /// Line offsets that started again after an adjustment.
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
    pub curve: Vec<CurvePoint>,
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
pub(in crate::report) struct Entry<'a> {
    pub(in crate::report) wing: &'a str,
    pub(in crate::report) model: &'a str,
    pub(in crate::report) trim: Option<&'a Trim>,
    pub(in crate::report) due: Option<&'a DueRow>,
    pub(in crate::report) detail: Option<&'a DueDetail>,
    pub(in crate::report) explanation: Option<&'a str>,
    pub(in crate::report) plan: Option<&'a WingPlan>,
    pub(in crate::report) fan: Option<&'a ForecastFan>,
    pub(in crate::report) check: Option<&'a crate::check::Check>,
    pub(in crate::report) set: &'a crate::wing::LineSet,
}

impl Entry<'_> {
    /// Lines outside their tolerance.
    pub(in crate::report) fn outside(&self) -> usize {
        self.trim.map_or(0, |trim| crate::report::words::verdicts(trim, crate::trim::Verdict::Outside))
    }

    /// Whether the wing is to be adjusted, measured again or checked.
    pub(in crate::report) fn needs_something(&self, today: jiff::civil::Date) -> bool {
        self.trim.is_some_and(|trim| trim.state != crate::trim::TrimState::InTrim)
            || self.due.is_some_and(|row| row.is_due(today))
    }
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
    pub(in crate::report) fn entries(&self) -> Vec<Entry<'a>> {
        let trims = first_of(self.trims.iter().map(|trim| (trim.wing.as_str(), trim)));
        let plans = first_of(self.plans.iter().map(|plan| (plan.plan.wing.as_str(), plan)));
        let fans = first_of(self.fans.iter().map(|fan| (fan.wing.as_str(), fan)));
        let rows = self.due.into_iter().flat_map(|table| table.rows().iter().zip(table.details()));
        let due = first_of(rows.map(|both| (both.0.wing.as_str(), both)));
        let mut entries: Vec<Entry<'a>> = self
            .fleet
            .histories()
            .iter()
            .map(|history| {
                let wing = history.wing.id.as_str();
                let trim = trims.get(wing).copied();
                let due = due.get(wing);
                Entry {
                    wing,
                    model: &history.wing.model,
                    trim,
                    due: due.map(|both| both.0),
                    detail: due.map(|both| both.1),
                    explanation: due.map(|both| both.1.explanation.as_str()),
                    plan: plans.get(wing).copied(),
                    fan: fans.get(wing).copied(),
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
    pub(in crate::report) fn validate(&self) -> Result<(), crate::report::ReportError> {
        let wings = self.fleet.histories().len();
        let known: HashSet<&str> = self.fleet.histories().iter().map(|history| history.wing.id.as_str()).collect();
        let stranger = |what, wing: &str| crate::report::ReportError::NoWing { what, wing: wing.to_owned(), wings };
        let rows = self.due.map_or(&[][..], DueTable::rows);
        let trims = self.trims.iter().map(|trim| ("trim", &trim.wing));
        let due = rows.iter().map(|row| ("due row", &row.wing));
        let plans = self.plans.iter().map(|planned| ("plan", &planned.plan.wing));
        let fans = self.fans.iter().map(|fan| ("forecast", &fan.wing));
        match trims.chain(due).chain(plans).chain(fans).find(|(_, wing)| !known.contains(wing.as_str())) {
            Some((what, wing)) => Err(stranger(what, wing)),
            None => Ok(()),
        }
    }
}

/// What belongs to each wing; of several, the first.
fn first_of<'a, T>(all: impl Iterator<Item = (&'a str, T)>) -> HashMap<&'a str, T> {
    let mut first = HashMap::new();
    for (wing, one) in all {
        first.entry(wing).or_insert(one);
    }
    first
}
