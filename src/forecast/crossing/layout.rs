//! What the columns of a wing's draws are, and what is watched in one draw.

use std::borrow::Cow;

use super::incidence::{left_right_weights, twist_weights};
use super::linear::Linear;
use crate::forecast::error::positive;
use crate::forecast::{Cause, ForecastError, Limits};
use crate::stats::dense::{dot, sum};
use crate::wear::LineKey;
use crate::wing::{LineSet, Row};

/// One draw of a wing's paths.
pub(super) struct Draw<'d> {
    /// Per line: deviation at `g = 0`, and its change per unit of `g`.
    pub(super) start: &'d [f64],
    pub(super) slope: &'d [f64],
    /// `g` now.
    pub(super) now: f64,
    /// Mean over the lines of each row; zero for a row without lines.
    pub(super) means: [Linear; 6],
}

/// First crossing of one draw.
#[derive(Debug, Clone, Copy)]
pub(super) struct First {
    pub(super) ahead: f64,
    pub(super) cause: Cause,
}

impl First {
    #[inline]
    fn offer(&mut self, ahead: f64, cause: Cause) {
        if ahead < self.ahead {
            *self = Self { ahead, cause };
        }
    }
}

/// Consecutive columns of one row.
#[derive(Debug, Clone, Copy)]
struct Run {
    row: Row,
    from: usize,
    to: usize,
}

impl Run {
    /// The row's lines in one draw.
    fn lines<'d>(&self, draw: &Draw<'d>) -> impl Iterator<Item = Linear> + use<'d> {
        let range = self.from..self.to;
        draw.start[range.clone()].iter().zip(&draw.slope[range]).map(|(at, per_g)| Linear { at: *at, per_g: *per_g })
    }
}

/// What the columns of the draws are.
pub(super) struct Layout<'a> {
    pub(super) lines: Cow<'a, [LineKey]>,
    runs: Vec<Run>,
    pub(super) counts: [f64; 6],
    pub(super) trim_count: f64,
    tolerances_mm: Vec<f64>,
    incidence_deg_per_mm: Option<Cow<'a, [f64]>>,
    left_right_deg_per_mm: Option<Vec<f64>>,
    twist_deg_per_mm: Option<Vec<f64>>,
}

impl<'a> Layout<'a> {
    pub(super) fn new(
        lines: Cow<'a, [LineKey]>,
        set: &LineSet,
        limits: &Limits,
        incidence_deg_per_mm: Option<Cow<'a, [f64]>>,
    ) -> Result<Self, ForecastError> {
        if let Some(weights) = &incidence_deg_per_mm
            && weights.len() != lines.len()
        {
            return Err(ForecastError::Draws {
                what: "incidence weights",
                got: weights.len(),
                expected: lines.len(),
            });
        }
        let mut runs: Vec<Run> = Vec::new();
        let mut counts = [0.0; 6];
        let mut tolerances_mm = Vec::with_capacity(lines.len());
        for (column, key) in lines.iter().enumerate() {
            let Some(line) = set.lines().get(key.line) else {
                return Err(ForecastError::NoLine { line: key.line, lines: set.lines().len() });
            };
            counts[line.row.index()] += 1.0;
            tolerances_mm.push(match line.tolerance_mm {
                Some(own) => positive("tolerance_mm", own)?,
                None => limits.line_limit_mm(),
            });
            match runs.last_mut() {
                Some(run) if run.row == line.row => run.to = column + 1,
                _ => runs.push(Run { row: line.row, from: column, to: column + 1 }),
            }
        }
        let trim_count = Row::ALL.iter().filter(|row| row.is_trim()).map(|row| counts[row.index()]).sum();
        let watched = incidence_deg_per_mm.is_some();
        Ok(Self {
            left_right_deg_per_mm: left_right_weights(set, &lines).filter(|_| watched),
            twist_deg_per_mm: twist_weights(set, &lines).filter(|_| watched),
            lines,
            runs,
            counts,
            trim_count,
            tolerances_mm,
            incidence_deg_per_mm,
        })
    }

    pub(super) fn refuse_not_finite(&self, start: &[f64], slope: &[f64], set: &LineSet) -> Result<(), ForecastError> {
        let wrong = start.iter().zip(slope).position(|(at, per_g)| !(at.is_finite() && per_g.is_finite()));
        let Some(at) = wrong else {
            return Ok(());
        };
        let key = self.lines.get(at % self.lines.len().max(1));
        let line = key.and_then(|key| set.lines().get(key.line)).map(|line| line.name.clone());
        Err(ForecastError::NotFinite { line: line.unwrap_or_default() })
    }

