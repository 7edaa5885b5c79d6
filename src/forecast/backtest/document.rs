//! A backtest as a document and on one screen.

use std::fmt;

use serde::Serialize;

use super::{Backtest, Conclusion, GroupScore, Method, PitBin, SkippedCheck};

/// Groups that `Display` prints before it only counts.
const SCREEN_GROUPS: usize = 24;

/// The document of `backtest --json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BacktestDocument<'a> {
    schema: &'static str,
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    demo: bool,
    forecasts: usize,
    checks: usize,
    conclusion: Conclusion,
    conclusion_text: String,
    coverage: Vec<CoverageEntry>,
    crps_mm: Vec<CrpsEntry>,
    pit: Vec<PitBin>,
    groups: Vec<GroupScore>,
    skipped: &'a [SkippedCheck],
}

/// Coverage of one level in the document.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CoverageEntry {
    level: f64,
    observed: f64,
    /// Band of the observed share by chance.
    band_lower: f64,
    band_upper: f64,
}

/// Score of one method in the document.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CrpsEntry {
    method: Method,
    value: f64,
    /// How much more than the wear model's, and the standard error of that.
    more_mm: f64,
    more_se_mm: f64,
}

impl Backtest {
    /// The document of `backtest --json`.
    #[must_use]
    pub fn document(&self) -> BacktestDocument<'_> {
        let crps = self.crps();
        BacktestDocument {
            schema: "linedrift.backtest/1",
            demo: self.is_demo(),
            forecasts: self.scores().len(),
            checks: self.checks(),
            conclusion: self.conclusion(),
            conclusion_text: self.conclusion().to_string(),
            coverage: self
                .coverage()
                .into_iter()
                .map(|row| CoverageEntry {
                    level: row.level,
                    observed: row.observed,
                    band_lower: row.band.lower,
                    band_upper: row.band.upper,
                })
                .collect(),
            crps_mm: Method::ALL
                .into_iter()
                .map(|method| CrpsEntry {
                    method,
                    value: crps.of(method),
                    more_mm: crps.of(method) - crps.linedrift,
                    more_se_mm: self.crps_difference_se_mm(method),
                })
                .collect(),
            pit: self.pit(),
            groups: self.groups(),
            skipped: self.skipped(),
        }
    }
}

impl fmt::Display for Backtest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "{} forecasts of row means less the common offset at {} checks; {} left out",
            self.scores().len(),
            self.checks(),
            self.skipped().len()
        )?;
        writeln!(f, "{}", self.conclusion())?;
        writeln!(f, "\nIntervals that held what was measured (in brackets: the range by chance)")?;
        for row in self.coverage() {
            writeln!(
                f,
                "  {:>3.0} %   {:>5.1} %   ({:.0} to {:.0} %)",
                100.0 * row.level,
                100.0 * row.observed,
                100.0 * row.band.lower,
                100.0 * row.band.upper
            )?;
        }
        writeln!(f, "\nMean score (CRPS, mm; lower is better), and how much more than linedrift's")?;
        let crps = self.crps();
        for method in Method::ALL {
            write!(f, "  {:<11} {:>6.3}", method.name(), crps.of(method))?;
            if method == Method::Linedrift {
                writeln!(f)?;
            } else {
                let more = crps.of(method) - crps.linedrift;
                writeln!(f, "   {more:>+6.3} (se {:.3})", self.crps_difference_se_mm(method))?;
            }
        }
        write!(f, "\nPIT, tenths from low to high, %:")?;
        for bin in self.pit() {
            write!(f, " {:.0}", 100.0 * bin.share)?;
        }
        writeln!(
            f,
            "\n\n  {:<24}{:>6}  {:>4} {:>4} {:>4}  {:>6} {:>6} {:>6} {:>6}",
            "by", "n", "50 %", "80 %", "95 %", "crps", "last", "own", "fleet"
        )?;
        let groups = self.groups();
        for group in groups.iter().take(SCREEN_GROUPS) {
            let name: String = format!("{} {}", group.by, group.name).chars().take(24).collect();
            writeln!(
                f,
                "  {name:<24}{:>6}  {:>4.0} {:>4.0} {:>4.0}  {:>6.2} {:>6.2} {:>6.2} {:>6.2}",
                group.forecasts,
                100.0 * group.covered50,
                100.0 * group.covered80,
                100.0 * group.covered95,
                group.crps_mm.linedrift,
                group.crps_mm.last_value,
                group.crps_mm.own_points,
                group.crps_mm.fleet_mean
            )?;
        }
        match groups.len().saturating_sub(SCREEN_GROUPS) {
            0 => Ok(()),
            more => writeln!(f, "  and {more} more"),
        }
    }
}
