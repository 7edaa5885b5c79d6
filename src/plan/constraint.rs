//! What must not be done.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::wing::Side;

/// A place that must be left alone.
///
/// ```
/// use linedrift::plan::Forbidden;
/// use linedrift::Side;
/// let place: Forbidden = "AM1:left".parse()?;
/// assert_eq!((place.segment.as_str(), place.side), ("AM1", Some(Side::Left)));
/// # Ok::<(), linedrift::plan::ForbiddenError>(())
/// ```
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Forbidden {
    /// Segment name.
    pub segment: String,
    /// Side (`None`: both).
    pub side: Option<Side>,
}

/// Why a text names no place.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("`{text}` names no place: expected SEGMENT or SEGMENT:SIDE, the side left or right")]
pub struct ForbiddenError {
    /// The text.
    pub text: String,
}

impl FromStr for Forbidden {
    type Err = ForbiddenError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let fault = || ForbiddenError { text: text.to_owned() };
        let (segment, side) = match text.rsplit_once(':') {
            Some((segment, side)) => (segment, Some(side.parse::<Side>().map_err(|_| fault())?)),
            None => (text, None),
        };
        if segment.is_empty() {
            return Err(fault());
        }
        Ok(Self { segment: segment.to_owned(), side })
    }
}

impl fmt::Display for Forbidden {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.segment)?;
        self.side.map_or(Ok(()), |side| write!(f, ":{side}"))
    }
}

/// The only way in which lengths may be changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Direction {
    /// Shorter only.
    Shorten,
    /// Longer only.
    Lengthen,
}

impl Direction {
    /// As it is asked for.
    pub(super) const fn name(self) -> &'static str {
        match self {
            Direction::Shorten => "only shorten",
            Direction::Lengthen => "only lengthen",
        }
    }

    /// Whether a change goes this way.
    pub(super) fn allows(self, change_mm: f64) -> bool {
        match self {
            Direction::Shorten => change_mm <= 0.0,
            Direction::Lengthen => change_mm >= 0.0,
        }
    }
}
