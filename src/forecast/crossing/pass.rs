//! One pass over the draws of a wing's paths: each draw's first crossing.

use std::borrow::Cow;

use super::middle_seeker::MiddleSeeker;
use crate::forecast::error::positive;
use crate::forecast::{Cause, CrossingDraw, FirstCrossing, ForecastError, Limits};
use crate::stats::dense::{dot, sum};
use crate::wear::{LineKey, PathBlock, Shape};
use crate::wing::{LineSet, Row};

/// Hours ahead at which the common offset of a path is its median a second time, h.
const TIE_AHEAD_H: f64 = 100.0;

/// Takes draws one after the other and keeps those that cross.
pub(in crate::forecast) struct CrossingPass<'a> {
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
    pub(in crate::forecast) fn new(
        lines: Cow<'a, [LineKey]>,
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
    pub(in crate::forecast) fn judge_block(&mut self, block: &PathBlock<'_>) -> Result<(), ForecastError> {
        block.draws().try_for_each(|draw| self.judge(draw.start_mm, draw.slope_mm, draw.shape))
    }

    /// Takes one draw: deviations at `g = 0` and their changes per unit of `g`, line by line.
    pub(in crate::forecast) fn judge(
        &mut self,
        start: &[f64],
        slope: &[f64],
        shape: Shape,
    ) -> Result<(), ForecastError> {
        let span = self.span_of(shape);
        let draw = self.layout.draw(start, slope, span.now);
        self.draws += 1;
        if !draw.means.iter().all(|mean| mean.at.is_finite() && mean.per_g.is_finite()) {
            self.layout.refuse_not_finite(start, slope, self.set)?;
        }
        let mut first = self.layout.first_of_rows(&draw, &self.limits);
        // over a limit now: what comes later does not matter
        if first.ahead > 0.0 {
            let now = self.common_now(&draw);
            if let Some(cause) = self.layout.over_now(&draw, now, &self.limits) {
                first = First { ahead: 0.0, cause };
            } else {
                let common = self.common_from(now, &draw, &span);
                self.layout.first_of_rest(&mut first, &draw, common, &self.limits);
            }
        }
        if !first.ahead.is_finite() {
            return Ok(());
        }
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
    pub(in crate::forecast) fn quantity(
        &mut self,
        cause: Cause,
        start: &[f64],
        slope: &[f64],
        shape: Shape,
    ) -> Option<Linear> {
        let span = self.span_of(shape);
        let draw = self.layout.draw(start, slope, span.now);
        let now = self.common_now(&draw);
        let common = self.common_from(now, &draw, &span);
        self.layout.quantity(cause, &draw, common)
    }

    /// Every pair of rows among A–D that the draws have, the front one first.
    pub(in crate::forecast) fn row_pairs(&self) -> Vec<(Row, Row)> {
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

    pub(in crate::forecast) fn finish(self) -> FirstCrossing {
        FirstCrossing::new(self.hours_now_h, self.horizon_h, self.draws, self.crossed)
    }

    /// The common offset of one draw now: the median of its lines A–D.
    fn common_now(&mut self, draw: &Draw<'_>) -> f64 {
        if self.layout.trim_count == 0.0 {
            return 0.0;
        }
        self.layout.trim_values(draw, draw.now, &mut self.now.values);
        self.now.median(self.layout.trim_mean(draw).value(draw.now))
    }

    /// The common offset of one draw: the straight line in `g` through its median now, which is known, and later.
    fn common_from(&mut self, now: f64, draw: &Draw<'_>, span: &ShapeSpan) -> Linear {
        let step = span.later - span.now;
        // a saturated shape stands still: then the median of now holds for good
        if self.layout.trim_count == 0.0 || step <= 1e-12 {
            return Linear { at: now, per_g: 0.0 };
        }
        self.layout.trim_values(draw, span.later, &mut self.later.values);
        let later = self.later.median(self.layout.trim_mean(draw).value(span.later));
        let per_g = (later - now) / step;
        Linear { at: now - per_g * span.now, per_g }
    }
}

/// One draw of a wing's paths.
struct Draw<'d> {
    /// Per line: deviation at `g = 0`, and its change per unit of `g`.
    start: &'d [f64],
    slope: &'d [f64],
    /// `g` now.
    now: f64,
    /// Mean over the lines of each row; nought for a row without lines.
    means: [Linear; 6],
}

/// `g` of a draw's shape now and 100 h later.
#[derive(Debug, Clone, Copy)]
struct ShapeSpan {
    shape: Shape,
    now: f64,
    later: f64,
}

/// A quantity of one draw, `at + per_g · g`.
#[derive(Debug, Clone, Copy, Default)]
pub(in crate::forecast) struct Linear {
    pub(in crate::forecast) at: f64,
    pub(in crate::forecast) per_g: f64,
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

impl Run {
    /// The row's lines in one draw.
    fn lines<'d>(&self, draw: &Draw<'d>) -> impl Iterator<Item = Linear> + use<'d> {
        let range = self.from..self.to;
        draw.start[range.clone()].iter().zip(&draw.slope[range]).map(|(at, per_g)| Linear { at: *at, per_g: *per_g })
    }
}

