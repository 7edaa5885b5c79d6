//! Pages as self-contained HTML: the report of a fleet or of one wing, and the measuring sheet.

mod calibration;
mod criticism;
mod document;
mod draft;
mod fleet;
mod lines;
mod next;
mod page;
mod plan;
mod protocol;
mod sheet;
mod table;
mod to_do;
mod trim;
mod wear;
mod wing;

pub use criticism::WearPageSpec;
pub use draft::PageFigure;
pub use page::{Page, PageSpec};
pub(super) use protocol::protocol;
pub use sheet::SheetPageSpec;
