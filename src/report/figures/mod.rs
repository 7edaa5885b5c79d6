//! Figures as SVG with their words.

mod calendar;
mod calibration;
mod criticism;
mod deviation;
mod drift;
mod figure;
mod forecast;
mod incidence;
mod plan;
mod plan_view;
mod plot;
#[cfg(feature = "png")]
mod png;
mod policy;
mod power;
mod rate;
mod row;

pub use calendar::{calendar_figure, workload_figure};
pub use calibration::calibration_figures;
pub(in crate::report) use criticism::{Bar, against_figure, bars_figure, quantile_figure};
pub use deviation::deviation_figures;
pub use drift::drift_figures;
pub use figure::{FIGURE_CSS, Figure};
pub use forecast::forecast_figures;
pub use incidence::incidence_figure;
pub use plan::{curve_figure, plan_figure};
pub use plan_view::wing_plan_figure;
pub use policy::policy_figure;
pub use power::power_figure;
pub use rate::rate_figure;
pub use row::row_figure;
