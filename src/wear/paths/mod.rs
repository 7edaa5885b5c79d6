//! The true paths of a wing's lines: their joint distribution, draws of it, predictions.

pub(super) mod draws;
mod parted;
pub(super) mod posterior;
pub(super) mod predict;
pub(super) mod sampler;
pub(super) mod wing_model;
