//! `linedrift report`, and plain `linedrift`

use std::collections::HashSet;
use std::path::{Path, PathBuf};

use linedrift::Date;
use linedrift::check::Fleet;
use linedrift::fleet::batch::BatchFailure;
use linedrift::fleet::{Table, tables, write_atomic};
use linedrift::forecast::{
    Backtest, BacktestSpec, DueRow, DueSpec, DueTable, ForecastError, ForecastFan, LimitsTable,
};
use linedrift::plan::PlanSpec;
use linedrift::report::{Page, PageSpec, ReportData, WearSummary, WingPlan, text};
use linedrift::trim::{Trim, TrimSpec};
use linedrift::wear::{WearFit, WearSpec, expected_drift, measured_drift};
use rayon::prelude::*;
use serde::Serialize;

use super::Failure;
use super::args::{Choice, Common, LimitsFile, day};
use super::failure::is_too_little_history;
use super::input::Input;
use super::judging::{Judged, chosen, failed_due, judge};
use super::output::{self, Document, Output};
use super::plan::findings;
use super::progress::Progress;
use super::protocol::ProtocolOptions;

/// Checks of a fleet past which calibration is looked at only when asked for: it fits the wear model several times.
const CALIBRATED_CHECKS: usize = 2_000;
/// Fits of the quick look.
const QUICK_FITS: usize = 8;
/// Draws of the quick look: a tenth of the histogram is then known to one point.
const QUICK_DRAWS: usize = 500;
/// Fewest hidden checks from which calibration says something.
const LEAST_FORECAST: usize = 10;
/// Wings with figures in the page of a fleet.
const PICTURED: usize = 60;

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

