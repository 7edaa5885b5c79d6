//! Arguments that several commands share.

use std::path::{Path, PathBuf};

use clap::Args;
use linedrift::Date;
use linedrift::check::sheet::LineOnSide;
use linedrift::check::{ConfirmedLine, Fleet};
use linedrift::fleet::batch::CheckChoice;
use linedrift::fleet::spreadsheet::{WrittenDay, written_day, written_hours};
use linedrift::fleet::{Table, read_materials, read_user_file};
use linedrift::forecast::{LimitsTable, OwnInterval, ServiceRules};
use linedrift::wing::{Fibre, LineSet};

use super::parts::InParts;
use super::{Failure, output};

/// How to run and how to answer.
#[derive(Debug, Clone, Args)]
pub(super) struct Common {
    /// Print one JSON document instead of text
    #[arg(long)]
    pub(super) json: bool,
    /// Threads to use [default: all processors]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    threads: Option<u16>,
    /// Table of your own materials, which go before the documented ones
    #[arg(long, value_name = "FILE")]
    materials: Option<PathBuf>,
}

impl Common {
    /// Sets the number of threads. To be called once, before any work.
    pub(super) fn apply(&self) -> Result<(), Failure> {
        let Some(threads) = self.threads else { return Ok(()) };
        rayon::ThreadPoolBuilder::new()
            .num_threads(usize::from(threads))
            .build_global()
            .map_err(|error| Failure::result(&format!("cannot use {threads} threads: {error}")))
    }
}

impl Common {
    /// The user's own materials, if any.
    pub(super) fn fibres(&self) -> Result<Vec<Fibre>, Failure> {
        match &self.materials {
            Some(file) => Ok(read_materials(file)?),
            None => Ok(Vec::new()),
        }
    }
}

/// Which check of which wing.
#[derive(Debug, Clone, Default, Args)]
pub(super) struct Choice {
    /// This wing only
    #[arg(long, value_name = "ID")]
    pub(super) wing: Option<String>,
    /// This check only [default: each wing's latest]
    #[arg(long, value_name = "ID", conflicts_with = "wing")]
    pub(super) check: Option<String>,
}

impl Choice {
    /// Whether every wing is meant.
    pub(super) fn is_all(&self) -> bool {
        self.wing.is_none() && self.check.is_none()
    }

    /// The same for the library.
    pub(super) fn meant(&self) -> CheckChoice {
        match (&self.check, &self.wing) {
            (Some(check), _) => CheckChoice::Check(check.clone()),
            (None, Some(wing)) => CheckChoice::OfWing(wing.clone()),
            (None, None) => CheckChoice::Latest,
        }
    }

    /// Refuses a single wing or check beside results in parts.
    pub(super) fn fits(&self, parts: &InParts) -> Result<(), Failure> {
        if self.is_all() || !parts.is_set() {
            return Ok(());
        }
        Err(Failure::Call("--parts goes over all wings: leave out --wing and --check".to_owned()))
    }
}

/// Limits from a file.
#[derive(Debug, Clone, Default, Args)]
pub(super) struct LimitsFile {
    /// Limits in place of the defaults, for all models and for single ones (TOML, see docs/data.md)
    #[arg(long, value_name = "FILE")]
    limits: Option<PathBuf>,
}

impl LimitsFile {
    /// The limits of the file, the defaults without one. A model that the fleet does not have is said on stderr.
    pub(super) fn read(&self, fleet: &Fleet) -> Result<LimitsTable, Failure> {
        let Some(path) = &self.limits else { return Ok(LimitsTable::default()) };
        let text = read_text(path)?;
        let table = LimitsTable::from_toml(&text)
            .map_err(|error| Failure::file(path, error.line, &error.field, &error.value, &error.expected))?;
        for model in table.models() {
            if fleet.line_sets().iter().all(|set| set.model() != model) {
                output::say(&format!("note: the limits name model `{model}`, which the fleet does not have\n"));
            }
        }
        Ok(table)
    }
}

