//! What to adjust: the steps possible at each link, the exact search on the cascade, and what the plan should leave.
//!
//! [`PlanSpec`] says how a plan is made; [`PlanSpec::run`] gives the best [`Plan`] for one check,
//! [`PlanSpec::curve`] the best with fewer actions, [`PlanSpec::what_if`] what given actions would leave.
//! [`Plan::sequence`] is the order of work with the values to expect. After adjusting, [`Plan::achieved`] compares what was
//! predicted with what was reached, and [`LearnSpec`] learns a wing's own step sizes from such pairs.
//!
//! A correction at a segment moves every line above it. A plan minimises first the number of lines further from the target
//! than their tolerance, then `Σ w·(distance/tolerance)² + Σ price`, with w the elliptic span loading (mean 1 over the
//! known lines of A–D). Exact because the segments form trees; proven against exhaustive search and an integer programme.
//!
//! Nothing rests on what the measurement cannot tell: an action is open only where the mean distance from the target of
//! the known lines it moves (after what is corrected below it) and its own change both exceed the expanded uncertainty of
//! that mean, and where at least half of the lines it moves are known. Lines with an open finding, or too far off to be
//! drift, take no part and are listed to be measured again.

mod achieved;
mod aim;
mod case;
mod constraint;
mod coupled;
mod curve_text;
mod document;
mod error;
mod forest;
mod given;
mod groups;
mod learn;
mod learnt_fleet;
mod map;
mod need;
mod notes;
mod offered;
mod outcome;
mod places;
mod plans_text;
mod recorded;
mod run;
mod search;
mod sequence;
mod settle;
mod sides;
mod spec;
mod step;
mod target;
mod text;
mod tradeoff;

pub use achieved::{Achieved, AchievedAction, AchievedLine};
pub use aim::Aim;
pub use constraint::{Direction, Forbidden, ForbiddenError};
pub use curve_text::curve_table;
pub use document::{ActionRow, CurveRow, LineRow, PlanDocument, PlansDocument, RecordedRow, RemeasureRow, StateRow};
pub use error::PlanError;
pub use given::{GivenAction, GivenError};
pub use learn::{LearnSpec, LearntSteps, StepPair, StepScale, WingScale};
pub use learnt_fleet::LearntFleet;
pub use offered::{OfferedFault, OfferedStep};
pub use outcome::{
    AimResult, CurvePoint, Finding, Objective, Plan, PlanNote, PlannedAction, PlannedLine, PlannedState, Remeasure,
    RemeasureReason,
};
pub use plans_text::plans_table;
pub use recorded::{Reached, as_left_of, recorded_after};
pub use sequence::{MovedLine, WorkStep};
pub use spec::{Groups, PlanSpec, Sides};
pub(crate) use step::usual_uncertainty_mm;
pub use step::{LINE_DIAMETER_MM, LINK_DIAMETER_MM, Step, larks_head_mm, turn_mm};
pub use target::{RowTarget, Target};