/// What was worked out for a report.
struct Results {
    judged: Judged,
    fit: Option<WearFit>,
    due: Option<DueTable>,
    plans: Vec<WingPlan>,
    fans: Vec<ForecastFan>,
    backtest: Option<Backtest>,
    remarks: Vec<String>,
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
        let input = Input::read_or_demo(self.fleet.as_ref(), &self.options.common)?;
        if self.protocol.wanted() {
            return self.protocol.run(&input.fleet, &self.choice, &options.out, options.common.json);
        }
        let today = options.today.or_else(|| input.fleet.last_date()).unwrap_or(Date::ZERO);
        let limits = options.limits.read(&input.fleet)?;
        progress.step("judging checks");
        let judged = judge(&input.fleet, &self.choice, &TrimSpec::default(), &limits, &progress)?;
        let spec = DueSpec::default().seed(options.seed).today(today).limits(limits.clone());
        let results = self.work_out(&input.fleet, judged, &spec, &limits, &progress)?;
        progress.step("drawing the page");
        let mut drifts = measured_drift(&input.fleet);
        if let Some(fit) = &results.fit {
            drifts = expected_drift(drifts, &input.fleet, fit, options.seed)?;
        }
        let wear = results.fit.as_ref().map(WearSummary::from);
        // one wing's report speaks of that wing, with the fleet's wear behind it
        let shown = match self.only(&input.fleet) {
            Some(wing) => only(&input.fleet, wing)?,
            None => input.fleet.clone(),
        };
        let data = ReportData {
            fleet: &shown,
            trims: &results.judged.trims,
            due: results.due.as_ref(),
            wear: wear.as_ref(),
            drifts: &drifts,
            plans: &results.plans,
            fans: &results.fans,
            backtest: results.backtest.as_ref(),
            remarks: &results.remarks,
        };
        let page = PageSpec::default().pictured_wings(PICTURED).today(today).source(&input.source).run(&data)?;
        progress.step("writing page and tables");
        let page_path = options.out.join("index.html");
        let written = write_tables(&input.fleet, &results, &options.out)?;
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
                wings: shown.histories().len(),
                checks: &results.judged.trims,
                due: results.due.as_ref().map_or(&[], DueTable::rows),
                remarks: &results.remarks,
                failed: &results.judged.failed,
            };
            Output::json(&Document::new(document, input.fleet.is_demo()))?
        } else {
            let note = if input.fleet.is_demo() { format!("{}\n", text::demo_note()) } else { String::new() };
            let remarks: String = results.remarks.iter().flat_map(|remark| ["note: ", remark, "\n"]).collect();
            Output::text(format!(
                "{}{note}\n{}{remarks}\nThe page: {}\n{}",
                text::cautions(),
                text::fleet(&data, today),
                page_path.display(),
                match figures.len() {
                    0 => String::new(),
                    some => format!("Figures: {some} in {}\n", options.out.join("figures").display()),
                }
            ))
        };
        Ok(output.with_failed(results.judged.failed))
    }

    /// Fit, forecasts and plans. A fleet too small for a wear model still gets its report, with a remark.
    fn work_out(
        &self,
        fleet: &Fleet,
        mut judged: Judged,
        spec: &DueSpec,
        limits: &LimitsTable,
        progress: &Progress,
    ) -> Result<Results, Failure> {
        progress.step("fitting the wear model");
        let mut remarks = Vec::new();
        let fit = match WearSpec::default().fit(fleet) {
            Ok(fit) => Some(fit),
            Err(error) if is_too_little_history(&error) => {
                remarks.push(format!("No wear and no next check: {error}."));
                None
            }
            Err(error) => return Err(error.into()),
        };
        progress.step("drawing forecasts");
        let only = self.only(fleet);
        let due = match (&fit, only) {
            // wings share their random numbers, so one alone gets what it gets among all
            (Some(fit), Some(wing)) => Some(spec.run_of(fleet, fit, &[wing])?),
            (Some(fit), None) => Some(spec.run(fleet, fit)?),
            (None, _) => None,
        };
        judged.failed.extend(due.iter().flat_map(DueTable::failures).map(failed_due));
        let fans = match (&fit, &due) {
            (Some(fit), Some(due)) => {
                let wings: Vec<&str> = due.rows().iter().map(|row| row.wing.as_str()).take(PICTURED).collect();
                spec.fans(fleet, fit, &wings)?
            }
            _ => Vec::new(),
        };
        progress.step("searching for plans");
        let plans = self.plans(fleet, limits, &mut judged)?;
        progress.step("looking back");
        let backtest = if only.is_none() && fit.is_some() { self.backtest(fleet)? } else { None };
        Ok(Results { judged, fit, due, plans, fans, backtest, remarks })
    }

    /// The plan of each judged check, with its trade-off.
    fn plans(&self, fleet: &Fleet, limits: &LimitsTable, judged: &mut Judged) -> Result<Vec<WingPlan>, Failure> {
        let trimmed: HashSet<&str> = judged.trims.iter().map(|trim| trim.check.as_str()).collect();
        let made: Vec<Result<WingPlan, String>> = chosen(fleet, &self.choice)?
            .into_par_iter()
            // a check that could not be judged is named already
            .filter(|one| trimmed.contains(one.check.id.as_str()))
            .map(|one| {
                let set = fleet.line_set(one.history);
                let findings = findings(fleet, one)?;
                let spec = limits.of(&one.history.wing.model).planning(PlanSpec::default());
                let failed = |error: linedrift::plan::PlanError| BatchFailure::of_check(&one, &error).to_string();
                let plan = spec.run(set, one.history, one.check, &findings).map_err(failed)?;
                let curve = if plan.actions.is_empty() {
                    Vec::new()
                } else {
                    spec.aim(plan.aim).curve(set, one.history, one.check, &findings).map_err(failed)?
                };
                Ok(WingPlan { plan, curve })
            })
            .collect();
        let mut plans = Vec::with_capacity(made.len());
        for one in made {
            match one {
                Ok(plan) => plans.push(plan),
                Err(failed) => judged.failed.push(failed),
            }
        }
        Ok(plans)
    }

    /// How good earlier forecasts were; `None` where too little history could tell.
    fn backtest(&self, fleet: &Fleet) -> Result<Option<Backtest>, Failure> {
        let checks: usize = fleet.histories().iter().map(|history| history.checks.len()).sum();
        let spec = BacktestSpec::default().seed(self.options.seed);
        let quick = spec.clone().most_fits(QUICK_FITS).draws(QUICK_DRAWS);
        let spec = match (self.options.calibration, checks > CALIBRATED_CHECKS) {
            (true, _) => spec,
            (false, true) => return Ok(None),
            (false, false) => quick,
        };
        match spec.run(fleet) {
            Ok(test) if test.checks() >= LEAST_FORECAST => Ok(Some(test)),
            Ok(_) | Err(ForecastError::NothingToForecast { .. }) => Ok(None),
            Err(error) => Err(error.into()),
        }
    }

    /// The wing that the report is of, when it is of one.
    fn only<'a>(&'a self, fleet: &'a Fleet) -> Option<&'a str> {
        let of_check =
            |id: &String| fleet.histories().iter().find(|history| history.checks.iter().any(|check| check.id == *id));
        match (&self.choice.wing, &self.choice.check) {
            (Some(wing), _) => Some(wing),
            (None, Some(check)) => of_check(check).map(|history| history.wing.id.as_str()),
            (None, None) => None,
        }
    }
}

