//! What the lines are to be brought to.

use serde::{Deserialize, Serialize};

use crate::wing::Row;

/// What the lines are to be brought to.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[non_exhaustive]
pub enum Target {
    /// The check's common offset (median of the rows A–D), held within its own limit: a set uniformly long or short is no
    /// trim fault.
    #[default]
    Common,
    /// The maker's lengths.
    Maker,
    /// One common deviation, whichever whole millimetre within the limit of the common offset costs least.
    Free,
    /// A row trim: each named row its own deviation above the common offset; rows not named stay at the common offset.
    Rows(Vec<RowTarget>),
}

/// The trim that one row is to have.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RowTarget {
    /// Row.
    pub row: Row,
    /// Deviation above the common offset, mm.
    pub relative_mm: f64,
}

impl Target {
    /// `common`, `maker`, `free` or `rows`.
    #[must_use]
    pub const fn name(&self) -> &'static str {
        match self {
            Target::Common => "common",
            Target::Maker => "maker",
            Target::Free => "free",
            Target::Rows(_) => "rows",
        }
    }

    /// Deviation that lines of a row are to have, mm, with the common deviation aimed at.
    pub(super) fn of(&self, row: Row, common_mm: f64) -> f64 {
        match self {
            Target::Rows(rows) => {
                common_mm + rows.iter().find(|wanted| wanted.row == row).map_or(0.0, |wanted| wanted.relative_mm)
            }
            _ => common_mm,
        }
    }

    /// Whether what the whole check shares cancels in deviations from this target.
    pub(super) const fn is_relative(&self) -> bool {
        !matches!(self, Target::Maker)
    }
}
