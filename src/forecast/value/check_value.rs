//! What a check would tell: its value for the forecast, and the fewest lines that decide the row trim.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::knowledge::Knowledge;
use crate::check::History;
use crate::forecast::ForecastError;
use crate::forecast::error::positive;
use crate::wear::WearFit;
use crate::wing::{LineSet, Row, Side};

/// How well one difference of row means is known, before and after.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DifferenceKnowledge {
    /// The row nearer the leading edge.
    pub front: Row,
    /// The other row.
    pub rear: Row,
    /// Standard deviation of the true difference as it is known now, mm.
    pub sd_before_mm: f64,
    /// Standard deviation after the readings, mm.
    pub sd_after_mm: f64,
}

/// Asks how much a whole check at some hours would narrow what is known of the row trim at later hours.
///
/// | setting | default | why |
/// |---|---|---|
/// | `ahead_h` | 100 h past the check | the customary interval |
///
/// Exact given the fit, from the joint posterior covariance of the wing's lines: with `C` the covariance of the readings
/// (true deviations, the check's offset, the error of a reading) and `c` that of a difference of row means with them, its
/// variance falls by `cᵀ C⁻¹ c`. It does not hang on what the check will find. The uncertainty of the fleet's rates is in it;
/// that of the spreads is not.
///
/// ```
/// use linedrift::WearSpec;
/// use linedrift::forecast::CheckValueSpec;
/// use linedrift::simulate::FleetSpec;
///
/// let fleet = FleetSpec::default().wings(8).seed(7).run()?.fleet;
/// let history = fleet.history("W05").ok_or("no such wing")?;
/// let check = history.checks.last().ok_or("no check")?;
/// let fit = WearSpec::default().fit(&fleet)?;
/// let value = CheckValueSpec::default().run(&fit, fleet.line_set(history), history, check.hours_h + 50.0)?;
/// println!("{value:?}");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CheckValueSpec {
    ahead_h: f64,
}

impl Default for CheckValueSpec {
    fn default() -> Self {
        Self { ahead_h: 100.0 }
    }
}

/// What a check would add to the forecast of one wing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CheckValue {
    /// Wing id.
    pub wing: String,
    /// Hours of the check, h.
    pub check_h: f64,
    /// Hours of the forecast, h.
    pub forecast_h: f64,
    /// How well each difference of row means is known then, without the check and with it.
    pub differences: Vec<DifferenceKnowledge>,
}

impl CheckValueSpec {
    /// Sets how far past the check the forecast looks, h.
    #[must_use]
    pub const fn ahead_h(mut self, ahead_h: f64) -> Self {
        self.ahead_h = ahead_h;
        self
    }

    /// The value of a check of every line at `check_h` (hours flown since new).
    ///
    /// # Errors
    /// [`ForecastError`] when hours are out of range or before the wing's last check, the wing has fewer than two rows of
    /// A–D, or the fit gives no posterior for it.
    pub fn run(
        &self,
        fit: &WearFit,
        set: &LineSet,
        history: &History,
        check_h: f64,
    ) -> Result<CheckValue, ForecastError> {
        positive("ahead_h", self.ahead_h)?;
        not_before_last(history, check_h)?;
        let forecast_h = check_h + self.ahead_h;
        let mut knowledge = Knowledge::new(fit, set, history, check_h, forecast_h)?;
        let before = knowledge.sd_mm();
        for line in 0..knowledge.lines.len() {
            knowledge.read(line);
        }
        Ok(CheckValue { wing: history.wing.id.clone(), check_h, forecast_h, differences: rows(&knowledge, &before) })
    }
}

/// Asks which lines to measure so that the row trim is known well enough.
///
/// | setting | default | why |
/// |---|---|---|
/// | `wanted_mm` | 1 mm | standard deviation of a difference of row means: a limit of 10 mm is then told to a fifth |
///
/// From the joint posterior of the wing's lines (its own earlier checks count), lines are taken one by one, each time the one
/// that lowers the excess of variance over all differences of row means the most; then every line without which the rest
/// still does is left out again. This greedy choice is not proven to be the fewest.
///
/// ```
/// use linedrift::WearSpec;
/// use linedrift::forecast::ShortCheckSpec;
/// use linedrift::simulate::FleetSpec;
///
/// let fleet = FleetSpec::default().wings(8).seed(7).run()?.fleet;
/// let history = fleet.history("W05").ok_or("no such wing")?;
/// let check = history.checks.last().ok_or("no check")?;
/// let fit = WearSpec::default().fit(&fleet)?;
/// let spec = ShortCheckSpec::default().wanted_mm(1.5);
/// let short = spec.run(&fit, fleet.line_set(history), history, check.hours_h + 50.0)?;
/// println!("{} lines decide the row trim", short.lines.len());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShortCheckSpec {
    wanted_mm: f64,
}

impl Default for ShortCheckSpec {
    fn default() -> Self {
        Self { wanted_mm: 1.0 }
    }
}

/// One line of a short check.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ShortLine {
    /// Side of the wing.
    pub side: Side,
    /// Index of the line in its line set.
    pub line_index: usize,
    /// Name of the line.
    pub line: String,
    /// Its row.
    pub row: Row,
}

