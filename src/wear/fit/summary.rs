//! A wear fit as a document and as one screen.

use std::fmt;

use serde::Serialize;

use crate::stats::mixed::Criterion;
use crate::wear::fit::wear_fit::ModelChoice;
use crate::wear::inference::contrast::{df_text, p_text};
use crate::wear::{Diagnostic, ShapeComparison, SpreadRow, TermRow, WearFit};

/// The wear fit as the JSON document `linedrift.wear/1`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WearDocument<'a> {
    schema: &'static str,
    readings: usize,
    wings: usize,
    checks: usize,
    lines: usize,
    restarted_lines: usize,
    criterion: Criterion,
    deviance: f64,
    evaluations: usize,
    converged: bool,
    shape: ShapeDocument,
    shape_comparison: &'a [ShapeComparison],
    model: ModelChoice,
    terms: &'a [TermRow],
    spread: &'a [SpreadRow],
    dropped_terms: &'a [String],
    diagnostics: &'a [Diagnostic],
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
struct ShapeDocument {
    kind: &'static str,
    scale_h: Option<f64>,
    scale_lower_h: Option<f64>,
    scale_upper_h: Option<f64>,
}

impl WearFit {
    /// The fit as the JSON document `linedrift.wear/1`.
    #[must_use]
    pub fn document(&self) -> WearDocument<'_> {
        WearDocument {
            schema: "linedrift.wear/1",
            readings: self.readings(),
            wings: self.wings(),
            checks: self.checks(),
            lines: self.lines(),
            restarted_lines: self.restarted_lines(),
            criterion: self.criterion(),
            deviance: self.deviance(),
            evaluations: self.evaluations(),
            converged: self.converged(),
            shape: ShapeDocument {
                kind: self.shape().name(),
                scale_h: self.shape().scale_h(),
                scale_lower_h: self.scale().and_then(|scale| scale.lower_h),
                scale_upper_h: self.scale().and_then(|scale| scale.upper_h),
            },
            shape_comparison: self.comparison(),
            model: self.model(),
            terms: self.terms(),
            spread: self.spread(),
            dropped_terms: self.dropped_terms(),
            diagnostics: self.diagnostics(),
        }
    }
}

impl fmt::Display for WearFit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "Wear of {} wings: {} readings of {} lines at {} checks\n{} line offsets started again",
            self.wings(),
            self.readings(),
            self.lines(),
            self.checks(),
            self.restarted_lines()
        )?;
        let mut scale = self.shape().scale_h().map_or_else(String::new, |scale| format!(", scale {scale:.1} h"));
        if let Some(known) = self.scale() {
            let end = |end: Option<f64>| end.map_or_else(|| "open".to_owned(), |end| format!("{end:.1}"));
            scale = format!("{scale} (95 % {} … {})", end(known.lower_h), end(known.upper_h));
        }
        let criterion = match self.criterion() {
            Criterion::Reml => "REML",
            Criterion::Ml => "ML",
        };
        writeln!(
            f,
            "Time shape {}{scale}; {criterion} deviance {:.3} after {} evaluations{}",
            self.shape().name(),
            self.deviance(),
            self.evaluations(),
            if self.converged() { "" } else { " (not converged)" }
        )?;
        for row in self.comparison() {
            let scale = row.scale_h.map_or_else(String::new, |scale| format!(" at {scale:.1} h"));
            writeln!(f, "  shape {}{scale}: AIC {:.1}, weight {:.3}", row.kind, row.aic, row.weight)?;
        }
        if self.averaged || !self.random.names().is_empty() {
            writeln!(f, "Model: {}", self.model().why)?;
        }
        writeln!(f, "\nRates: mm per metre of line in the first 100 h, negative shrinks; offset in mm")?;
        writeln!(f, "{:<24} {:>9} {:>8} {:>7}  {:>19} {:>7}", "term", "estimate", "se", "df", "95 % interval", "p")?;
        for term in self.terms() {
            writeln!(
                f,
                "{:<24} {:>9.4} {:>8.4} {:>7}  {:>9.4} {:>9.4} {:>7}",
                term.term,
                term.estimate,
                term.se,
                df_text(term.df),
                term.lower,
                term.upper,
                p_text(Some(term.p))
            )?;
        }
        writeln!(f, "\nSpreads (standard deviations): offsets in mm, rates in mm/m in the first 100 h")?;
        for spread in self.spread() {
            let (label, value) = match (spread.sd, spread.correlation) {
                (Some(sd), _) => ("", sd),
                (None, Some(correlation)) => ("correlation of ", correlation),
                (None, None) => continue,
            };
            writeln!(f, "{:<28} {value:>10.4}", format!("{label}{} {}", spread.group, spread.effect))?;
        }
        for diagnostic in self.diagnostics() {
            writeln!(f, "\n{}: {}", diagnostic.code, diagnostic.message)?;
        }
        Ok(())
    }
}