/// The page of one wing of a fleet in memory, as HTML.
pub(super) fn wing_page(
    input: &Input,
    wing: &str,
    limits: &LimitsTable,
    common: &Common,
    progress: &Progress,
) -> Result<String, Failure> {
    let options = Options {
        out: PathBuf::new(),
        today: None,
        seed: 1,
        figures: None,
        calibration: false,
        limits: LimitsFile::default(),
        common: common.clone(),
    };
    let choice = Choice { wing: Some(wing.to_owned()), check: None };
    let args = Args { fleet: None, choice, protocol: ProtocolOptions::default(), options };
    let today = input.fleet.last_date().unwrap_or(Date::ZERO);
    let judged = judge(&input.fleet, &args.choice, &TrimSpec::default(), limits, progress)?;
    let spec = DueSpec::default().today(today).limits(limits.clone());
    let results = args.work_out(&input.fleet, judged, &spec, limits, progress)?;
    let shown = only(&input.fleet, wing)?;
    let data = ReportData {
        fleet: &shown,
        trims: &results.judged.trims,
        due: results.due.as_ref(),
        wear: None,
        drifts: &[],
        plans: &results.plans,
        fans: &results.fans,
        backtest: None,
        remarks: &results.remarks,
    };
    Ok(PageSpec::default().today(today).source(&input.source).run(&data)?.html().to_owned())
}

/// The fleet with one wing left in it.
fn only(fleet: &Fleet, wing: &str) -> Result<Fleet, Failure> {
    let histories = fleet.histories().iter().filter(|history| history.wing.id == wing).cloned().collect();
    let one = Fleet::new(fleet.line_sets().to_vec(), histories).map_err(|error| Failure::result(&error))?;
    Ok(if fleet.is_demo() { one.marked_demo() } else { one })
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

fn write_tables(fleet: &Fleet, results: &Results, out: &Path) -> Result<Vec<String>, Failure> {
    output::make_folder(out)?;
    let trims = &results.judged.trims;
    let mut all: Vec<Table> = vec![
        tables::checks(trims),
        tables::diagnosis(trims),
        tables::rows(trims),
        tables::lines(trims),
        tables::twist(trims),
    ];
    if let Some(fit) = &results.fit {
        all.extend([tables::terms(fit.terms()), tables::spread(fit.spread())]);
        all.push(tables::drift(&fit.drift(fleet.line_sets())));
    }
    if let Some(due) = &results.due {
        all.push(tables::due(due.rows()));
    }
    let mut written = Vec::new();
    for table in &all {
        written.extend(output::write_formats(table, out, &output::BOTH)?);
    }
    Ok(written)
}
