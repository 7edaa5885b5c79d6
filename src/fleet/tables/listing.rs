//! Result tables, declared: of every column its name, unit, meaning and cell.

use jiff::civil::Date;

use crate::fleet::dictionary::{ColumnEntry, ColumnKind};
use crate::fleet::write::table::{Column, ColumnData};
use crate::wing::{Row, Side};

/// A table, as `ENTRY = "name", "what a row is"; pub fn name[generics](arguments) for row in rows;` and of each column
/// `kind "name", "unit", "meaning" = cell;`. It makes the entry of the dictionary and the function.
macro_rules! listing {
    (
        $(#[$doc:meta])*
        $entry:ident = $table:literal, $row_is:literal;
        $vis:vis fn $name:ident [$($generics:tt)*] ($($arguments:tt)*) for $row:pat in $rows:expr;
        $($kind:ident $column:literal, $unit:expr, $meaning:expr => $cell:expr;)*
    ) => {
        pub(in crate::fleet) const $entry: crate::fleet::dictionary::TableEntry = crate::fleet::dictionary::TableEntry {
            name: $table,
            row_is: $row_is,
            columns: &[$(crate::fleet::tables::listing::$kind::column($column, $unit, $meaning)),*],
        };

        $(#[$doc])*
        #[must_use]
        $vis fn $name<$($generics)*>($($arguments)*) -> crate::fleet::write::table::Table {
            let rows: Vec<_> = $rows.into_iter().collect();
            #[allow(unused_variables, reason = "a cell may be of the table as a whole")]
            let columns = vec![
                $(crate::fleet::tables::listing::$kind::cells($column, rows.iter().map(|$row| $cell))),*
            ];
            crate::fleet::write::table::Table { name: $table.to_owned(), columns }
        }
    };
}

pub(in crate::fleet) use listing;

/// Columns of text.
pub(in crate::fleet) mod text {
    use super::{Column, ColumnData, ColumnEntry, ColumnKind, IntoText};

    pub(in crate::fleet) const fn column(
        name: &'static str,
        unit: &'static str,
        meaning: &'static str,
    ) -> ColumnEntry {
        ColumnEntry { name, kind: ColumnKind::Text, unit, meaning }
    }

    pub(in crate::fleet) fn cells<T: IntoText>(name: &str, cells: impl Iterator<Item = T>) -> Column {
        Column { name: name.to_owned(), data: ColumnData::Text(cells.map(IntoText::text).collect()) }
    }
}

/// Columns of numbers.
pub(in crate::fleet) mod number {
    use super::{Column, ColumnData, ColumnEntry, ColumnKind};

    pub(in crate::fleet) const fn column(
        name: &'static str,
        unit: &'static str,
        meaning: &'static str,
    ) -> ColumnEntry {
        ColumnEntry { name, kind: ColumnKind::Number, unit, meaning }
    }

    pub(in crate::fleet) fn cells<T: Into<Option<f64>>>(name: &str, cells: impl Iterator<Item = T>) -> Column {
        Column { name: name.to_owned(), data: ColumnData::Number(cells.map(Into::into).collect()) }
    }
}

/// Columns of whole numbers.
pub(in crate::fleet) mod whole {
    use super::{Column, ColumnData, ColumnEntry, ColumnKind, IntoWhole};

    pub(in crate::fleet) const fn column(
        name: &'static str,
        unit: &'static str,
        meaning: &'static str,
    ) -> ColumnEntry {
        ColumnEntry { name, kind: ColumnKind::Count, unit, meaning }
    }

    pub(in crate::fleet) fn cells<T: IntoWhole>(name: &str, cells: impl Iterator<Item = T>) -> Column {
        Column { name: name.to_owned(), data: ColumnData::Count(cells.map(IntoWhole::whole).collect()) }
    }
}

/// What may be in a column of text.
pub(in crate::fleet) trait IntoText {
    fn text(self) -> Option<String>;
}

impl<T: IntoText> IntoText for Option<T> {
    fn text(self) -> Option<String> {
        self.and_then(IntoText::text)
    }
}

/// Kinds of text, each with how it is said.
macro_rules! texts {
    ($($type:ty: $said:expr;)*) => {$(
        impl IntoText for $type {
            fn text(self) -> Option<String> {
                let said: fn($type) -> String = $said;
                Some(said(self))
            }
        }
    )*};
}

texts! {
    String: |text| text;
    &String: Clone::clone;
    &str: str::to_owned;
    bool: |truth| truth.to_string();
    Date: |day| day.to_string();
    Side: |side| side.name().to_owned();
    Row: |row| row.name().to_owned();
}

/// What may be in a column of whole numbers.
pub(in crate::fleet) trait IntoWhole {
    fn whole(self) -> Option<i64>;
}

impl IntoWhole for usize {
    fn whole(self) -> Option<i64> {
        i64::try_from(self).ok()
    }
}

impl IntoWhole for u32 {
    fn whole(self) -> Option<i64> {
        Some(self.into())
    }
}

impl IntoWhole for i32 {
    fn whole(self) -> Option<i64> {
        Some(self.into())
    }
}

impl<T: IntoWhole> IntoWhole for Option<T> {
    fn whole(self) -> Option<i64> {
        self.and_then(IntoWhole::whole)
    }
}
