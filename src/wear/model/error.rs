//! Why a wear model cannot be fitted or used.

use thiserror::Error;

use crate::stats::mixed::MixedError;

/// Why the wear model could not be fitted.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum WearError {
    /// No wing has a reading.
    #[error("no wing of the fleet has a reading: nothing to fit")]
    NoReadings,
    /// A wing lacks a covariate.
    #[error("wing `{wing}` has no finite value of covariate `{covariate}`")]
    Covariate {
        /// The wing.
        wing: String,
        /// The covariate.
        covariate: String,
    },
    /// A covariate that the readings were not reduced for.
    #[error("the reduction has no covariate `{covariate}`: reduce the fleet with it")]
    NotReduced {
        /// The covariate.
        covariate: String,
    },
    /// A time scale that is not a positive number.
    #[error("the scale of the time shape is {got} h, it must be a positive number")]
    Scale {
        /// The scale given.
        got: f64,
    },
    /// A reduction that is not the one that was fitted.
    #[error(
        "the reduction has {readings} readings of {wings} wings, the fit {fitted_readings} of {fitted_wings}: bring the one \
         that was fitted"
    )]
    OtherReduction {
        /// Readings of the reduction.
        readings: usize,
        /// Its wings.
        wings: usize,
        /// Readings of the fit.
        fitted_readings: usize,
        /// Its wings.
        fitted_wings: usize,
    },
    /// Too few simulated sets could be fitted.
    #[error("of {replicates} simulated sets only {fitted} could be fitted: the model asks too much of this design")]
    Bootstrap {
        /// Sets fitted.
        fitted: usize,
        /// Sets simulated.
        replicates: usize,
    },
    /// A wing that is not among those fitted.
    #[error("no wing `{wing}` is among those fitted")]
    NoWing {
        /// The wing.
        wing: String,
    },
    /// A line or a wing that the fit has never seen, where that was to be refused.
    #[error("{what}: the fit has never seen it")]
    Unseen {
        /// What was not seen.
        what: String,
    },
    /// A robust fit's tuning below 1.
    #[error("the tuning of the robust fit is {got}, it must be 1 standard deviation or more")]
    Tuning {
        /// The tuning given.
        got: f64,
    },
    /// A level of intervals that is not within 0 and 1.
    #[error("the level of the intervals is {got}, it must lie between 0 and 1")]
    Level {
        /// The level given.
        got: f64,
    },
    /// Two models of which neither contains the other.
    #[error(
        "`{term}` of the smaller model is not in the larger one: a likelihood-ratio test needs one model within the other"
    )]
    NotNested {
        /// A term or spread that only the smaller model has.
        term: String,
    },
    /// Noise that has fewer columns than a wing's draws need.
    #[error("wing `{wing}` needs noise of {shared} shared columns and {lines} lines: make it with `draw_noise`")]
    Noise {
        /// The wing.
        wing: String,
        /// Shared columns needed.
        shared: usize,
        /// Columns of lines needed.
        lines: usize,
    },
    /// A change of the model that is not known.
    #[error(
        "no such change of the model: `{change}`. Known are terms=rate|rate+span, wing-effects=rate|rate+row, \
         offsets=common|model+row, shape=linear|log|saturating|auto, scale-h=HOURS, covariate=NAME and no-covariates"
    )]
    Change {
        /// The change as it was written.
        change: String,
    },
    /// A contrast that the fit cannot answer.
    #[error("contrast `{contrast}`: {what}")]
    Contrast {
        /// The contrast as it was asked.
        contrast: String,
        /// What is wrong with it.
        what: String,
    },
    /// The model cannot be fitted to these readings.
    #[error("the wear model cannot be fitted: {source}")]
    Fit {
        /// Why.
        #[from]
        source: MixedError,
    },
}

impl WearError {
    /// Whether the readings are too few or too alike for any fit, so that wings have their present state and their interval, and no
    /// forecast.
    #[must_use]
    pub const fn leaves_no_fit(&self) -> bool {
        matches!(self, WearError::NoReadings | WearError::Fit { .. })
    }
}