    pub(super) fn draw<'d>(&self, start: &'d [f64], slope: &'d [f64], now: f64) -> Draw<'d> {
        let mut sums = [Linear::default(); 6];
        for run in &self.runs {
            let row = &mut sums[run.row.index()];
            row.at += sum(&start[run.from..run.to]);
            row.per_g += sum(&slope[run.from..run.to]);
        }
        for (sum, count) in sums.iter_mut().zip(self.counts).filter(|(_, count)| *count > 0.0) {
            *sum = sum.over(count);
        }
        Draw { start, slope, now, means: sums }
    }

    /// Deviations of the lines A–D of one draw at `g`.
    pub(super) fn trim_values(&self, draw: &Draw<'_>, g: f64, values: &mut Vec<f64>) {
        values.clear();
        for run in self.runs.iter().filter(|run| run.row.is_trim()) {
            values.extend(run.lines(draw).map(|line| line.value(g)));
        }
    }

    /// Mean of a row's lines (`None`: there are none).
    pub(super) fn row_mean(&self, draw: &Draw<'_>, row: Row) -> Option<Linear> {
        (self.counts[row.index()] > 0.0).then(|| draw.means[row.index()])
    }

    /// An angle by its weights, where it is watched.
    pub(super) fn angle(&self, draw: &Draw<'_>, cause: Cause) -> Option<Linear> {
        let weights: &[f64] = match cause {
            Cause::Incidence => self.incidence_deg_per_mm.as_deref()?,
            Cause::LeftRight => self.left_right_deg_per_mm.as_deref()?,
            Cause::Twist => self.twist_deg_per_mm.as_deref()?,
            _ => return None,
        };
        Some(Linear { at: dot(weights, draw.start), per_g: dot(weights, draw.slope) })
    }

    /// One watched quantity of one draw (`None`: the draws do not have it); `common` is the draw's common offset.
    pub(super) fn quantity(&self, cause: Cause, draw: &Draw<'_>, common: Linear) -> Option<Linear> {
        match cause {
            Cause::RowDifference { front, rear } => {
                Some(self.row_mean(draw, front)?.less(self.row_mean(draw, rear)?))
            }
            Cause::Incidence | Cause::LeftRight | Cause::Twist => self.angle(draw, cause),
            Cause::Offset => (self.trim_count > 0.0).then_some(common),
            Cause::Brake => Some(self.row_mean(draw, Row::Brake)?.less(common)),
            Cause::Line(key) => {
                let at = self.lines.iter().position(|line| *line == key)?;
                Some(Linear { at: *draw.start.get(at)?, per_g: *draw.slope.get(at)? }.less(common))
            }
        }
    }

    /// Mean over the lines A–D.
    pub(super) fn trim_mean(&self, draw: &Draw<'_>) -> Linear {
        let mut mean = Linear::default();
        for row in Row::ALL.iter().filter(|row| row.is_trim()) {
            let share = self.counts[row.index()] / self.trim_count;
            mean.at += share * draw.means[row.index()].at;
            mean.per_g += share * draw.means[row.index()].per_g;
        }
        mean
    }

    /// First crossing of a difference of rows or of the incidence (infinitely far ahead: never).
    pub(super) fn first_of_rows(&self, draw: &Draw<'_>, limits: &Limits) -> First {
        let mut first = First { ahead: f64::INFINITY, cause: Cause::Offset };
        for front in 0..4 {
            for rear in front + 1..4 {
                let (front, rear) = (Row::ALL[front], Row::ALL[rear]);
                if let (Some(one), Some(other)) = (self.row_mean(draw, front), self.row_mean(draw, rear)) {
                    let ahead = one.less(other).ahead(draw.now, limits.row_difference_limit_mm());
                    first.offer(ahead, Cause::RowDifference { front, rear });
                }
            }
        }
        for cause in [Cause::Incidence, Cause::LeftRight, Cause::Twist] {
            if first.ahead > 0.0
                && let Some(angle) = self.angle(draw, cause)
            {
                first.offer(angle.ahead(draw.now, self.limit(cause, limits)), cause);
            }
        }
        first
    }

