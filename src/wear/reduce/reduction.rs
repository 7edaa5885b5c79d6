//! The compact exact form of a fleet's readings.

use std::borrow::Cow;

use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use crate::check::{Check, Fleet, History, Stage, reading_deviation_mm};
use crate::stats::mixed::Block;
use crate::wear::WearError;
use crate::wear::model::layout::{Layout, LineTable};
use crate::wear::model::time_basis::TimeBasis;
use crate::wear::reduce::levels::{Levels, LineEpoch};
use crate::wear::reduce::line_sums::{LineSum, LineSums, micrometres};
use crate::wear::reduce::restarts::Restarts;
use crate::wing::{CovariateName, LineSet, Side};

/// One wing's readings, reduced to exact sums per line, side and check, and what is recorded of it beside them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WingReduction {
    /// Wing, checks (without readings) and actions.
    pub(crate) record: History,
    pub(crate) covariates: Vec<f64>,
    pub(crate) hours_h: Vec<f64>,
    /// By side, line, epoch.
    pub(crate) levels: Levels,
    /// By level, then check.
    pub(crate) line_sums: LineSums,
}

/// A fleet's readings, reduced. From here on a fit sees no reading again. Parts of a fleet add up exactly
/// ([`Reduction::merge`]).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "crate::wear::reduce::reduction_read::ReductionRead")]
pub struct Reduction {
    pub(crate) line_sets: Vec<LineSet>,
    /// Wings with readings, by id.
    pub(crate) wings: Vec<WingReduction>,
    /// Wings without, by id: another part may have theirs.
    pub(crate) unread: Vec<WingReduction>,
    pub(crate) covariates: Vec<String>,
}

impl Reduction {
    /// Reduces every wing of a fleet, with the named covariates of its wings.
    ///
    /// # Errors
    /// [`WearError::Covariate`] when a wing lacks a covariate that was asked for.
    pub fn new(fleet: &Fleet, covariates: &[String]) -> Result<Self, WearError> {
        let reduced = |history: &History| {
            let values = match covariate_values(history, covariates) {
                Err(_) if history.checks.iter().all(|check| check.readings.is_empty()) => return Ok(None),
                values => values?,
            };
            Ok(Some(WingReduction::new(fleet.line_set(history), history, values)))
        };
        let wings = fleet.histories().par_iter().map(reduced).collect();
        Self::gathered(fleet.line_sets().to_vec(), covariates, wings)
    }

    /// From sums that were made elsewhere: `sums(check, number)` gives those of a check, its number among the wing's checks
    /// in each, their `level` being `side · lines + line`.
    #[cfg(feature = "frames")]
    pub(crate) fn of_sums(
        fleet: Fleet,
        covariates: &[String],
        sums: impl Fn(&Check, u32) -> Vec<LineSum> + Sync,
    ) -> Result<Self, WearError> {
        let (line_sets, histories) = fleet.into_parts();
        let reduced = |history: History| {
            let numbered = (0u32..).zip(&history.checks);
            let line_sums: Vec<LineSum> = numbered.flat_map(|(number, check)| sums(check, number)).collect();
            let values = match covariate_values(&history, covariates) {
                Err(_) if line_sums.is_empty() => return Ok(None),
                values => values?,
            };
            let record = without_readings(history);
            Ok(Some(WingReduction::from_sums(&line_sets[record.line_set], record, values, line_sums)))
        };
        let wings = histories.into_par_iter().map(reduced).collect();
        Self::gathered(line_sets, covariates, wings)
    }

    /// Puts wings together; the first that has no sums for a reason decides.
    fn gathered(
        line_sets: Vec<LineSet>,
        covariates: &[String],
        reduced: Vec<Result<Option<WingReduction>, WearError>>,
    ) -> Result<Self, WearError> {
        let mut out = Self { line_sets, wings: Vec::new(), unread: Vec::new(), covariates: covariates.to_vec() };
        for wing in reduced {
            let Some(wing) = wing? else { continue };
            if wing.line_sums.is_empty() { out.unread.push(wing) } else { out.wings.push(wing) }
        }
        out.wings.shrink_to_fit();
        Ok(out.in_order())
    }

    /// The line sets of the fleet, by model and table version.
    #[must_use]
    pub fn line_sets(&self) -> &[LineSet] {
        &self.line_sets
    }

