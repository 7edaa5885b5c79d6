//! `linedrift report`, and plain `linedrift`

use std::path::{Path, PathBuf};

use linedrift::Date;
use linedrift::check::Fleet;
use linedrift::fleet::{Table, TableFormat, tables, write_atomic, write_table};
use linedrift::forecast::{DueRow, DueSpec, DueTable};
use linedrift::report::{PageSpec, ReportData, WearSummary, expected_drift, measured_drift, text};
use linedrift::trim::{Trim, TrimSpec};
use linedrift::wear::{WearError, WearFit, WearSpec};
use serde::Serialize;

use super::Failure;
use super::args::{Choice, Common, LimitsFile, day};
use super::input::Input;
use super::judging::{Judged, failed_due, judge, only_due};
use super::output::{self, Document, Output};
use super::progress::Progress;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Folder with the tables of a fleet [default: the bundled demo]
    fleet: Option<PathBuf>,
    #[command(flatten)]
    choice: Choice,
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
    #[command(flatten)]
    limits: LimitsFile,
    #[command(flatten)]
    pub(super) common: Common,
}

#[derive(Serialize)]
struct ReportDocument<'a> {
    schema: &'static str,
    page: String,
    tables: Vec<String>,
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
    remarks: Vec<String>,
}

impl Args {
    /// The report of the demo.
    pub(super) fn bare(options: Options) -> Self {
        Self { fleet: None, choice: Choice::default(), options }
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
        let today = options.today.or_else(|| input.fleet.last_date()).unwrap_or(Date::ZERO);
        let limits = options.limits.read(&input.fleet)?;
        progress.step("judging checks");
        let judged = judge(&input.fleet, &self.choice, &TrimSpec::default(), &limits)?;
        let spec = DueSpec::default().seed(options.seed).today(today).limits(limits);
        let results = self.work_out(&input.fleet, judged, &spec, &progress)?;
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
            remarks: &results.remarks,
        };
        let page = PageSpec::default().today(today).source(&input.source).run(&data)?;
        progress.step("writing page and tables");
        let page_path = options.out.join("index.html");
        let written = write_tables(&input.fleet, &results, &options.out)?;
        write_atomic(&page_path, page.html().as_bytes())?;
        drop(progress);
        let output = if options.common.json {
            let document = ReportDocument {
                schema: "linedrift.report/1",
                page: page_path.display().to_string(),
                tables: written,
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
                "{}{note}\n{}{remarks}\nThe page: {}\n",
                text::cautions(),
                text::fleet(&data, today),
                page_path.display()
            ))
        };
        Ok(output.with_failed(results.judged.failed))
    }

    /// Fit and forecasts. A fleet too small for a wear model still gets its report, with a remark.
    fn work_out(
        &self,
        fleet: &Fleet,
        mut judged: Judged,
        spec: &DueSpec,
        progress: &Progress,
    ) -> Result<Results, Failure> {
        progress.step("fitting the wear model");
        let mut remarks = Vec::new();
        let fit = match WearSpec::default().fit_preferred(fleet) {
            Ok(fit) => Some(fit),
            Err(error @ (WearError::NoReadings | WearError::Fit { .. })) => {
                remarks.push(format!("No wear and no next check: {error}."));
                None
            }
            Err(error) => return Err(error.into()),
        };
        progress.step("drawing forecasts");
        let due = match &fit {
            Some(fit) => Some(spec.run(fleet, fit)?),
            None => None,
        };
        let due = match (due, self.only(fleet)) {
            (Some(table), Some(wing)) => Some(only_due(&table, wing)),
            (due, _) => due,
        };
        judged.failed.extend(due.iter().flat_map(DueTable::failures).map(failed_due));
        Ok(Results { judged, fit, due, remarks })
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

/// The fleet with one wing left in it.
fn only(fleet: &Fleet, wing: &str) -> Result<Fleet, Failure> {
    let histories = fleet.histories().iter().filter(|history| history.wing.id == wing).cloned().collect();
    let one = Fleet::new(fleet.line_sets().to_vec(), histories).map_err(|error| Failure::result(&error))?;
    Ok(if fleet.is_demo() { one.marked_demo() } else { one })
}

fn write_tables(fleet: &Fleet, results: &Results, out: &Path) -> Result<Vec<String>, Failure> {
    output::make_folder(out)?;
    let trims = &results.judged.trims;
    let mut all: Vec<Table> =
        vec![tables::checks(trims), tables::rows(trims), tables::lines(trims), tables::twist(trims)];
    if let Some(fit) = &results.fit {
        all.extend([tables::terms(fit.terms()), tables::spread(fit.spread())]);
        all.push(tables::drift(&fit.drift(fleet.line_sets())));
    }
    if let Some(due) = &results.due {
        all.push(tables::due(due.rows()));
    }
    let mut written = Vec::new();
    for table in &all {
        for format in [TableFormat::Csv, TableFormat::Parquet] {
            write_table(table, out, format)?;
            written.push(out.join(format!("{}.{}", table.name, format.ending())).display().to_string());
        }
    }
    Ok(written)
}
