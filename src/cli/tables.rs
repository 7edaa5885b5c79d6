//! `linedrift tables`

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use clap::ValueEnum;
use linedrift::Date;
use linedrift::check::Fleet;
use linedrift::fleet::batch::{BatchJob, DueJob, PlanJob, TrimJob, VetJob};
use linedrift::fleet::{FleetSummary, Table, TableFormat, dictionary, tables};
use linedrift::forecast::{BacktestSpec, DueSpec, ForecastError, LimitsTable};
use linedrift::plan::PlanSpec;
use linedrift::report::text;
use linedrift::trim::TrimSpec;
use linedrift::wear::{WearFit, WearSpec};
use serde::Serialize;

use super::Failure;
use super::args::{Common, LimitsFile, day};
use super::input::Input;
use super::output::{self, Output};
use super::parts;
use super::progress::Progress;
use super::wear_model::WearModel;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Folder with the tables of a fleet
    #[arg(required_unless_present = "dictionary")]
    fleet: Option<PathBuf>,
    /// Folder for the result tables
    #[arg(long, value_name = "DIR", default_value = "linedrift-report")]
    out: PathBuf,
    /// File format of the tables
    #[arg(long, value_enum, default_value_t = FormatName::Both)]
    format: FormatName,
    /// Leave out the tables of the backtest, which take longest
    #[arg(long)]
    no_backtest: bool,
    /// Print what every column of every table means, as Markdown, and do nothing else
    #[arg(long, conflicts_with_all = ["fleet", "json"])]
    dictionary: bool,
    /// Day on which the forecasts are read [default: day of the fleet's last check]
    #[arg(long, value_name = "DATE", value_parser = day)]
    today: Option<Date>,
    /// Seed of the draws
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    #[command(flatten)]
    model: WearModel,
    #[command(flatten)]
    limits: LimitsFile,
    #[command(flatten)]
    pub(super) common: Common,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum FormatName {
    Csv,
    Parquet,
    Both,
}

impl FormatName {
    fn formats(self) -> &'static [TableFormat] {
        match self {
            FormatName::Csv => &[TableFormat::Csv],
            FormatName::Parquet => &[TableFormat::Parquet],
            FormatName::Both => &output::BOTH,
        }
    }
}

#[derive(Serialize)]
struct TablesDocument<'a> {
    schema: &'static str,
    tables: Vec<String>,
    remarks: &'a [String],
    #[serde(skip_serializing_if = "<[String]>::is_empty")]
    failed: &'a [String],
}

/// Tables as they come in, each written at once.
struct Written<'a> {
    out: &'a Path,
    formats: &'static [TableFormat],
    lines: String,
    files: Vec<String>,
    remarks: Vec<String>,
    failed: Vec<String>,
}

impl Written<'_> {
    fn table(&mut self, table: &Table) -> Result<(), Failure> {
        self.files.extend(output::write_formats(table, self.out, self.formats)?);
        let rows = table.columns.first().map_or(0, |column| column.data.len());
        let _ = writeln!(self.lines, "{:<20}{rows:>9} rows", table.name);
        Ok(())
    }

    fn tables(&mut self, tables: &[Table]) -> Result<(), Failure> {
        tables.iter().try_for_each(|table| self.table(table))
    }

    /// One question to all wings.
    fn job<J: BatchJob>(&mut self, fleet: &Fleet, job: &J, progress: &Progress) -> Result<(), Failure> {
        let batch = parts::ask(fleet, job, progress)?;
        self.failed.extend(batch.failures.iter().map(|failure| format!("{}: {failure}", job.name())));
        self.tables(&job.tables(&batch.answers))
    }
}