/// The lines that decide a wing's row trim.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ShortCheck {
    /// Wing id.
    pub wing: String,
    /// Hours of the check, h.
    pub check_h: f64,
    /// Standard deviation wanted of every difference, mm.
    pub wanted_mm: f64,
    /// Whether it is reached; if not, every line is listed and more readings of each would be needed.
    pub reached: bool,
    /// Lines that can be measured on the wing.
    pub all_lines: usize,
    /// The lines to measure, left before right, in the order of the line set.
    pub lines: Vec<ShortLine>,
    /// How well each difference is known at the check, before and after.
    pub differences: Vec<DifferenceKnowledge>,
}

impl ShortCheckSpec {
    /// Sets the wanted standard deviation of every difference of row means, mm.
    #[must_use]
    pub const fn wanted_mm(mut self, wanted_mm: f64) -> Self {
        self.wanted_mm = wanted_mm;
        self
    }

    /// The lines to measure at `check_h` (hours flown since new).
    ///
    /// # Errors
    /// As [`CheckValueSpec::run`].
    pub fn run(
        &self,
        fit: &WearFit,
        set: &LineSet,
        history: &History,
        check_h: f64,
    ) -> Result<ShortCheck, ForecastError> {
        positive("wanted_mm", self.wanted_mm)?;
        not_before_last(history, check_h)?;
        let start = Knowledge::new(fit, set, history, check_h, check_h)?;
        let before = start.sd_mm();
        let wanted_mm2 = self.wanted_mm * self.wanted_mm;
        let excess = |variances: &mut dyn Iterator<Item = f64>| -> f64 {
            variances.map(|variance| (variance - wanted_mm2).max(0.0)).sum()
        };
        let met = |knowledge: &Knowledge| excess(&mut knowledge.variance_mm2.iter().copied()) <= 0.0;
        let mut knowledge = start.clone();
        let mut chosen: Vec<usize> = Vec::new();
        while !met(&knowledge) && chosen.len() < knowledge.lines.len() {
            let left = |line: usize| {
                excess(&mut (0..knowledge.differences.len()).map(|one| knowledge.variance_with(one, line)))
            };
            let best = (0..knowledge.lines.len())
                .filter(|line| !chosen.contains(line))
                .map(|line| (line, left(line)))
                .min_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
            let Some((line, _)) = best else { break };
            knowledge.read(line);
            chosen.push(line);
        }
        let reached = met(&knowledge);
        if reached {
            for line in chosen.clone() {
                let mut without = start.clone();
                chosen.iter().filter(|other| **other != line).for_each(|other| without.read(*other));
                if met(&without) {
                    chosen.retain(|other| *other != line);
                    knowledge = without;
                }
            }
        }
        chosen.sort_unstable();
        let lines = chosen
            .iter()
            .filter_map(|&at| {
                let key = knowledge.lines[at];
                let line = set.lines().get(key.line)?;
                Some(ShortLine { side: key.side, line_index: key.line, line: line.name.clone(), row: line.row })
            })
            .collect();
        Ok(ShortCheck {
            wing: history.wing.id.clone(),
            check_h,
            wanted_mm: self.wanted_mm,
            reached,
            all_lines: knowledge.lines.len(),
            lines,
            differences: rows(&knowledge, &before),
        })
    }
}

fn not_before_last(history: &History, check_h: f64) -> Result<(), ForecastError> {
    let last_h = crate::forecast::due::last_check(history).map_or(0.0, |check| check.hours_h);
    if check_h >= last_h { Ok(()) } else { Err(ForecastError::BeforeLastCheck { value: check_h, last_h }) }
}

fn rows(knowledge: &Knowledge, before: &[f64]) -> Vec<DifferenceKnowledge> {
    let after = knowledge.sd_mm();
    let pairs = knowledge.differences.iter().zip(before).zip(after);
    pairs
        .map(|((one, sd_before_mm), sd_after_mm)| DifferenceKnowledge {
            front: one.front,
            rear: one.rear,
            sd_before_mm: *sd_before_mm,
            sd_after_mm,
        })
        .collect()
}

fn write_rows(f: &mut fmt::Formatter<'_>, differences: &[DifferenceKnowledge]) -> fmt::Result {
    writeln!(f, "  {:<8}{:>12}{:>12}{:>12}", "rows", "without mm", "with mm", "narrower")?;
    for one in differences {
        let narrower = 100.0 * (1.0 - one.sd_after_mm / one.sd_before_mm.max(f64::MIN_POSITIVE));
        let rows = format!("{}-{}", one.front, one.rear);
        writeln!(f, "  {rows:<8}{:>12.2}{:>12.2}{narrower:>10.0} %", one.sd_before_mm, one.sd_after_mm)?;
    }
    Ok(())
}

impl fmt::Display for CheckValue {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "Wing {}: what a check at {:.0} h would tell of the row trim at {:.0} h\n(standard deviations of the true \
             differences of row means)",
            self.wing, self.check_h, self.forecast_h
        )?;
        write_rows(f, &self.differences)
    }
}

impl fmt::Display for ShortCheck {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "Wing {}: {} of {} lines decide the row trim at {:.0} h to {} mm{}",
            self.wing,
            self.lines.len(),
            self.all_lines,
            self.check_h,
            self.wanted_mm,
            if self.reached { "" } else { ": not reached, repeat the readings" }
        )?;
        write_rows(f, &self.differences)
    }
}
