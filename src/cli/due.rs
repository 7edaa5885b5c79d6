//! `linedrift due`

use std::path::PathBuf;

use linedrift::Date;
use linedrift::fleet::{TableFormat, tables, write_table};
use linedrift::forecast::DueSpec;
use linedrift::report::text;
use linedrift::wear::WearSpec;

use super::args::{Common, Tables, day};
use super::input::Input;
use super::output::{self, Output};
use super::progress::Progress;
use super::{Failure, judging};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Folder with the tables of a fleet
    fleet: PathBuf,
    /// This wing only (the wear model is still fitted to the whole fleet)
    #[arg(long, value_name = "ID")]
    wing: Option<String>,
    /// Accepted chance that a limit is passed before the next check
    #[arg(long, value_name = "SHARE", default_value_t = 0.1, value_parser = share)]
    risk: f64,
    /// Day on which the answer is read [default: day of the fleet's last check]
    #[arg(long, value_name = "DATE", value_parser = day)]
    today: Option<Date>,
    /// Seed of the draws
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    #[command(flatten)]
    tables: Tables,
    #[command(flatten)]
    pub(super) common: Common,
}

fn share(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(share) if share > 0.0 && share < 1.0 => Ok(share),
        _ => Err(format!("`{text}` is not a share above 0 and below 1, such as 0.1")),
    }
}

impl Args {
    pub(super) fn run(self) -> Result<Output, Failure> {
        self.common.apply()?;
        let progress = Progress::new();
        progress.step("reading the tables");
        let input = Input::read(&self.fleet, &[], &self.common)?;
        if let Some(wing) = &self.wing {
            judging::known_wing(&input.fleet, wing)?;
        }
        let today = self.today.or_else(|| input.fleet.last_date()).unwrap_or(Date::ZERO);
        progress.step("fitting the wear model");
        let fit = WearSpec::default().fit_preferred(&input.fleet)?;
        progress.step("drawing forecasts");
        let mut table = DueSpec::default().risk(self.risk).seed(self.seed).today(today).run(&input.fleet, &fit)?;
        if let Some(wing) = &self.wing {
            table = judging::only_due(&table, wing, input.fleet.is_demo());
        }
        if let Some(out) = &self.tables.out {
            output::make_folder(out)?;
            for format in [TableFormat::Csv, TableFormat::Parquet] {
                write_table(&tables::due(table.rows()), out, format)?;
            }
        }
        drop(progress);
        let failed: Vec<String> = table.failures().iter().map(judging::failed_due).collect();
        if self.common.json {
            return Ok(Output::json(&table.document())?.with_failed(failed));
        }
        let note = if input.fleet.is_demo() { text::demo_note() } else { String::new() };
        Ok(Output::text(format!("{}{note}\n{}", text::cautions(), text::due(&table, today))).with_failed(failed))
    }
}
