//! What went wrong, as text or JSON, with its exit code.

use std::fmt::{self, Write as _};
use std::path::Path;
use std::process::ExitCode;

use linedrift::check::sheet::{SheetFault, SheetFaults};
use linedrift::fleet::batch::{BatchError, ChoiceError};
use linedrift::fleet::spreadsheet::SpreadsheetError;
use linedrift::fleet::{AdditionError, Fault, FleetReadError};
use linedrift::report::ReportRunError;
use linedrift::wear::WearError;
use linedrift::wing::is_hidden;
use serde::Serialize;

use super::output;

/// Why a command gave no result.
#[derive(Debug)]
pub(super) enum Failure {
    /// The tables are at fault: exit code 1.
    Data(FleetReadError),
    /// Another file than a table is at fault: exit code 1.
    File(Fault),
    /// A measuring sheet is at fault: exit code 1.
    Sheet {
        /// The file.
        file: String,
        /// What is wrong with it.
        faults: SheetFaults,
    },
    /// A spreadsheet was not understood: exit code 1.
    Spreadsheet(SpreadsheetError),
    /// A result could not be made or written: exit code 1.
    Result(String),
    /// The call makes no sense: exit code 2.
    Call(String),
}

#[derive(Serialize)]
struct Document<'a> {
    schema: &'static str,
    faults: &'a [Fault],
    more: usize,
}

impl Failure {
    /// A result that could not be made.
    pub(super) fn result(error: &impl ToString) -> Self {
        Self::Result(error.to_string())
    }

    /// A fault of another file than a table, with its line.
    pub(super) fn file(path: &Path, line: usize, field: &str, value: &str, expected: &str) -> Self {
        Self::File(Fault {
            table: path.display().to_string(),
            row: line,
            column: field.to_owned(),
            value: value.to_owned(),
            expected: expected.to_owned(),
        })
    }

    /// Prints the failure: text to stderr, or with `json` the error document to stdout.
    pub(super) fn print(&self, json: bool) -> ExitCode {
        if let Failure::Call(message) = self {
            output::say(&format!("error: {message}\n\nFor more information, try '--help'.\n"));
            return ExitCode::from(2);
        }
        if json {
            let own;
            let of_sheet;
            let (faults, more) = match self {
                Failure::Data(error) => (error.faults(), error.more()),
                Failure::File(fault) => (std::slice::from_ref(fault), 0),
                Failure::Sheet { file, faults } => {
                    of_sheet = faults.faults.iter().map(|fault| of_table(file, fault)).collect::<Vec<Fault>>();
                    (of_sheet.as_slice(), 0)
                }
                Failure::Spreadsheet(error) => {
                    of_sheet = error.faults();
                    (of_sheet.as_slice(), 0)
                }
                Failure::Result(message) | Failure::Call(message) => {
                    own = [Fault {
                        table: String::new(),
                        row: 0,
                        column: String::new(),
                        value: message.clone(),
                        expected: "data that allow this result".to_owned(),
                    }];
                    (&own[..], 0)
                }
            };
            output::print_json(&Document { schema: "linedrift.error/1", faults, more });
        } else {
            output::say(&format!("error: {self}\n"));
        }
        ExitCode::from(1)
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Failure::Data(error) => clean(f, &error.to_string()),
            Failure::Spreadsheet(error) => clean(f, &error.to_string()),
            Failure::File(fault) => {
                let found = if fault.value.is_empty() { String::new() } else { format!("found `{}`, ", fault.value) };
                let field = if fault.column.is_empty() { String::new() } else { format!(", {}", fault.column) };
                clean(f, &format!("{}, line {}{field}: {found}expected {}", fault.table, fault.row, fault.expected))
            }
            Failure::Sheet { file, faults } => {
                let count = faults.faults.len();
                clean(f, &format!("{count} {} in {file}\n{faults}", if count == 1 { "fault" } else { "faults" }))
            }
            Failure::Result(message) | Failure::Call(message) => clean(f, message),
        }
    }
}

/// A fault of a sheet as one of a table.
fn of_table(file: &str, fault: &SheetFault) -> Fault {
    Fault {
        table: file.to_owned(),
        row: fault.row,
        column: fault.column.clone(),
        value: fault.value.clone(),
        expected: fault.expected.clone(),
    }
}

/// Text for a terminal: whatever could move the cursor is shown as `?`.
fn clean(f: &mut fmt::Formatter<'_>, text: &str) -> fmt::Result {
    text.chars().try_for_each(|c| f.write_char(if is_hidden(c) && c != '\n' { '?' } else { c }))
}

impl From<FleetReadError> for Failure {
    fn from(error: FleetReadError) -> Self {
        match error {
            FleetReadError::Wear(error) => Self::result(&error),
            faulty => Self::Data(faulty),
        }
    }
}

impl From<SpreadsheetError> for Failure {
    fn from(error: SpreadsheetError) -> Self {
        Self::Spreadsheet(error)
    }
}

impl From<AdditionError> for Failure {
    fn from(error: AdditionError) -> Self {
        match error {
            AdditionError::Read(error) => Self::Data(error),
            other => Self::result(&other),
        }
    }
}

impl From<WearError> for Failure {
    fn from(error: WearError) -> Self {
        match error {
            WearError::Contrast { .. } | WearError::Change { .. } => Self::Call(error.to_string()),
            other => Self::result(&other),
        }
    }
}

impl From<ChoiceError> for Failure {
    fn from(error: ChoiceError) -> Self {
        match error {
            ChoiceError::NoReadings | ChoiceError::Empty => Self::result(&error),
            ChoiceError::SeveralWings { wings } => {
                Self::Call(format!("the fleet has {wings} wings: name one by --wing"))
            }
            ChoiceError::SeveralChecks { wings } => {
                Self::Call(format!("the fleet has {wings} wings: name one by --wing, or a check by --check"))
            }
            other => Self::Call(other.to_string()),
        }
    }
}

impl From<BatchError> for Failure {
    fn from(error: BatchError) -> Self {
        match error {
            BatchError::Choice(error) => error.into(),
            other => Self::result(&other),
        }
    }
}

impl From<ReportRunError> for Failure {
    fn from(error: ReportRunError) -> Self {
        match error {
            ReportRunError::Batch(error) => error.into(),
            ReportRunError::Wear(error) => error.into(),
            other => Self::result(&other),
        }
    }
}

macro_rules! from_result {
    ($($error:ty),+) => {
        $(impl From<$error> for Failure {
            fn from(error: $error) -> Self {
                Self::result(&error)
            }
        })+
    };
}

from_result!(
    linedrift::check::doubt::DoubtError,
    linedrift::check::repeatability::GaugeError,
    linedrift::check::RoundError,
    linedrift::fleet::FleetWriteError,
    linedrift::fleet::JournalError,
    linedrift::forecast::ForecastError,
    linedrift::plan::PlanError,
    linedrift::report::ReportError,
    linedrift::simulate::SimulateError,
    linedrift::trim::TrimError,
    linedrift::wear::MergeError,
    std::io::Error
);
