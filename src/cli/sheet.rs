//! `linedrift sheet`

use std::fmt::Write as _;
use std::path::PathBuf;

use linedrift::check::sheet::{SheetRow, SheetSpec};
use linedrift::fleet::write_atomic;
use linedrift::report::{SheetPageSpec, text};
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
    /// Write the sheet into this file instead of stdout; a name that ends in .html makes it the printable one
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Write the printable sheet, one HTML page for A4, into this file
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
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
        let input = Input::read(&self.fleet, &[], &self.common)?;
        let history = judging::one_wing(&input.fleet, self.wing.as_deref())?;
        let last = history.checks.iter().rfind(|check| !check.readings.is_empty());
        let sheet = SheetSpec::default().datum_mm(self.datum).run(input.fleet.line_set(history), last);
        let demo = input.fleet.is_demo();
        let mut spec = SheetPageSpec::new(&history.wing).datum_mm(self.datum);
        spec = last.into_iter().fold(spec, SheetPageSpec::last);
        if demo {
            spec = spec.demo();
        }
        let mut written = String::new();
        for out in self.out.iter().chain(&self.html) {
            let is_page = Some(out) == self.html.as_ref() || out.extension().is_some_and(|ending| ending == "html");
            let text = if is_page { spec.html(&sheet) } else { sheet.to_csv() };
            write_atomic(out, text.as_bytes())?;
            let what = if is_page { "a printable sheet" } else { "a sheet" };
            let _ = writeln!(written, "Wrote {what} of {} lines to {}", sheet.rows().len(), out.display());
        }
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
        Ok(Output::text(if written.is_empty() { sheet.to_csv() } else { written }))
    }
}
