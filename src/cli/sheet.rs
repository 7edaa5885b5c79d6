//! `linedrift sheet`

use std::path::PathBuf;

use linedrift::check::sheet::{SheetRow, SheetSpec};
use linedrift::fleet::write_atomic;
use linedrift::report::text;
use serde::Serialize;

use super::args::Common;
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
    /// Write the sheet into this file instead of stdout
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    #[command(flatten)]
    pub(super) common: Common,
}

#[derive(Serialize)]
struct SheetDocument<'a> {
    schema: &'static str,
    wing: &'a str,
    last_check: Option<&'a str>,
    rows: &'a [SheetRow],
}

fn millimetres(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        _ => Err(format!("`{text}` is not a number of millimetres")),
    }
}

impl Args {
    pub(super) fn run(self) -> Result<Output, Failure> {
        self.common.apply()?;
        let input = Input::read(&self.fleet, &[])?;
        let history = judging::one_wing(&input.fleet, self.wing.as_deref())?;
        let last = history.checks.iter().rfind(|check| !check.readings.is_empty());
        let sheet = SheetSpec::default().datum_mm(self.datum).run(input.fleet.line_set(history), last);
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
