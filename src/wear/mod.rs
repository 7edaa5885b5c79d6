//! How lines age: exposure by material and row, the wear model and its fit.
//!
//! [`WearSpec`] fits the model of `docs/method.md` to a [`crate::check::Fleet`]: every line's deviation is a fixed offset, a
//! rate for each material in each row times the metres of that material in the line's path and the time shape, a span
//! term per row, and the spreads of wings, checks and lines. Rates are mm per metre of line over the first 100 h, negative
//! for shrinkage. The readings are reduced once ([`Reduction`]) to exact integer sums, then to one block per wing; the fit
//! never looks at a reading again.

mod draws;
mod fit;
mod layout;
mod merge;
mod outcome;
mod paths;
mod posterior;
mod reduction;
mod restarts;
mod saved;
mod scale;
mod shape;
mod spec;
mod summary;

pub use draws::{DrawNoise, LineKey, PathDraws};
pub use fit::{RowDrift, WearFit};
pub use merge::MergeError;
pub use outcome::{Diagnostic, SpreadRow, TermRow};
pub use posterior::{PathFunctional, PathMoments, PathPosterior};
pub use reduction::{Reduction, WingReduction};
pub use saved::{DemoFit, SavedFit, SavedFitError};
pub use scale::{ScaleInterval, ShapeChoice, ShapeComparison};
pub use shape::Shape;
pub use spec::{TermsOption, WearError, WearSpec, WingEffects};
pub use summary::WearDocument;
