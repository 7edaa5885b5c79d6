//! Invented fleets with known truth, seeded.
//!
//! A [`FleetSpec`] says how many wings, of which effects, checked how often; [`FleetSpec::run`] makes a [`Simulated`]: the
//! fleet as it would have been recorded, and the [`Truth`] that made it. Deviations follow the wear model to the letter
//! (`docs/method.md`, section 4), so that a fit can be held against what was put in. Everything here is invented: the
//! models, the loft, the wings.
//!
//! ```
//! use linedrift::simulate::FleetSpec;
//!
//! let made = FleetSpec::default().wings(3).seed(7).run()?;
//! assert_eq!(made.fleet.histories().len(), 3);
//! assert_eq!(made, FleetSpec::default().wings(3).seed(7).run()?);
//! # Ok::<(), linedrift::simulate::SimulateError>(())
//! ```

mod drawing;
mod error;
mod misreading;
mod policy;
mod power;
mod spec;
mod spreads;
mod truth;
mod usage;
mod wing_run;
mod workshop;

pub use drawing::MODELS;
pub use error::SimulateError;
pub use misreading::{Misreading, MisreadingKind};
pub use policy::{Policy, PolicyComparison, PolicyRow, PolicySpec};
pub use power::{Power, PowerRow, PowerSpec};
pub use spec::FleetSpec;
pub use spreads::Spreads;
pub use truth::{
    CheckTruth, LineTruth, MaterialTimeShape, ModelRate, Rate, Restart, RowRate, Simulated, SpanRate, Truth,
    WingTruth,
};
