//! What a wing is held to: the limits of all models and of single ones, and a file of them.

use std::collections::BTreeMap;
use std::ops::Range;

use serde::{Deserialize, Serialize};
use thiserror::Error;
use toml::Spanned;
use toml::de::{DeString, DeTable, DeValue};

use crate::forecast::ForecastError;
use crate::forecast::error::positive;
use crate::plan::PlanSpec;
use crate::trim::{Limits, TrimSpec};

/// Limits for every model, and for single models where they have their own.
///
/// As a file (TOML): the fields of [`Limits`] at the top, and a table per model that has its own. A key that is left out
/// has the value at the top, there the default.
///
/// ```
/// use linedrift::forecast::LimitsTable;
///
/// let table = LimitsTable::from_toml("line_mm = 12\n[model.\"Heather 24\"]\nincidence_deg = 0.3\n")?;
/// assert_eq!(table.of("Heather 24").line_limit_mm(), 12.0);
/// assert_eq!(table.of("Heather 24").incidence_limit_deg(), 0.3);
/// assert_eq!(table.of("Rook 2").incidence_limit_deg(), 0.5);
/// # Ok::<(), linedrift::forecast::LimitsError>(())
/// ```
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct LimitsTable {
    all: Limits,
    model: BTreeMap<String, Limits>,
}

/// What is wrong with a limits file, and where.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("limits, line {line}{}: {}expected {expected}", place(field), found(value))]
pub struct LimitsError {
    /// Line of the file, from 1.
    pub line: usize,
    /// The key, with its table before a dot; empty where the file cannot be read at all.
    pub field: String,
    /// What stood there; empty where the message says it.
    pub value: String,
    /// What was expected.
    pub expected: String,
}

fn place(field: &str) -> String {
    if field.is_empty() { String::new() } else { format!(", {field}") }
}

fn found(value: &str) -> String {
    if value.is_empty() { String::new() } else { format!("found `{value}`, ") }
}

impl From<Limits> for LimitsTable {
    fn from(all: Limits) -> Self {
        Self { all, model: BTreeMap::new() }
    }
}

impl LimitsTable {
    /// The same table, with limits of its own for a model.
    #[must_use]
    pub fn with_model(mut self, model: &str, limits: Limits) -> Self {
        self.model.insert(model.to_owned(), limits);
        self
    }

    /// The limits of a model: its own, else those of all.
    #[must_use]
    pub fn of(&self, model: &str) -> &Limits {
        self.model.get(model).unwrap_or(&self.all)
    }

    /// Names of the models that have their own, in order.
    pub fn models(&self) -> impl Iterator<Item = &str> {
        self.model.keys().map(String::as_str)
    }

    /// Checks that every limit is a finite number above zero.
    ///
    /// # Errors
    /// [`ForecastError::NotPositive`] with the first that is not.
    pub fn validate(&self) -> Result<(), ForecastError> {
        self.model.values().chain([&self.all]).try_for_each(Limits::validate)
    }

    /// Reads a limits file. An empty one gives the defaults.
    ///
    /// # Errors
    /// [`LimitsError`] with line and key, the first in the file: not TOML, a key that is not known, a value that is not a
    /// finite number above 0.
    pub fn from_toml(text: &str) -> Result<Self, LimitsError> {
        let top = DeTable::parse(text).map_err(|error| {
            let expected = format!("TOML ({})", error.message().trim());
            at(text, error.span().unwrap_or_default(), "", "", &expected)
        })?;
        let mut faults = Vec::new();
        let mut out = Self::default();
        let (model, own): (Vec<_>, Vec<_>) = top.get_ref().iter().partition(|(key, _)| key.get_ref() == "model");
        out.all = overlaid(text, out.all, "", own.into_iter(), &mut faults);
        let tables = "a table per model, such as [model.\"NAME\"]";
        for (key, models) in model {
            let Some(models) = models.get_ref().as_table() else {
                faults.push(at(text, key.span(), "model", &written(text, models), tables));
                continue;
            };
            for (name, own) in models {
                let field = format!("model.{}", name.get_ref());
                match own.get_ref().as_table() {
                    Some(own) => {
                        let limits = overlaid(text, out.all, &format!("{field}."), own.iter(), &mut faults);
                        out.model.insert(name.get_ref().to_string(), limits);
                    }
                    None => faults.push(at(text, name.span(), &field, &written(text, own), tables)),
                }
            }
        }
        faults.into_iter().min_by_key(|fault| fault.line).map_or(Ok(out), Err)
    }
}

