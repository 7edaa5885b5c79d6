//! From columns to the numbers that a model multiplies.

use serde::{Deserialize, Serialize};

use super::{DataTable, ModelError};

/// One column of a product.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
enum Factor {
    Number(String),
    /// Indicators of all levels but the first.
    Levels {
        column: String,
        levels: Vec<String>,
    },
}

/// One fixed term: a product of columns.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Term {
    pub(super) name: String,
    factors: Vec<Factor>,
}

impl Term {
    /// A term by the names of its columns, `age:Sex`; `1` is the intercept. `categorical` names columns of numbers that are
    /// labels.
    pub(super) fn new(name: &str, table: &DataTable, categorical: &[String]) -> Result<Self, ModelError> {
        let mut factors = Vec::new();
        for column in name.split(':').map(str::trim).filter(|column| *column != "1") {
            factors.push(if table.is_text(column)? || categorical.iter().any(|known| known == column) {
                Factor::Levels { column: column.to_owned(), levels: levels(table, column)? }
            } else {
                Factor::Number(column.to_owned())
            });
        }
        Ok(Self { name: name.to_owned(), factors })
    }

    /// Names of its coefficients.
    pub(super) fn names(&self) -> Vec<String> {
        if self.factors.is_empty() {
            return vec!["(intercept)".to_owned()];
        }
        let mut names = vec![String::new()];
        for factor in &self.factors {
            let own: Vec<String> = match factor {
                Factor::Number(column) => vec![column.clone()],
                Factor::Levels { column, levels } => {
                    levels.iter().skip(1).map(|level| format!("{column}={level}")).collect()
                }
            };
            names = own
                .iter()
                .flat_map(|own| {
                    names.iter().map(
                        move |so_far| {
                            if so_far.is_empty() { own.clone() } else { format!("{so_far}:{own}") }
                        },
                    )
                })
                .collect();
        }
        names
    }

    /// The level that a categorical column by itself is coded against.
    pub(super) fn baseline(&self) -> Option<&str> {
        match self.factors.as_slice() {
            [Factor::Levels { levels, .. }] => levels.first().map(String::as_str),
            _ => None,
        }
    }

    /// Its columns of numbers for a table, each as long as the table.
    pub(super) fn columns(&self, table: &DataTable) -> Result<Vec<Vec<f64>>, ModelError> {
        let mut columns = vec![vec![1.0; table.rows()]];
        for factor in &self.factors {
            let own: Vec<Vec<f64>> = match factor {
                Factor::Number(column) => vec![table.numbers(column)?.to_vec()],
                Factor::Levels { column, levels } => indicators(table, column, levels)?,
            };
            columns = own
                .iter()
                .flat_map(|own| {
                    columns.iter().map(move |so_far| so_far.iter().zip(own).map(|(a, b)| a * b).collect())
                })
                .collect();
        }
        Ok(columns)
    }
}

/// Levels of a column: numbers by size, text by alphabet.
fn levels(table: &DataTable, column: &str) -> Result<Vec<String>, ModelError> {
    if !table.is_text(column)? {
        let mut values = table.numbers(column)?.to_vec();
        values.sort_by(f64::total_cmp);
        values.dedup();
        return Ok(values.iter().map(ToString::to_string).collect());
    }
    let mut labels = table.labels(column)?;
    labels.sort();
    labels.dedup();
    Ok(labels)
}

/// Indicators of all levels but the first.
fn indicators(table: &DataTable, column: &str, levels: &[String]) -> Result<Vec<Vec<f64>>, ModelError> {
    let labels = table.labels(column)?;
    if let Some(level) = labels.iter().find(|label| !levels.contains(label)) {
        return Err(ModelError::UnseenLevel { column: column.to_owned(), level: level.clone() });
    }
    Ok(levels
        .iter()
        .skip(1)
        .map(|level| labels.iter().map(|label| f64::from(u8::from(label == level))).collect())
        .collect())
}
