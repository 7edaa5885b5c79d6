//! First crossing of any limit, draw by draw.

use ndarray::CowArray;

use super::error::positive;
use super::{Cause, CrossingDraw, FirstCrossing, ForecastError, Limits};
use crate::wear::{LineKey, PathDraws, Shape};
use crate::wing::{LineSet, Row};

/// Hours ahead at which the common offset of a path is its median a second time, h.
const TIE_AHEAD_H: f64 = 100.0;

/// Finds the first crossing of any limit in each draw of a wing's line paths.
///
/// | setting | default | why |
/// |---|---|---|
/// | `limits` | [`Limits::default`] | see there |
/// | `horizon_h` | 1,000 h ahead | a wing seldom flies longer |
///
/// Every watched quantity is linear in the line deviations, and each deviation is `a + b·g`, so a quantity is
/// `A + B·g` in each draw and its first crossing of `|A + B·g| ≥ T` from `g₀ = g(now)` on is, with `x = A + B·g₀`,
/// now where `|x| ≥ T`, else at `g₀ + (T − sign(B)·x)/|B|`, never where `B = 0`. The draw's shape turns `g` into hours.
///
/// *Common offset.* At a check it is the median deviation of the lines in rows A–D. A median of lines is not linear in
/// `g`; on a path it is the straight line in `g` through the draw's own median now and 100 h later, so that it is exact at
/// both. (The mean over the lines, tied to the median of the mean path, is cheaper but biased: a mean path has no scatter
/// of lines, its median sits inside one row, and the other rows look further off than they are.) A wing without lines in
/// A–D has the common offset 0.
///
/// Where several limits are crossed at the same hours (all those already crossed now), the one named is the first in the
/// order row difference (A–B, A–C, …), incidence, offset, brake, line.
///
/// ```
/// use linedrift::WearSpec;
/// use linedrift::forecast::{CrossingSpec, incidence_weights};
/// use linedrift::simulate::FleetSpec;
///
/// let fleet = FleetSpec::default().wings(8).seed(7).run()?.fleet;
/// let history = fleet.history("W05").ok_or("no such wing")?;
/// let check = history.checks.last().ok_or("no check")?;
/// let (set, fit) = (fleet.line_set(history), WearSpec::default().fit(&fleet)?);
/// let draws = fit.path_draws(set, history, &fit.draw_noise(&fleet, 1, 500))?;
/// let weights = incidence_weights(set, &draws.lines);
/// let crossing = CrossingSpec::default().run(&draws, set, check.hours_h, weights.as_deref())?;
/// println!("chance that a limit is crossed in 50 h: {:.2}", crossing.risk_at(check.hours_h + 50.0));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CrossingSpec {
    limits: Limits,
    horizon_h: f64,
}

impl Default for CrossingSpec {
    fn default() -> Self {
        Self { limits: Limits::default(), horizon_h: 1000.0 }
    }
}

impl CrossingSpec {
    /// Sets the limits.
    #[must_use]
    pub const fn limits(mut self, limits: Limits) -> Self {
        self.limits = limits;
        self
    }

    /// Sets how many hours ahead to look, h.
    #[must_use]
    pub const fn horizon_h(mut self, horizon_h: f64) -> Self {
        self.horizon_h = horizon_h;
        self
    }

    /// Checks that every limit and the horizon are finite and above zero.
    ///
    /// # Errors
    /// [`ForecastError::NotPositive`] with the first that is not.
    pub fn validate(&self) -> Result<(), ForecastError> {
        self.limits.validate()?;
        positive("horizon_h", self.horizon_h)?;
        Ok(())
    }

