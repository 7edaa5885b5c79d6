//! How the next check of a wing is found.

use jiff::civil::Date;

use super::service::{ServiceInterval, ServiceRules};
use crate::forecast::{CrossingSpec, ForecastError, LimitsTable, UsageSpec};
use crate::wear::PathDraws;

/// Draws of a wing's line paths, and what they rest on.
#[derive(Debug, Clone, Copy)]
pub enum LinePaths<'a> {
    /// From the wear model of the fleet (and the wing's own checks, where the draws say so).
    Fit(&'a PathDraws),
    /// From the wing's own points alone.
    Own(&'a PathDraws),
    /// There are none: only the interval speaks.
    None(WhyNone),
}

/// Why there are no draws of a wing's paths.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WhyNone {
    /// Too few wings for a fleet's model, and too few checks of this one.
    FewWings,
    /// No wear could be fitted to the fleet: nothing varies, or there is too little of it.
    NoFit,
    /// A new wing with a material in a row that no wing of the fleet has been measured with.
    NeverMeasured,
    /// A saved fit on too few wings, and too few checks of this one.
    FitFewWings,
    /// The last check cannot be judged: its datum is wrong, say.
    NotJudged,
    /// A material in a row that the saved fit has no rate for, and too few checks of this wing.
    NotInFit,
}

/// Finds when a wing must be checked next.
///
/// | setting | default | why |
/// |---|---|---|
/// | `risk` | 0.10 | our default: the accepted chance that a limit is crossed before the check |
/// | `horizon_h` | 1,000 h ahead | a wing seldom flies longer |
/// | `draws` | 4,000 at most | a risk of 10 % is then known to ±0.5 points (one standard error) |
/// | `seed` | 1 | results reproduce |
/// | `limits` | [`Limits::default`](crate::forecast::Limits) for every model | see there |
/// | `interval_h`, `interval_months` | 100 h or 24 months where the maker gives none | practice |
/// | `rules` | [`ServiceRules::default`] | see there |
/// | `today` | the day of the wing's last check | results reproduce; only dates, and what is said of today, depend on it |
/// | `seen_until_h` | not known | past the hours of any check, the explanation says that the forecast extrapolates |
///
/// *The present first.* A wing with a check that is over a limit is due now: where the chance of it reaches `risk` by the
/// forecast (without one: by that check alone), or where the check alone makes it more likely than not.
///
/// Else the due hours are the earliest of three: the hours at which the chance that any limit is crossed reaches `risk`, the
/// interval since the last check, and what something that happened since asks for. Each figure of the interval is the earliest
/// of the maker's, the workshop's, that of the wing's class of use and the wing's own; a wing's own counts where it is longer
/// only if the rules say so. Hours on the ground wear lines too: with `ground_share` of them per hour flown, so much fewer
/// hours may be flown. Months become hours by the wing's usage where it is known, and bind the calendar always.
///
/// ```
/// use linedrift::DueSpec;
/// use linedrift::WearSpec;
/// use linedrift::simulate::FleetSpec;
///
/// let fleet = FleetSpec::default().wings(8).seed(7).run()?.fleet;
/// let fit = WearSpec::default().fit(&fleet)?;
/// let due = DueSpec::default().risk(0.05).draws(500).run(&fleet, &fit)?;
/// let row = due.wing("W05").ok_or("no such wing")?;
/// println!("due at {:.0} h: {}", row.due_hours, row.reason.name());
/// println!("{}", due.explanation("W05").unwrap_or_default());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct DueSpec {
    pub(super) risk: f64,
    draws: usize,
    seed: u64,
    pub(super) crossing: CrossingSpec,
    pub(super) limits: LimitsTable,
    pub(super) rules: ServiceRules,
    usage: UsageSpec,
    pub(super) today: Option<Date>,
    pub(super) seen_until_h: Option<f64>,
}

impl Default for DueSpec {
    fn default() -> Self {
        Self {
            risk: 0.1,
            draws: 4000,
            seed: 1,
            crossing: CrossingSpec::default(),
            limits: LimitsTable::default(),
            rules: ServiceRules::default(),
            usage: UsageSpec::default(),
            today: None,
            seen_until_h: None,
        }
    }
}

