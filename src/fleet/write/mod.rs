//! Tables and files written whole or not at all.
//!
//! | file | what it has |
//! |---|---|
//! | `atomic`, `pending`, `lock` | one file in one step, several together, one writer at a time |
//! | `table` | a table of named columns as CSV or Parquet |
//! | `rows` | what the tables of a fleet say |
//! | `folder`, `simulated` | a fleet as a folder of tables, held or drawn as it is written |
//! | `output_gate` | what may be written over |

pub(super) mod atomic;
pub(super) mod folder;
pub(super) mod lock;
pub(super) mod output_gate;
pub(super) mod pending;
pub(super) mod rows;
pub(super) mod simulated;
pub(super) mod table;