    /// One block per wing; `means_mm` by wing and line sum where others than those read count.
    pub(crate) fn blocks(&self, layout: &Layout, basis: &TimeBasis, means_mm: &[Vec<f64>]) -> Vec<Block> {
        self.blocks_of(layout, basis, means_mm, 1)
    }

    /// The same of every so many-th wing.
    pub(crate) fn blocks_of(
        &self,
        layout: &Layout,
        basis: &TimeBasis,
        means_mm: &[Vec<f64>],
        stride: usize,
    ) -> Vec<Block> {
        let tables: Vec<LineTable> = self.line_sets.iter().map(|set| layout.line_table(set)).collect();
        self.wings
            .par_iter()
            .enumerate()
            .step_by(stride.max(1))
            .map(|(index, wing)| {
                let means_mm = means_mm.get(index).map(Vec::as_slice);
                let set = wing.line_set();
                layout.block((&self.line_sets[set], &tables[set]), wing, basis, means_mm)
            })
            .collect()
    }

    /// The same with these covariates only, in this order, and so many checks of a wing that a fit can hold them.
    pub(crate) fn selecting(&self, covariates: &[String]) -> Result<Cow<'_, Self>, WearError> {
        if self.covariates == covariates {
            return Ok(Self::thinned(Cow::Borrowed(self)));
        }
        let places = covariates
            .iter()
            .map(|name| {
                let place = self.covariates.iter().position(|known| known == name);
                place.ok_or_else(|| WearError::NotReduced { covariate: name.clone() })
            })
            .collect::<Result<Vec<_>, _>>()?;
        let mut out = self.clone();
        out.covariates = covariates.to_vec();
        for wing in out.wings.iter_mut().chain(&mut out.unread) {
            wing.covariates = places.iter().map(|place| wing.covariates[*place]).collect();
        }
        Ok(Self::thinned(Cow::Owned(out)))
    }

    /// Wings with readings.
    #[must_use]
    pub fn wings(&self) -> &[WingReduction] {
        &self.wings
    }

    /// Readings in all.
    #[must_use]
    pub fn readings(&self) -> usize {
        self.wings.iter().map(|wing| wing.line_sums.readings()).sum()
    }
}

pub(crate) fn covariate_values(history: &History, names: &[String]) -> Result<Vec<f64>, WearError> {
    names
        .iter()
        .map(|name| {
            history
                .wing
                .covariates
                .get(CovariateName::parse(name).of_wing)
                .copied()
                .filter(|value| value.is_finite())
                .ok_or_else(|| WearError::Covariate { wing: history.wing.id.clone(), covariate: name.clone() })
        })
        .collect()
}

impl WingReduction {
    /// The wing's id.
    #[must_use]
    pub fn wing(&self) -> &str {
        &self.record.wing.id
    }

    /// Checks with their hours, dates and stages; their readings are not kept.
    #[must_use]
    pub fn checks(&self) -> &[Check] {
        &self.record.checks
    }

    pub(crate) fn line_set(&self) -> usize {
        self.record.line_set
    }

    pub(crate) fn new(set: &LineSet, history: &History, covariates: Vec<f64>) -> Self {
        let lines = set.lines().len();
        let mut sums = Vec::new();
        let mut place = vec![usize::MAX; 2 * lines];
        for (index, check) in history.checks.iter().enumerate() {
            place.fill(usize::MAX);
            sum_check(set, check, index, &mut place, &mut sums);
        }
        let record = History {
            wing: history.wing.clone(),
            line_set: history.line_set,
            checks: history.checks.iter().map(check_without_readings).collect(),
            actions: history.actions.clone(),
            fittings: Vec::new(),
        };
        Self::from_sums(set, record, covariates, sums)
    }

