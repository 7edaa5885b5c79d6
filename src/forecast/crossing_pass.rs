//! One pass over the draws of a wing's paths: each draw's first crossing.

use std::borrow::Cow;
use std::cmp::Ordering;

use super::error::positive;
use super::{Cause, CrossingDraw, FirstCrossing, ForecastError, Limits};
use crate::stats::dense::{dot, sum};
use crate::wear::{LineKey, PathBlock, Shape};
use crate::wing::{LineSet, Row};

/// Hours ahead at which the common offset of a path is its median a second time, h.
const TIE_AHEAD_H: f64 = 100.0;

/// Takes draws one after the other and keeps those that cross.
pub(super) struct CrossingPass<'a> {
    layout: Layout<'a>,
    limits: Limits,
    set: &'a LineSet,
    hours_now_h: f64,
    horizon_h: f64,
    /// The last draw's shape and its span.
    span: Option<ShapeSpan>,
    now: MiddleSeeker,
    later: MiddleSeeker,
    draws: usize,
    crossed: Vec<CrossingDraw>,
}

impl<'a> CrossingPass<'a> {
    pub(super) fn new(
        lines: &'a [LineKey],
        set: &'a LineSet,
        limits: Limits,
        incidence_deg_per_mm: Option<Cow<'a, [f64]>>,
        hours_now_h: f64,
        horizon_h: f64,
    ) -> Result<Self, ForecastError> {
        let layout = Layout::new(lines, set, &limits, incidence_deg_per_mm)?;
        Ok(Self {
            layout,
            limits,
            set,
            hours_now_h,
            horizon_h,
            span: None,
            now: MiddleSeeker::default(),
            later: MiddleSeeker::default(),
            draws: 0,
            crossed: Vec::new(),
        })
    }

    /// Takes the draws of a block.
    pub(super) fn judge_block(&mut self, block: &PathBlock<'_>) -> Result<(), ForecastError> {
        block.draws().try_for_each(|draw| self.judge(draw.start_mm, draw.slope_mm, draw.shape))
    }

    /// Takes one draw: deviations at `g = 0` and their changes per unit of `g`, line by line.
    pub(super) fn judge(&mut self, start: &[f64], slope: &[f64], shape: Shape) -> Result<(), ForecastError> {
        let span = self.span_of(shape);
        self.draws += 1;
        let sums = self.layout.sums(start, slope);
        if !sums.iter().all(|sum| sum.at.is_finite() && sum.per_g.is_finite()) {
            self.layout.refuse_not_finite(start, slope, self.set)?;
        }
        let common = self.common(start, slope, &span, &sums);
        let Some(first) = self.layout.first(start, slope, span.now, &sums, common, &self.limits) else {
            return Ok(());
        };
        let hours = if first.ahead <= 0.0 {
            Some(self.hours_now_h)
        } else {
            shape.hours_at(span.now + first.ahead).map(|hours_h| hours_h.max(self.hours_now_h))
        };
        if let Some(hours_h) = hours.filter(|hours_h| *hours_h <= self.hours_now_h + self.horizon_h) {
            self.crossed.push(CrossingDraw { hours_h, cause: first.cause });
        }
        Ok(())
    }

    /// One watched quantity of one draw (`None`: the draws do not have it).
    pub(super) fn quantity(&mut self, cause: Cause, start: &[f64], slope: &[f64], shape: Shape) -> Option<Linear> {
        let span = self.span_of(shape);
        let sums = self.layout.sums(start, slope);
        let common = self.common(start, slope, &span, &sums);
        self.layout.quantity(cause, start, slope, common)
    }

    /// Every pair of rows among A–D that the draws have, the front one first.
    pub(super) fn row_pairs(&self) -> Vec<(Row, Row)> {
        let known = |row: &Row| row.is_trim() && self.layout.counts[row.index()] > 0.0;
        let rows: Vec<Row> = Row::ALL.into_iter().filter(known).collect();
        let rear = |at: usize| rows.get(at + 1..).unwrap_or_default();
        rows.iter().enumerate().flat_map(|(at, front)| rear(at).iter().map(|rear| (*front, *rear))).collect()
    }

    fn span_of(&mut self, shape: Shape) -> ShapeSpan {
        let span = match self.span {
            Some(known) if known.shape == shape => known,
            _ => {
                ShapeSpan { shape, now: shape.at(self.hours_now_h), later: shape.at(self.hours_now_h + TIE_AHEAD_H) }
            }
        };
        self.span = Some(span);
        span
    }

    pub(super) fn finish(self) -> FirstCrossing {
        FirstCrossing::new(self.hours_now_h, self.horizon_h, self.draws, self.crossed)
    }

