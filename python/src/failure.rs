//! What went wrong, as the exceptions of `linedrift.errors`.

use std::path::Path;

use linedrift::fleet::batch::{BatchError, BatchFailure, ChoiceError};
use linedrift::fleet::{Fault, FleetReadError, Table};
use linedrift::report::{ReportRunError, plain_json};
use linedrift::wear::WearError;
use pyo3::exceptions::{PyKeyboardInterrupt, PyValueError};
use pyo3::prelude::*;
use serde::Serialize;

use crate::arrow::Frame;

/// Why there is no answer.
#[derive(Debug)]
pub(crate) enum Failure {
    /// Tables are at fault.
    Faults { faults: Vec<Fault>, more: usize, text: String },
    /// The call asks for what cannot be.
    Call(String),
    /// A result could not be made.
    Result(String),
    /// Stopped by Ctrl-C.
    Stopped,
}

#[derive(Serialize)]
struct ErrorDocument<'a> {
    schema: &'static str,
    faults: &'a [Fault],
    more: usize,
}

impl Failure {
    #[allow(clippy::needless_pass_by_value, reason = "goes to `map_err`")]
    pub(crate) fn result(error: impl ToString) -> Self {
        Self::Result(error.to_string())
    }

    #[allow(clippy::needless_pass_by_value, reason = "goes to `map_err`")]
    pub(crate) fn call(error: impl ToString) -> Self {
        Self::Call(error.to_string())
    }

    /// A file that cannot be read.
    pub(crate) fn file(path: &Path, error: &impl ToString) -> Self {
        Self::Result(format!("cannot read `{}`: {}", path.display(), error.to_string()))
    }

    /// The exception.
    pub(crate) fn raise(self, py: Python<'_>) -> PyErr {
        match self {
            Self::Call(message) => PyValueError::new_err(message),
            Self::Stopped => PyKeyboardInterrupt::new_err(()),
            Self::Result(message) => exception(py, "LinedriftError", (message,)),
            Self::Faults { faults, more, text } => {
                let made = plain_json(&ErrorDocument { schema: "linedrift.error/1", faults: &faults, more })
                    .map_err(Failure::result)
                    .and_then(|json| Ok((Frame::of(&table(&faults))?, json)));
                match made {
                    Ok((frame, json)) => exception(py, "FaultsError", (text, frame, more, json)),
                    Err(error) => error.raise(py),
                }
            }
        }
    }
}

fn exception<'py>(py: Python<'py>, name: &str, arguments: impl pyo3::call::PyCallArgs<'py>) -> PyErr {
    let made = py.import("linedrift.errors").and_then(|errors| errors.getattr(name)?.call1(arguments));
    made.map_or_else(|error| error, PyErr::from_value)
}

/// Faults as a table.
fn table(faults: &[Fault]) -> Table {
    Table::new("faults")
        .text("table", faults.iter().map(|fault| Some(fault.table.as_str())))
        .count("row", faults.iter().map(|fault| i64::try_from(fault.row).ok()))
        .text("column", faults.iter().map(|fault| Some(fault.column.as_str())))
        .text("value", faults.iter().map(|fault| Some(fault.value.as_str())))
        .text("expected", faults.iter().map(|fault| Some(fault.expected.as_str())))
}

impl From<FleetReadError> for Failure {
    fn from(error: FleetReadError) -> Self {
        match error {
            FleetReadError::Faulty(_) => {
                Self::Faults { faults: error.faults().to_vec(), more: error.more(), text: error.to_string() }
            }
            other => Self::result(other),
        }
    }
}

impl From<ChoiceError> for Failure {
    fn from(error: ChoiceError) -> Self {
        match error {
            ChoiceError::NoReadings | ChoiceError::Empty => Self::result(error),
            other => Self::call(other),
        }
    }
}

impl From<BatchError> for Failure {
    fn from(error: BatchError) -> Self {
        match error {
            BatchError::Stopped { .. } => Self::Stopped,
            BatchError::Choice(error) => error.into(),
            other => Self::result(other),
        }
    }
}

impl From<BatchFailure> for Failure {
    fn from(failure: BatchFailure) -> Self {
        Self::result(failure)
    }
}

impl From<ReportRunError> for Failure {
    fn from(error: ReportRunError) -> Self {
        match error {
            ReportRunError::Batch(error) => error.into(),
            other => Self::result(other),
        }
    }
}

impl From<WearError> for Failure {
    fn from(error: WearError) -> Self {
        match error {
            WearError::Contrast { .. } | WearError::Change { .. } => Self::call(error),
            other => Self::result(other),
        }
    }
}

macro_rules! from_result {
    ($($error:ty),+) => {
        $(impl From<$error> for Failure {
            fn from(error: $error) -> Self {
                Self::result(error)
            }
        })+
    };
}

from_result!(
    linedrift::fleet::FleetWriteError,
    linedrift::forecast::ForecastError,
    linedrift::report::ReportError,
    linedrift::simulate::SimulateError
);