impl DueSpec {
    /// Sets the accepted chance that a limit is crossed before the next check, above 0 and below 1.
    #[must_use]
    pub const fn risk(mut self, risk: f64) -> Self {
        self.risk = risk;
        self
    }

    /// Sets how many hours ahead to look, h.
    #[must_use]
    pub const fn horizon_h(mut self, horizon_h: f64) -> Self {
        self.crossing = self.crossing.horizon_h(horizon_h);
        self
    }

    /// Sets the number of draws of a wing, at most.
    #[must_use]
    pub const fn draws(mut self, draws: usize) -> Self {
        self.draws = draws;
        self
    }

    /// Sets the seed of the draws.
    #[must_use]
    pub const fn seed(mut self, seed: u64) -> Self {
        self.seed = seed;
        self
    }

    /// Sets the limits: one set for all models, or a table with some models' own.
    #[must_use]
    pub fn limits(mut self, limits: impl Into<LimitsTable>) -> Self {
        self.limits = limits.into();
        self
    }

    /// Sets the workshop's own interval in hours flown, h.
    #[must_use]
    pub fn interval_h(mut self, interval_h: f64) -> Self {
        let workshop = ServiceInterval { interval_h: Some(interval_h), ..self.rules.of_workshop() };
        self.rules = self.rules.workshop(workshop);
        self
    }

    /// Sets the workshop's own interval in months.
    #[must_use]
    pub fn interval_months(mut self, interval_months: f64) -> Self {
        let workshop = ServiceInterval { interval_months: Some(interval_months), ..self.rules.of_workshop() };
        self.rules = self.rules.workshop(workshop);
        self
    }

    setters! {
        /// Sets the rules of intervals, classes of use and events.
        rules: ServiceRules;
    }

    /// Sets how usage is estimated.
    #[must_use]
    pub const fn usage(mut self, usage: UsageSpec) -> Self {
        self.usage = usage;
        self
    }

    /// Sets the day on which a wing that is due now is due. No hours, risks or order depend on it.
    #[must_use]
    pub const fn today(mut self, today: Date) -> Self {
        self.today = Some(today);
        self
    }

    /// Sets the most hours at which any wing of the fleet has been checked, h.
    #[must_use]
    pub const fn seen_until_h(mut self, hours_h: f64) -> Self {
        self.seen_until_h = Some(hours_h);
        self
    }

    /// The limits of a model.
    #[must_use]
    pub(crate) fn limits_of(&self, model: &str) -> &crate::forecast::Limits {
        self.limits.of(model)
    }

    /// The accepted risk.
    #[must_use]
    pub const fn accepted_risk(&self) -> f64 {
        self.risk
    }

    /// The number of draws asked for.
    #[must_use]
    pub const fn draw_count(&self) -> usize {
        self.draws
    }

    /// The seed asked for.
    #[must_use]
    pub const fn draw_seed(&self) -> u64 {
        self.seed
    }

    /// How usage is estimated.
    #[must_use]
    pub const fn usage_spec(&self) -> UsageSpec {
        self.usage
    }

    /// Checks that every setting and limit is in its range.
    ///
    /// # Errors
    /// [`ForecastError`] with the first that is not.
    pub fn validate(&self) -> Result<(), ForecastError> {
        if !(self.risk > 0.0 && self.risk < 1.0) {
            return Err(ForecastError::Risk { value: self.risk });
        }
        if self.draws == 0 {
            return Err(ForecastError::Draws { what: "draws", got: 0, expected: 1 });
        }
        self.rules.validate()?;
        self.limits.validate()?;
        self.crossing.validate()
    }

    /// The same spec, with these hours as the most seen unless it has its own.
    pub(in crate::forecast) fn seen_until_or(mut self, hours_h: f64) -> Self {
        self.seen_until_h = self.seen_until_h.or(Some(hours_h));
        self
    }
}
