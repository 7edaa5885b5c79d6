//! `linedrift report`, and plain `linedrift`

use std::path::{Path, PathBuf};

use linedrift::Date;
use linedrift::check::Fleet;
use linedrift::fleet::write_atomic;
use linedrift::forecast::{DueRow, DueTable};
use linedrift::report::{Calibration, Page, ReportSpec, text};
use linedrift::trim::Trim;
use rayon::prelude::*;
use serde::Serialize;

use super::Failure;
use super::args::{Choice, Common, LimitsFile, day};
use super::input::Input;
use super::output::{self, Output};
use super::progress::Progress;
use super::protocol::ProtocolOptions;
use super::wear_model::WearModel;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Folder with the tables of a fleet [default: the bundled demo]
    fleet: Option<PathBuf>,
    #[command(flatten)]
    choice: Choice,
    #[command(flatten)]
    protocol: ProtocolOptions,
    #[command(flatten)]
    options: Options,
}

/// What plain `linedrift` takes too.
#[derive(Debug, Clone, clap::Args)]
pub(super) struct Options {
    /// Folder for the page and the result tables
    #[arg(long, value_name = "DIR", default_value = "linedrift-report")]
    out: PathBuf,
    /// Day on which the report is read [default: day of the fleet's last check]
    #[arg(long, value_name = "DATE", value_parser = day)]
    today: Option<Date>,
    /// Seed of the draws
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Also write every figure of the page as a file, into the folder `figures` beside it
    #[arg(long, value_name = "FORMAT", value_enum)]
    figures: Option<FigureFormat>,
    /// Look back at every wing's last check, with a fit for each day, however large the fleet [default: a quick look, for a
    /// fleet of up to 2,000 checks]
    #[arg(long)]
    calibration: bool,
    #[command(flatten)]
    model: WearModel,
    #[command(flatten)]
    limits: LimitsFile,
    #[command(flatten)]
    pub(super) common: Common,
}

/// Files of figures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum FigureFormat {
    /// Vector drawings.
    Svg,
    /// Pixels, twice the size on the page.
    #[cfg(feature = "png")]
    Png,
}

#[derive(Serialize)]
struct ReportDocument<'a> {
    schema: &'static str,
    page: String,
    tables: Vec<String>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    figures: Vec<String>,
    wings: usize,
    checks: &'a [Trim],
    due: &'a [DueRow],
    remarks: &'a [String],
    #[serde(skip_serializing_if = "<[String]>::is_empty")]
    failed: &'a [String],
}

impl Args {
    /// The report of the demo.
    pub(super) fn bare(options: Options) -> Self {
        Self { fleet: None, choice: Choice::default(), protocol: ProtocolOptions::default(), options }
    }

    pub(super) fn json(&self) -> bool {
        self.options.common.json
    }

    pub(super) fn run(self) -> Result<Output, Failure> {
        let options = &self.options;
        options.common.apply()?;
        let progress = Progress::new();
        progress.step("reading the tables");
        let input = Input::read_or_demo(self.fleet.as_ref(), options.model.covariates(), &options.common)?;
        if self.protocol.wanted() {
            return self.protocol.run(&input.fleet, &self.choice, &options.out, options.common.json);
        }
        let calibration = if options.calibration { Calibration::Whole } else { Calibration::Quick };
        let mut spec = ReportSpec::default()
            .choice(self.choice.meant())
            .seed(options.seed)
            .limits(options.limits.read(&input.fleet)?)
            .wear(options.model.spec()?)
            .calibration(calibration);
        spec = options.today.into_iter().fold(spec, ReportSpec::today);
        let report = spec.run(&input.fleet, &progress)?;
        progress.step("drawing the page");
        let page = report.page(&input.source)?;
        progress.step("writing page and tables");
        let page_path = options.out.join("index.html");
        output::make_folder(&options.out)?;
        let mut written = output::write_trims(&report.judged().trims, &options.out, &output::BOTH)?;
        for table in &report.fleet_tables() {
            written.extend(output::write_formats(table, &options.out, &output::BOTH)?);
        }
        write_atomic(&page_path, page.html().as_bytes())?;
        let figures = match options.figures {
            Some(format) => write_figures(&page, &input.fleet, &options.out.join("figures"), format)?,
            None => Vec::new(),
        };
        drop(progress);
        let output = if options.common.json {
            let document = ReportDocument {
                schema: "linedrift.report/1",
                page: page_path.display().to_string(),
                tables: written,
                figures,
                wings: report.fleet().histories().len(),
                checks: &report.judged().trims,
                due: report.due().map_or(&[], DueTable::rows),
                remarks: report.remarks(),
                failed: report.failed(),
            };
            Output::json(&output::document(document, input.fleet.is_demo()))?
        } else {
            let note = if input.fleet.is_demo() { format!("{}\n", text::demo_note()) } else { String::new() };
            let remarks: String = report.remarks().iter().flat_map(|remark| ["note: ", remark, "\n"]).collect();
            Output::text(format!(
                "{}{note}\n{}{remarks}\nThe page: {}\n{}",
                text::cautions(),
                text::fleet(&report.data(), report.today()),
                page_path.display(),
                match figures.len() {
                    0 => String::new(),
                    some => format!("Figures: {some} in {}\n", options.out.join("figures").display()),
                }
            ))
        };
        Ok(output.with_failed(report.failed().to_vec()))
    }
}

fn write_figures(page: &Page, fleet: &Fleet, folder: &Path, format: FigureFormat) -> Result<Vec<String>, Failure> {
    output::make_folder(folder)?;
    page.figures()
        .par_iter()
        .map(|one| {
            let figure = output::alone(&one.figure, fleet);
            let (ending, bytes) = match format {
                FigureFormat::Svg => ("svg", figure.standalone().into_bytes()),
                #[cfg(feature = "png")]
                FigureFormat::Png => ("png", figure.png(1.0)?),
            };
            let path = folder.join(format!("{}.{ending}", one.name));
            write_atomic(&path, &bytes)?;
            Ok(path.display().to_string())
        })
        .collect()
}