    /// First crossings of the paths of one wing from `hours_now_h` (flown since new) on.
    ///
    /// `incidence_deg_per_mm` holds, for each column of the draws, how many degrees the incidence changes for one
    /// millimetre of that line ([`super::incidence_weights`]); `None` leaves the incidence unwatched.
    ///
    /// # Errors
    /// [`ForecastError`] when a limit, the horizon or the hours are out of range, when the draws are empty, do not fit
    /// together or the line set, or hold a number that is not finite.
    pub fn run(
        &self,
        paths: &PathDraws,
        set: &LineSet,
        hours_now_h: f64,
        incidence_deg_per_mm: Option<&[f64]>,
    ) -> Result<FirstCrossing, ForecastError> {
        self.validate()?;
        if !(hours_now_h.is_finite() && hours_now_h >= 0.0) {
            return Err(ForecastError::Hours { what: "hours_now_h", value: hours_now_h });
        }
        let layout = Layout::new(paths, set, &self.limits, incidence_deg_per_mm)?;
        let start = CowArray::from(&paths.start_mm);
        let start = start.as_standard_layout();
        let slope = CowArray::from(&paths.slope_mm);
        let slope = slope.as_standard_layout();
        let (Some(start), Some(slope)) = (start.as_slice(), slope.as_slice()) else {
            return Err(ForecastError::Draws { what: "contiguous arrays", got: 0, expected: 2 });
        };
        let columns = paths.lines.len();
        let spans: Vec<Span> = paths.shapes.iter().map(|shape| Span::of(*shape, hours_now_h)).collect();
        layout.refuse_not_finite(start, slope, set)?;
        let mut scratch = Vec::with_capacity(columns);
        let last_h = hours_now_h + self.horizon_h;
        let mut crossed = Vec::with_capacity(paths.shapes.len());
        for (draw, (shape, span)) in paths.shapes.iter().zip(&spans).enumerate() {
            let range = draw * columns..(draw + 1) * columns;
            let Some(first) = layout.first(&start[range.clone()], &slope[range], *span, &self.limits, &mut scratch)
            else {
                continue;
            };
            let hours = if first.ahead <= 0.0 {
                Some(hours_now_h)
            } else {
                shape.hours_at(span.now + first.ahead).map(|hours_h| hours_h.max(hours_now_h))
            };
            if let Some(hours_h) = hours.filter(|hours_h| *hours_h <= last_h) {
                crossed.push(CrossingDraw { hours_h, cause: first.cause });
            }
        }
        Ok(FirstCrossing::new(hours_now_h, self.horizon_h, paths.shapes.len(), crossed))
    }
}

/// `g` of one draw now and 100 h later.
#[derive(Debug, Clone, Copy)]
pub(super) struct Span {
    now: f64,
    later: f64,
}

impl Span {
    pub(super) fn of(shape: Shape, hours_now_h: f64) -> Self {
        Self { now: shape.at(hours_now_h), later: shape.at(hours_now_h + TIE_AHEAD_H) }
    }
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

    /// How far ahead in `g` the quantity first leaves `±limit`: 0 already, infinite never.
    #[inline]
    fn ahead(self, now: f64, limit: f64) -> f64 {
        let value = self.at + self.per_g * now;
        if value.abs() >= limit { 0.0 } else { (limit - value * self.per_g.signum()) / self.per_g.abs() }
    }

