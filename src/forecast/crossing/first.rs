//! When the first limit is crossed, over many draws.

use crate::forecast::{CrossingHours, Limits, Reason, WatchedUnit};
use crate::stats::NORMAL_95;
use crate::wear::LineKey;
use crate::wing::{LineSet, Row};

/// The limit that a draw crosses first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Cause {
    /// The difference of two row means.
    RowDifference {
        /// The row nearer the leading edge.
        front: Row,
        /// The other row.
        rear: Row,
    },
    /// The incidence change.
    Incidence,
    /// The mean of a row on the left less that on the right.
    RowLeftRight(Row),
    /// The incidence of the left side less that of the right.
    LeftRight,
    /// The incidence change from the centre to the tips.
    Twist,
    /// The common offset.
    Offset,
    /// The brake row.
    Brake,
    /// One line.
    Line(LineKey),
}

impl Cause {
    /// The kind of limit, as reported.
    #[must_use]
    pub const fn reason(self) -> Reason {
        match self {
            Cause::RowDifference { .. } => Reason::RowDifference,
            Cause::Incidence => Reason::Incidence,
            Cause::RowLeftRight(_) | Cause::LeftRight => Reason::LeftRight,
            Cause::Twist => Reason::Twist,
            Cause::Offset => Reason::Offset,
            Cause::Brake => Reason::Brake,
            Cause::Line(_) => Reason::Line,
        }
    }

    /// The quantity by name, such as `row A less row C`.
    #[must_use]
    pub fn name(self, set: &LineSet) -> String {
        match self {
            Cause::RowDifference { front, rear } => format!("row {front} less row {rear}"),
            Cause::Incidence => "incidence change".to_owned(),
            Cause::RowLeftRight(row) => format!("row {row} left less right"),
            Cause::LeftRight => "incidence left less right".to_owned(),
            Cause::Twist => "twist from centre to tips".to_owned(),
            Cause::Offset => "common offset".to_owned(),
            Cause::Brake => "brake row".to_owned(),
            Cause::Line(key) => {
                format!("line {} {}", set.lines().get(key.line).map_or("?", |line| line.name.as_str()), key.side)
            }
        }
    }

    /// What the quantity is held between, in its unit.
    pub(in crate::forecast) fn bounds(self, set: &LineSet, limits: &Limits) -> [f64; 2] {
        let limit = match self {
            Cause::RowDifference { .. } => limits.row_difference_limit_mm(),
            Cause::Incidence => limits.incidence_limit_deg(),
            Cause::RowLeftRight(_) => limits.left_right_limit_mm(),
            Cause::LeftRight => limits.left_right_limit_deg(),
            Cause::Twist => limits.twist_limit_deg(),
            Cause::Offset => limits.offset_limit_mm(),
            Cause::Brake => return [-limits.brake_short_limit_mm(), limits.brake_long_limit_mm()],
            Cause::Line(key) => {
                let own = set.lines().get(key.line).and_then(|line| line.tolerance_mm);
                own.unwrap_or_else(|| limits.line_limit_mm())
            }
        };
        [-limit, limit]
    }

    /// Unit of the quantity.
    #[must_use]
    pub const fn unit(self) -> WatchedUnit {
        match self {
            Cause::Incidence | Cause::LeftRight | Cause::Twist => WatchedUnit::Deg,
            _ => WatchedUnit::Mm,
        }
    }
}

/// How often a kind of limit goes first among the draws that cross.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct CauseShare {
    /// The kind of limit.
    pub reason: Reason,
    /// Share of the crossing draws, 0 … 1.
    pub share: f64,
}

/// One draw that crosses.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CrossingDraw {
    /// Hours at the crossing, flown since new, h.
    pub hours_h: f64,
    /// The limit crossed.
    pub cause: Cause,
}

/// Hours at which the chance of a crossing reaches a risk, with the error of the draws.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RiskHours {
    /// The risk asked for, 0 … 1.
    pub risk: f64,
    /// Hours flown since new at which the share of crossed draws reaches the risk (`None` past the horizon).
    pub hours_h: Option<f64>,
    /// Lower end of the 95 % interval of those hours that is due to the number of draws alone.
    pub lower_h: Option<f64>,
    /// Upper end of the same (`None` past the horizon).
    pub upper_h: Option<f64>,
}

/// Distribution of the hours at which the first limit is crossed: one value per draw, in order of hours.
#[derive(Debug, Clone, PartialEq)]
pub struct FirstCrossing {
    hours_now_h: f64,
    horizon_h: f64,
    draws: usize,
    crossed: Vec<CrossingDraw>,
}

