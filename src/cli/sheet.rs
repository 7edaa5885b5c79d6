//! `linedrift sheet`

use std::fmt::Write as _;
use std::path::PathBuf;

use linedrift::check::History;
use linedrift::check::sheet::{SheetRow, SheetSpec};
use linedrift::fleet::batch::one_wing;
use linedrift::fleet::spreadsheet::sheet_xlsx;
use linedrift::fleet::write_atomic;
use linedrift::forecast::{ShortCheck, ShortCheckSpec};
use linedrift::report::{SheetPageSpec, text};
use linedrift::wear::WearSpec;
use serde::Serialize;

use super::Failure;
use super::args::{Common, above_zero};
use super::input::Input;
use super::output::{self, Output};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Folder with the tables of a fleet
    fleet: PathBuf,
    /// The wing to be measured [default: the fleet's only wing]
    #[arg(long, value_name = "ID")]
    wing: Option<String>,
    /// What the instrument shows beyond the maker's length, mm [default: 0]
    #[arg(long, value_name = "MM", allow_negative_numbers = true, value_parser = millimetres)]
    datum: Option<f64>,
    /// Only the lines that decide the row trim to this standard deviation, mm, given the fleet's wear and earlier checks
    #[arg(long, value_name = "MM", value_parser = above_zero)]
    short: Option<f64>,
    /// Hours flown at the short check [default: 100 h after the last check]
    #[arg(long, value_name = "H", requires = "short", value_parser = above_zero)]
    hours: Option<f64>,
    /// Write the sheet into this file instead of stdout; a name that ends in .html makes it the printable one, .xlsx one to fill
    /// in with the deviation worked out
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Write the printable sheet, one HTML page for A4, into this file
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
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
        let fit = WearSpec::default().fit(&input.fleet)?;
        let last_h = history.checks.last().map_or(0.0, |check| check.hours_h);
        let hours_h = self.hours.unwrap_or(last_h + INTERVAL_H);
        let set = input.fleet.line_set(history);
        Ok(ShortCheckSpec::default().wanted_mm(wanted_mm).run(&fit, set, history, hours_h)?)
    }

    pub(super) fn run(self) -> Result<Output, Failure> {
        self.common.apply()?;
        let input = Input::read(&self.fleet, &[], &self.common)?;
        let history = one_wing(&input.fleet, self.wing.as_deref())?;
        let last = history.checks.iter().rfind(|check| !check.readings.is_empty());
        if let (None, Some(last)) = (self.datum, last)
            && last.datum_mm != 0.0
        {
            let (id, mm) = (&last.id, last.datum_mm);
            output::say(&format!("note: the sheet is for a datum of 0; check {id} had {mm} mm (--datum {mm})\n"));
        }
        let datum_mm = self.datum.unwrap_or(0.0);
        let sheet = SheetSpec::default().datum_mm(datum_mm).run(input.fleet.line_set(history), last);
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
        let demo = input.fleet.is_demo();
        let mut spec = SheetPageSpec::new(&history.wing).datum_mm(datum_mm);
        spec = last.into_iter().fold(spec, SheetPageSpec::last);
        if demo {
            spec = spec.demo();
        }
        let mut written = String::new();
        for out in self.out.iter().chain(&self.html) {
            let is_page = Some(out) == self.html.as_ref() || out.extension().is_some_and(|ending| ending == "html");
            let is_book = !is_page && out.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("xlsx"));
            let bytes = match (is_page, is_book) {
                (true, _) => spec.html(&sheet).into_bytes(),
                (_, true) => sheet_xlsx(&sheet)?,
                _ => sheet.to_csv().into_bytes(),
            };
            write_atomic(out, &bytes)?;
            let what = if is_page { "a printable sheet" } else { "a sheet" };
            let _ = writeln!(written, "Wrote {what} of {} lines to {}", sheet.rows().len(), out.display());
        }
        if self.common.json {
            let document = SheetDocument {
                schema: "linedrift.sheet/1",
                wing: &history.wing.id,
                last_check: last.map(|check| check.id.as_str()),
                rows: sheet.rows(),
                short: short.as_ref(),
            };
            return Output::json(&output::document(document, demo));
        }
        if demo {
            output::say(&text::demo_note());
        }
        Ok(Output::text(if written.is_empty() { sheet.to_csv() } else { written }))
    }
}
