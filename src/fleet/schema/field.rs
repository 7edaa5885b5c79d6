//! What is in a cell of a table that is declared: how it is read, and how it is written.

use std::borrow::Cow;

use jiff::civil::Date;

use super::Value;
use crate::check::{ActionKind, Condition, Stage};
use crate::fleet::dictionary::ColumnKind;
use crate::fleet::read::cell::{Cell, Expected, Limit};
use crate::wing::{Row, Side, UnknownName};

/// A value of a row.
pub(crate) trait Field<'a>: Sized {
    const KIND: ColumnKind = ColumnKind::Text;

    fn read(cell: Cell<'a>, limit: Limit) -> Result<Self, Expected>;

    fn value(&self) -> Value;
}

impl<'a> Field<'a> for Cow<'a, str> {
    fn read(cell: Cell<'a>, _: Limit) -> Result<Self, Expected> {
        Ok(cell.text())
    }

    fn value(&self) -> Value {
        Value::Text(self.to_string())
    }
}

impl Field<'_> for f64 {
    const KIND: ColumnKind = ColumnKind::Number;

    fn read(cell: Cell<'_>, limit: Limit) -> Result<Self, Expected> {
        cell.number(limit)
    }

    fn value(&self) -> Value {
        Value::Number(*self)
    }
}

impl Field<'_> for u32 {
    const KIND: ColumnKind = ColumnKind::Count;

    fn read(cell: Cell<'_>, _: Limit) -> Result<Self, Expected> {
        cell.count()
    }

    fn value(&self) -> Value {
        Value::Count((*self).into())
    }
}

impl Field<'_> for Date {
    fn read(cell: Cell<'_>, _: Limit) -> Result<Self, Expected> {
        cell.day()
    }

    fn value(&self) -> Value {
        Value::Day(*self)
    }
}

impl Field<'_> for bool {
    fn read(cell: Cell<'_>, _: Limit) -> Result<Self, Expected> {
        cell.truth()
    }

    fn value(&self) -> Value {
        Value::Text(self.to_string())
    }
}

/// Types whose values have names.
macro_rules! names {
    ($($type:ty),*) => {$(
        impl Field<'_> for $type {
            fn read(cell: Cell<'_>, _: Limit) -> Result<Self, Expected> {
                cell.text().parse().map_err(|unknown: UnknownName| unknown.expected)
            }

            fn value(&self) -> Value {
                Value::Text(self.name().to_owned())
            }
        }
    )*};
}

names!(Side, Row, Stage, Condition, ActionKind);
