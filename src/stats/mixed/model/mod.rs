//! Mixed models of anyone's data: a table of named columns in, everything that is usually asked of such a fit out.
//!
//! There is no formula language: fixed terms are named columns or products of them (`age:Sex`), random terms a grouping column
//! and the effects that differ between its levels (`1`, `Days`). Groupings may be nested or crossed; rows that share no level
//! are independent blocks, and of several groupings the one with most levels is eliminated first, so that large designs stay
//! small. Text columns are coded against their first level in alphabetical order, as is usual elsewhere.

mod bootstrap;
mod coding;
mod design;
mod effects;
mod error;
mod fit;
mod inference;
mod predict;
mod spec;
mod summary;
mod table;

pub use bootstrap::{BootstrapRow, ModelBootstrap};
pub use effects::EffectRow;
pub use error::ModelError;
pub use fit::{CoefficientRow, MixedModelFit};
pub use inference::{JointTest, ModelRatio};
pub use predict::PredictedRow;
pub use spec::MixedModelSpec;
pub use table::DataTable;
