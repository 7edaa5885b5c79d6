//! `linedrift trim`

use std::path::PathBuf;

use linedrift::fleet::{TableFormat, tables, write_table};
use linedrift::report::text;
use linedrift::trim::Trim;
use serde::Serialize;

use super::args::{Choice, Common, LimitsFile, Tables};
use super::input::Input;
use super::output::{self, Document, Output};
use super::progress::Progress;
use super::{Failure, judging};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Folder with the tables of a fleet
    fleet: PathBuf,
    #[command(flatten)]
    choice: Choice,
    #[command(flatten)]
    limits: LimitsFile,
    #[command(flatten)]
    tables: Tables,
    #[command(flatten)]
    pub(super) common: Common,
}

#[derive(Serialize)]
struct TrimDocument<'a> {
    schema: &'static str,
    checks: &'a [Trim],
    #[serde(skip_serializing_if = "<[String]>::is_empty")]
    failed: &'a [String],
}

impl Args {
    pub(super) fn run(self) -> Result<Output, Failure> {
        self.common.apply()?;
        let progress = Progress::new();
        progress.step("reading the tables");
        let input = Input::read(&self.fleet, &[], &self.common)?;
        progress.step("judging checks");
        let judged = judging::judge(&input.fleet, &self.choice, &self.limits.read(&input.fleet)?)?;
        if let Some(out) = &self.tables.out {
            output::make_folder(out)?;
            for format in [TableFormat::Csv, TableFormat::Parquet] {
                write_table(&tables::checks(&judged.trims), out, format)?;
                write_table(&tables::rows(&judged.trims), out, format)?;
                write_table(&tables::lines(&judged.trims), out, format)?;
            }
        }
        drop(progress);
        let demo = input.fleet.is_demo();
        let output = if self.common.json {
            let document = TrimDocument { schema: "linedrift.trim/1", checks: &judged.trims, failed: &judged.failed };
            Output::json(&Document::new(document, demo))?
        } else {
            let note = if demo { text::demo_note() } else { String::new() };
            Output::text(format!("{}{note}\n{}", text::cautions(), text::trims(&judged.trims)))
        };
        Ok(output.with_failed(judged.failed))
    }
}
