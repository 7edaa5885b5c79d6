//! The model: its options, its columns, its time shapes.

pub(super) mod error;
pub(super) mod layout;
pub(super) mod random;
pub(super) mod shape;
pub(super) mod spec;
pub(super) mod time_basis;
