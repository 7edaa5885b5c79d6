//! Repeatability and reproducibility: how well the readings agree, from repeats and operators.
//!
//! A *crossed* study has every operator read every line, several times each: [`GaugeSpec`] splits its variance by the
//! analysis of variance into repeatability (same operator, same line), reproducibility (operators, and operators by lines)
//! and the lines themselves; where readings are missing, [`UnbalancedGauge`] estimates the same from all there are. A *nested* study ([`NestedStudy`]) has repeats within days within runs. With one operator and
//! plain repeats, [`Repeatability`] is what can be known.

mod anova;
mod crossed;
mod gauge;
mod interval;
mod nested;
mod repeats;
mod unbalanced;

pub use anova::{AnovaRow, GaugeReading};
pub use crossed::{GaugeSpec, Interaction};
pub use gauge::{Gauge, GaugeComponent, GaugeSource, ReadingsNeeded};
pub use interval::VarianceInterval;
pub use nested::{NestedCell, NestedLevel, NestedStudy};
pub use repeats::{Repeatability, gauge_readings};
pub use unbalanced::{UnbalancedComponent, UnbalancedGauge};

use thiserror::Error;

/// Factor from a standard deviation to the repeatability limit: `1.96·√2`. Two readings of one line differ by more in one
/// case of twenty. Source: ISO 5725-6:1994 (from memory).
pub const LIMIT_FACTOR: f64 = 2.771_807_648_699_368;

/// Why a study cannot be analysed.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum GaugeError {
    /// Fewer lines, operators or repeats than the method needs.
    #[error("{got} {what}, at least {needed} are needed")]
    TooFew {
        /// What is lacking.
        what: &'static str,
        /// How many there are.
        got: usize,
        /// Least number.
        needed: usize,
    },
    /// One cell of the crossed design has another number of readings than the rest.
    #[error(
        "operator `{operator}` read `{part}` {got} times, the others {expected} times: every operator must read every line equally often"
    )]
    Unbalanced {
        /// The line.
        part: String,
        /// The operator.
        operator: String,
        /// Readings there.
        got: usize,
        /// Readings in the first cell.
        expected: usize,
    },
    /// A reading that is not a finite number.
    #[error("operator `{operator}`, `{part}`: {value} is not a finite number")]
    NotFinite {
        /// The line.
        part: String,
        /// The operator.
        operator: String,
        /// The value.
        value: f64,
    },
    /// Readings in which the components of variance cannot be told apart.
    #[error("the components of variance cannot be told apart: {reason}")]
    NoComponents {
        /// Why.
        reason: String,
    },
    /// A setting out of its range.
    #[error("{what} is {value}, expected {expected}")]
    OutOfRange {
        /// Name of the setting.
        what: &'static str,
        /// Its value.
        value: f64,
        /// What would have been right.
        expected: &'static str,
    },
}
