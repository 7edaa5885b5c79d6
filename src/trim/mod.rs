//! What deviations mean in flight: row trim, incidence, twist, asymmetry, and bands for angle of attack and speed.
//!
//! [`TrimSpec`] says how a check is judged; [`TrimSpec::run`] gives a [`Trim`]. For many checks of one model,
//! [`TrimSpec::prepare`] does once what depends on the line set alone. Every output is a linear combination of the
//! lines' deviations, so its uncertainty follows from theirs by the budget, see [`crate::check::Budget`].

mod balance;
mod bands;
mod brake;
mod change;
mod chordwise;
mod counts;
mod diagnose;
mod diagnosis;
mod document;
mod entry;
mod error;
mod faults;
mod finite_wing;
mod flexible;
mod in_flight;
mod incidence;
mod left_over;
mod lifting_line;
mod limits;
mod loads;
mod mean_line;
mod measured;
mod model;
mod outcome;
mod own_bands;
mod remarks;
mod riser;
mod rows;
mod setup;
mod span;
mod spec;
mod speed;
mod state;
mod text;

pub use crate::check::{DecisionRule, Verdict};
pub use balance::{GlideCoefficients, PitchBalance, Polar, TrimPoint, TrimResponse};
pub use bands::{BandBasis, Factor, FlightBands, aoa_band_deg, speed_band_pct};
pub use change::{LineChange, MainChange, RowChange, TrimChange, UnmatchedLine, compare};
pub use chordwise::{ChordFit, ChordPoint, chord_fit};
pub use counts::LineCounts;
pub use diagnosis::{Diagnosis, DiagnosisCode, TrimState};
pub use document::TrimDocument;
pub use error::TrimError;
pub use finite_wing::{
    arch_factor, elliptic_load_inside, helmbold_slope_per_rad, induced_drag, lift_slope_per_rad, row_load_shares,
    section_slope_per_rad,
};
pub use lifting_line::{LiftingLine, LiftingLineSpec, Loading, SpanWeight, planform_lift_slope_per_rad};
pub use limits::Limits;
pub use loads::LineLoad;
pub use mean_line::{ThinAerofoil, naca_230_slope, thin_aerofoil};
pub use model::TrimModel;
pub use outcome::{
    BrakeFan, BrakeLine, IncidenceShare, Interval, LineVerdict, MainTrim, RowDifference, RowTrim, ShapeResidual,
    SideDifference, Trim, TrimNote, TwistStation,
};
pub use own_bands::FlightFigures;
pub use riser::{RiserPoint, RiserRotation, RiserTriangle};
pub use spec::{ToleranceOn, TrimSpec};
pub use speed::{
    Circle, GRAVITY_M_S2, Glide, GlideInputs, circle, isa_density_kg_m3, line_drag_coefficient, speed_change,
};
