//! `linedrift due`

use std::path::{Path, PathBuf};

use linedrift::Date;
use linedrift::fleet::batch::{DueJob, WearSource, known_wing};
use linedrift::fleet::{tables, write_atomic};
use linedrift::forecast::{CheckValueSpec, DueSpec, ForecastError};
use linedrift::report::text;
use linedrift::wear::{DemoFit, SavedFit, SavedFitError, WearSpec};

use super::args::{Common, LimitsFile, Service, Tables, above_zero, day, read_text};
use super::input::Input;
use super::output::{self, Output};
use super::parts::{InParts, Told};
use super::progress::Progress;
use super::wear_model::WearModel;
use super::{Failure, gate, parts};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Folder with the tables of a fleet
    fleet: PathBuf,
    /// This wing only (the wear model is still fitted to the whole fleet)
    #[arg(long, value_name = "ID", conflicts_with = "parts")]
    wing: Option<String>,
    /// A fit saved by `wear --save`, in place of fitting these wings
    #[arg(long, value_name = "FILE", conflicts_with_all = WearModel::OPTIONS)]
    fit: Option<PathBuf>,
    /// Let a fit on the invented demo serve for wings that are not the demo's
    #[arg(long, requires = "fit")]
    use_demo_fit_for_real_wings: bool,
    /// Also write the dated checks as a calendar, by the file's ending: .ics (iCalendar) or .csv
    #[arg(long, value_name = "FILE", value_parser = calendar_file, conflicts_with = "parts")]
    calendar: Option<PathBuf>,
    /// Also say how much a check at these hours would narrow the forecast 100 h later
    #[arg(long, value_name = "H", requires = "wing", value_parser = above_zero)]
    value_of_check: Option<f64>,
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
    model: WearModel,
    #[command(flatten)]
    limits: LimitsFile,
    #[command(flatten)]
    service: Service,
    #[command(flatten)]
    tables: Tables,
    #[command(flatten)]
    parts: InParts,
    #[command(flatten)]
    pub(super) common: Common,
}

fn share(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(share) if share > 0.0 && share < 1.0 => Ok(share),
        _ => Err(format!("`{text}` is not a share above 0 and below 1, such as 0.1")),
    }
}

fn calendar_file(text: &str) -> Result<PathBuf, String> {
    let path = PathBuf::from(text);
    if has_ending(&path, "ics") || has_ending(&path, "csv") {
        Ok(path)
    } else {
        Err(format!("`{text}` ends neither in .ics nor in .csv"))
    }
}

fn has_ending(path: &Path, ending: &str) -> bool {
    path.extension().is_some_and(|own| own.eq_ignore_ascii_case(ending))
}

impl Args {
    /// The fit that was saved, where one is named.
    fn saved(&self) -> Result<Option<SavedFit>, Failure> {
        let Some(path) = &self.fit else { return Ok(None) };
        let saved = SavedFit::from_json(&read_text(path)?);
        saved.map(Some).map_err(|error| Failure::Result(format!("`{}`: {error}", path.display())))
    }

    fn fitted(spec: &WearSpec, input: &Input, progress: &Progress) -> Result<WearSource, Failure> {
        progress.step("fitting the wear model");
        let source = WearSource::fit(spec, &input.fleet)?;
        if let WearSource::Unfitted(why) = &source {
            output::say(&format!("note: no wear was fitted, so there are no forecasts: {why}\n"));
        }
        Ok(source)
    }

    /// What is asked of the wings.
    fn job<'a>(&self, input: &'a Input, source: &'a WearSource, spec: &DueSpec) -> Result<DueJob<'a>, Failure> {
        let demo = if self.use_demo_fit_for_real_wings { DemoFit::UsedForRealWings } else { DemoFit::Refused };
        DueJob::from_source(spec, &input.fleet, source, demo).map_err(|error| match error {
            ForecastError::Saved(SavedFitError::Demo) => Failure::Result(format!(
                "{error}; --use-demo-fit-for-real-wings lets it serve all the same, for trying things out"
            )),
            other => other.into(),
        })
    }

    pub(super) fn run(self) -> Result<Output, Failure> {
        self.common.apply()?;
        let progress = Progress::new();
        progress.step("reading the tables");
        let (wear, saved) = (self.model.spec()?, self.saved()?);
        let covariates = saved.as_ref().map_or(self.model.covariates(), |saved| saved.fit().covariates());
        let input = Input::read(&self.fleet, covariates, &self.common)?;
        if let Some(wing) = &self.wing {
            known_wing(&input.fleet, wing)?;
        }
        let limits = self.limits.read(&input.fleet)?;
        let today = self.today.or_else(|| input.fleet.last_date()).unwrap_or(Date::ZERO);
        let spec = DueSpec::default()
            .risk(self.risk)
            .seed(self.seed)
            .today(today)
            .limits(limits)
            .rules(self.service.read()?);
        let source = match saved {
            Some(saved) => WearSource::Saved(Box::new(saved)),
            None => Self::fitted(&wear, &input, &progress)?,
        };
        if source.is_demo() {
            gate::is_demo();
        }
        progress.step("drawing forecasts");
        let job = self.job(&input, &source, &spec)?;
        if let Some(wanted) = self.parts.wanted(self.tables.out.as_ref()) {
            let told = Told { json: self.common.json, demo: input.fleet.is_demo() || source.is_demo() };
            return parts::write(&input.fleet, &job, wanted, progress, told);
        }
        let table = job.table(&input.fleet, self.wing.as_deref(), &progress)?;
        let mut value = None;
        if let (Some(wing), Some(check_h), Some(wear)) = (&self.wing, self.value_of_check, source.wear()) {
            let history = known_wing(&input.fleet, wing)?;
            let set = input.fleet.line_set(history);
            value = Some(CheckValueSpec::default().run(wear, set, history, check_h)?);
        }
        self.tables.write(&[tables::due(table.rows())])?;
        if let Some(path) = &self.calendar {
            let text = if has_ending(path, "ics") { table.icalendar(today) } else { table.calendar_csv() };
            write_atomic(path, text.as_bytes())?;
        }
        drop(progress);
        let failed: Vec<String> = table.failures().iter().map(ToString::to_string).collect();
        if self.common.json {
            let document = table.document().with_value_of_check(value.as_ref());
            return Ok(Output::json(&document)?.with_failed(failed));
        }
        let note = if table.is_demo() { text::demo_note() } else { String::new() };
        let value = value.map_or_else(String::new, |value| format!("\n{value}"));
        let due = text::due(&table, today) + &text::workload(&table, today) + &value;
        Ok(Output::text(format!("{}{note}\n{due}", text::cautions())).with_failed(failed))
    }
}
