//! What the maker drew: line set, cascade, materials and the wing itself.
//!
//! A [`LineSet`] is one model's table (in one version): its [`Line`]s with nominal lengths and positions, and the
//! cascade of [`Segment`]s that each line hangs on, from the riser outwards. A [`Wing`] is one aircraft of a model.
//! Lengths are millimetres, positions are fractions of the half span (0 centre … 1 tip) and of the local chord
//! (0 leading … 1 trailing edge).

mod aircraft;
mod covariate;
mod creep;
mod line_set;
mod material;
mod name;
mod planform;
mod row;
mod service;
mod text_table;

pub use aircraft::Wing;
pub(crate) use covariate::CovariateName;
pub use creep::Creep;
pub use line_set::{Exposure, Line, LineSet, LineSetError, ModelData, RowData, Segment};
pub use material::{
    Fibre, Figure, Known, MaterialError, fibre, fibres, read_fibres, stretch_mm_per_n, thermal_mm_per_k,
};
#[cfg(feature = "frames")]
pub(crate) use name::csv_cell;
pub(crate) use name::{harmless_csv_cell, is_formula};
pub use name::{is_hidden, shown};
pub use planform::{Planform, PlanformError, PlanformStation};
pub use row::{Row, Side, UnknownName};
pub use service::{Service, WingEvent};
pub(crate) use text_table::{TextTable, cut};