impl FirstCrossing {
    /// Takes the draws that cross within the horizon, of `draws` in all.
    pub(in crate::forecast) fn new(
        hours_now_h: f64,
        horizon_h: f64,
        draws: usize,
        mut crossed: Vec<CrossingDraw>,
    ) -> Self {
        crossed.sort_unstable_by(|a, b| a.hours_h.total_cmp(&b.hours_h).then_with(|| a.cause.cmp(&b.cause)));
        Self { hours_now_h, horizon_h, draws, crossed }
    }

    /// Hours at which the forecast starts, h.
    #[must_use]
    pub fn hours_now_h(&self) -> f64 {
        self.hours_now_h
    }

    /// How many hours ahead the forecast looks, h.
    #[must_use]
    pub fn horizon_h(&self) -> f64 {
        self.horizon_h
    }

    /// Number of draws.
    #[must_use]
    pub fn draws(&self) -> usize {
        self.draws
    }

    /// The draws that cross within the horizon, by hours.
    #[must_use]
    pub fn crossed(&self) -> &[CrossingDraw] {
        &self.crossed
    }

    /// Chance that a limit has been crossed by these hours (flown since new): the share of draws.
    #[must_use]
    pub fn risk_at(&self, hours_h: f64) -> f64 {
        self.count(hours_h) as f64 / self.draws as f64
    }

    /// Chance that a limit is crossed already.
    #[must_use]
    pub fn risk_now(&self) -> f64 {
        self.risk_at(self.hours_now_h)
    }

    /// Standard error of a share `p` of the draws: the binomial `√(p(1−p)/draws)`.
    #[must_use]
    pub fn share_se(&self, share: f64) -> f64 {
        let share = share.clamp(0.0, 1.0);
        (share * (1.0 - share) / self.draws as f64).sqrt()
    }

    /// Quantile of the crossing hours (`None` past the horizon): the least hours at which the share of crossed draws is
    /// at least `p`, with `p` in (0, 1].
    #[must_use]
    pub fn quantile_h(&self, p: f64) -> Option<f64> {
        // a share that is a whole number of draws but for rounding is that number
        let rank = (p * self.draws as f64 - 1e-9).ceil().max(1.0);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        let rank = rank as usize;
        self.crossed.get(rank - 1).map(|draw| draw.hours_h)
    }

    /// The 10, 50 and 90 % quantiles of the crossing hours.
    #[must_use]
    pub fn quantiles(&self) -> CrossingHours {
        CrossingHours { p10: self.quantile_h(0.1), p50: self.quantile_h(0.5), p90: self.quantile_h(0.9) }
    }

    /// Hours at which the chance of a crossing reaches `risk`, with the 95 % interval that the number of draws leaves:
    /// the quantiles at `risk ± 1.96 √(risk(1−risk)/draws)`.
    #[must_use]
    pub fn hours_at_risk(&self, risk: f64) -> RiskHours {
        let half = NORMAL_95 * self.share_se(risk);
        RiskHours {
            risk,
            hours_h: self.quantile_h(risk),
            lower_h: self.quantile_h(risk - half),
            upper_h: self.quantile_h(risk + half),
        }
    }

    /// How often each kind of limit goes first among the draws that cross by these hours, most often first.
    #[must_use]
    pub fn first_limits(&self, hours_h: f64) -> Vec<CauseShare> {
        let until = self.count(hours_h);
        let mut counts: Vec<CauseShare> = Vec::new();
        for draw in &self.crossed[..until] {
            let reason = draw.cause.reason();
            match counts.iter_mut().find(|count| count.reason == reason) {
                Some(count) => count.share += 1.0,
                None => counts.push(CauseShare { reason, share: 1.0 }),
            }
        }
        counts.iter_mut().for_each(|count| count.share /= until as f64);
        counts.sort_by(|a, b| b.share.total_cmp(&a.share).then(a.reason.name().cmp(b.reason.name())));
        counts
    }

    /// The single limit that goes first most often among the draws that cross by these hours: within the most frequent
    /// kind, its most frequent line or pair of rows (`None` when no draw has crossed).
    #[must_use]
    pub fn most_often(&self, hours_h: f64) -> Option<Cause> {
        let reason = self.first_limits(hours_h).first()?.reason;
        let mut counts: Vec<CauseCount> = Vec::new();
        for draw in self.crossed[..self.count(hours_h)].iter().filter(|draw| draw.cause.reason() == reason) {
            match counts.iter_mut().find(|known| known.cause == draw.cause) {
                Some(known) => known.draws += 1,
                None => counts.push(CauseCount { cause: draw.cause, draws: 1 }),
            }
        }
        // of equal counts the first in order of causes
        counts.into_iter().max_by(|a, b| a.draws.cmp(&b.draws).then(b.cause.cmp(&a.cause))).map(|most| most.cause)
    }

    fn count(&self, hours_h: f64) -> usize {
        self.crossed.partition_point(|draw| draw.hours_h <= hours_h)
    }
}

struct CauseCount {
    cause: Cause,
    draws: usize,
}