/// What the columns of the draws are.
struct Layout<'a> {
    lines: Cow<'a, [LineKey]>,
    runs: Vec<Run>,
    counts: [f64; 6],
    trim_count: f64,
    tolerances_mm: Vec<f64>,
    incidence_deg_per_mm: Option<Cow<'a, [f64]>>,
}

impl<'a> Layout<'a> {
    fn new(
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

    fn draw<'d>(&self, start: &'d [f64], slope: &'d [f64], now: f64) -> Draw<'d> {
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
    fn trim_values(&self, draw: &Draw<'_>, g: f64, values: &mut Vec<f64>) {
        values.clear();
        for run in self.runs.iter().filter(|run| run.row.is_trim()) {
            values.extend(run.lines(draw).map(|line| line.value(g)));
        }
    }

    /// Mean of a row's lines (`None`: there are none).
    fn row_mean(&self, draw: &Draw<'_>, row: Row) -> Option<Linear> {
        (self.counts[row.index()] > 0.0).then(|| draw.means[row.index()])
    }

    /// Change of incidence, where it is watched.
    fn incidence(&self, draw: &Draw<'_>) -> Option<Linear> {
        let weights = self.incidence_deg_per_mm.as_ref()?;
        Some(Linear { at: dot(weights, draw.start), per_g: dot(weights, draw.slope) })
    }

    /// One watched quantity of one draw (`None`: the draws do not have it); `common` is the draw's common offset.
    fn quantity(&self, cause: Cause, draw: &Draw<'_>, common: Linear) -> Option<Linear> {
        match cause {
            Cause::RowDifference { front, rear } => {
                Some(self.row_mean(draw, front)?.less(self.row_mean(draw, rear)?))
            }
            Cause::Incidence => self.incidence(draw),
            Cause::Offset => (self.trim_count > 0.0).then_some(common),
            Cause::Brake => Some(self.row_mean(draw, Row::Brake)?.less(common)),
            Cause::Line(key) => {
                let at = self.lines.iter().position(|line| *line == key)?;
                Some(Linear { at: *draw.start.get(at)?, per_g: *draw.slope.get(at)? }.less(common))
            }
        }
    }

    /// Mean over the lines A–D.
    fn trim_mean(&self, draw: &Draw<'_>) -> Linear {
        let mut mean = Linear::default();
        for row in Row::ALL.iter().filter(|row| row.is_trim()) {
            let share = self.counts[row.index()] / self.trim_count;
            mean.at += share * draw.means[row.index()].at;
            mean.per_g += share * draw.means[row.index()].per_g;
        }
        mean
    }

    /// First crossing of a difference of rows or of the incidence (infinitely far ahead: never).
    fn first_of_rows(&self, draw: &Draw<'_>, limits: &Limits) -> First {
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
        if first.ahead > 0.0
            && let Some(incidence) = self.incidence(draw)
        {
            first.offer(incidence.ahead(draw.now, limits.incidence_limit_deg()), Cause::Incidence);
        }
        first
    }

    /// The common offset, the brakes or a line that is over its limit now, the first in this order; `common` is the offset now.
    fn over_now(&self, draw: &Draw<'_>, common: f64, limits: &Limits) -> Option<Cause> {
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
    fn first_of_rest(&self, first: &mut First, draw: &Draw<'_>, common: Linear, limits: &Limits) {
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
}
