//! Results as people read them: figures as SVG, one HTML page, tables for the terminal.
//!
//! A report is made of result rows of the other rooms, gathered in [`ReportData`]. [`PageSpec`] turns them into one
//! self-contained HTML page without scripts, [`text`] into tables within 80 columns. [`SheetPageSpec`] makes a measuring
//! sheet to print. The same input gives the same bytes.
//!
//! Every figure is one call, and gives SVG with its words ([`Figure::standalone`] for a file, [`Figure::inline_svg`] for a
//! page; with the feature `png`, `Figure::png` for pixels):
//!
//! | figure | call |
//! |---|---|
//! | trim of the rows with intervals | [`row_figure`] |
//! | deviation along the span by row | [`deviation_figures`] |
//! | the wing from above, line by line | [`wing_plan_figure`] |
//! | incidence change along the span | [`incidence_figure`] |
//! | drift against hours with band and data | [`drift_figures`] |
//! | rates by material and row | [`rate_figure`] |
//! | forecast fan with limits, and chance of a crossing | [`forecast_figures`] |
//! | next checks on a calendar, checks per month | [`calendar_figure`], [`workload_figure`] |
//! | calibration of forecasts | [`calibration_figures`] |
//! | a plan before and after | [`plan_figure`] |
//! | fewer adjustments against a better trim | [`curve_figure`] |
//! | fixed intervals against forecasts | [`policy_figure`] |

mod calendar_figure;
mod calibration_figure;
mod data;
mod deviation_figure;
mod draft;
mod drift_figure;
mod error;
mod figure;
mod forecast_figure;
mod html;
mod incidence_figure;
mod month;
mod page;
mod page_calibration;
mod page_do;
mod page_fleet;
mod page_plan;
mod page_wear;
mod page_wing;
mod plan_figure;
mod plot;
#[cfg(feature = "png")]
mod png;
mod policy_figure;
mod rate_figure;
mod row_figure;
mod sheet_page;
pub mod text;
mod wing_plan_figure;
mod words;

pub use calendar_figure::{calendar_figure, workload_figure};
pub use calibration_figure::calibration_figures;
pub use data::{ReportData, WearSummary, WingPlan};
pub use deviation_figure::deviation_figures;
pub use draft::PageFigure;
pub use drift_figure::drift_figures;
pub use error::ReportError;
pub use figure::{FIGURE_CSS, Figure};
pub use forecast_figure::forecast_figures;
pub use html::escape;
pub use incidence_figure::incidence_figure;
pub use page::{Page, PageSpec};
pub use plan_figure::{curve_figure, plan_figure};
pub use policy_figure::policy_figure;
pub use rate_figure::rate_figure;
pub use row_figure::row_figure;
pub use sheet_page::SheetPageSpec;
pub use wing_plan_figure::wing_plan_figure;
pub use words::CAUTIONS;

pub use crate::check::DEMO_NOTE;
