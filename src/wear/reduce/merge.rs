//! Parts of a fleet put together.

use std::collections::BTreeMap;

use thiserror::Error;

use crate::check::{Action, Check, History};
use crate::wear::Reduction;
use crate::wear::reduce::line_sums::LineSum;
use crate::wear::reduce::reduction::WingReduction;
use crate::wing::{LineSet, Side};

/// Why two parts do not belong to one fleet.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum MergeError {
    /// The parts were reduced for different covariates.
    #[error("one part has the covariates {left:?}, the other {right:?}: reduce both for the same ones")]
    Covariates {
        /// Names in the first part.
        left: Vec<String>,
        /// Names in the second.
        right: Vec<String>,
    },
    /// One model has two different line sets.
    #[error(
        "model `{model}` (table version {version}) has other lines, segments or rows in one part than in the other"
    )]
    LineSet {
        /// The model.
        model: String,
        /// Its table version, `none` where it has none.
        version: String,
    },
    /// The same readings are in both parts.
    #[error(
        "check `{check}`, line `{line}` on the {side} has the same readings in both parts{}: they would count twice",
        if *more > 0 { format!(", and so have {more} more lines") } else { String::new() }
    )]
    Repeated {
        /// The check of the first line.
        check: String,
        /// Side of the first line.
        side: Side,
        /// The first line.
        line: String,
        /// How many more there are.
        more: usize,
    },
    /// Something of a wing differs.
    #[error("wing `{wing}`: {what} in one part than in the other")]
    Wing {
        /// The wing.
        wing: String,
        /// What differs.
        what: String,
    },
}

impl Reduction {
    /// Puts two parts of a fleet together, also when they share wings or checks: the sums add up as integers, so the result
    /// is the same to the bit as that of the whole at once, in whatever order parts are merged. Checks and actions that stand
    /// in both are counted once.
    ///
    /// # Errors
    /// [`MergeError`] when the parts have other covariates, other lines of one model, contradict each other on a wing, or hold
    /// the same readings of a line: see [`Reduction::merge_with_repeats`].
    pub fn merge(self, other: Self) -> Result<Self, MergeError> {
        let Merged { reduction, mut repeated } = self.merge_with_repeats(other)?;
        match repeated.len().checked_sub(1) {
            None => Ok(reduction),
            Some(more) => {
                let RepeatedLine { check, side, line } = repeated.swap_remove(0);
                Err(MergeError::Repeated { check, side, line, more })
            }
        }
    }

    /// The same where two parts may hold equal sums for a line of a check: readings of it were shared out, and those in one part
    /// happen to equal those in the other. Both count; which lines they are is said.
    ///
    /// # Errors
    /// As [`Reduction::merge`], but for the repeats.
    pub fn merge_with_repeats(self, other: Self) -> Result<Merged, MergeError> {
        let mut repeated = Vec::new();
        if self.covariates != other.covariates {
            return Err(MergeError::Covariates { left: self.covariates, right: other.covariates });
        }
        let mut line_sets = self.line_sets;
        let mut map = Vec::with_capacity(other.line_sets.len());
        for set in other.line_sets {
            map.push(place_of(&mut line_sets, set)?);
        }
        let mut wings: BTreeMap<String, WingReduction> =
            self.wings.into_iter().chain(self.unread).map(|wing| (wing.wing().to_owned(), wing)).collect();
        for mut wing in other.wings.into_iter().chain(other.unread) {
            let id = wing.wing().to_owned();
            wing.record.line_set = map.get(wing.record.line_set).copied().unwrap_or(usize::MAX);
            let merged = match wings.remove(&id) {
                Some(known) => known.merge(wing, &line_sets, &mut repeated)?,
                None => wing,
            };
            wings.insert(id, merged);
        }
        let (unread, read) = wings.into_values().partition(|wing| wing.line_sums.is_empty());
        let reduction = Self { line_sets, wings: read, unread, covariates: self.covariates }.in_order();
        Ok(Merged { reduction, repeated })
    }

    /// The same with line sets by name, so that their order says nothing of where they came from.
    pub(crate) fn in_order(mut self) -> Self {
        let mut order: Vec<usize> = (0..self.line_sets.len()).collect();
        order.sort_by(|a, b| name_of(&self.line_sets[*a]).cmp(&name_of(&self.line_sets[*b])));
        let mut moved = vec![0; order.len()];
        for (to, from) in order.iter().enumerate() {
            moved[*from] = to;
        }
        for wing in self.wings.iter_mut().chain(&mut self.unread) {
            wing.record.line_set = moved.get(wing.record.line_set).copied().unwrap_or(usize::MAX);
        }
        self.line_sets = order.into_iter().map(|from| self.line_sets[from].clone()).collect();
        self
    }
}

