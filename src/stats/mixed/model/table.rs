//! A table of named columns.

use serde::{Deserialize, Serialize};

use super::ModelError;

/// A table of named columns, numbers or text, of one length.
///
/// ```
/// use linedrift::stats::mixed::DataTable;
///
/// let table = DataTable::default().number("load_n", [50.0, 60.0])?.text("place", ["loft", "hill"])?;
/// assert_eq!(table.rows(), 2);
/// # Ok::<(), linedrift::stats::mixed::ModelError>(())
/// ```
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct DataTable {
    columns: Vec<Column>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Column {
    name: String,
    values: Values,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
enum Values {
    Number(Vec<f64>),
    Text(Vec<String>),
}

impl Values {
    fn len(&self) -> usize {
        match self {
            Values::Number(values) => values.len(),
            Values::Text(values) => values.len(),
        }
    }
}

impl DataTable {
    /// Adds a column of numbers.
    ///
    /// # Errors
    /// [`ModelError::NotFinite`], [`ModelError::Rows`], [`ModelError::Twice`].
    pub fn number(self, name: &str, values: impl IntoIterator<Item = f64>) -> Result<Self, ModelError> {
        let values: Vec<f64> = values.into_iter().collect();
        if let Some(row) = values.iter().position(|value| !value.is_finite()) {
            return Err(ModelError::NotFinite { column: name.to_owned(), row: row + 1, value: values[row] });
        }
        self.with(name, Values::Number(values))
    }

    /// Adds a column of text.
    ///
    /// # Errors
    /// [`ModelError::Rows`], [`ModelError::Twice`].
    pub fn text(self, name: &str, values: impl IntoIterator<Item = impl Into<String>>) -> Result<Self, ModelError> {
        self.with(name, Values::Text(values.into_iter().map(Into::into).collect()))
    }

    /// Rows.
    #[must_use]
    pub fn rows(&self) -> usize {
        self.columns.first().map_or(0, |column| column.values.len())
    }

    fn with(mut self, name: &str, values: Values) -> Result<Self, ModelError> {
        if self.columns.iter().any(|column| column.name == name) {
            return Err(ModelError::Twice { column: name.to_owned() });
        }
        if !self.columns.is_empty() && values.len() != self.rows() {
            let (column, got, expected) = (name.to_owned(), values.len(), self.rows());
            return Err(ModelError::Rows { column, got, expected });
        }
        self.columns.push(Column { name: name.to_owned(), values });
        Ok(self)
    }

    fn find(&self, name: &str) -> Result<&Values, ModelError> {
        self.columns.iter().find(|column| column.name == name).map(|column| &column.values).ok_or_else(|| {
            let known: Vec<&str> = self.columns.iter().map(|column| column.name.as_str()).collect();
            ModelError::NoColumn { column: name.to_owned(), known: known.join(", ") }
        })
    }

    pub(super) fn numbers(&self, name: &str) -> Result<&[f64], ModelError> {
        match self.find(name)? {
            Values::Number(values) => Ok(values),
            Values::Text(_) => Err(ModelError::NotNumber { column: name.to_owned() }),
        }
    }

    pub(super) fn is_text(&self, name: &str) -> Result<bool, ModelError> {
        Ok(matches!(self.find(name)?, Values::Text(_)))
    }

    /// A column's values as labels; numbers as they print.
    pub(super) fn labels(&self, name: &str) -> Result<Vec<String>, ModelError> {
        Ok(match self.find(name)? {
            Values::Number(values) => values.iter().map(ToString::to_string).collect(),
            Values::Text(values) => values.clone(),
        })
    }

    /// Labels of a product of columns, `batch:cask`.
    pub(super) fn joint_labels(&self, names: &str) -> Result<Vec<String>, ModelError> {
        let mut parts = names.split(':').map(|name| self.labels(name.trim()));
        let mut labels = parts.next().unwrap_or_else(|| Ok(Vec::new()))?;
        for part in parts {
            labels.iter_mut().zip(part?).for_each(|(label, more)| {
                label.push(':');
                label.push_str(&more);
            });
        }
        Ok(labels)
    }
}
