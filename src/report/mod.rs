//! Results as people read them: figures as SVG, one HTML page, tables for the terminal.
//!
//! A report is made of result rows of the other rooms, gathered in [`ReportData`]. [`PageSpec`] turns them into one
//! self-contained HTML page, [`text`] into tables within 80 columns. [`SheetPageSpec`] makes a measuring sheet to print,
//! [`ProtocolSpec`] the record of a wing's lengths to sign, [`WearPageSpec`] a page that criticises a wear fit. The same input gives the same bytes.
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
//! | power of a study by its number of wings | [`power_figure`] |

mod build;
mod error;
mod escape;
mod figures;
mod html;
mod json;
mod month;
pub mod text;
mod words;

#[cfg(feature = "frames")]
pub use build::{Calibration, Report, ReportRunError, ReportSpec};
pub use build::{
    Conditions, PROTOCOL_STATEMENT, Protocol, ProtocolLine, ProtocolSpec, ReportData, WearSummary, WingPlan,
};
pub use error::ReportError;
pub use escape::escape;
pub use figures::{
    FIGURE_CSS, Figure, calendar_figure, calibration_figures, curve_figure, deviation_figures, drift_figures,
    forecast_figures, incidence_figure, plan_figure, policy_figure, power_figure, rate_figure, row_figure,
    wing_plan_figure, workload_figure,
};
pub use html::{Page, PageFigure, PageSpec, SheetPageSpec, WearPageSpec};
pub use json::{Document, plain_json, to_json};
pub use words::CAUTIONS;

pub use crate::check::DEMO_NOTE;
