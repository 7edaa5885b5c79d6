//! Fitting, choosing the time shape, and the fit as rows and documents.

pub(super) mod averaging;
pub(super) mod choice;
pub(super) mod compare;
pub(super) mod compared;
pub(super) mod misfit;
pub(super) mod outcome;
pub(super) mod results;
pub(super) mod robust;
pub(super) mod saved;
pub(super) mod scale;
pub(super) mod summary;
pub(super) mod wear_fit;