    /// How far ahead in `g` the quantity first falls to `floor`.
    fn ahead_down(self, now: f64, floor: f64) -> f64 {
        let value = self.at + self.per_g * now;
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
pub(super) struct Layout<'a> {
    lines: &'a [LineKey],
    runs: Vec<Run>,
    counts: [f64; 6],
    trim_count: f64,
    tolerances_mm: Vec<f64>,
    incidence_deg_per_mm: Option<&'a [f64]>,
}

impl<'a> Layout<'a> {
    pub(super) fn new(
        paths: &'a PathDraws,
        set: &LineSet,
        limits: &Limits,
        incidence_deg_per_mm: Option<&'a [f64]>,
    ) -> Result<Self, ForecastError> {
        let draws = paths.shapes.len();
        let columns = paths.lines.len();
        if draws == 0 {
            return Err(ForecastError::Draws { what: "draws", got: 0, expected: 1 });
        }
        for array in [&paths.start_mm, &paths.slope_mm] {
            if array.nrows() != draws {
                return Err(ForecastError::Draws { what: "rows of draws", got: array.nrows(), expected: draws });
            }
            if array.ncols() != columns {
                return Err(ForecastError::Draws { what: "columns of lines", got: array.ncols(), expected: columns });
            }
        }
        if let Some(weights) = incidence_deg_per_mm
            && weights.len() != columns
        {
            return Err(ForecastError::Draws { what: "incidence weights", got: weights.len(), expected: columns });
        }
        let mut runs: Vec<Run> = Vec::new();
        let mut counts = [0.0; 6];
        let mut tolerances_mm = Vec::with_capacity(columns);
        for (column, key) in paths.lines.iter().enumerate() {
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
        Ok(Self { lines: &paths.lines, runs, counts, trim_count, tolerances_mm, incidence_deg_per_mm })
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

    /// Median deviation of the lines A–D of one draw at `g`.
    fn median(&self, start: &[f64], slope: &[f64], g: f64, scratch: &mut Vec<f64>) -> f64 {
        scratch.clear();
        for run in self.runs.iter().filter(|run| run.row.is_trim()) {
            let values =
                start[run.from..run.to].iter().zip(&slope[run.from..run.to]).map(|(at, per_g)| at + per_g * g);
            scratch.extend(values);
        }
        let n = scratch.len();
        let (below, middle, _) = scratch.select_nth_unstable_by(n / 2, f64::total_cmp);
        let middle = *middle;
        if n % 2 == 1 {
            middle
        } else {
            f64::midpoint(below.iter().copied().fold(f64::NEG_INFINITY, f64::max), middle)
        }
    }

    /// First crossing of one draw (`None`: never).
    fn first(
        &self,
        start: &[f64],
        slope: &[f64],
        span: Span,
        limits: &Limits,
        scratch: &mut Vec<f64>,
    ) -> Option<First> {
        let now = span.now;
        let mut sums = [Linear::default(); 6];
        for run in &self.runs {
            let sum = &mut sums[run.row.index()];
            sum.at += start[run.from..run.to].iter().sum::<f64>();
            sum.per_g += slope[run.from..run.to].iter().sum::<f64>();
        }
        let common = self.common(start, slope, span, scratch);
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
        if let Some(weights) = self.incidence_deg_per_mm {
            let mut incidence = Linear::default();
            for ((weight, at), per_g) in weights.iter().zip(start).zip(slope) {
                incidence.at += weight * at;
                incidence.per_g += weight * per_g;
            }
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
        for run in self.runs.iter().filter(|run| run.row != Row::Brake) {
            let parts = start[run.from..run.to]
                .iter()
                .zip(&slope[run.from..run.to])
                .zip(&self.tolerances_mm[run.from..run.to])
                .enumerate();
            for (offset, ((at, per_g), limit)) in parts {
                let ahead = Linear { at: *at, per_g: *per_g }.less(common).ahead(now, *limit);
                if ahead < first.ahead {
                    first = First { ahead, cause: Cause::Line(self.lines[run.from + offset]) };
                }
            }
        }
        first.ahead.is_finite().then_some(first)
    }

    /// One watched quantity of one draw (`None`: the draws do not have it).
    pub(super) fn quantity(
        &self,
        cause: Cause,
        start: &[f64],
        slope: &[f64],
        span: Span,
        scratch: &mut Vec<f64>,
    ) -> Option<Linear> {
        let row = |row: Row| {
            let mut sum = Linear::default();
            for run in self.runs.iter().filter(|run| run.row == row) {
                sum.at += start.get(run.from..run.to)?.iter().sum::<f64>();
                sum.per_g += slope.get(run.from..run.to)?.iter().sum::<f64>();
            }
            let count = self.counts[row.index()];
            (count > 0.0).then(|| sum.over(count))
        };
        match cause {
            Cause::RowDifference { front, rear } => Some(row(front)?.less(row(rear)?)),
            Cause::Incidence => {
                let mut incidence = Linear::default();
                for ((weight, at), per_g) in self.incidence_deg_per_mm?.iter().zip(start).zip(slope) {
                    incidence.at += weight * at;
                    incidence.per_g += weight * per_g;
                }
                Some(incidence)
            }
            Cause::Offset => (self.trim_count > 0.0).then(|| self.common(start, slope, span, scratch)),
            Cause::Brake => Some(row(Row::Brake)?.less(self.common(start, slope, span, scratch))),
            Cause::Line(key) => {
                let at = self.lines.iter().position(|line| *line == key)?;
                let line = Linear { at: *start.get(at)?, per_g: *slope.get(at)? };
                Some(line.less(self.common(start, slope, span, scratch)))
            }
        }
    }

    /// Every pair of rows among A–D that the draws have, the front one first.
    pub(super) fn row_pairs(&self) -> Vec<(Row, Row)> {
        let rows: Vec<Row> =
            Row::ALL.into_iter().filter(|row| row.is_trim() && self.counts[row.index()] > 0.0).collect();
        let rear = |at: usize| rows.get(at + 1..).unwrap_or_default();
        rows.iter().enumerate().flat_map(|(at, front)| rear(at).iter().map(|rear| (*front, *rear))).collect()
    }

    fn common(&self, start: &[f64], slope: &[f64], span: Span, scratch: &mut Vec<f64>) -> Linear {
        if self.trim_count == 0.0 {
            return Linear::default();
        }
        let now = self.median(start, slope, span.now, scratch);
        let step = span.later - span.now;
        // a saturated shape stands still: then the median of now holds for good
        if step <= 1e-12 {
            return Linear { at: now, per_g: 0.0 };
        }
        let per_g = (self.median(start, slope, span.later, scratch) - now) / step;
        Linear { at: now - per_g * span.now, per_g }
    }
}
