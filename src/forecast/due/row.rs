//! The next check of one wing, as reported.

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

/// What a forecast rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Basis {
    /// The fleet's model and this wing's own checks.
    History,
    /// The fleet's model alone: the wing has no usable check.
    Fleet,
    /// The line through this wing's own points.
    Own,
    /// The interval alone.
    Interval,
}

/// What makes the check due.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Reason {
    /// The interval in hours or months.
    Interval,
    /// A single line against its tolerance.
    Line,
    /// The difference of two rows.
    RowDifference,
    /// The incidence change.
    Incidence,
    /// Left less right: the mean of a row, or the incidence.
    LeftRight,
    /// The incidence change from the centre to the tips.
    Twist,
    /// The brake row.
    Brake,
    /// The common offset.
    Offset,
    /// A limit is already crossed with the accepted risk.
    AlreadyOver,
    /// Something happened to the wing that asks for a check.
    Event,
}

impl Basis {
    /// The name used in documents: `history`, `fleet`, `own`, `interval`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Basis::History => "history",
            Basis::Fleet => "fleet",
            Basis::Own => "own",
            Basis::Interval => "interval",
        }
    }
}

impl Reason {
    /// The name used in documents: `interval`, `line`, `row-difference`, `incidence`, `left-right`, `twist`,
    /// `brake`, `offset`, `already-over`, `event`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Reason::Interval => "interval",
            Reason::Line => "line",
            Reason::RowDifference => "row-difference",
            Reason::Incidence => "incidence",
            Reason::LeftRight => "left-right",
            Reason::Twist => "twist",
            Reason::Brake => "brake",
            Reason::Offset => "offset",
            Reason::AlreadyOver => "already-over",
            Reason::Event => "event",
        }
    }
}

/// Hours flown at the first crossing of any limit; `None` past the horizon.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CrossingHours {
    /// 10 % quantile, h.
    pub p10: Option<f64>,
    /// Median, h.
    pub p50: Option<f64>,
    /// 90 % quantile, h.
    pub p90: Option<f64>,
}

/// The next check of one wing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DueRow {
    /// Wing id.
    pub wing: String,
    /// Model name.
    pub model: String,
    /// What the forecast rests on.
    pub basis: Basis,
    /// Hours at the last check, h.
    pub hours_now: f64,
    /// Hours at which the next check is due, h.
    pub due_hours: f64,
    /// The day that is expected to be; by the calendar alone where the usage is unknown (`None` only where neither says).
    pub due_date: Option<Date>,
    /// What makes it due.
    pub reason: Reason,
    /// Quantiles of the first crossing of any limit.
    pub crossing_hours: CrossingHours,
    /// Chance that a limit is crossed at the last check (`None` for a wing without a check or a forecast).
    pub risk_now: Option<f64>,
}
