//! Frames over the Arrow C stream interface: the only unsafe code of the package.

use std::ffi::CStr;
use std::ptr;

use linedrift::fleet::Table;
use linedrift::fleet::frames::{UnreadColumn, of_table, unreadable_type};
use polars::prelude::{ArrowDataType, ArrowField, Column, CompatLevel, DataFrame, DataType, Series};
use polars_arrow::array::{Array, StructArray};
use polars_arrow::ffi::{ArrowArrayStream, ArrowArrayStreamReader, export_iterator};
use pyo3::exceptions::PyTypeError;
use pyo3::prelude::*;
use pyo3::types::PyCapsule;

use crate::failure::Failure;

const STREAM: &CStr = c"arrow_array_stream";

/// A table that any library which speaks Arrow can take over.
#[pyclass(frozen)]
pub(crate) struct Frame {
    frame: DataFrame,
}

impl Frame {
    pub(crate) fn of(table: &Table) -> Result<Self, Failure> {
        Ok(Self { frame: of_table(table).map_err(Failure::result)? })
    }
}

impl From<DataFrame> for Frame {
    fn from(frame: DataFrame) -> Self {
        Self { frame }
    }
}

#[pymethods]
impl Frame {
    /// The table as an Arrow stream; a schema that is asked for is left to who asks.
    #[pyo3(signature = (requested_schema=None))]
    #[allow(clippy::needless_pass_by_value, reason = "the protocol hands it over")]
    fn __arrow_c_stream__<'py>(
        &self,
        py: Python<'py>,
        requested_schema: Option<Bound<'py, PyAny>>,
    ) -> PyResult<Bound<'py, PyCapsule>> {
        let _ = requested_schema;
        let newest = CompatLevel::newest();
        let fields: Vec<ArrowField> =
            self.frame.columns().iter().map(|column| column.field().to_arrow(newest)).collect();
        let dtype = ArrowDataType::Struct(fields);
        let arrays = self.frame.rechunk_to_arrow(newest);
        let rows = StructArray::new(dtype.clone(), self.frame.height(), arrays, None);
        let rows: Box<dyn Array> = Box::new(rows);
        let stream = export_iterator(Box::new(std::iter::once(Ok(rows))), ArrowField::new("".into(), dtype, false));
        PyCapsule::new_with_value(py, stream, STREAM)
    }
}

/// A frame from outside, with the columns that could not be taken over.
pub(crate) struct Taken {
    pub(crate) frame: DataFrame,
    pub(crate) unread: Vec<UnreadColumn>,
}

/// Takes over what speaks Arrow as the table of this name. Nothing is copied that Arrow need not copy.
pub(crate) fn take(table: &str, source: &Bound<'_, PyAny>) -> PyResult<Taken> {
    let wrong = |why: &str| PyTypeError::new_err(format!("{table}: {why}"));
    let capsule = source.call_method0("__arrow_c_stream__")?;
    let capsule = capsule.cast::<PyCapsule>().map_err(|_| wrong("`__arrow_c_stream__` gave no capsule"))?;
    let pointer = capsule.pointer_checked(Some(STREAM))?.cast::<ArrowArrayStream>();
    // SAFETY: a capsule of this name points to a stream of the C interface. It is moved out, and a released one left in its
    // place, so that the capsule's own destructor has nothing to release.
    let stream = unsafe { ptr::replace(pointer.as_ptr(), ArrowArrayStream::empty()) };
    // SAFETY: the stream is what its producer made under the C interface, and nobody else holds it.
    let reader = unsafe { ArrowArrayStreamReader::try_new(Box::new(stream)) };
    let mut reader = reader.map_err(|error| wrong(&error.to_string()))?;
    let ArrowDataType::Struct(fields) = reader.field().dtype.clone() else {
        return Err(wrong("not a table: its Arrow stream has no columns"));
    };
    let mut chunks: Vec<Vec<Box<dyn Array>>> = vec![Vec::new(); fields.len()];
    let mut height = 0;
    // SAFETY: as for the stream itself.
    while let Some(rows) = unsafe { reader.next() } {
        let rows = rows.map_err(|error| wrong(&error.to_string()))?;
        let Some(rows) = rows.as_any().downcast_ref::<StructArray>() else {
            return Err(wrong("its Arrow stream gave something else than rows"));
        };
        height += rows.len();
        for (column, values) in chunks.iter_mut().zip(rows.values()) {
            column.push(values.clone());
        }
    }
    let mut unread = Vec::new();
    let mut columns = Vec::with_capacity(fields.len());
    for (field, chunks) in fields.iter().zip(chunks) {
        columns.push(column(table, field, chunks, height, &mut unread).map_err(|why| wrong(&why))?);
    }
    let frame = DataFrame::new(height, columns).map_err(|error| wrong(&error.to_string()))?;
    Ok(Taken { frame, unread })
}

fn column(
    table: &str,
    field: &ArrowField,
    chunks: Vec<Box<dyn Array>>,
    height: usize,
    unread: &mut Vec<UnreadColumn>,
) -> Result<Column, String> {
    let name = field.name.clone();
    if let Some(holds) = unreadable_type(&field.dtype) {
        unread.push(UnreadColumn { table: table.to_owned(), column: name.to_string(), holds });
        return Ok(Series::full_null(name, height, &DataType::Null).into());
    }
    if chunks.is_empty() {
        return Ok(Series::full_null(name, 0, &DataType::from_arrow_field(field)).into());
    }
    Series::try_from((name, chunks)).map(Column::from).map_err(|error| error.to_string())
}
