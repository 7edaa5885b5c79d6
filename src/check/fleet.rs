//! Many wings and their histories, in memory.

use std::collections::HashSet;
use std::sync::LazyLock;

use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::{Action, Check, Fitting};
use crate::wing::{LineSet, Wing};

/// What is said of the bundled demo.
pub const DEMO_NOTE: &str = "Invented data: this fleet, its models and its checks were made up by a seeded simulation to \
                             show the program. No real wing is behind them.";

/// One wing with everything recorded of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct History {
    /// The wing.
    pub wing: Wing,
    /// Index of its line set in [`Fleet::line_sets`].
    pub line_set: usize,
    /// Its checks, by hours; at equal hours by date, then `as_found` before `as_left`.
    pub checks: Vec<Check>,
    /// What was done to it, by hours.
    pub actions: Vec<Action>,
    /// What hangs on its links now.
    pub fittings: Vec<Fitting>,
}

impl History {
    /// Puts checks and actions in their order, which does not depend on that of the tables.
    pub(crate) fn sort(&mut self) {
        self.checks.sort_by(|a, b| {
            a.hours_h
                .total_cmp(&b.hours_h)
                .then(a.date.cmp(&b.date))
                .then(a.stage.cmp(&b.stage))
                .then(a.id.cmp(&b.id))
        });
        self.actions.sort_by(|a, b| {
            a.hours_h
                .total_cmp(&b.hours_h)
                .then(a.date.cmp(&b.date))
                .then(a.side.cmp(&b.side))
                .then(a.segment.cmp(&b.segment))
                .then(a.kind.cmp(&b.kind))
                .then(a.change_mm.total_cmp(&b.change_mm))
                .then(a.check.cmp(&b.check))
        });
    }
}

/// Why histories and line sets do not make a fleet.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum FleetError {
    /// A wing points at a line set that is not there.
    #[error("wing `{wing}` names line set {line_set}, of {line_sets}")]
    NoLineSet {
        /// The wing.
        wing: String,
        /// Index asked for.
        line_set: usize,
        /// How many there are.
        line_sets: usize,
    },
    /// A reading, action or fitting points past its line set.
    #[error("wing `{wing}`, check `{check}`: a reading names a line that its line set does not have")]
    NoLine {
        /// The wing.
        wing: String,
        /// The check (or what else).
        check: String,
    },
    /// Two wings or two checks of one id.
    #[error("{what} `{id}` appears twice")]
    Duplicate {
        /// `wing` or `check`.
        what: &'static str,
        /// The id.
        id: String,
    },
    /// A reading or an hours figure that is not a finite number.
    #[error("wing `{wing}`, check `{check}`: {what} is {value}, which is not a finite number")]
    NotFinite {
        /// The wing.
        wing: String,
        /// The check.
        check: String,
        /// Name of the figure.
        what: &'static str,
        /// Its value.
        value: f64,
    },
}

/// A fleet: line sets and one history per wing.
///
/// ```
/// use linedrift::Date;
/// use linedrift::check::{Check, Fleet, History, Reading};
/// use linedrift::simulate::FleetSpec;
/// use linedrift::wing::{Side, Wing};
///
/// // the line set of an invented model; `fleet::FolderSpec` reads yours from tables
/// let set = FleetSpec::default().wings(1).seed(7).run()?.fleet.line_sets()[0].clone();
/// let mut check = Check::new("17-1", "2026-03-14".parse::<Date>()?, 85.0);
/// let reading_mm = set.lines()[0].nominal_mm - 4.0;
/// check.readings.push(Reading { side: Side::Left, line: 0, reading_mm, repeat: 1, operator: None });
/// let wing = Wing::new("17", set.model());
/// let history = History { wing, line_set: 0, checks: vec![check], actions: Vec::new(), fittings: Vec::new() };
/// let fleet = Fleet::new(vec![set], vec![history])?;
/// assert_eq!(fleet.histories().len(), 1);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "FleetRead")]
pub struct Fleet {
    line_sets: Vec<LineSet>,
    histories: Vec<History>,
    demo: bool,
}

/// A fleet as a document gives it, before it is checked.
#[derive(Deserialize)]
struct FleetRead {
    line_sets: Vec<LineSet>,
    histories: Vec<History>,
    demo: bool,
}

impl TryFrom<FleetRead> for Fleet {
    type Error = FleetError;

