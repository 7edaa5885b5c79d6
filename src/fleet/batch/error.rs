//! Why a batch gave nothing.

use std::path::PathBuf;

use thiserror::Error;

use super::ChoiceError;
use crate::fleet::FleetWriteError;

/// Why a batch stopped. A single wing that fails is no such reason.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum BatchError {
    /// Stopped from outside before it was done.
    #[error("stopped after {done} of {wings} wings")]
    Stopped {
        /// Wings done (in parts: in parts that are written).
        done: usize,
        /// Wings to do.
        wings: usize,
    },
    /// What is meant is not there.
    #[error(transparent)]
    Choice(#[from] ChoiceError),
    /// A part may not have so many wings.
    #[error("wings_per_part is {got}, expected 1 or more")]
    WingsPerPart {
        /// What was asked for.
        got: usize,
    },
    /// The folder holds parts of another run.
    #[error("`{}` holds parts of another run: {what} differs. Start again (the old parts are then removed), or name another folder", folder.display())]
    OtherRun {
        /// The folder.
        folder: PathBuf,
        /// What differs.
        what: String,
    },
    /// The manifest cannot be understood.
    #[error("`{}` is no manifest of parts: {why}. Start again (the old parts are then removed), or name another folder", path.display())]
    Manifest {
        /// The file.
        path: PathBuf,
        /// Why.
        why: String,
    },
    /// A file or folder could not be written or read, or another process works in the folder.
    #[error(transparent)]
    Write(#[from] FleetWriteError),
}
