//! Arguments that several commands share.

use std::path::PathBuf;

use clap::Args;
use linedrift::Date;
use linedrift::fleet::read_materials;
use linedrift::wing::Fibre;

use super::Failure;

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

/// Where result tables go.
#[derive(Debug, Clone, Args)]
pub(super) struct Tables {
    /// Also write the result tables, as CSV and Parquet, into this folder
    #[arg(long, value_name = "DIR")]
    pub(super) out: Option<PathBuf>,
}

/// A calendar day.
pub(super) fn day(text: &str) -> Result<Date, String> {
    text.parse::<Date>().map_err(|_| format!("`{text}` is not a day such as 2026-03-01"))
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