    fn try_from(read: FleetRead) -> Result<Self, FleetError> {
        Ok(Self { demo: read.demo, ..Self::new(read.line_sets, read.histories)? })
    }
}

/// What a history of another fleet follows: a model without lines.
static NO_LINES: LazyLock<LineSet> = LazyLock::new(LineSet::empty);

impl Fleet {
    /// Puts line sets and histories together; checks, actions and wings are put in their order.
    ///
    /// # Errors
    /// [`FleetError`] on a wing or check id that appears twice, an index past its table, or a number that is not finite.
    pub fn new(line_sets: Vec<LineSet>, mut histories: Vec<History>) -> Result<Self, FleetError> {
        let mut wings: HashSet<String> = HashSet::new();
        let mut checks: HashSet<String> = HashSet::new();
        for history in &mut histories {
            let wing = &history.wing.id;
            if !wings.insert(wing.clone()) {
                return Err(FleetError::Duplicate { what: "wing", id: wing.clone() });
            }
            let Some(set) = line_sets.get(history.line_set) else {
                return Err(FleetError::NoLineSet {
                    wing: wing.clone(),
                    line_set: history.line_set,
                    line_sets: line_sets.len(),
                });
            };
            for check in &history.checks {
                validate(wing, check, set)?;
                if !checks.insert(check.id.clone()) {
                    return Err(FleetError::Duplicate { what: "check", id: check.id.clone() });
                }
            }
            let segments = set.segments().len();
            if history.actions.iter().any(|action| action.segment.is_some_and(|at| at >= segments))
                || history.fittings.iter().any(|fitting| fitting.segment >= segments)
            {
                return Err(FleetError::NoLine { wing: wing.clone(), check: "actions or fittings".to_owned() });
            }
            history.sort();
        }
        histories.sort_by(|a, b| a.wing.id.cmp(&b.wing.id));
        Ok(Self { line_sets, histories, demo: false })
    }

    /// The same fleet, marked as the bundled invented demo.
    #[must_use]
    pub fn marked_demo(mut self) -> Self {
        self.demo = true;
        self
    }

    /// Whether this is the bundled invented demo.
    #[must_use]
    pub fn is_demo(&self) -> bool {
        self.demo
    }

    /// The line sets.
    #[must_use]
    pub fn line_sets(&self) -> &[LineSet] {
        &self.line_sets
    }

    /// One history per wing, by wing id.
    #[must_use]
    pub fn histories(&self) -> &[History] {
        &self.histories
    }

    /// Line sets and histories, as they are.
    #[cfg(feature = "frames")]
    pub(crate) fn into_parts(self) -> (Vec<LineSet>, Vec<History>) {
        (self.line_sets, self.histories)
    }

    /// The line set of a history of this fleet. A history of another fleet, whose number this one does not have, is given a
    /// set without lines: what is asked of it then says that its lines are not there.
    #[must_use]
    pub fn line_set(&self, history: &History) -> &LineSet {
        self.line_sets.get(history.line_set).unwrap_or_else(|| &NO_LINES)
    }

    /// The history of a wing.
    #[must_use]
    pub fn history(&self, wing: &str) -> Option<&History> {
        // they are sorted by id
        let at = self.histories.binary_search_by(|history| history.wing.id.as_str().cmp(wing)).ok()?;
        self.histories.get(at)
    }

    /// Day of the last check of the fleet.
    #[must_use]
    pub fn last_date(&self) -> Option<Date> {
        self.histories.iter().flat_map(|history| &history.checks).map(|check| check.date).max()
    }
}

fn validate(wing: &str, check: &Check, set: &LineSet) -> Result<(), FleetError> {
    let not_finite =
        |what, value| FleetError::NotFinite { wing: wing.to_owned(), check: check.id.clone(), what, value };
    for (what, value) in [
        ("hours", check.hours_h),
        ("load_n", check.load_n),
        ("datum_mm", check.datum_mm),
        ("temperature_c", check.temperature_c),
    ] {
        if !value.is_finite() {
            return Err(not_finite(what, value));
        }
    }
    for reading in &check.readings {
        if !reading.reading_mm.is_finite() {
            return Err(not_finite("reading_mm", reading.reading_mm));
        }
        if !set.has(reading.line, reading.side) {
            return Err(FleetError::NoLine { wing: wing.to_owned(), check: check.id.clone() });
        }
    }
    Ok(())
}
