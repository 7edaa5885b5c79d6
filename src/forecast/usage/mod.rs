//! How much a wing flies.

pub(in crate::forecast) mod rate;

pub use rate::{ExpectedDay, FleetUsage, UsageRate, UsageSource, UsageSpec};
