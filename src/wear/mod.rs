//! How lines age: exposure by material and row, the wear model and its fit.
//!
//! [`WearSpec`] fits the model of `docs/method.md` to a [`crate::check::Fleet`]: every line's deviation is a fixed offset, a
//! rate for each material in each row times the metres of that material in the line's path and the time shape, a span
//! term per row, and the spreads of wings, checks and lines. Rates are mm per metre of line over the first 100 h, negative
//! for shrinkage. The readings are reduced once ([`Reduction`]) to exact integer sums, then to one block per wing; the fit
//! never looks at a reading again.

mod bootstrap;
mod cells;
mod compare;
mod counts;
mod draws;
mod drift;
mod drift_series;
mod expected_drift;
mod fit;
mod influence;
mod intervals;
mod layout;
mod levels;
mod merge;
mod outcome;
mod part;
mod paths;
mod posterior;
mod predict;
mod reduction;
mod reduction_read;
mod residuals;
mod restarts;
mod results;
mod robust;
mod sampler;
mod saved;
mod scale;
mod seen;
mod shape;
mod spec;
mod summary;

#[cfg(feature = "frames")]
pub(crate) use cells::{Cell as ReducedCell, micrometres};

pub use bootstrap::{Bootstrap, BootstrapSpec};
pub use compare::LikelihoodRatio;
pub use draws::{DrawNoise, LineKey, PathDraws};
pub use drift::DriftRow;
pub use drift_series::{DriftPoint, DriftSeries, DriftStation, measured_drift};
pub use expected_drift::expected_drift;
pub use fit::{RowDrift, WearFit};
pub use influence::{FleetInfluence, WingInfluence};
pub use intervals::{IntervalMethod, IntervalRow};
pub use merge::MergeError;
pub use outcome::{Diagnostic, SpreadRow, TermRow};
pub use part::{PartError, ReductionPart};
pub use posterior::{PathFunctional, PathMoments, PathPosterior};
pub use predict::{LineAt, PredictSpec, PredictionRow, UnseenPolicy};
pub use reduction::{Reduction, WingReduction};
pub use residuals::{ResidualLevel, ResidualRow};
pub use results::{WearResults, WearResultsDocument};
pub use robust::{DownWeighted, HuberRule, RobustWear};
pub(crate) use sampler::{BlockDraws, FixedDraws, PathBlock, PathScratch, WingSampler};
pub use saved::{DemoFit, SavedFit, SavedFitError};
pub use scale::{ScaleInterval, ShapeChoice, ShapeComparison};
pub use shape::Shape;
pub use spec::{OffsetOption, TermsOption, WearError, WearSpec, WingEffects};
pub use summary::WearDocument;
