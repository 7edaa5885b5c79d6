//! The one integration-test binary.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::float_cmp, missing_docs)]

#[cfg(feature = "frames")]
mod fleet_damaged;
#[cfg(feature = "frames")]
mod fleet_read;