    /// The common offset of one draw: the straight line in `g` through its median now and later.
    fn common(&mut self, start: &[f64], slope: &[f64], span: &ShapeSpan, sums: &[Linear; 6]) -> Linear {
        let layout = &self.layout;
        if layout.trim_count == 0.0 {
            return Linear::default();
        }
        let mut mean = Linear::default();
        for row in Row::ALL.iter().filter(|row| row.is_trim()) {
            mean.at += sums[row.index()].at / layout.trim_count;
            mean.per_g += sums[row.index()].per_g / layout.trim_count;
        }
        layout.trim_values(start, slope, span.now, &mut self.now.values);
        let now = self.now.median(mean.value(span.now));
        let step = span.later - span.now;
        // a saturated shape stands still: then the median of now holds for good
        if step <= 1e-12 {
            return Linear { at: now, per_g: 0.0 };
        }
        layout.trim_values(start, slope, span.later, &mut self.later.values);
        let later = self.later.median(mean.value(span.later));
        let per_g = (later - now) / step;
        Linear { at: now - per_g * span.now, per_g }
    }
}

/// `g` of a draw's shape now and 100 h later.
#[derive(Debug, Clone, Copy)]
struct ShapeSpan {
    shape: Shape,
    now: f64,
    later: f64,
}

/// Medians of many samples that resemble each other.
///
/// The median mostly lies where it lay before, seen from the mean: values below that place are only counted, those near
/// it are sorted. Where the median is not among them, all values are. Either way it is the median, exactly.
#[derive(Debug, Clone, Default)]
struct MiddleSeeker {
    /// The sample. At least one value.
    values: Vec<f64>,
    /// Where the median lies, less the mean, over the last samples.
    shift: f64,
    /// How far on either side to look.
    reach: f64,
    near: Vec<f64>,
}

impl MiddleSeeker {
    /// The median of the values, whose mean is about `mean`.
    fn median(&mut self, mean: f64) -> f64 {
        let n = self.values.len();
        let (low, high) = (mean + self.shift - self.reach, mean + self.shift + self.reach);
        self.near.resize(n + 1, 0.0);
        let (mut below, mut inside) = (0, 0);
        for value in &self.values {
            below += usize::from(*value < low);
            self.near[inside] = *value;
            inside += usize::from(*value >= low && *value <= high);
        }
        let (first, second) = ((n - 1) / 2, n / 2);
        let median = if below <= first && second < below + inside {
            // in balance when one in thirty is missed
            self.reach *= 0.99;
            middle(&mut self.near[..inside], second - below, n.is_multiple_of(2))
        } else {
            self.reach = (1.35 * self.reach).max(1e-3);
            middle(&mut self.values, second, n.is_multiple_of(2))
        };
        let seen = median - mean;
        self.shift = if self.reach > 1e-3 { self.shift + 0.1 * (seen - self.shift) } else { seen };
        median
    }
}

/// The value of rank `rank` (from 0), or its mean with the one before.
fn middle(values: &mut [f64], rank: usize, even: bool) -> f64 {
    // the values are finite, and plain comparisons the fastest
    let order = |a: &f64, b: &f64| a.partial_cmp(b).unwrap_or(Ordering::Equal);
    let (before, middle, _) = values.select_nth_unstable_by(rank, order);
    let middle = *middle;
    if even { f64::midpoint(before.iter().copied().fold(f64::NEG_INFINITY, f64::max), middle) } else { middle }
}

/// A quantity of one draw, `at + per_g · g`.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Linear {
    pub(super) at: f64,
    pub(super) per_g: f64,
}

impl Linear {
    fn less(self, other: Self) -> Self {
        Self { at: self.at - other.at, per_g: self.per_g - other.per_g }
    }

    fn over(self, count: f64) -> Self {
        Self { at: self.at / count, per_g: self.per_g / count }
    }

    fn value(self, g: f64) -> f64 {
        self.at + self.per_g * g
    }

    /// How far ahead in `g` the quantity first leaves `±limit`: 0 already, infinite never.
    #[inline]
    fn ahead(self, now: f64, limit: f64) -> f64 {
        let value = self.value(now);
        if value.abs() >= limit { 0.0 } else { (limit - value * self.per_g.signum()) / self.per_g.abs() }
    }

    /// How far ahead in `g` the quantity first falls to `floor`.
    fn ahead_down(self, now: f64, floor: f64) -> f64 {
        let value = self.value(now);
        if value <= floor {
            0.0
        } else if self.per_g < 0.0 {
            (floor - value) / self.per_g
        } else {
            f64::INFINITY
        }
    }
}

/// First crossing of one draw.
#[derive(Debug, Clone, Copy)]
struct First {
    ahead: f64,
    cause: Cause,
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

/// What the columns of the draws are.
struct Layout<'a> {
    lines: &'a [LineKey],
    runs: Vec<Run>,
    counts: [f64; 6],
    trim_count: f64,
    tolerances_mm: Vec<f64>,
    incidence_deg_per_mm: Option<Cow<'a, [f64]>>,
}

impl<'a> Layout<'a> {
    fn new(
        lines: &'a [LineKey],
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
        Ok(Self { lines, runs, counts, trim_count, tolerances_mm, incidence_deg_per_mm })
    }

