//! Results as people read them: figures as SVG, one HTML page, tables for the terminal.
//!
//! A report is made of result rows of the other rooms, gathered in [`ReportData`]. [`PageSpec`] turns them into one
//! self-contained HTML page without scripts, [`text`] into tables within 80 columns; [`deviation_figures`],
//! [`incidence_figure`], [`wing_plan_figure`], [`drift_figures`], [`plan_figure`], [`curve_figure`] and [`rate_figure`] each give one kind of
//! drawing. [`SheetPageSpec`] makes a measuring sheet to print. The same input gives the same bytes.

mod calibration_figure;
mod data;
mod deviation_figure;
mod drift_figure;
mod error;
mod expected_drift;
mod figure;
mod html;
mod incidence_figure;
mod page;
mod page_wear;
mod page_wing;
mod plan_figure;
mod plot;
mod policy_figure;
mod rate_figure;
mod sheet_page;
pub mod text;
mod wing_plan_figure;
mod words;

pub use calibration_figure::calibration_figures;
pub use data::{ReportData, WearSummary};
pub use deviation_figure::deviation_figures;
pub use drift_figure::{DriftPoint, DriftSeries, DriftStation, drift_figures, measured_drift};
pub use error::ReportError;
pub use expected_drift::expected_drift;
pub use figure::{FIGURE_CSS, Figure};
pub use html::escape;
pub use incidence_figure::incidence_figure;
pub use page::{Page, PageSpec};
pub use plan_figure::{curve_figure, plan_figure};
pub use policy_figure::policy_figure;
pub use rate_figure::rate_figure;
pub use sheet_page::SheetPageSpec;
pub use wing_plan_figure::wing_plan_figure;
pub use words::{CAUTIONS, DEMO_NOTE};
