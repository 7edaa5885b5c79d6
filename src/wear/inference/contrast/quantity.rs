//! What a contrast asks for, as weights of the model's columns.

use super::text::{Summand, summands};
use crate::wear::fit::wear_fit::EffectWeights;
use crate::wear::model::time_basis::TimeBasis;
use crate::wear::{WearError, WearFit};
use crate::wing::{CovariateName, LineSet, Row};

/// Unit of a quantity.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Unit {
    Mm,
    MmPerMetre,
    PerCovariate(String),
}

impl Unit {
    pub(super) fn name(&self) -> String {
        match self {
            Unit::Mm => "mm".to_owned(),
            Unit::MmPerMetre => "mm/m".to_owned(),
            Unit::PerCovariate(name) => format!("mm/m per {name}"),
        }
    }
}

/// A linear combination of the model's effects.
#[derive(Debug, Clone)]
pub(super) struct Quantity<'a> {
    pub(super) name: String,
    pub(super) unit: Unit,
    /// Weights of the fixed columns that hold whatever the time shape.
    at_one: Vec<f64>,
    /// Mean drifts of rows.
    drifts: Vec<RowAt<'a>>,
}

/// Mean drift of a row at some hours, times a factor.
#[derive(Debug, Clone, Copy)]
struct RowAt<'a> {
    factor: f64,
    hours_h: f64,
    set: &'a LineSet,
    row: Row,
}

impl<'a> Quantity<'a> {
    /// Weights of the effects under a time basis.
    pub(super) fn weights(&self, fit: &WearFit, basis: &TimeBasis) -> EffectWeights {
        let mut out = EffectWeights::zeros(&fit.layout);
        out.fixed.clone_from(&self.at_one);
        for RowAt { factor, hours_h, set, row } in &self.drifts {
            let weights = fit.row_weights(set, *row, None, |material| basis.at(material, *hours_h));
            out.add(&weights, *factor);
        }
        out
    }

    /// The difference of two rates; `None` where the fit does not have them.
    pub(super) fn difference(fit: &WearFit, a: (&str, Row), b: (&str, Row)) -> Option<Self> {
        let mut at_one = vec![0.0; fit.layout.structure.fixed.len()];
        at_one[fit.layout.rate(a.0, a.1)?] += 1.0;
        at_one[fit.layout.rate(b.0, b.1)?] -= 1.0;
        let name = format!("{}:{} - {}:{}", a.0, a.1, b.0, b.1);
        Some(Self { name, unit: Unit::MmPerMetre, at_one, drifts: Vec::new() })
    }

    pub(super) fn parse(fit: &WearFit, sets: &'a [LineSet], text: &str) -> Result<Self, WearError> {
        let refuse = |what: String| WearError::Contrast { contrast: text.trim().to_owned(), what };
        let summands = summands(text).map_err(refuse)?;
        let columns = fit.layout.structure.fixed.len();
        let mut found =
            Self { name: text.trim().to_owned(), unit: Unit::Mm, at_one: vec![0.0; columns], drifts: Vec::new() };
        // a material by itself is its mean over the rows that all such materials have
        let bare: Vec<&str> = summands
            .iter()
            .map(|summand| summand.name)
            .filter(|name| column(fit, name).is_none() && fit.layout.materials().any(|known| known == *name))
            .collect();
        let rows: Vec<Row> =
            Row::ALL.into_iter().filter(|row| bare.iter().all(|material| fit.has_rate(material, *row))).collect();
        for (place, Summand { factor, name }) in summands.iter().enumerate() {
            let unit = if let Some(at) = column(fit, name) {
                if !fit.mixed().fixed().iter().any(|effect| effect.column == at) {
                    return Err(refuse(format!(
                        "`{name}` was dropped: the readings cannot tell it from other terms"
                    )));
                }
                found.at_one[at] += factor;
                unit_of(&fit.layout.structure.fixed[at])
            } else if bare.contains(name) {
                if rows.is_empty() {
                    let what = format!("no row has rates of {}: name a row, as in `{name}:C`", bare.join(" and "));
                    return Err(refuse(what));
                }
                for row in &rows {
                    if let Some(at) = fit.layout.rate(name, *row) {
                        found.at_one[at] += factor / rows.len() as f64;
                    }
                }
                Unit::MmPerMetre
            } else {
                found.drifts.push(RowAt { factor: *factor, ..drift(fit, sets, name).map_err(refuse)? });
                Unit::Mm
            };
            if place > 0 && unit != found.unit {
                let what = format!("it mixes {} and {}", found.unit.name(), unit.name());
                return Err(refuse(what));
            }
            found.unit = unit;
        }
        if !bare.is_empty() {
            let rows: Vec<&str> = rows.iter().map(|row| row.name()).collect();
            found.name = format!("{} (rows {})", found.name, rows.join(" "));
        }
        Ok(found)
    }
}

/// Column of a term by its whole name, or of a rate without the word.
fn column(fit: &WearFit, name: &str) -> Option<usize> {
    let fixed = &fit.layout.structure.fixed;
    let at = |wanted: &str| fixed.iter().position(|known| known == wanted);
    at(name).or_else(|| at(&format!("rate:{name}")))
}

fn unit_of(term: &str) -> Unit {
    match term.split_once(':') {
        Some(("covariate", name)) => Unit::PerCovariate(CovariateName::parse(name).column.to_owned()),
        Some(("offset", _)) | None => Unit::Mm,
        Some(_) => Unit::MmPerMetre,
    }
}

/// `drift:MODEL:ROW` or `drift:MODEL:ROW@HOURS`; the word may be left out where hours are given.
fn drift<'a>(fit: &WearFit, sets: &'a [LineSet], name: &str) -> Result<RowAt<'a>, String> {
    let (place, hours) = match name.rsplit_once('@') {
        Some((place, hours)) => (place, Some(hours.trim().trim_end_matches('h').trim_end())),
        None => (name, None),
    };
    let place = match place.strip_prefix("drift:") {
        Some(place) => place,
        None if hours.is_some() => place,
        None => return Err(unknown(fit, sets, name)),
    };
    let hours_h = match hours.map(str::parse::<f64>) {
        None => 100.0,
        Some(Ok(hours_h)) if hours_h >= 0.0 && hours_h.is_finite() => hours_h,
        Some(_) => return Err(format!("`{name}` gives no number of hours after `@`")),
    };
    let (model, row) = place.trim().rsplit_once(':').ok_or_else(|| unknown(fit, sets, name))?;
    let set = sets.iter().find(|set| set.model() == model).ok_or_else(|| {
        let known: Vec<&str> = sets.iter().map(LineSet::model).collect();
        format!("no model `{model}`; the fleet has {}", known.join(", "))
    })?;
    let row = Row::ALL
        .into_iter()
        .find(|known| known.name().eq_ignore_ascii_case(row))
        .ok_or_else(|| format!("no row `{row}`"))?;
    if !fit.knows_row(set, row) || !set.lines().iter().any(|line| line.row == row) {
        return Err(format!("the fit has no rate for the lines of row {row} of `{model}`"));
    }
    Ok(RowAt { factor: 1.0, hours_h, set, row })
}

fn unknown(fit: &WearFit, sets: &[LineSet], name: &str) -> String {
    let terms: Vec<&str> = fit.mixed().fixed().iter().map(|effect| effect.name.as_str()).collect();
    let drift = sets.first().map_or_else(String::new, |set| format!("; or `drift:{}:A@200`", set.model()));
    format!("the fit has no term `{name}`. Its terms are {}{drift}", terms.join(", "))
}