    fn refuse_not_finite(&self, start: &[f64], slope: &[f64], set: &LineSet) -> Result<(), ForecastError> {
        let wrong = start.iter().zip(slope).position(|(at, per_g)| !(at.is_finite() && per_g.is_finite()));
        let Some(at) = wrong else {
            return Ok(());
        };
        let key = self.lines.get(at % self.lines.len().max(1));
        let line = key.and_then(|key| set.lines().get(key.line)).map(|line| line.name.clone());
        Err(ForecastError::NotFinite { line: line.unwrap_or_default() })
    }

    /// Deviations of the lines A–D of one draw at `g`.
    fn trim_values(&self, start: &[f64], slope: &[f64], g: f64, values: &mut Vec<f64>) {
        values.clear();
        for run in self.runs.iter().filter(|run| run.row.is_trim()) {
            let range = run.from..run.to;
            values.extend(start[range.clone()].iter().zip(&slope[range]).map(|(at, per_g)| at + per_g * g));
        }
    }

    /// Sums over the lines of each row.
    fn sums(&self, start: &[f64], slope: &[f64]) -> [Linear; 6] {
        let mut sums = [Linear::default(); 6];
        for run in &self.runs {
            let row = &mut sums[run.row.index()];
            row.at += sum(&start[run.from..run.to]);
            row.per_g += sum(&slope[run.from..run.to]);
        }
        sums
    }

    /// One watched quantity of one draw (`None`: the draws do not have it); `common` is the draw's common offset.
    fn quantity(&self, cause: Cause, start: &[f64], slope: &[f64], common: Linear) -> Option<Linear> {
        let sums = self.sums(start, slope);
        let row = |row: Row| {
            let count = self.counts[row.index()];
            (count > 0.0).then(|| sums[row.index()].over(count))
        };
        match cause {
            Cause::RowDifference { front, rear } => Some(row(front)?.less(row(rear)?)),
            Cause::Incidence => {
                let weights = self.incidence_deg_per_mm.as_ref()?;
                Some(Linear { at: dot(weights, start), per_g: dot(weights, slope) })
            }
            Cause::Offset => (self.trim_count > 0.0).then_some(common),
            Cause::Brake => Some(row(Row::Brake)?.less(common)),
            Cause::Line(key) => {
                let at = self.lines.iter().position(|line| *line == key)?;
                Some(Linear { at: *start.get(at)?, per_g: *slope.get(at)? }.less(common))
            }
        }
    }

    /// First crossing of one draw (`None`: never).
    fn first(
        &self,
        start: &[f64],
        slope: &[f64],
        now: f64,
        sums: &[Linear; 6],
        common: Linear,
        limits: &Limits,
    ) -> Option<First> {
        let mut first = First { ahead: f64::INFINITY, cause: Cause::Offset };
        for front in 0..4 {
            for rear in front + 1..4 {
                if self.counts[front] > 0.0 && self.counts[rear] > 0.0 {
                    let difference = sums[front].over(self.counts[front]).less(sums[rear].over(self.counts[rear]));
                    let cause = Cause::RowDifference { front: Row::ALL[front], rear: Row::ALL[rear] };
                    first.offer(difference.ahead(now, limits.row_difference_limit_mm()), cause);
                }
            }
        }
        if let Some(weights) = &self.incidence_deg_per_mm {
            let incidence = Linear { at: dot(weights, start), per_g: dot(weights, slope) };
            first.offer(incidence.ahead(now, limits.incidence_limit_deg()), Cause::Incidence);
        }
        if self.trim_count > 0.0 {
            first.offer(common.ahead(now, limits.offset_limit_mm()), Cause::Offset);
        }
        let brake = Row::Brake.index();
        if self.counts[brake] > 0.0 {
            let relative = sums[brake].over(self.counts[brake]).less(common);
            first.offer(relative.ahead_down(now, -limits.brake_short_limit_mm()), Cause::Brake);
        }
        if first.ahead <= 0.0 {
            return Some(first);
        }
        for run in self.runs.iter().filter(|run| run.row != Row::Brake) {
            let range = run.from..run.to;
            let (start, slope, limits) = (&start[range.clone()], &slope[range.clone()], &self.tolerances_mm[range]);
            let lines = || {
                let lines = start.iter().zip(slope).map(|(at, per_g)| Linear { at: *at, per_g: *per_g }.less(common));
                lines.zip(limits)
            };
            // a straight line that is within its limit now and at the first crossing so far does not cross before it
            let then = now + first.ahead;
            let outside =
                |line: &Linear, limit: f64| (line.value(now).abs() >= limit) | (line.value(then).abs() >= limit);
            if lines().fold(false, |any, (line, limit)| any | outside(&line, *limit)) {
                for (offset, (line, limit)) in lines().enumerate() {
                    first.offer(line.ahead(now, *limit), Cause::Line(self.lines[run.from + offset]));
                }
            }
        }
        first.ahead.is_finite().then_some(first)
    }
}
