//! What the columns of a wing's draws are, and what is watched in one draw.

use std::borrow::Cow;

use super::incidence::{left_right_weights, twist_weights};
use super::linear::Linear;
use crate::forecast::error::positive;
use crate::forecast::{Cause, ForecastError, Limits};
use crate::stats::dense::{dot, sum};
use crate::wear::LineKey;
use crate::wing::{LineSet, Row, Side};

/// One draw of a wing's paths.
pub(super) struct Draw<'d> {
    /// Per line: deviation at `g = 0`, and its change per unit of `g`.
    pub(super) start: &'d [f64],
    pub(super) slope: &'d [f64],
    /// `g` now.
    pub(super) now: f64,
    /// Mean over the lines of each row; zero for a row without lines.
    pub(super) means: [Linear; 6],
    /// The same on each side.
    pub(super) side_means: [[Linear; 6]; 2],
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

/// Consecutive columns of one row on one side.
#[derive(Debug, Clone, Copy)]
struct Run {
    side: Side,
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
    side_counts: [[f64; 6]; 2],
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
        let mut side_counts = [[0.0; 6]; 2];
        let mut tolerances_mm = Vec::with_capacity(lines.len());
        for (column, key) in lines.iter().enumerate() {
            let Some(line) = set.lines().get(key.line) else {
                return Err(ForecastError::NoLine { line: key.line, lines: set.lines().len() });
            };
            side_counts[key.side.index()][line.row.index()] += 1.0;
            tolerances_mm.push(match line.tolerance_mm {
                Some(own) => positive("tolerance_mm", own)?,
                None => limits.line_limit_mm(),
            });
            match runs.last_mut() {
                Some(run) if run.row == line.row && run.side == key.side => run.to = column + 1,
                _ => runs.push(Run { side: key.side, row: line.row, from: column, to: column + 1 }),
            }
        }
        let counts: [f64; 6] = std::array::from_fn(|row| side_counts[0][row] + side_counts[1][row]);
        let trim_count = Row::ALL.iter().filter(|row| row.is_trim()).map(|row| counts[row.index()]).sum();
        let watched = incidence_deg_per_mm.is_some();
        Ok(Self {
            left_right_deg_per_mm: left_right_weights(set, &lines).filter(|_| watched),
            twist_deg_per_mm: twist_weights(set, &lines).filter(|_| watched),
            lines,
            runs,
            counts,
            side_counts,
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
        let mut sides = [[Linear::default(); 6]; 2];
        for run in &self.runs {
            let row = &mut sides[run.side.index()][run.row.index()];
            row.at += sum(&start[run.from..run.to]);
            row.per_g += sum(&slope[run.from..run.to]);
        }
        let mean = |sum: Linear, count: f64| if count > 0.0 { sum.over(count) } else { sum };
        Draw {
            start,
            slope,
            now,
            means: std::array::from_fn(|row| mean(sides[0][row].plus(sides[1][row]), self.counts[row])),
            side_means: std::array::from_fn(|side| {
                std::array::from_fn(|row| mean(sides[side][row], self.side_counts[side][row]))
            }),
        }
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

    /// Mean of a row of A–D on the left less that on the right (`None`: it does not have both).
    fn row_left_right(&self, draw: &Draw<'_>, row: Row) -> Option<Linear> {
        let [left, right] = draw.side_means.map(|means| means[row.index()]);
        let has_both = self.side_counts.iter().all(|counts| counts[row.index()] > 0.0);
        (row.is_trim() && has_both).then(|| left.less(right))
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
            Cause::RowLeftRight(row) => self.row_left_right(draw, row),
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
        for (cause, limit) in [
            (Cause::Incidence, limits.incidence_limit_deg()),
            (Cause::RowLeftRight(Row::A), limits.left_right_limit_mm()),
            (Cause::RowLeftRight(Row::B), limits.left_right_limit_mm()),
            (Cause::RowLeftRight(Row::C), limits.left_right_limit_mm()),
            (Cause::RowLeftRight(Row::D), limits.left_right_limit_mm()),
            (Cause::LeftRight, limits.left_right_limit_deg()),
            (Cause::Twist, limits.twist_limit_deg()),
        ] {
            if first.ahead > 0.0
                && let Some(one) = self.quantity(cause, draw, Linear::default())
            {
                first.offer(one.ahead(draw.now, limit), cause);
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
        let off = brake.map_or(0.0, |brake| brake.value(draw.now) - common);
        if off <= -limits.brake_short_limit_mm() || off >= limits.brake_long_limit_mm() {
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
            let between = [-limits.brake_short_limit_mm(), limits.brake_long_limit_mm()];
            first.offer(brake.less(common).ahead_between(draw.now, between), Cause::Brake);
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

    /// Every watched quantity that one draw is over now, with its value; `common` is the common offset now.
    pub(super) fn all_over_now(&self, draw: &Draw<'_>, common: f64, set: &LineSet, limits: &Limits) -> Vec<OverNow> {
        let pairs = (0..4).flat_map(|front| (front + 1..4).map(move |rear| [front, rear].map(|row| Row::ALL[row])));
        let causes = pairs
            .map(|[front, rear]| Cause::RowDifference { front, rear })
            .chain([Cause::Incidence])
            .chain(Row::ALL.into_iter().map(Cause::RowLeftRight))
            .chain([Cause::LeftRight, Cause::Twist, Cause::Offset, Cause::Brake]);
        let still = Linear { at: common, per_g: 0.0 };
        let values = causes.filter_map(|cause| Some((cause, self.quantity(cause, draw, still)?.value(draw.now))));
        let lines = self.runs.iter().filter(|run| run.row != Row::Brake).flat_map(|run| {
            let keys = self.lines[run.from..run.to].iter().map(|key| Cause::Line(*key));
            keys.zip(run.lines(draw)).map(|(cause, line)| (cause, line.value(draw.now) - common))
        });
        let over = |(cause, value): (Cause, f64)| {
            let [low, high] = cause.bounds(set, limits);
            (value <= low || value >= high).then_some(OverNow {
                cause,
                value,
                limit: if value < 0.0 { -low } else { high },
            })
        };
        values.chain(lines).filter_map(over).collect()
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
