//! What a fleet folder holds, counted.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use jiff::civil::Date;
use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use super::batch::{ChosenCheck, latest_checks};
use crate::check::doubt::DoubtSpec;
use crate::check::{Fleet, History, Stage};
use crate::trim::{LineCounts, LineVerdict, Trim, TrimSpec};
use crate::wing::{LineSet, Row, TextTable, cut};

/// Rows of verdicts that `Display` prints before it only counts.
const SCREEN_ROWS: usize = 24;

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
    /// Fewest readings of a check that has any.
    pub fewest_readings: Option<usize>,
    /// Most readings of a check.
    pub most_readings: Option<usize>,
    /// Adjustments recorded.
    pub actions: usize,
    /// Day of the first check.
    pub first_date: Option<Date>,
    /// Day of the last check.
    pub last_date: Option<Date>,
    /// Fewest hours flown at a check, h.
    pub least_hours: Option<f64>,
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

/// Verdicts on the lines of one row and material, over each wing's latest check.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RowHoldings {
    /// Row.
    pub row: Row,
    /// Material of the longest part of the line (of several as long, the first by name).
    pub material: String,
    /// Lines read.
    pub lines: usize,
    /// Lines inside their tolerance.
    pub within: usize,
    /// Lines outside their tolerance.
    pub outside: usize,
    /// Lines whose reading is doubted, counted apart.
    pub doubted: usize,
}

impl RowHoldings {
    /// Share of the judged lines that are within tolerance, per cent.
    #[must_use]
    pub fn within_pct(&self) -> f64 {
        let judged = self.lines - self.doubted.min(self.lines);
        if judged == 0 { 0.0 } else { 100.0 * self.within as f64 / judged as f64 }
    }
}

/// How many readings of the latest checks are doubtful.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct DoubtfulShare {
    /// Wings with a check.
    pub latest_checks: usize,
    /// Latest checks that could be looked through.
    pub checks: usize,
    /// Readings in them.
    pub readings: usize,
    /// Doubtful ones among these.
    pub doubtful: usize,
}

/// What a fleet holds: totals, one row per model, and how its latest checks stand.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FleetSummary {
    /// Totals.
    #[serde(flatten)]
    pub total: Holdings,
    /// One row per line set.
    pub models: Vec<ModelHoldings>,
    /// Doubtful readings.
    pub doubtful: DoubtfulShare,
    /// Verdicts by row and material, with the default tolerance where a line has none of its own.
    pub rows: Vec<RowHoldings>,
    /// Wings whose latest check could not be judged or looked through.
    pub failed: usize,
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
        let latest = latest_checks(fleet);
        let mut failed = BTreeSet::new();
        let judged: Vec<Option<JudgedLatest>> = latest.par_iter().map(|one| JudgedLatest::of(fleet, one)).collect();
        failed.extend(judged.iter().enumerate().filter(|(_, one)| one.is_none()).map(|(at, _)| at));
        let judged: Vec<JudgedLatest> = judged.into_iter().flatten().collect();
        let doubtful = DoubtfulShare {
            latest_checks: latest.len(),
            checks: judged.len(),
            readings: judged.iter().map(|one| one.readings).sum(),
            doubtful: judged.iter().map(|one| one.doubtful).sum(),
        };
        Self { total, models, doubtful, rows: rows(fleet, &judged), failed: failed.len() }
    }
}

/// A latest check, looked through and judged.
struct JudgedLatest {
    line_set: usize,
    readings: usize,
    doubtful: usize,
    trim: Trim,
}

impl JudgedLatest {
    fn of(fleet: &Fleet, one: &ChosenCheck<'_>) -> Option<Self> {
        let (set, history) = (fleet.line_set(one.history), one.history);
        let doubts = DoubtSpec::default().run(set, history, one.at, None).ok()?;
        let trim = TrimSpec::default().prepare(set).ok()?.judge_with(history, one.at, &doubts).ok()?;
        let (readings, doubtful) = (doubts.readings(), doubts.findings().len());
        Some(Self { line_set: history.line_set, readings, doubtful, trim })
    }
}