/// Model and table version.
fn name_of(set: &LineSet) -> (&str, Option<&str>) {
    (set.model(), set.table_version())
}

/// Where a line set stands among those known; it is added when it is new.
fn place_of(known: &mut Vec<LineSet>, set: LineSet) -> Result<usize, MergeError> {
    if let Some(place) = known.iter().position(|one| name_of(one) == name_of(&set)) {
        if known[place] == set {
            return Ok(place);
        }
        let (model, version) = name_of(&set);
        return Err(MergeError::LineSet { model: model.to_owned(), version: version.unwrap_or("none").to_owned() });
    }
    known.push(set);
    Ok(known.len() - 1)
}

impl WingReduction {
    fn merge(self, other: Self, line_sets: &[LineSet], repeated: &mut Vec<RepeatedLine>) -> Result<Self, MergeError> {
        let differs = |what: String| MergeError::Wing { wing: self.record.wing.id.clone(), what };
        if self.record.wing != other.record.wing || self.record.line_set != other.record.line_set {
            return Err(differs("other model or data".to_owned()));
        }
        if self.covariates != other.covariates {
            return Err(differs("other values of the covariates".to_owned()));
        }
        let Some(set) = line_sets.get(self.record.line_set) else {
            return Err(differs("other lines".to_owned()));
        };
        let mut checks = self.record.checks.clone();
        for check in &other.record.checks {
            match checks.iter().find(|known| known.id == check.id) {
                Some(known) if known == check => {}
                Some(_) => return Err(differs(format!("check `{}` is described otherwise", check.id))),
                None => checks.push(check.clone()),
            }
        }
        let mut record = History {
            wing: self.record.wing.clone(),
            line_set: self.record.line_set,
            checks,
            actions: union(&self.record.actions, &other.record.actions),
            fittings: Vec::new(),
        };
        record.sort();
        let covariates = self.covariates.clone();
        let places = |part: &[Check]| -> Vec<u32> {
            #[allow(clippy::cast_possible_truncation)]
            let place = |check: &Check| {
                record.checks.iter().position(|known| known.id == check.id).unwrap_or_default() as u32
            };
            part.iter().map(place).collect()
        };
        let mut sums: BTreeMap<(u32, u32), LineSum> = BTreeMap::new();
        for part in [self, other] {
            let at = places(&part.record.checks);
            for line_sum in part.sums(set) {
                let check = at.get(line_sum.check as usize).copied().unwrap_or_default();
                // within one part each line of a check has one sum
                if sums.get(&(line_sum.level, check)) == Some(&LineSum { check, ..line_sum }) {
                    repeated.extend(RepeatedLine::of(set, &record, &LineSum { check, ..line_sum }));
                }
                let sum = sums.entry((line_sum.level, check)).or_insert(LineSum {
                    check,
                    count: 0,
                    sum_um: 0,
                    squares_um2: 0,
                    ..line_sum
                });
                sum.count = sum.count.saturating_add(line_sum.count);
                sum.sum_um = sum.sum_um.saturating_add(line_sum.sum_um);
                sum.squares_um2 = sum.squares_um2.saturating_add(line_sum.squares_um2);
            }
        }
        Ok(Self::from_sums(set, record, covariates, sums.into_values().collect()))
    }
}

/// Two parts put together.
#[derive(Debug, Clone, PartialEq)]
pub struct Merged {
    /// The whole.
    pub reduction: Reduction,
    /// Lines with the same readings in both parts, all counted twice.
    pub repeated: Vec<RepeatedLine>,
}

/// A line of a check whose readings have equal sums in two parts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RepeatedLine {
    /// The check.
    pub check: String,
    /// Side of the line.
    pub side: Side,
    /// Name of the line.
    pub line: String,
}

impl RepeatedLine {
    /// Of a sum whose level is `side · lines + line`.
    fn of(set: &LineSet, record: &History, sum: &LineSum) -> Option<Self> {
        let (key, lines) = (sum.level as usize, set.lines().len());
        Some(Self {
            check: record.checks.get(sum.check as usize)?.id.clone(),
            side: if key < lines { Side::Left } else { Side::Right },
            line: set.lines().get(key % lines.max(1))?.name.clone(),
        })
    }
}

/// Every action as often as the part that has it more often.
fn union(left: &[Action], right: &[Action]) -> Vec<Action> {
    let mut out = left.to_vec();
    for (index, action) in right.iter().enumerate() {
        let so_far = right[..=index].iter().filter(|other| *other == action).count();
        if left.iter().filter(|other| *other == action).count() < so_far {
            out.push(action.clone());
        }
    }
    out
}