#[derive(Debug, clap::Args)]
pub(super) struct Service {
    /// Intervals, classes of use and events in place of the defaults (TOML, see docs/data.md)
    #[arg(long, value_name = "FILE")]
    service: Option<PathBuf>,
    /// Let a wing's own interval be longer than its maker's or the workshop's: check that the maker allows it
    #[arg(long)]
    longer_intervals: bool,
}

impl Service {
    /// The rules of the file, the defaults without one.
    pub(super) fn read(&self) -> Result<ServiceRules, Failure> {
        let rules = match &self.service {
            None => ServiceRules::default(),
            Some(path) => ServiceRules::from_toml(&read_text(path)?)
                .map_err(|error| Failure::Result(format!("`{}`: {error}", path.display())))?,
        };
        let longer = if self.longer_intervals { OwnInterval::MayBeLonger } else { OwnInterval::NeverLonger };
        Ok(rules.own_interval(longer))
    }
}

/// The text of a file.
pub(super) fn read_text(path: &Path) -> Result<String, Failure> {
    let said = |why: &dyn std::fmt::Display| Failure::Result(format!("cannot read `{}`: {why}", path.display()));
    String::from_utf8(read_user_file(path).map_err(|error| said(&error))?)
        .map_err(|_| said(&"it is no text in UTF-8"))
}

/// Where result tables go.
#[derive(Debug, Clone, Args)]
pub(super) struct Tables {
    /// Also write the result tables, as CSV and Parquet (and figures, where there are any), into this folder
    #[arg(long, value_name = "DIR")]
    pub(super) out: Option<PathBuf>,
}

impl Tables {
    /// Writes tables in both formats, where a folder is named.
    pub(super) fn write(&self, tables: &[Table]) -> Result<(), Failure> {
        let Some(out) = &self.out else { return Ok(()) };
        output::make_folder(out)?;
        for table in tables {
            output::write_formats(table, out, &output::BOTH)?;
        }
        Ok(())
    }
}

/// A calendar day, in the forms people write that can be read in one way only.
pub(super) fn day(text: &str) -> Result<Date, String> {
    match written_day(text) {
        WrittenDay::Day(day) => Ok(day),
        WrittenDay::Either { day_first, month_first } => {
            Err(format!("`{text}` may be {day_first} or {month_first}: write it so"))
        }
        WrittenDay::Not => Err(format!("`{text}` is not a day such as 2026-03-01")),
    }
}

/// Hours flown, in the forms people write.
pub(super) fn hours(text: &str) -> Result<f64, String> {
    if text.trim_start().starts_with('-') {
        return Err(format!("`{text}` is negative, which it cannot be"));
    }
    written_hours(text).ok_or_else(|| format!("`{text}` is not a number of hours, such as 62.5"))
}

/// Millimetres, with a decimal point or comma.
pub(super) fn millimetres(text: &str) -> Result<f64, String> {
    finite(&text.replace(',', "."))
}

/// A number above 0.
pub(super) fn above_zero(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value.is_finite() && value > 0.0 => Ok(value),
        _ => Err(format!("`{text}` is not a number above 0")),
    }
}

/// A number that is finite.
pub(super) fn finite(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        _ => Err(format!("`{text}` is not a number (with a decimal point)")),
    }
}

/// A number that is finite and not negative.
pub(super) fn not_negative(text: &str) -> Result<f64, String> {
    finite(text).and_then(|value| {
        if value >= 0.0 { Ok(value) } else { Err(format!("`{text}` is negative, which it cannot be")) }
    })
}

/// Lines that were measured again, by name.
pub(super) fn confirmed(set: &LineSet, lines: &[LineOnSide]) -> Result<Vec<ConfirmedLine>, Failure> {
    let known = |one: &LineOnSide| {
        let line = set.find(&one.line, one.side);
        line.map(|line| ConfirmedLine { side: one.side, line }).ok_or_else(|| {
            Failure::Call(format!("--confirm {one}: the wing has no line `{}` on the {}", one.line, one.side))
        })
    };
    lines.iter().map(known).collect()
}
