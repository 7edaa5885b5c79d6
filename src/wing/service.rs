//! How a wing is used and looked after, beside its checks.

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

/// How a wing is used and looked after. The fields are those of the `wings` and `events` tables; `None` is an empty cell.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Service {
    /// Class of use, such as `school`.
    pub class_of_use: Option<String>,
    /// Hours of ground handling per hour flown.
    pub ground_share: Option<f64>,
    /// The longest time between full inspections, hours flown.
    pub inspection_h: Option<f64>,
    /// The longest time between full inspections, calendar months.
    pub inspection_months: Option<f64>,
    /// Day of the last full inspection.
    pub inspected: Option<Date>,
    /// Hours flown since new at that inspection.
    pub inspected_h: Option<f64>,
    /// What happened to it.
    pub events: Vec<WingEvent>,
}

/// Something that happened to a wing and may ask for a check, such as a landing in a tree.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WingEvent {
    /// Day.
    pub date: Date,
    /// Kind, such as `tree`.
    pub event: String,
    /// Hours flown since new, where known, h.
    pub hours_h: Option<f64>,
}

impl Service {
    /// Whether nothing is known.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }
}
