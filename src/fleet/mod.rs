//! Many wings: the tables of a fleet folder in and out, and result tables.
//!
//! A fleet folder holds tables as CSV or Parquet files (`lines`, `wings`, `checks`, `readings`, and optional ones).
//! [`FolderSpec::read`] turns it into a [`Folder`], or lists every fault of every table in one go. [`write_folder`]
//! writes the same tables, and [`Addition`]
//! puts one more check into them; [`tables`] builds result tables and [`write_table`] writes them. Every file is written
//! whole or not at all ([`write_atomic`]).
//!
//! [`batch`] asks every wing of a fleet, in parallel and part by part; [`frames`] has inputs and results as polars frames;
//! [`dictionary`] says what every column means.
//!
//! This is the only room that knows polars, and polars types are public in [`frames`] only.
//!
//! | part | what lives there |
//! |---|---|
//! | `schema` | every column of every table of a folder, declared once |
//! | `read` | files as grids of cells, and their faults |
//! | `folder` | grids understood: the fleet that the tables make |
//! | `scan` | readings reduced as they stream by |
//! | `write` | tables and folders, whole or not at all |
//! | `edit` | a table changed in few places |
//! | `round` | what a measuring round and a day's work add |
//! | [`batch`] | one question to every wing |
//! | [`frames`] | inputs and results as polars frames |
//! | [`tables`], [`dictionary`] | result tables, and what their columns mean |
//! | [`spreadsheet`] | one wing's check from a spreadsheet |

pub mod batch;
pub mod dictionary;
mod edit;
mod folder;
pub mod frames;
mod holdings;
mod read;
mod round;
mod scan;
mod schema;
pub mod spreadsheet;
pub mod tables;
mod write;

pub use folder::given::read_given;
pub use folder::materials::read_materials;
pub use folder::planform::read_planform;
pub use folder::steps::read_steps;
pub use folder::{DEMO_MARK, Folder, FolderSpec, is_demo_folder};
pub use holdings::{DoubtfulShare, FleetSummary, Holdings, ModelHoldings, RowHoldings};
pub use read::fault::{Fault, FaultList, FleetReadError};
pub use read::guard::hush_decoder;
pub use read::user_file::read_user_file;
pub use round::addition::{Addition, AdditionError, StagedAddition};
pub use round::confirmed::record_confirmed;
pub use round::journal::{Journal, JournalError, OpenJournal, RoundHead};
pub use round::work_record::{WingWork, WorkRecord, record_work};
pub use scan::{Scan, ScanSpec};
pub use write::atomic::{FleetWriteError, write_atomic, write_atomic_by};
pub use write::folder::{write_folder, write_new_folder};
pub use write::lock::FolderLock;
pub use write::output_gate::{CAUTIONS_PAGE, OUTPUT_LIST, OutputGate, Overwrite, RefusedOutput};
pub use write::simulated::{WrittenFleet, write_simulated};
pub use write::table::{Column, ColumnData, Table, TableFormat, write_table, write_table_in_pieces};
