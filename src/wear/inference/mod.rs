//! What a fit says beyond its estimates: intervals, residuals, influence, drift.

pub(super) mod bootstrap;
pub(super) mod contrast;
pub(super) mod drift;
pub(super) mod drift_series;
pub(super) mod expected_drift;
pub(super) mod frame;
pub(super) mod influence;
pub(super) mod intervals;
pub(super) mod residuals;
