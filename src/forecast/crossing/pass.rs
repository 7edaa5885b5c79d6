//! One pass over the draws of a wing's paths: each draw's first crossing.

use std::borrow::Cow;

use super::layout::{Draw, First, Layout, OverNow};
use super::linear::Linear;
use super::middle_seeker::MiddleSeeker;
use crate::forecast::{Cause, CrossingDraw, FirstCrossing, ForecastError, Limits};
use crate::wear::{LineKey, PathBlock, Shape};
use crate::wing::{LineSet, Row};

/// Hours ahead at which the common offset of a path is its median a second time, h.
const TIE_AHEAD_H: f64 = 100.0;

/// Draws that are enough where all of them are over a limit now.
const DRAWS_AGREEING: usize = 512;
/// Draws that are enough where few of them cross a limit before the interval ends: a share of 10 % is known to 1 %.
const DRAWS_FOR_INTERVAL: usize = 1024;
/// Few: so much of the accepted risk at most.
const RISK_SHARE_FAR: f64 = 0.25;

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

    /// Every watched quantity over its limit where the lines are so far off, mm.
    pub(in crate::forecast) fn over_now(&mut self, deviations_mm: &[f64]) -> Vec<OverNow> {
        let still = vec![0.0; deviations_mm.len()];
        let draw = self.layout.draw(deviations_mm, &still, 0.0);
        let common = self.common_now(&draw);
        self.layout.all_over_now(&draw, common, self.set, &self.limits)
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

    /// Whether the draws so far agree that a limit is passed now.
    pub(in crate::forecast) fn agrees_on_now(&self) -> bool {
        self.draws >= DRAWS_AGREEING && self.crossed_by(self.hours_now_h) == self.draws
    }

    /// Whether the draws so far agree that the interval ends long before a limit is near.
    pub(in crate::forecast) fn agrees_on_interval(&self, risk: f64, interval_end_h: f64) -> bool {
        let far = RISK_SHARE_FAR * risk * self.draws as f64;
        self.draws >= DRAWS_FOR_INTERVAL && self.crossed_by(interval_end_h) as f64 <= far
    }

    fn crossed_by(&self, hours_h: f64) -> usize {
        self.crossed.iter().filter(|draw| draw.hours_h <= hours_h).count()
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

/// `g` of a draw's shape now and 100 h later.
#[derive(Debug, Clone, Copy)]
struct ShapeSpan {
    shape: Shape,
    now: f64,
    later: f64,
}
