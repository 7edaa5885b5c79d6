//! Files as grids of cells, before anything is understood, and what is wrong with them.
//!
//! | file | what it has |
//! |---|---|
//! | `source`, `stillness` | where the tables of a folder stand; a folder that another process writes to |
//! | `csv`, `csv_pieces` | CSV: records and cells, a long file piece by piece |
//! | `parquet`, `parquet_pages`, `parquet_checksums` | Parquet: columns, the headers of pages, checksums |
//! | `grid`, `cell` | a table as it was read, its records, and what a cell must be |
//! | `fault`, `alike` | faults with their places; names that look the same |
//! | `guard` | decoders that panic on a damaged file |
//! | `user_file` | files that a user names beside a fleet |

pub(super) mod alike;
pub(super) mod cell;
pub(super) mod csv;
pub(super) mod csv_pieces;
pub(super) mod fault;
pub(super) mod grid;
pub(super) mod guard;
pub(super) mod parquet;
pub(super) mod parquet_checksums;
pub(super) mod parquet_pages;
pub(super) mod source;
pub(super) mod stillness;
pub(super) mod user_file;