type Entry<'a, 'b> = (&'a Spanned<DeString<'b>>, &'a Spanned<DeValue<'b>>);

/// The limits with those of one table of the file laid over them.
fn overlaid<'a, 'b: 'a>(
    text: &str,
    mut limits: Limits,
    prefix: &str,
    own: impl Iterator<Item = Entry<'a, 'b>>,
    faults: &mut Vec<LimitsError>,
) -> Limits {
    for (key, value) in own {
        let field = format!("{prefix}{}", key.get_ref());
        let number = number(value.get_ref()).filter(|number| number.is_finite() && *number > 0.0);
        match (limits.with(key.get_ref(), number.unwrap_or(1.0)), number) {
            (Some(with), Some(_)) => limits = with,
            (Some(_), None) => {
                faults.push(at(text, value.span(), &field, &written(text, value), "a finite number above 0"));
            }
            (None, _) => {
                let known = Limits::NAMES.join("`, `");
                let expected = format!("`{known}`, or a table `[model.\"NAME\"]` of them");
                faults.push(at(text, key.span(), &field, key.get_ref(), &expected));
            }
        }
    }
    limits
}

/// A number, whole or not.
fn number(value: &DeValue<'_>) -> Option<f64> {
    match value {
        #[allow(clippy::cast_precision_loss)]
        DeValue::Integer(whole) => i64::from_str_radix(whole.as_str(), whole.radix()).ok().map(|whole| whole as f64),
        DeValue::Float(number) => number.as_str().parse().ok(),
        _ => None,
    }
}

/// What is in the file for a value.
fn written(text: &str, value: &Spanned<DeValue<'_>>) -> String {
    text.get(value.span()).unwrap_or_default().to_owned()
}

fn at(text: &str, span: Range<usize>, field: &str, value: &str, expected: &str) -> LimitsError {
    LimitsError {
        line: text.bytes().take(span.start).filter(|byte| *byte == b'\n').count() + 1,
        field: field.to_owned(),
        value: shown(value),
        expected: expected.to_owned(),
    }
}

/// The first part of a value.
fn shown(value: &str) -> String {
    value.chars().take(80).collect()
}

impl Limits {
    /// Checks that every limit is a finite number above zero.
    ///
    /// # Errors
    /// [`ForecastError::NotPositive`] with the first that is not.
    pub fn validate(&self) -> Result<(), ForecastError> {
        self.refused().map_or(Ok(()), |what| positive(what, self.of(what).unwrap_or(f64::NAN)).map(drop))
    }

    /// Planning against these limits, with everything else as a spec says; the trim of a plan is judged with the defaults and
    /// these limits.
    #[must_use]
    pub fn planning(&self, spec: PlanSpec) -> PlanSpec {
        spec.trim(TrimSpec::default().limits(*self))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_limit_that_is_no_positive_number_is_refused_by_name() {
        assert_eq!(Limits::default().validate(), Ok(()));
        for name in Limits::NAMES {
            for value in [0.0, -1.0, f64::INFINITY] {
                let got = Limits::default().with(name, value).map(|limits| limits.validate());
                assert_eq!(got, Some(Err(ForecastError::NotPositive { what: name, value })));
            }
        }
        assert!(serde_json::from_str::<Limits>(r#"{"line":3}"#).is_err());
        let read: Limits = serde_json::from_str(r#"{"line_mm":8}"#).unwrap();
        assert_eq!(read, Limits::default().line_mm(8.0));
    }
}
