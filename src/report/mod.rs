//! Results as people read them: figures as SVG, one HTML page, tables for the terminal.
//!
//! A report is made of result rows of the other rooms, gathered in [`ReportData`]. [`PageSpec`] turns them into one
//! self-contained HTML page without scripts, [`text`] into tables within 80 columns; [`deviation_figures`],
//! [`drift_figures`] and [`rate_figure`] each give one kind of drawing. [`SheetPageSpec`] makes a measuring sheet to print. The same input gives the same bytes.

mod calibration_figure;
mod data;
mod deviation_figure;
mod drift_figure;
mod error;
mod expected_drift;
mod figure;
mod html;
mod page;
mod page_wear;
mod page_wing;
mod plot;
mod policy_figure;
mod rate_figure;
mod sheet_page;
mod summary;
pub mod text;
mod words;

pub use calibration_figure::calibration_figures;
pub use data::{ReportData, WearSummary};
pub use deviation_figure::deviation_figures;
pub use drift_figure::{DriftPoint, DriftSeries, DriftStation, drift_figures, measured_drift};
pub use error::ReportError;
pub use expected_drift::expected_drift;
pub use figure::{FIGURE_CSS, Figure};
pub use html::escape;
pub use page::{Page, PageSpec};
pub use policy_figure::policy_figure;
pub use rate_figure::rate_figure;
pub use sheet_page::SheetPageSpec;
pub use summary::{FleetSummary, Holdings, ModelHoldings};
pub use words::{CAUTIONS, DEMO_NOTE};
