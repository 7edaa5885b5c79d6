//! Everything that was asked of one fit, as text and as a document.

use std::fmt;

use serde::Serialize;

use super::compared::write_compared;
use crate::wear::{
    ComparedModel, DownWeighted, DriftRow, FleetInfluence, IntervalRow, LikelihoodRatio, ResidualRow, WearContrast,
    WearContrasts, WearDocument, WearFit,
};

/// Heading of the column of differences.
/// Columns of the drift table that fit into 80 characters beside the model.
const COLUMNS: usize = 5;
const FRONT_LESS_REAR: &str = "front\u{2212}rear";
/// Wings listed among the influential ones.
const WINGS_LISTED: usize = 8;
/// Readings listed among those that counted less.
const READINGS_LISTED: usize = 20;

/// A fit with what else was asked of it. Parts that were not asked for are empty and are not printed.
#[derive(Debug, Clone, PartialEq)]
pub struct WearResults {
    /// The fit.
    pub fit: WearFit,
    /// Drift of the rows over the first 100 h.
    pub drift: Vec<DriftRow>,
    /// Intervals by another method than Wald's.
    pub intervals: Vec<IntervalRow>,
    /// Contrasts.
    pub contrasts: Option<WearContrasts>,
    /// Models compared with this one.
    pub compared: Vec<ComparedModel>,
    /// Likelihood-ratio tests.
    pub tests: Vec<LikelihoodRatio>,
    /// What the fit owes to each wing.
    pub influence: Option<FleetInfluence>,
    /// The largest residuals of each level.
    pub residuals: Vec<ResidualRow>,
    /// Readings that counted less than in full.
    pub down_weighted: Vec<DownWeighted>,
}

/// The results as a document: that of the fit, and what else was asked for.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WearResultsDocument<'a> {
    #[serde(flatten)]
    fit: WearDocument<'a>,
    drift_per_100_h: &'a [DriftRow],
    #[serde(skip_serializing_if = "<[IntervalRow]>::is_empty")]
    intervals: &'a [IntervalRow],
    #[serde(skip_serializing_if = "<[WearContrast]>::is_empty")]
    contrasts: &'a [WearContrast],
    #[serde(skip_serializing_if = "<[ComparedModel]>::is_empty")]
    compared: &'a [ComparedModel],
    #[serde(skip_serializing_if = "<[LikelihoodRatio]>::is_empty")]
    tests: &'a [LikelihoodRatio],
    #[serde(skip_serializing_if = "Option::is_none")]
    influence: Option<&'a FleetInfluence>,
    #[serde(skip_serializing_if = "<[ResidualRow]>::is_empty")]
    largest_residuals: &'a [ResidualRow],
    #[serde(skip_serializing_if = "<[DownWeighted]>::is_empty")]
    down_weighted: &'a [DownWeighted],
}

impl WearResults {
    /// A fit, and nothing else yet.
    #[must_use]
    pub fn new(fit: WearFit) -> Self {
        Self {
            fit,
            drift: Vec::new(),
            intervals: Vec::new(),
            contrasts: None,
            compared: Vec::new(),
            tests: Vec::new(),
            influence: None,
            residuals: Vec::new(),
            down_weighted: Vec::new(),
        }
    }

    /// The results as the JSON document `linedrift.wear/1`.
    #[must_use]
    pub fn document(&self) -> WearResultsDocument<'_> {
        WearResultsDocument {
            fit: self.fit.document(),
            drift_per_100_h: &self.drift,
            intervals: &self.intervals,
            contrasts: self.contrasts.as_ref().map_or(&[], WearContrasts::rows),
            compared: &self.compared,
            tests: &self.tests,
            influence: self.influence.as_ref(),
            largest_residuals: &self.residuals,
            down_weighted: &self.down_weighted,
        }
    }
}

impl fmt::Display for WearResults {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.fit)?;
        self.write_drift(f)?;
        self.write_intervals(f)?;
        if let Some(contrasts) = &self.contrasts {
            write!(f, "\n{contrasts}")?;
        }
        write_compared(&self.compared, f)?;
        self.write_tests(f)?;
        self.write_influence(f)?;
        self.write_residuals(f)?;
        self.write_down_weighted(f)
    }
}

