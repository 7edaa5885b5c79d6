//! One question asked of every wing of a fleet: in parallel, one answer per wing, in the fleet's order.
//!
//! A [`BatchJob`] is the question: [`TrimJob`], [`VetJob`], [`PlanJob`] and [`DueJob`], or one of your own. A wing that fails
//! is a [`BatchFailure`] with its reason, and the others go on. [`BatchSpec::run`] keeps all answers; [`BatchSpec::write`]
//! works part by part (so many wings each), writes each part's tables as Parquet and a manifest, and forgets them: memory is
//! that of the fleet and one part, and a run that was interrupted goes on where it stopped.
//!
//! ```
//! use linedrift::fleet::batch::{BatchSpec, TrimJob};
//! use linedrift::simulate::FleetSpec;
//!
//! let fleet = FleetSpec::default().wings(4).seed(7).run()?.fleet;
//! let batch = BatchSpec::default().run(&fleet, &TrimJob::default(), &|_| std::ops::ControlFlow::Continue(()))?;
//! assert_eq!(batch.answers.len() + batch.failures.len() + batch.without, 4);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod choice;
mod chosen;
mod due_job;
mod error;
mod fingerprint;
mod job;
mod manifest;
mod part;
mod plan_job;
mod run;
mod trim_job;
mod vet_job;
mod write;

pub use choice::{CheckChoice, ChoiceError, known_wing, one_wing};
pub use chosen::{ChosenCheck, latest_checks};
pub use due_job::{DueJob, WearSource};
pub use error::BatchError;
pub(super) use fingerprint::Fingerprint;
pub(super) use job::FAILURES;
pub use job::{BatchFailure, BatchJob, CheckJob};
pub use plan_job::PlanJob;
pub use run::{Batch, BatchProgress, BatchSpec, BatchWatch, EarlierParts, Watch};
pub use trim_job::{Judged, JudgedCheck, TrimJob};
pub use vet_job::VetJob;
pub use write::PartsWritten;
