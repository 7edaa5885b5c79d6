//! Pages as self-contained HTML: the report of a fleet or of one wing, and the measuring sheet.

mod calibration;
mod draft;
mod fleet;
mod page;
mod plan;
mod sheet;
mod table;
mod to_do;
mod wear;
mod wing;

pub use draft::PageFigure;
pub use page::{Page, PageSpec};
pub use sheet::SheetPageSpec;
