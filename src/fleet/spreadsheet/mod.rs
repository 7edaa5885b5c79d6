//! Spreadsheets as people have them: files, tables, headings and names understood.
//!
//! [`SpreadsheetSpec`] reads .xlsx, .xlsm, .xlsb, .xls, .ods and text with commas, semicolons or tabs. Tables are found by their
//! headings, in English, German, French, Spanish and Italian: a row per line with left and right side by side, a row per side and line, a block for
//! each row of lines, or a column for each row of lines below the titles nominal, left and right. Whatever can be read in two
//! ways is a question ([`SpreadsheetError::Question`]) with its answers, never a guess that nobody sees; every reading of the file
//! arrives or is named.

mod above;
mod answer;
mod archive;
mod book;
mod cascade;
mod column;
mod day;
mod delimited;
mod entry;
mod error;
mod facts;
mod gather;
mod grid;
mod heading;
mod kept;
mod lengths;
mod line;
mod line_name;
mod model_made;
mod names;
mod quantity;
mod reader;
mod row_facts;
mod sheet_out;
mod spec;
mod start;
mod table;
mod values;
mod words;

pub use answer::{RowCount, Understood, missing};
pub use day::{WrittenDay, today, written_day, written_hours};
pub use error::{CellFault, SpreadsheetError};
pub use facts::Facts;
pub use kept::COLUMNS_FILE;
pub use line::{SheetLine, SheetPiece, SheetReading};
pub use sheet_out::sheet_xlsx;
pub use spec::{NominalFile, Spreadsheet, SpreadsheetSpec};
pub use start::fleet_of_one;