impl Args {
    pub(super) fn run(self) -> Result<Output, Failure> {
        self.common.apply()?;
        let (Some(folder), false) = (&self.fleet, self.dictionary) else {
            let pages = [
                ("Tables of a fleet", dictionary::inputs()),
                ("Result tables", dictionary::results()),
                ("Tables of `wear --out` and `power --out`", dictionary::exports()),
            ];
            let pages = pages.map(|(title, tables)| format!("## {title}\n\n{}", dictionary::markdown(tables)));
            return Ok(Output::raw(pages.join("\n")));
        };
        let progress = Progress::new();
        progress.step("reading the tables");
        let wear = self.model.spec()?;
        let input = Input::read(folder, self.model.covariates(), &self.common)?;
        let limits = self.limits.read(&input.fleet)?;
        output::make_folder(&self.out)?;
        let mut written = Written {
            out: &self.out,
            formats: self.format.formats(),
            lines: String::new(),
            files: Vec::new(),
            remarks: Vec::new(),
            failed: Vec::new(),
        };
        self.all(&input.fleet, (limits, &wear), &mut written, &progress)?;
        drop(progress);
        let demo = input.fleet.is_demo();
        let output = if self.common.json {
            let document = TablesDocument {
                schema: "linedrift.tables/1",
                tables: written.files,
                remarks: &written.remarks,
                failed: &written.failed,
            };
            Output::json(&output::document(document, demo))?
        } else {
            let note = if demo { text::demo_note() } else { String::new() };
            let remarks: String = written.remarks.iter().flat_map(|remark| ["note: ", remark, "\n"]).collect();
            let (lines, out) = (&written.lines, self.out.display());
            Output::text(format!("{}{note}\n{lines}{remarks}In {out}\n", text::cautions()))
        };
        Ok(output.with_failed(written.failed))
    }

    fn all(
        &self,
        fleet: &Fleet,
        (limits, wear): (LimitsTable, &WearSpec),
        written: &mut Written<'_>,
        progress: &Progress,
    ) -> Result<(), Failure> {
        progress.step("counting");
        let summary = FleetSummary::of(fleet);
        written.tables(&[tables::summary_models(&summary), tables::summary_rows(&summary)])?;
        progress.step("looking for doubtful readings");
        written.job(fleet, &VetJob::default(), progress)?;
        progress.step("judging checks");
        written.job(fleet, &TrimJob::new(TrimSpec::default(), limits.clone()), progress)?;
        progress.step("searching for the plans");
        written.job(fleet, &PlanJob::new(PlanSpec::default(), limits.clone()), progress)?;
        progress.step("fitting the wear model");
        match wear.fit(fleet) {
            Ok(fit) => self.forecasts(fleet, &fit, limits, written, progress)?,
            Err(error) if error.leaves_no_fit() => {
                written.remarks.push(format!("no wear, no next check and no backtest: {error}"));
                return Ok(());
            }
            Err(error) => {
                written.failed.push(format!("wear: {error}"));
                return Ok(());
            }
        }
        if self.no_backtest {
            return Ok(());
        }
        progress.step("looking back");
        match BacktestSpec::default().seed(self.seed).wear(wear.clone()).run(fleet) {
            Ok(test) => written.tables(&[
                tables::backtest(test.scores()),
                tables::backtest_coverage(&test),
                tables::backtest_crps(&test),
            ])?,
            Err(error @ ForecastError::NothingToForecast { .. }) => {
                written.remarks.push(format!("no backtest: {error}"));
            }
            Err(error) => written.failed.push(format!("backtest: {error}")),
        }
        Ok(())
    }

    fn forecasts(
        &self,
        fleet: &Fleet,
        fit: &WearFit,
        limits: LimitsTable,
        written: &mut Written<'_>,
        progress: &Progress,
    ) -> Result<(), Failure> {
        let drift = fit.drift(fleet.line_sets());
        written.tables(&[tables::terms(fit.terms()), tables::spread(fit.spread()), tables::drift(&drift)])?;
        progress.step("drawing forecasts");
        let today = self.today.or_else(|| fleet.last_date()).unwrap_or(Date::ZERO);
        let spec = DueSpec::default().seed(self.seed).today(today).limits(limits);
        match DueJob::new(&spec, fleet, fit) {
            Ok(job) => written.job(fleet, &job, progress)?,
            Err(error) => written.failed.push(format!("due: {error}")),
        }
        Ok(())
    }
}
