//! What bears on when a wing is checked besides its lines: intervals, classes of use, and what happened to it.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::forecast::ForecastError;
use crate::forecast::error::positive;

/// Interval between checks in hours flown, h (common practice).
pub(super) const PRACTICE_H: f64 = 100.0;
/// The same in months (common practice).
pub(super) const PRACTICE_MONTHS: f64 = 24.0;

/// An interval, whichever of its figures comes first; what is left out says nothing.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct ServiceInterval {
    /// Between checks of the trim (lengths only), hours flown, h.
    pub interval_h: Option<f64>,
    /// The same, months.
    pub interval_months: Option<f64>,
    /// Between full inspections (lengths, line strength, cloth), hours flown, h.
    pub inspection_h: Option<f64>,
    /// The same, months.
    pub inspection_months: Option<f64>,
}

/// What an event asks for: a check within so many hours or months of it; 0 is before the next flight.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct EventRule {
    /// Hours flown since the event, h.
    pub within_h: Option<f64>,
    /// Months since the event.
    pub within_months: Option<f64>,
}

/// Rules of a workshop: its own intervals, those of classes of use, and what events ask for.
///
/// | rule | default | why |
/// |---|---|---|
/// | the workshop's own intervals | none: 100 h or 24 months where the maker gives none | practice |
/// | `use.private` | none of its own | |
/// | `use.school`, `use.tandem` | 12 months | practice |
/// | `use.competition` | 12 months | our default |
/// | `event.tree`, `event.water`, `event.strong_load` | before the next flight | practice |
/// | `event.sand` | within 25 h | our default |
/// | `event.line_replaced` | within 10 h, when the new line has settled | our default |
///
/// As a file (TOML): `interval_h`, `interval_months`, `inspection_h`, `inspection_months` at the top, a table `[use.NAME]` of
/// the same keys per class of use, and a table `[event.NAME]` of `within_h` and `within_months` per kind of event. A rule in
/// the file takes the place of the default of its name.
///
/// ```
/// use linedrift::forecast::ServiceRules;
///
/// let rules = ServiceRules::from_toml("interval_h = 80\n[use.school]\ninterval_months = 6\n")?;
/// assert_eq!(rules.of_use("school").and_then(|rule| rule.interval_months), Some(6.0));
/// assert_eq!(rules.of_event("tree").and_then(|rule| rule.within_h), Some(0.0));
/// # Ok::<(), linedrift::forecast::ForecastError>(())
/// ```
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ServiceRules {
    workshop: ServiceInterval,
    uses: BTreeMap<String, ServiceInterval>,
    events: BTreeMap<String, EventRule>,
    longer: OwnInterval,
}

/// Whether a wing's own interval may be longer than its maker's and the workshop's.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum OwnInterval {
    /// The earliest of all counts.
    #[default]
    NeverLonger,
    /// The wing's own counts even where it is longer; that is said.
    MayBeLonger,
}

/// A file of rules.
#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
struct RulesFile {
    interval_h: Option<f64>,
    interval_months: Option<f64>,
    inspection_h: Option<f64>,
    inspection_months: Option<f64>,
    r#use: BTreeMap<String, ServiceInterval>,
    event: BTreeMap<String, EventRule>,
}

impl Default for ServiceRules {
    fn default() -> Self {
        let yearly = ServiceInterval { interval_months: Some(12.0), ..ServiceInterval::default() };
        let uses = [
            ("private", ServiceInterval::default()),
            ("school", yearly),
            ("tandem", yearly),
            ("competition", yearly),
        ];
        let within = |hours| EventRule { within_h: Some(hours), within_months: None };
        let events = [("tree", 0.0), ("water", 0.0), ("strong_load", 0.0), ("sand", 25.0), ("line_replaced", 10.0)];
        Self {
            workshop: ServiceInterval::default(),
            uses: uses.into_iter().map(|(name, rule)| (name.to_owned(), rule)).collect(),
            events: events.into_iter().map(|(name, hours)| (name.to_owned(), within(hours))).collect(),
            longer: OwnInterval::NeverLonger,
        }
    }
}

impl ServiceRules {
    /// Reads a file of rules.
    ///
    /// # Errors
    /// [`ForecastError::Rules`] for text that is not TOML, a key that is not known, or a figure that cannot be.
    pub fn from_toml(text: &str) -> Result<Self, ForecastError> {
        let file: RulesFile = toml::from_str(text)
            .map_err(|error| ForecastError::Rules { what: error.to_string().trim().to_owned() })?;
        let mut rules = Self::default().workshop(ServiceInterval {
            interval_h: file.interval_h,
            interval_months: file.interval_months,
            inspection_h: file.inspection_h,
            inspection_months: file.inspection_months,
        });
        rules.uses.extend(file.r#use);
        rules.events.extend(file.event);
        rules.validate()?;
        Ok(rules)
    }

    /// Sets the workshop's own intervals.
    #[must_use]
    pub const fn workshop(mut self, workshop: ServiceInterval) -> Self {
        self.workshop = workshop;
        self
    }

    /// Sets whether a wing's own interval may be longer than the others.
    #[must_use]
    pub const fn own_interval(mut self, longer: OwnInterval) -> Self {
        self.longer = longer;
        self
    }

    /// Sets the rule of a class of use.
    #[must_use]
    pub fn with_use(mut self, class: &str, rule: ServiceInterval) -> Self {
        self.uses.insert(class.to_owned(), rule);
        self
    }

    /// Sets the rule of a kind of event.
    #[must_use]
    pub fn with_event(mut self, event: &str, rule: EventRule) -> Self {
        self.events.insert(event.to_owned(), rule);
        self
    }

    /// The workshop's own intervals.
    #[must_use]
    pub(crate) const fn of_workshop(&self) -> ServiceInterval {
        self.workshop
    }

    /// Whether a wing's own interval may be longer.
    #[must_use]
    pub const fn longer(&self) -> OwnInterval {
        self.longer
    }

    /// The rule of a class of use (`None`: no such class).
    #[must_use]
    pub fn of_use(&self, class: &str) -> Option<ServiceInterval> {
        self.uses.get(class).copied()
    }

    /// The rule of a kind of event (`None`: no such kind).
    #[must_use]
    pub fn of_event(&self, event: &str) -> Option<EventRule> {
        self.events.get(event).copied()
    }

    /// Names of the classes of use.
    pub fn uses(&self) -> impl Iterator<Item = &str> {
        self.uses.keys().map(String::as_str)
    }

    /// Names of the kinds of event.
    pub fn events(&self) -> impl Iterator<Item = &str> {
        self.events.keys().map(String::as_str)
    }

    /// Checks that every figure can be.
    ///
    /// # Errors
    /// [`ForecastError::NotPositive`] for an interval that is not above 0, [`ForecastError::Hours`] for an event's figure below 0.
    pub fn validate(&self) -> Result<(), ForecastError> {
        for rule in self.uses.values().chain([&self.workshop]) {
            let figures = [
                ("interval_h", rule.interval_h),
                ("interval_months", rule.interval_months),
                ("inspection_h", rule.inspection_h),
                ("inspection_months", rule.inspection_months),
            ];
            for (what, value) in figures {
                value.map_or(Ok(0.0), |value| positive(what, value))?;
            }
        }
        for rule in self.events.values() {
            for (what, value) in [("within_h", rule.within_h), ("within_months", rule.within_months)] {
                if let Some(value) = value.filter(|value| !(value.is_finite() && *value >= 0.0)) {
                    return Err(ForecastError::Hours { what, value });
                }
            }
        }
        Ok(())
    }
}