    /// From sums whose `level` is still `side · lines + line`, in any order.
    pub(crate) fn from_sums(
        set: &LineSet,
        record: History,
        covariates: Vec<f64>,
        mut line_sums: Vec<LineSum>,
    ) -> Self {
        let lines = set.lines().len();
        by_line(&mut line_sums, 2 * lines);
        // sums stand line by line, and a long history has many checks after work
        let mut by_check: Vec<Vec<u32>> = vec![Vec::new(); record.checks.len()];
        if record.checks.iter().any(|check| check.stage == Stage::AsLeft) {
            for line_sum in &line_sums {
                if let Some(lines) = by_check.get_mut(line_sum.check as usize) {
                    lines.push(line_sum.level);
                }
            }
        }
        let restarts = Restarts::new(set, &record, |check| {
            by_check[check]
                .iter()
                .map(|key| *key as usize)
                .map(|key| (Side::BOTH[key / lines.max(1) % 2], key % lines.max(1)))
        });
        let mut levels = Levels::with_capacity(2 * lines);
        let mut first_level = vec![0usize; 2 * lines];
        for side in Side::BOTH {
            for line in (0..lines).filter(|line| set.has(*line, side)) {
                let key = side.index() * lines + line;
                first_level[key] = levels.len();
                let starts = &restarts.at[key];
                for epoch in 0..=starts.len() {
                    let from = epoch.checked_sub(1).and_then(|k| starts.get(k));
                    levels.push(LineEpoch {
                        side,
                        line,
                        epoch,
                        new_at_h: &restarts.clocks(set, side, line, from.map(|start| start.check)),
                        change_mm: from.map_or(0.0, |start| start.change_mm),
                        change_sd_mm: from.and_then(|start| start.change_sd_mm),
                        adjusted: from.map_or(&[], |start| &start.adjusted),
                    });
                }
            }
        }
        for line_sum in &mut line_sums {
            let key = line_sum.level as usize;
            let epoch = restarts.at[key].iter().filter(|start| start.check <= line_sum.check as usize).count();
            #[allow(clippy::cast_possible_truncation)]
            let level = (first_level[key] + epoch) as u32;
            line_sum.level = level;
        }
        let hours_h = record.checks.iter().map(|check| check.hours_h).collect();
        Self { hours_h, record, covariates, levels, line_sums: line_sums.into() }
    }

    /// The sums with `side · lines + line` in place of the level again.
    pub(crate) fn sums(&self, set: &LineSet) -> Vec<LineSum> {
        let lines = set.lines().len();
        let mut line_sums: Vec<LineSum> = self.line_sums.iter().collect();
        for line_sum in &mut line_sums {
            let level = self.levels.at(line_sum.level as usize);
            #[allow(clippy::cast_possible_truncation)]
            let key = (level.side.index() * lines + level.line) as u32;
            line_sum.level = key;
        }
        line_sums
    }
}

/// Puts line sums in the order of their level, then check; levels are below `places`. Sums come check by check, so that counting does
/// what else a sort would.
fn by_line(line_sums: &mut Vec<LineSum>, places: usize) {
    let in_range = line_sums.iter().all(|line_sum| (line_sum.level as usize) < places);
    if !in_range || !line_sums.is_sorted_by_key(|line_sum| line_sum.check) {
        line_sums.sort_unstable_by_key(|line_sum| (line_sum.level, line_sum.check));
        return;
    }
    let mut next = vec![0_usize; places + 1];
    for line_sum in &*line_sums {
        next[line_sum.level as usize + 1] += 1;
    }
    for place in 1..next.len() {
        next[place] += next[place - 1];
    }
    let mut sorted = line_sums.clone();
    for line_sum in &*line_sums {
        let place = &mut next[line_sum.level as usize];
        sorted[*place] = *line_sum;
        *place += 1;
    }
    *line_sums = sorted;
}

fn check_without_readings(check: &Check) -> Check {
    Check { id: check.id.clone(), readings: Vec::new(), risers: Vec::new(), confirmed: Vec::new(), ..*check }
}

#[cfg(feature = "frames")]
fn without_readings(mut history: History) -> History {
    history.fittings = Vec::new();
    for check in &mut history.checks {
        (check.readings, check.risers) = (Vec::new(), Vec::new());
    }
    history
}

/// Adds up one check; `place` holds where each side and line stands among its sums.
fn sum_check(set: &LineSet, check: &Check, index: usize, place: &mut [usize], sums: &mut Vec<LineSum>) {
    let lines = set.lines().len();
    for reading in &check.readings {
        let Some(deviation_mm) = reading_deviation_mm(set, check, reading) else { continue };
        let key = reading.side.index() * lines + reading.line;
        #[allow(clippy::cast_possible_truncation)]
        if place[key] == usize::MAX {
            place[key] = sums.len();
            sums.push(LineSum { level: key as u32, check: index as u32, count: 0, sum_um: 0, squares_um2: 0 });
        }
        let um = micrometres(deviation_mm);
        let line_sum = &mut sums[place[key]];
        line_sum.count += 1;
        line_sum.sum_um = line_sum.sum_um.saturating_add(um);
        line_sum.squares_um2 += i128::from(um) * i128::from(um);
    }
}