    /// The common offset, the brakes or a line that is over its limit now, the first in this order; `common` is the offset now.
    pub(super) fn over_now(&self, draw: &Draw<'_>, common: f64, limits: &Limits) -> Option<Cause> {
        if self.trim_count > 0.0 && common.abs() >= limits.offset_limit_mm() {
            return Some(Cause::Offset);
        }
        let brake = self.row_mean(draw, Row::Brake);
        if brake.is_some_and(|brake| brake.value(draw.now) - common <= -limits.brake_short_limit_mm()) {
            return Some(Cause::Brake);
        }
        for run in self.runs.iter().filter(|run| run.row != Row::Brake) {
            let over = || {
                let values = run.lines(draw).map(|line| line.value(draw.now) - common);
                values.zip(&self.tolerances_mm[run.from..run.to]).map(|(value, limit)| value.abs() >= *limit)
            };
            // without a branch first: mostly no line is
            if over().fold(false, |any, over| any | over) {
                return over().position(|over| over).map(|offset| Cause::Line(self.lines[run.from + offset]));
            }
        }
        None
    }

    /// First crossing of the common offset, the brakes or a line, where it is sooner than `first`; none is over its limit now.
    pub(super) fn first_of_rest(&self, first: &mut First, draw: &Draw<'_>, common: Linear, limits: &Limits) {
        if self.trim_count > 0.0 {
            first.offer(common.ahead(draw.now, limits.offset_limit_mm()), Cause::Offset);
        }
        if let Some(brake) = self.row_mean(draw, Row::Brake) {
            first.offer(brake.less(common).ahead_down(draw.now, -limits.brake_short_limit_mm()), Cause::Brake);
        }
        for run in self.runs.iter().filter(|run| run.row != Row::Brake) {
            let lines = || run.lines(draw).map(|line| line.less(common)).zip(&self.tolerances_mm[run.from..run.to]);
            // a straight line that is within its limit now and at the first crossing so far does not cross before it
            let then = draw.now + first.ahead;
            if lines().fold(false, |any, (line, limit)| any | (line.value(then).abs() >= *limit)) {
                for (offset, (line, limit)) in lines().enumerate() {
                    first.offer(line.ahead(draw.now, *limit), Cause::Line(self.lines[run.from + offset]));
                }
            }
        }
    }

    /// The limit of a watched quantity, in its unit.
    pub(super) fn limit(&self, cause: Cause, limits: &Limits) -> f64 {
        match cause {
            Cause::RowDifference { .. } => limits.row_difference_limit_mm(),
            Cause::Incidence => limits.incidence_limit_deg(),
            Cause::LeftRight => limits.left_right_limit_deg(),
            Cause::Twist => limits.twist_limit_deg(),
            Cause::Offset => limits.offset_limit_mm(),
            Cause::Brake => limits.brake_short_limit_mm(),
            Cause::Line(key) => {
                let at = self.lines.iter().position(|line| *line == key);
                at.and_then(|at| self.tolerances_mm.get(at)).copied().unwrap_or_else(|| limits.line_limit_mm())
            }
        }
    }

    /// Every watched quantity that one draw is over now, with its value; `common` is the common offset now.
    pub(super) fn all_over_now(&self, draw: &Draw<'_>, common: f64, limits: &Limits) -> Vec<OverNow> {
        let mut over = Vec::new();
        let mut offer = |cause: Cause, value: Option<f64>, passed: fn(f64, f64) -> bool| {
            let limit = self.limit(cause, limits);
            if let Some(value) = value.filter(|value| passed(*value, limit)) {
                over.push(OverNow { cause, value, limit });
            }
        };
        let either = |value: f64, limit: f64| value.abs() >= limit;
        let still = Linear { at: common, per_g: 0.0 };
        let now = |cause: Cause| self.quantity(cause, draw, still).map(|one| one.value(draw.now));
        for front in 0..4 {
            for rear in front + 1..4 {
                let cause = Cause::RowDifference { front: Row::ALL[front], rear: Row::ALL[rear] };
                offer(cause, now(cause), either);
            }
        }
        for cause in [Cause::Incidence, Cause::LeftRight, Cause::Twist, Cause::Offset] {
            offer(cause, now(cause), either);
        }
        offer(Cause::Brake, now(Cause::Brake), |value, limit| value <= -limit);
        for run in self.runs.iter().filter(|run| run.row != Row::Brake) {
            for (line, key) in run.lines(draw).zip(&self.lines[run.from..run.to]) {
                let value = line.value(draw.now) - common;
                if value.abs() >= limits.line_limit_mm().min(self.limit(Cause::Line(*key), limits)) {
                    offer(Cause::Line(*key), Some(value), either);
                }
            }
        }
        over
    }
}

/// A watched quantity that is over its limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::forecast) struct OverNow {
    pub(in crate::forecast) cause: Cause,
    /// In the unit of the quantity.
    pub(in crate::forecast) value: f64,
    pub(in crate::forecast) limit: f64,
}