impl WearResults {
    fn write_drift(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.drift.is_empty() {
            return Ok(());
        }
        // one line per model, one column per row; parts by material are in the rows
        let mut columns: Vec<&str> = Vec::new();
        let mut models: Vec<&str> = Vec::new();
        let whole = || self.drift.iter().filter(|row| row.material.is_none());
        for row in whole() {
            let column = if row.row.contains('\u{2212}') { FRONT_LESS_REAR } else { &row.row };
            if !columns.contains(&column) {
                columns.push(column);
            }
            if !models.contains(&row.model.as_str()) {
                models.push(&row.model);
            }
        }
        columns.sort_by_key(|column| *column == FRONT_LESS_REAR);
        writeln!(f, "\nDrift of a row's mean over the first 100 h, an average wing")?;
        writeln!(f, "(mm \u{b1} half of the 95 % interval)")?;
        let blocks = columns.len().div_ceil(COLUMNS).max(1);
        for block in columns.chunks(columns.len().div_ceil(blocks).max(1)) {
            write!(f, "{:<10}", "model")?;
            block.iter().try_for_each(|column| write!(f, " {column:>13}"))?;
            writeln!(f)?;
            for model in &models {
                write!(f, "{model:<10.10}")?;
                for column in block {
                    let found = whole().find(|row| {
                        row.model == *model
                            && (row.row == *column || (*column == FRONT_LESS_REAR && row.row.contains('\u{2212}')))
                    });
                    let line_sum = found.map_or_else(String::new, |row| {
                        format!("{:+.2} \u{b1} {:.2}", row.mm, (row.upper_mm - row.lower_mm) / 2.0)
                    });
                    write!(f, " {line_sum:>13}")?;
                }
                writeln!(f)?;
            }
        }
        Ok(())
    }

    fn write_intervals(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Some(first) = self.intervals.first() else { return Ok(()) };
        writeln!(f, "\n95 % intervals, {}", first.method.name())?;
        let end = |end: Option<f64>| end.map_or_else(|| "open".to_owned(), |end| format!("{end:.4}"));
        for row in &self.intervals {
            writeln!(
                f,
                "{:<28} {:>10.4}   {:>10} … {:>10}",
                row.parameter,
                row.estimate,
                end(row.lower),
                end(row.upper)
            )?;
        }
        Ok(())
    }

    fn write_tests(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if !self.tests.is_empty() {
            writeln!(f, "\nLikelihood-ratio tests (ML)")?;
        }
        for test in &self.tests {
            writeln!(
                f,
                "{:<28.28} statistic {:>8.2}, degrees of freedom {}, p {:.2e}",
                test.tested, test.statistic, test.freedom, test.p_value
            )?;
        }
        Ok(())
    }

    fn write_influence(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Some(influence) = &self.influence else { return Ok(()) };
        writeln!(f, "\nWings that the estimates owe most to (left out one by one, spreads held)")?;
        writeln!(f, "{:<12} {:>8} {:>10}   {:<28} {:>8}", "wing", "readings", "distance", "moves most", "by se")?;
        for wing in influence.wings.iter().take(WINGS_LISTED) {
            let number = |value: Option<f64>| value.map_or_else(|| "alone".to_owned(), |value| format!("{value:.3}"));
            writeln!(
                f,
                "{:<12.12} {:>8} {:>10}   {:<28.28} {:>8}",
                wing.wing,
                wing.readings,
                number(wing.distance),
                wing.term.as_deref().unwrap_or(""),
                wing.shift_se.map_or_else(String::new, |shift| format!("{shift:+.2}"))
            )?;
        }
        if let Some(deviance) = influence.deviance {
            writeln!(f, "Leave-one-wing-out score (−2 log density, lower is better): {deviance:.2}")?;
        }
        Ok(())
    }

    fn write_residuals(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if !self.residuals.is_empty() {
            writeln!(f, "\nFurthest from the model, by level (mm; rates mm/m in the first 100 h)")?;
        }
        for row in &self.residuals {
            let side = row.side.map_or("", |side| side.name());
            let place = [row.check.as_deref().unwrap_or(""), side, row.line.as_deref().unwrap_or("")];
            let place: Vec<&str> = place.into_iter().filter(|part| !part.is_empty()).collect();
            writeln!(
                f,
                "{:<14} {:<12.12} {:<26.26} {:>+8.2} {:>+6.1} sd",
                row.level.name(),
                row.wing,
                place.join(" "),
                row.value,
                row.in_sd
            )?;
        }
        Ok(())
    }

    fn write_down_weighted(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if !self.down_weighted.is_empty() {
            writeln!(f, "\nReadings that counted less")?;
        }
        for reading in self.down_weighted.iter().take(READINGS_LISTED) {
            writeln!(
                f,
                "{:<12.12} {:<14.14} {:<6} {:<8.8} {:>+9.1} mm off, weight {:.2}",
                reading.wing,
                reading.check,
                reading.side.name(),
                reading.line,
                reading.residual_mm,
                reading.weight
            )?;
        }
        if let more @ 1.. = self.down_weighted.len().saturating_sub(READINGS_LISTED) {
            writeln!(f, "and {more} more")?;
        }
        Ok(())
    }
}
