//! The next checks of many wings.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::forecast::{CheckValue, DueDetail, DueRow, WingDue};
use crate::plan::PlanDocument;
use crate::wing::TextTable;

/// Rows that `Display` prints before it only counts.
const SCREEN_ROWS: usize = 30;

/// The next check of each wing, in order of urgency: the fewest hours left from the last check first, equal ones by wing id.
#[derive(Debug, Clone, PartialEq)]
pub struct DueTable {
    rows: Vec<DueRow>,
    details: Vec<DueDetail>,
    failures: Vec<WingFailure>,
    risk: f64,
    demo: bool,
}

/// A wing for which no next check could be found, and why.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct WingFailure {
    /// Wing id.
    pub wing: String,
    /// Why.
    pub message: String,
}

impl fmt::Display for WingFailure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "wing `{}`: no next check: {}", self.wing, self.message)
    }
}

impl DueTable {
    /// Puts wings in order of urgency; `risk` is the accepted risk they were made with.
    #[must_use]
    pub fn new(risk: f64, mut wings: Vec<WingDue>) -> Self {
        let left = |wing: &WingDue| wing.row.due_hours - wing.row.hours_now;
        wings.sort_by(|a, b| left(a).total_cmp(&left(b)).then_with(|| a.row.wing.cmp(&b.row.wing)));
        let (rows, details) = wings.into_iter().map(|wing| (wing.row, wing.detail)).unzip();
        Self { rows, details, failures: Vec::new(), risk, demo: false }
    }

    /// The same table, with the wings that failed.
    #[must_use]
    pub(crate) fn with_failures(mut self, failures: Vec<WingFailure>) -> Self {
        self.failures = failures;
        self
    }

    /// The wings that failed, by id; the others' results stand.
    #[must_use]
    pub fn failures(&self) -> &[WingFailure] {
        &self.failures
    }

    /// The same table, marked as made from the bundled invented demo.
    #[must_use]
    pub fn marked_demo(mut self) -> Self {
        self.demo = true;
        self
    }

    /// Whether the bundled invented demo, or a fit on it, is behind the table.
    #[must_use]
    pub fn is_demo(&self) -> bool {
        self.demo
    }

    /// One row per wing, most urgent first.
    #[must_use]
    pub fn rows(&self) -> &[DueRow] {
        &self.rows
    }

    /// What stands behind each row, in the same order.
    #[must_use]
    pub fn details(&self) -> &[DueDetail] {
        &self.details
    }

    /// The accepted risk.
    #[must_use]
    pub fn risk(&self) -> f64 {
        self.risk
    }

    /// The row of a wing.
    #[must_use]
    pub fn wing(&self, wing: &str) -> Option<&DueRow> {
        self.rows.iter().find(|row| row.wing == wing)
    }

    /// What stands behind the row of a wing.
    #[must_use]
    pub fn detail(&self, wing: &str) -> Option<&DueDetail> {
        self.details.get(self.rows.iter().position(|row| row.wing == wing)?)
    }

    /// The sentences that say what went into the row of a wing.
    #[must_use]
    pub fn explanation(&self, wing: &str) -> Option<&str> {
        self.detail(wing).map(|detail| detail.explanation.as_str())
    }

    /// The document of `due --json`.
    #[must_use]
    pub fn document(&self) -> DueDocument<'_> {
        DueDocument {
            schema: "linedrift.due/1",
            demo: self.demo,
            risk: self.risk,
            wings: self.rows.iter().zip(&self.details).map(|(row, detail)| DueEntry { row, detail }).collect(),
            failures: &self.failures,
            value_of_check: None,
        }
    }
}

/// The document of `due --json`.
#[derive(Debug, Clone, Serialize)]
pub struct DueDocument<'a> {
    schema: &'static str,
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    demo: bool,
    risk: f64,
    wings: Vec<DueEntry<'a>>,
    #[serde(skip_serializing_if = "<[WingFailure]>::is_empty")]
    failures: &'a [WingFailure],
    #[serde(skip_serializing_if = "Option::is_none")]
    value_of_check: Option<&'a CheckValue>,
}

impl<'a> DueDocument<'a> {
    /// With what one more check of the wing would tell.
    #[must_use]
    pub fn with_value_of_check(mut self, value: Option<&'a CheckValue>) -> Self {
        self.value_of_check = value;
        self
    }
}

/// A plan with the wing's next check once it is done: `linedrift.plan/1`.
#[derive(Debug, Clone, Serialize)]
pub struct PlanWithDue {
    #[serde(flatten)]
    plan: PlanDocument,
    #[serde(skip_serializing_if = "Option::is_none")]
    due_after: Option<DueRow>,
}

impl PlanWithDue {
    /// A plan, and the next check where it was asked for.
    #[must_use]
    pub fn new(plan: PlanDocument, due_after: Option<DueRow>) -> Self {
        Self { plan, due_after }
    }
}

#[derive(Debug, Clone, Serialize)]
struct DueEntry<'a> {
    #[serde(flatten)]
    row: &'a DueRow,
    #[serde(flatten)]
    detail: &'a DueDetail,
}

impl fmt::Display for DueTable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "Next checks at an accepted risk of {:.0} %, most urgent first", 100.0 * self.risk)?;
        let mut rows = TextTable::default()
            .words("wing", 24)
            .words("model", 24)
            .figures("now h")
            .figures("due h")
            .words("date", 10)
            .words("reason", 14)
            .figures("first crossing h")
            .figures("risk now")
            .words("basis", 8);
        for row in self.rows.iter().take(SCREEN_ROWS) {
            let crossing = row.crossing_hours;
            let quantiles = [crossing.p10, crossing.p50, crossing.p90]
                .map(|hours| hours.map_or_else(|| "-".to_owned(), |hours| format!("{hours:.0}")));
            rows.row([
                row.wing.clone(),
                row.model.clone(),
                format!("{:.0}", row.hours_now),
                format!("{:.0}", row.due_hours),
                row.due_date.map_or_else(|| "-".to_owned(), |date| date.to_string()),
                row.reason.name().to_owned(),
                quantiles.join(" / "),
                row.risk_now.map_or_else(|| "-".to_owned(), |risk| format!("{:.1} %", 100.0 * risk)),
                row.basis.name().to_owned(),
            ]);
        }
        write!(f, "{rows}")?;
        let overdue: Vec<String> = self
            .rows
            .iter()
            .zip(&self.details)
            .filter_map(|(row, detail)| Some((row, detail.overdue_days?)))
            .map(|(row, days)| format!("{} by {days} {}", row.wing, if days == 1 { "day" } else { "days" }))
            .collect();
        if !overdue.is_empty() {
            let more = match overdue.len().saturating_sub(SCREEN_ROWS) {
                0 => String::new(),
                more => format!(" and {more} more"),
            };
            writeln!(f, "Overdue: {}{more}", overdue[..overdue.len().min(SCREEN_ROWS)].join(", "))?;
        }
        for failure in &self.failures {
            writeln!(f, "{}: no answer, {}", failure.wing, failure.message)?;
        }
        match self.rows.len().saturating_sub(SCREEN_ROWS) {
            0 => {}
            more => writeln!(f, "and {more} more")?,
        }
        write!(f, "First crossing: 10 / 50 / 90 % of the draws have crossed a limit by then; - is past the horizon.")
    }
}
