//! Which checks of a fleet are meant.

use thiserror::Error;

use super::ChosenCheck;
use crate::check::{Fleet, History};

/// Which checks of a fleet are meant.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub enum CheckChoice {
    /// Each wing's latest check with readings.
    #[default]
    Latest,
    /// The latest check with readings of this wing.
    OfWing(String),
    /// This check.
    Check(String),
}

/// What is meant is not there, or not told apart.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum ChoiceError {
    /// No check has this id.
    #[error("the fleet has no check `{check}`")]
    NoCheck {
        /// The id.
        check: String,
    },
    /// No wing has this id.
    #[error("the fleet has no wing `{wing}`")]
    NoWing {
        /// The id.
        wing: String,
    },
    /// One wing is wanted of several.
    #[error("the fleet has {wings} wings: name one")]
    SeveralWings {
        /// How many.
        wings: usize,
    },
    /// One check is wanted of several wings.
    #[error("the fleet has {wings} wings: name one, or a check")]
    SeveralChecks {
        /// How many wings.
        wings: usize,
    },
    /// There is no check with readings.
    #[error("no check with readings was found")]
    NoReadings,
    /// There is no wing.
    #[error("the fleet has no wing")]
    Empty,
}

impl CheckChoice {
    /// The checks, in the fleet's order.
    ///
    /// # Errors
    /// [`ChoiceError`] when the fleet has no such wing or check.
    pub fn checks<'a>(&self, fleet: &'a Fleet) -> Result<Vec<ChosenCheck<'a>>, ChoiceError> {
        let histories = fleet.histories();
        match self {
            Self::Latest => Ok(histories.iter().filter_map(ChosenCheck::latest).collect()),
            Self::OfWing(wing) => Ok(ChosenCheck::latest(known_wing(fleet, wing)?).into_iter().collect()),
            Self::Check(check) => {
                let found = histories.iter().find_map(|history| ChosenCheck::named(history, check));
                found.map(|one| vec![one]).ok_or_else(|| ChoiceError::NoCheck { check: check.clone() })
            }
        }
    }

    /// The one check that is meant; without a choice, the latest of the fleet's only wing.
    ///
    /// # Errors
    /// [`ChoiceError`] when there is none, or the fleet has several wings and none is named.
    pub fn one<'a>(&self, fleet: &'a Fleet) -> Result<ChosenCheck<'a>, ChoiceError> {
        match fleet.histories().len() {
            wings @ 2.. if *self == Self::Latest => Err(ChoiceError::SeveralChecks { wings }),
            _ => self.checks(fleet)?.into_iter().next().ok_or(ChoiceError::NoReadings),
        }
    }

    /// The wing that is meant, where it is one.
    #[must_use]
    pub fn wing<'a>(&'a self, fleet: &'a Fleet) -> Option<&'a str> {
        let of_check =
            |id: &String| fleet.histories().iter().find(|history| history.checks.iter().any(|check| check.id == *id));
        match self {
            Self::Latest => None,
            Self::OfWing(wing) => Some(wing),
            Self::Check(check) => of_check(check).map(|history| history.wing.id.as_str()),
        }
    }
}

/// The wing of this id.
///
/// # Errors
/// [`ChoiceError::NoWing`] when the fleet does not have it.
pub fn known_wing<'a>(fleet: &'a Fleet, wing: &str) -> Result<&'a History, ChoiceError> {
    fleet.history(wing).ok_or_else(|| ChoiceError::NoWing { wing: wing.to_owned() })
}

/// The wing of this id; without an id, the fleet's only one.
///
/// # Errors
/// [`ChoiceError`] when there is no such wing, or several and none is named.
pub fn one_wing<'a>(fleet: &'a Fleet, wing: Option<&str>) -> Result<&'a History, ChoiceError> {
    match (wing, fleet.histories()) {
        (Some(id), _) => known_wing(fleet, id),
        (None, [only]) => Ok(only),
        (None, []) => Err(ChoiceError::Empty),
        (None, many) => Err(ChoiceError::SeveralWings { wings: many.len() }),
    }
}