/// Counts of the lines by row and material.
fn rows(fleet: &Fleet, judged: &[JudgedLatest]) -> Vec<RowHoldings> {
    let materials: Vec<Vec<String>> = fleet
        .line_sets()
        .iter()
        .map(|set| (0..set.lines().len()).map(|line| material(set, line)).collect())
        .collect();
    let mut all: BTreeMap<(Row, &str), Vec<&LineVerdict>> = BTreeMap::new();
    for one in judged {
        let Some(set) = fleet.line_sets().get(one.line_set) else { continue };
        for line in &one.trim.lines {
            let place = set.find(&line.line, line.side).and_then(|at| materials.get(one.line_set)?.get(at));
            all.entry((line.row, place.map_or("unknown", String::as_str))).or_default().push(line);
        }
    }
    let row = |((row, material), lines): ((Row, &str), Vec<&LineVerdict>)| {
        let counts = LineCounts::of(lines);
        RowHoldings {
            row,
            material: material.to_owned(),
            lines: counts.read,
            within: counts.within,
            outside: counts.outside,
            doubted: counts.doubted,
        }
    };
    all.into_iter().map(row).collect()
}

/// Material of the longest part of a line.
fn material(set: &LineSet, line: usize) -> String {
    let mut parts = set.exposure_m(line);
    parts.sort_by(|a, b| b.length_m.total_cmp(&a.length_m).then_with(|| a.material.cmp(b.material)));
    parts.first().map_or_else(|| "unknown".to_owned(), |part| part.material.to_owned())
}

impl Holdings {
    fn add(&mut self, history: &History) {
        self.wings += 1;
        self.checks += history.checks.len();
        self.actions += history.actions.len();
        for check in &history.checks {
            self.as_left += usize::from(check.stage == Stage::AsLeft);
            self.readings += check.readings.len();
            if !check.readings.is_empty() {
                let count = check.readings.len();
                self.fewest_readings = Some(self.fewest_readings.map_or(count, |few| few.min(count)));
                self.most_readings = Some(self.most_readings.map_or(count, |most| most.max(count)));
            }
            self.least_hours = Some(self.least_hours.map_or(check.hours_h, |hours| hours.min(check.hours_h)));
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
        write!(f, "{} readings", total.readings)?;
        if let (Some(few), Some(most)) = (total.fewest_readings, total.most_readings) {
            write!(f, " ({few} to {most} a check)")?;
        }
        writeln!(f, ", {} adjustments", total.actions)?;
        if let (Some(first), Some(last), Some(least), Some(most)) =
            (total.first_date, total.last_date, total.least_hours, total.most_hours)
        {
            writeln!(f, "checks from {first} to {last}, at {least:.0} to {most:.0} h flown")?;
        }
        let found = self.doubtful;
        if found.readings > 0 {
            let share = 100.0 * found.doubtful as f64 / found.readings as f64;
            let of = if found.checks < found.latest_checks {
                format!("{} of {} latest checks", found.checks, found.latest_checks)
            } else {
                format!("{} latest checks", found.checks)
            };
            writeln!(f, "doubtful: {} of {} readings ({share:.2} %) in {of}", found.doubtful, found.readings)?;
        }
        if self.failed > 0 {
            writeln!(f, "{} latest checks could not be judged: `vet` and `trim` say why", self.failed)?;
        }
        let mut models = TextTable::default()
            .words("model", 24)
            .figures("wings")
            .figures("checks")
            .figures("readings")
            .figures("lines")
            .words("materials", 24);
        for model in &self.models {
            let mark = if model.cascade { "" } else { " *" };
            models.row([
                model.model.clone(),
                model.holds.wings.to_string(),
                model.holds.checks.to_string(),
                model.holds.readings.to_string(),
                model.lines.to_string(),
                format!("{}{mark}", cut(&model.materials.join(", "), 20)),
            ]);
        }
        write!(f, "\n{models}")?;
        if self.models.iter().any(|model| !model.cascade) {
            writeln!(f, "* no cascade given: each line counts as one piece of its material")?;
        }
        if !self.rows.is_empty() {
            writeln!(f, "\nLines of each wing's latest check, against their tolerance (10 mm by default)")?;
            let mut rows = TextTable::default()
                .words("row", 9)
                .words("material", 24)
                .figures("lines")
                .figures("within")
                .figures("outside")
                .figures("doubtful");
            for row in self.rows.iter().take(SCREEN_ROWS) {
                let [lines, within, outside, doubted] =
                    [row.lines, row.within, row.outside, row.doubted].map(|n| n.to_string());
                rows.row([row.row.to_string(), row.material.clone(), lines, within, outside, doubted]);
            }
            write!(f, "{rows}")?;
        }
        match self.rows.len().saturating_sub(SCREEN_ROWS) {
            0 => Ok(()),
            more => writeln!(f, "and {more} more"),
        }
    }
}
