//! What a plan is to reach.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::wing::UnknownName;

/// What a plan is to reach. Each has its own best plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Aim {
    /// Every line in, with the least work.
    Work,
    /// The best trim: incidence, the difference of the sides, and rows that agree.
    Trim,
    /// Back to the maker's table.
    Table,
}

/// What the parts of the objective weigh for an aim.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Weights {
    /// Times the price of every action.
    pub(super) price: f64,
    /// Price of a degree of incidence past its uncertainty.
    pub(super) incidence_per_deg: f64,
    /// Price of a degree between the sides past its uncertainty.
    pub(super) asymmetry_per_deg: f64,
}

impl Aim {
    /// All aims.
    pub const ALL: [Aim; 3] = [Aim::Work, Aim::Trim, Aim::Table];

    /// `work`, `trim` or `table`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Aim::Work => "work",
            Aim::Trim => "trim",
            Aim::Table => "table",
        }
    }

    /// The aim in words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Aim::Work => "least work that brings the lines in",
            Aim::Trim => "best trim",
            Aim::Table => "back to the maker's table",
        }
    }

    /// A tenth of a degree between the sides weighs as one action; for the best trim a fiftieth, of incidence too, and
    /// actions weigh half as much.
    pub(super) const fn weights(self) -> Weights {
        match self {
            Aim::Work => Weights { price: 1.0, incidence_per_deg: 0.0, asymmetry_per_deg: 20.0 },
            Aim::Trim => Weights { price: 0.5, incidence_per_deg: 100.0, asymmetry_per_deg: 100.0 },
            Aim::Table => Weights { price: 0.5, incidence_per_deg: 0.0, asymmetry_per_deg: 20.0 },
        }
    }
}

impl fmt::Display for Aim {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

impl FromStr for Aim {
    type Err = UnknownName;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let expected = "work, trim, table";
        Aim::ALL
            .into_iter()
            .find(|aim| aim.name() == text)
            .ok_or_else(|| UnknownName { got: text.to_owned(), expected })
    }
}
