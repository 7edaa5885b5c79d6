//! When a path first crosses a limit: draw by draw, and in closed form for a single limit.

mod first;
mod incidence;
mod layout;
mod linear;
mod middle_seeker;
pub(in crate::forecast) mod pass;
mod passage;
mod spec;
mod wiener;

pub use first::{Cause, CauseShare, CrossingDraw, FirstCrossing, RiskHours};
pub use incidence::{incidence_weights, left_right_weights, mean_chord_mm, twist_weights};
pub(in crate::forecast) use layout::OverNow;
pub(in crate::forecast) use linear::Linear;
pub use passage::{GaussianPath, SlopePassage};
pub use spec::CrossingSpec;
pub use wiener::WienerPassage;
