//! What the draws of a wing say, as its next check needs it.

use crate::forecast::{Cause, CauseShare, CrossingHours, FirstCrossing, RiskHours};

/// What the draws say.
#[derive(Debug, Clone)]
pub(super) struct Outlook {
    pub(super) crossing: FirstCrossing,
    pub(super) risk_now: f64,
    pub(super) quantiles: CrossingHours,
    pub(super) at_risk: RiskHours,
    pub(super) cause: Option<Cause>,
    pub(super) shares: Vec<CauseShare>,
}

impl Outlook {
    pub(super) fn new(crossing: FirstCrossing, risk: f64, interval_due_h: f64) -> Self {
        let at_risk = crossing.hours_at_risk(risk);
        let until_h = at_risk.hours_h.unwrap_or(f64::INFINITY).min(interval_due_h);
        Self {
            risk_now: crossing.risk_now(),
            quantiles: crossing.quantiles(),
            at_risk,
            cause: crossing.most_often(until_h),
            shares: crossing.first_limits(until_h),
            crossing,
        }
    }
}
