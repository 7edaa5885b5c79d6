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

mod action_table;
mod addition;
mod alike;
mod atomic;
pub mod batch;
mod catalogue;
mod cell;
mod check_sums;
mod check_table;
mod confirmed;
mod csv;
mod csv_edit;
mod csv_pieces;
mod csv_plain;
pub mod dictionary;
mod event_table;
mod fault;
mod folder;
mod folder_out;
pub mod frames;
mod given_table;
mod grid;
mod guard;
mod holdings;
mod journal;
mod line_draft;
mod line_table;
mod lock;
mod material_table;
mod output_gate;
mod parquet;
mod parquet_checksums;
mod parquet_edit;
mod parquet_pages;
mod pending;
mod planform_table;
mod reading_pieces;
mod reading_sums;
mod reading_table;
mod scan;
mod schema;
mod segment_table;
mod simulated_out;
mod source;
pub mod spreadsheet;
mod step_table;
mod stillness;
mod table;
mod table_edit;
pub mod tables;
mod user_file;
mod wing_edit;
mod wing_table;
mod work_record;

pub use addition::{Addition, AdditionError, StagedAddition};
pub use atomic::{FleetWriteError, write_atomic, write_atomic_by};
pub use confirmed::record_confirmed;
pub use fault::{Fault, FaultList, FleetReadError};
pub use folder::{DEMO_MARK, Folder, FolderSpec, is_demo_folder};
pub use folder_out::{write_folder, write_new_folder};
pub use given_table::read_given;
pub use guard::hush_decoder;
pub use holdings::{DoubtfulShare, FleetSummary, Holdings, ModelHoldings, RowHoldings};
pub use journal::{Journal, JournalError, OpenJournal, RoundHead};
pub use lock::FolderLock;
pub use material_table::read_materials;
pub use output_gate::{CAUTIONS_PAGE, OUTPUT_LIST, OutputGate, Overwrite, RefusedOutput};
pub use planform_table::read_planform;
pub use scan::{Scan, ScanSpec};
pub use simulated_out::{WrittenFleet, write_simulated};
pub use step_table::read_steps;
pub use table::{Column, ColumnData, Table, TableFormat, write_table, write_table_in_pieces};
pub use user_file::read_user_file;
pub use work_record::{WingWork, WorkRecord, record_work};
