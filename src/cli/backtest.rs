//! `linedrift backtest`

use std::path::PathBuf;

use linedrift::fleet::{TableFormat, tables, write_atomic, write_table};
use linedrift::forecast::{BacktestSpec, Origins};
use linedrift::report::{calibration_figures, text};

use super::Failure;
use super::args::{Common, Tables};
use super::input::Input;
use super::output::{self, Output};
use super::progress::Progress;
use super::wear_model::WearModel;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Folder with the tables of a fleet
    fleet: PathBuf,
    /// Forecast every check after a wing's first, not only its last
    #[arg(long)]
    rolling: bool,
    /// Seed of the draws
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    #[command(flatten)]
    model: WearModel,
    #[command(flatten)]
    tables: Tables,
    #[command(flatten)]
    pub(super) common: Common,
}

impl Args {
    pub(super) fn run(self) -> Result<Output, Failure> {
        self.common.apply()?;
        let progress = Progress::new();
        progress.step("reading the tables");
        let input = Input::read(&self.fleet, self.model.covariates(), &self.common)?;
        progress.step("looking back");
        let origins = if self.rolling { Origins::Rolling } else { Origins::Last };
        let spec = BacktestSpec::default().origins(origins).seed(self.seed).wear(self.model.spec()?);
        let test = spec.run(&input.fleet)?;
        if let Some(out) = &self.tables.out {
            progress.step("writing tables and figures");
            output::make_folder(out)?;
            for format in [TableFormat::Csv, TableFormat::Parquet] {
                for table in
                    [tables::backtest(test.scores()), tables::backtest_coverage(&test), tables::backtest_crps(&test)]
                {
                    write_table(&table, out, format)?;
                }
            }
            for (name, figure) in ["coverage.svg", "pit.svg"].iter().zip(calibration_figures(&test)?) {
                let figure = output::alone(&figure, &input.fleet);
                write_atomic(&out.join(name), figure.standalone().as_bytes())?;
            }
        }
        drop(progress);
        if self.common.json {
            return Output::json(&test.document());
        }
        let note = if input.fleet.is_demo() { text::demo_note() } else { String::new() };
        Ok(Output::text(format!("{}{note}\n{test}", text::cautions())))
    }
}
