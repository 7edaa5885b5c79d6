//! `linedrift sheet`

use std::path::PathBuf;

use linedrift::check::History;
use linedrift::check::sheet::{SheetRow, SheetSpec};
use linedrift::fleet::write_atomic;
use linedrift::forecast::{ShortCheck, ShortCheckSpec};
use linedrift::report::text;
use linedrift::wear::WearSpec;
use serde::Serialize;

use super::args::{Common, above_nought};
use super::input::Input;
use super::output::{self, Document, Output};
use super::{Failure, judging};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Folder with the tables of a fleet
    fleet: PathBuf,
    /// The wing to be measured [default: the fleet's only wing]
    #[arg(long, value_name = "ID")]
    wing: Option<String>,
    /// What the instrument shows beyond the maker's length, mm
    #[arg(long, value_name = "MM", default_value_t = 0.0, allow_negative_numbers = true, value_parser = millimetres)]
    datum: f64,
    /// Only the lines that decide the row trim to this standard deviation, mm, given the fleet's wear and earlier checks
    #[arg(long, value_name = "MM", value_parser = above_nought)]
    short: Option<f64>,
    /// Hours flown at the short check [default: 100 h after the last check]
    #[arg(long, value_name = "H", requires = "short", value_parser = above_nought)]
    hours: Option<f64>,
    /// Write the sheet into this file instead of stdout
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    #[command(flatten)]
    pub(super) common: Common,
}

/// Hours after the last check at which a short check is taken when none are given, h (practice).
const INTERVAL_H: f64 = 100.0;

#[derive(Serialize)]
struct SheetDocument<'a> {
    schema: &'static str,
    wing: &'a str,
    last_check: Option<&'a str>,
    rows: &'a [SheetRow],
    #[serde(skip_serializing_if = "Option::is_none")]
    short: Option<&'a ShortCheck>,
}

fn millimetres(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        _ => Err(format!("`{text}` is not a number of millimetres")),
    }
}

impl Args {
    /// The lines of a short check of the wing.
    fn short_check(&self, input: &Input, history: &History, wanted_mm: f64) -> Result<ShortCheck, Failure> {
        let fit = WearSpec::default().fit_preferred(&input.fleet)?;
        let last_h = history.checks.last().map_or(0.0, |check| check.hours_h);
        let hours_h = self.hours.unwrap_or(last_h + INTERVAL_H);
        let set = input.fleet.line_set(history);
        Ok(ShortCheckSpec::default().wanted_mm(wanted_mm).run(&fit, set, history, hours_h)?)
    }

    pub(super) fn run(self) -> Result<Output, Failure> {
        self.common.apply()?;
        let input = Input::read(&self.fleet, &[])?;
        let history = judging::one_wing(&input.fleet, self.wing.as_deref())?;
        let last = history.checks.iter().rfind(|check| !check.readings.is_empty());
        let sheet = SheetSpec::default().datum_mm(self.datum).run(input.fleet.line_set(history), last);
        let short = self.short.map(|wanted_mm| self.short_check(&input, history, wanted_mm)).transpose()?;
        let sheet = match &short {
            Some(short) => sheet.keeping(|row| {
                short.lines.iter().any(|line| line.side == row.side && line.line_index == row.line_index)
            }),
            None => sheet,
        };
        if let Some(short) = &short {
            output::say(&format!("{short}"));
        }
        if let Some(out) = &self.out {
            write_atomic(out, sheet.to_csv().as_bytes())?;
        }
        let demo = input.fleet.is_demo();
        if self.common.json {
            let document = SheetDocument {
                schema: "linedrift.sheet/1",
                wing: &history.wing.id,
                last_check: last.map(|check| check.id.as_str()),
                rows: sheet.rows(),
                short: short.as_ref(),
            };
            return Output::json(&Document::new(document, demo));
        }
        if demo {
            output::say(&text::demo_note());
        }
        Ok(Output::text(match &self.out {
            Some(out) => format!("Wrote a sheet of {} lines to {}\n", sheet.rows().len(), out.display()),
            None => sheet.to_csv(),
        }))
    }
}
