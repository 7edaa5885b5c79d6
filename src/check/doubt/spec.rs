//! How to look for doubtful readings, and the search.

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::finding::Doubts;
use super::ground::Ground;
use crate::check::History;
use crate::wing::{LineSet, Side};

/// What is expected of one line.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Expectation {
    /// Side of the wing.
    pub side: Side,
    /// Index of the line in its line set.
    pub line: usize,
    /// Expected deviation from nominal, mm. A caller's expectation need not know the check's own offset: the median
    /// difference over rows A–D is taken out first.
    pub deviation_mm: f64,
    /// Standard deviation, mm: of the true length where a caller passes it in, of a right reading where
    /// [`Doubts::expected`] gives it out.
    pub sd_mm: f64,
}

/// Why a check cannot be looked through.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum DoubtError {
    /// No such check.
    #[error("wing `{wing}` has {checks} checks, number {check} (from 0) was asked for")]
    NoCheck {
        /// The wing.
        wing: String,
        /// Index asked for.
        check: usize,
        /// How many there are.
        checks: usize,
    },
    /// A reading or an expectation of a line that the set does not have on that side.
    #[error("{what}: the line set has {lines} lines, and not number {line} (from 0) on the {side}")]
    NoLine {
        /// `reading` or `expectation`.
        what: &'static str,
        /// Side of the wing.
        side: Side,
        /// Index asked for.
        line: usize,
        /// How many there are.
        lines: usize,
    },
    /// A number that cannot be.
    #[error("{what} is {value}, expected {expected}")]
    OutOfRange {
        /// Name of the number.
        what: &'static str,
        /// Its value.
        value: f64,
        /// What would have been right.
        expected: &'static str,
    },
}

/// How to look for doubtful readings.
///
/// | setting | default | reason |
/// |---|---|---|
/// | `flag_at` | 4.5 | standard deviations at which a slip explains a reading better than chance, at 0.4 % slips |
/// | `least_off_mm` | 8 mm | less is no slip worth a second measurement |
/// | `line_sd_mm` | 3 mm | spread of lines about their row (practice); the check's own replaces it, this counts as ten lines |
/// | `least_sd_mm` | 1.5 mm | one reading is not known better (uncertainty budget) |
/// | `error_share` | 0.45 | part of that variance that is reading error, where the wing's history does not tell |
/// | `most_earlier_checks` | 6 | how far back the wing's history is read |
/// | `block_probability` | 0.95 | how sure a slip over several lines must be |
///
/// ```
/// use linedrift::check::doubt::DoubtSpec;
/// use linedrift::simulate::FleetSpec;
///
/// let fleet = FleetSpec::default().wings(8).seed(7).run()?.fleet;
/// let history = fleet.history("W05").ok_or("no such wing")?;
/// let last = history.checks.len() - 1;
/// let doubts = DoubtSpec::default().run(fleet.line_set(history), history, last, None)?;
/// for finding in doubts.findings() {
///     println!("{} {}: probably {}", finding.line, finding.side, finding.kind());
/// }
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DoubtSpec {
    pub(super) flag_at: f64,
    pub(super) least_off_mm: f64,
    pub(super) line_sd_mm: f64,
    pub(super) least_sd_mm: f64,
    pub(super) error_share: f64,
    pub(super) most_earlier_checks: usize,
    pub(super) block_probability: f64,
}

impl Default for DoubtSpec {
    fn default() -> Self {
        Self {
            flag_at: 4.5,
            least_off_mm: 8.0,
            line_sd_mm: 3.0,
            least_sd_mm: 1.5,
            error_share: 0.45,
            most_earlier_checks: 6,
            block_probability: 0.95,
        }
    }
}

impl DoubtSpec {
    setters! {
        /// Standard deviations at which a reading is doubtful, 2 or more.
        flag_at: f64;
        /// Least distance of a doubtful reading from what is expected, mm.
        least_off_mm: f64;
        /// Spread of lines about the level of their row before looking, mm.
        line_sd_mm: f64;
        /// Least standard deviation of a right reading, mm.
        least_sd_mm: f64;
        /// How many earlier checks of the wing are read.
        most_earlier_checks: usize;
        /// How sure a slip over several lines must be, 0.5 … 1.
        block_probability: f64;
    }

    /// Looks through one check of a wing (`check` its index in the history). Only earlier checks are read beside it.
    ///
    /// # Errors
    /// [`DoubtError`]: no such check, a line that is not in the set, a number that is not finite, or a setting out of its
    /// range.
    pub fn run(
        &self,
        set: &LineSet,
        history: &History,
        check: usize,
        expectations: Option<&[Expectation]>,
    ) -> Result<Doubts, DoubtError> {
        let checks = history.checks.len();
        if check >= checks {
            return Err(DoubtError::NoCheck { wing: history.wing.id.clone(), check, checks });
        }
        self.validate(set, history, check, expectations.unwrap_or_default())?;
        Ok(Ground::of(self, set, history, check, expectations.unwrap_or_default()).search())
    }

    fn validate(
        &self,
        set: &LineSet,
        history: &History,
        check: usize,
        expectations: &[Expectation],
    ) -> Result<(), DoubtError> {
        let within = |what, value: f64, low: f64, high: f64, expected| {
            if value >= low && value <= high { Ok(()) } else { Err(DoubtError::OutOfRange { what, value, expected }) }
        };
        within("flag_at", self.flag_at, 2.0, 1e3, "2 to 1,000")?;
        within("least_off_mm", self.least_off_mm, 0.0, 1e3, "0 to 1,000 mm")?;
        within("line_sd_mm", self.line_sd_mm, 0.1, 100.0, "0.1 to 100 mm")?;
        within("least_sd_mm", self.least_sd_mm, 0.1, 100.0, "0.1 to 100 mm")?;
        within("block_probability", self.block_probability, 0.5, 1.0, "0.5 to 1")?;
        let lines = set.lines().len();
        let there = |what, side, line| {
            if set.has(line, side) { Ok(()) } else { Err(DoubtError::NoLine { what, side, line, lines }) }
        };
        for earlier in history.checks.iter().take(check + 1) {
            for reading in &earlier.readings {
                there("reading", reading.side, reading.line)?;
                within("reading_mm", reading.reading_mm, -1e9, 1e9, "a finite number of mm")?;
            }
            for (what, value) in
                [("datum_mm", earlier.datum_mm), ("load_n", earlier.load_n), ("temperature_c", earlier.temperature_c)]
            {
                within(what, value, -1e6, 1e6, "a finite number")?;
            }
        }
        for known in expectations {
            there("expectation", known.side, known.line)?;
            within("deviation_mm", known.deviation_mm, -1e6, 1e6, "a finite number of mm")?;
            within("sd_mm", known.sd_mm, 0.0, 1e6, "a finite number of mm, 0 or more")?;
        }
        Ok(())
    }
}
