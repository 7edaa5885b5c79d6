//! How lines age: exposure by material and row, the wear model and its fit.
//!
//! [`WearSpec`] fits the model of `docs/method.md` to a [`crate::check::Fleet`]: every line's deviation is a fixed offset, a
//! rate for each material in each row times the metres of that material in the line's path and the time shape, a span
//! term per row, and the spreads of wings, checks and lines. Rates are mm per metre of line over the first 100 h, negative
//! for shrinkage. The readings are reduced once ([`Reduction`]) to exact integer sums, then to one block per wing; the fit
//! never looks at a reading again.

mod fit;
mod inference;
mod model;
mod paths;
mod reduce;

#[cfg(feature = "frames")]
pub(crate) use reduce::line_sums::{LineSum, micrometres};

pub use fit::compare::LikelihoodRatio;
pub use fit::compared::{Alternative, ComparedModel};
pub use fit::outcome::{Diagnostic, SpreadRow, TermRow};
pub use fit::results::{WearResults, WearResultsDocument};
pub use fit::robust::{DownWeighted, HuberRule, RobustWear};
pub use fit::saved::{DemoFit, SavedFit, SavedFitError};
pub use fit::scale::{ScaleInterval, ShapeChoice, ShapeComparison};
pub use fit::summary::WearDocument;
pub use fit::wear_fit::{AveragedShape, ModelChoice, RowDrift, WearFit};
pub use inference::bootstrap::{Bootstrap, BootstrapSpec};
pub use inference::contrast::{ContrastSpec, Pairs, WearContrast, WearContrasts};
pub use inference::drift::DriftRow;
pub use inference::drift_series::{DriftPoint, DriftSeries, DriftStation, measured_drift};
pub use inference::expected_drift::expected_drift;
pub use inference::frame::{DesignEntry, FrameRow, RandomEffectRow, TermDraws, WearFrame};
pub use inference::influence::{FleetInfluence, WingInfluence};
pub use inference::intervals::{IntervalMethod, IntervalRow, ProfileCurve};
pub use inference::residuals::{ResidualLevel, ResidualRow};
pub use model::error::WearError;
pub use model::random::RandomTerms;
pub use model::shape::Shape;
pub use model::spec::{OffsetOption, TermsOption, WearSpec, WingEffects};
pub use paths::draws::{DrawNoise, LineKey, PathDraws};
pub use paths::posterior::{PathFunctional, PathMoments, PathPosterior};
pub use paths::predict::{LineAt, PredictSpec, PredictionRow, UnseenPolicy};
pub(crate) use paths::sampler::{BlockDraws, FixedDraws, PathBlock, PathScratch, WingSampler};
pub use reduce::merge::{MergeError, Merged, RepeatedLine};
#[cfg(feature = "frames")]
pub(crate) use reduce::part::MAGIC as PART_MAGIC;
pub use reduce::part::{PartError, ReductionPart};
pub use reduce::reduction::{Reduction, WingReduction};
