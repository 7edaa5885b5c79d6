//! Readings to exact integer sums: what a fit rests on, kept small, added up in parts.

pub(super) mod counts;
pub(super) mod levels;
pub(super) mod line_sums;
pub(super) mod merge;
pub(super) mod part;
pub(super) mod reduction;
pub(super) mod reduction_read;
pub(super) mod restarts;
pub(super) mod seen;
pub(super) mod thinning;
