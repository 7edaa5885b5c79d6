//! Fleets, and what is asked of them.

use std::path::PathBuf;
use std::sync::Arc;

use linedrift::Date;
use linedrift::check::doubt::{DoubtSpec, VetDocument};
use linedrift::fleet::batch::{BatchJob, BatchSpec, CheckChoice, DueJob, PlanJob, TrimJob, VetJob, WearSource};
use linedrift::fleet::frames::FleetFrames;
use linedrift::fleet::{
    FleetSummary, Folder, FolderSpec, TableFormat, is_demo_folder, read_materials, read_planform, read_steps, tables,
    write_new_folder,
};
use linedrift::forecast::{BacktestSpec, DueSpec, Origins, OwnInterval, ServiceRules};
use linedrift::plan::{CurveRow, PlanSpec, PlansDocument, plans_table};
use linedrift::report::{
    Calibration, Document, ReportSpec, calendar_figure, calibration_figures, curve_figure, deviation_figures,
    incidence_figure, plan_figure, row_figure, text, wing_plan_figure, workload_figure,
};
use linedrift::simulate::FleetSpec;
use linedrift::trim::{TrimDocument, TrimSpec};
use linedrift::wear::{DemoFit, SavedFit};
use polars::prelude::DataFrame;
use pyo3::prelude::*;
use pyo3::types::PyDict;

use crate::answer::{Answer, NamedFigure};
use crate::arrow::{Frame, take};
use crate::failure::Failure;
use crate::wear::{self, WearFit};
use crate::work::{State, run};
use crate::{settings, work};

/// A fleet in memory.
#[pyclass(frozen)]
pub(crate) struct Fleet {
    fleet: Arc<linedrift::check::Fleet>,
    source: String,
    notes: Vec<String>,
    truth: Option<String>,
}

/// How tables are read.
fn folder_spec(covariates: Vec<String>, materials: Option<&PathBuf>) -> Result<FolderSpec, Failure> {
    let spec = FolderSpec::default().covariates(covariates);
    Ok(match materials {
        Some(file) => spec.fibres(read_materials(file)?),
        None => spec,
    })
}

fn document<T: serde::Serialize>(document: Document<T>, demo: bool) -> Document<T> {
    if demo { document.marked_demo() } else { document }
}

#[pymethods]
impl Fleet {
    /// Reads a fleet folder.
    #[staticmethod]
    #[pyo3(signature = (folder, covariates, materials, progress))]
    fn read(
        py: Python<'_>,
        folder: PathBuf,
        covariates: Vec<String>,
        materials: Option<PathBuf>,
        progress: Option<Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        run(py, progress.as_ref(), move |state| {
            state.begin("reading the tables")?;
            let Folder { fleet, notes } = folder_spec(covariates, materials.as_ref())?.read(&folder)?;
            let fleet = if is_demo_folder(&folder) { fleet.marked_demo() } else { fleet };
            Ok(Self { fleet: Arc::new(fleet), source: folder.display().to_string(), notes, truth: None })
        })
    }

    /// Takes over frames by the names of their tables.
    #[staticmethod]
    #[pyo3(signature = (frames, covariates, materials, progress))]
    fn from_frames(
        py: Python<'_>,
        frames: &Bound<'_, PyDict>,
        covariates: Vec<String>,
        materials: Option<PathBuf>,
        progress: Option<Bound<'_, PyAny>>,
    ) -> PyResult<Self> {
        let mut unread = Vec::new();
        let mut given = |name: &str| -> PyResult<Option<DataFrame>> {
            let Some(source) = frames.get_item(name)?.filter(|source| !source.is_none()) else { return Ok(None) };
            let taken = take(name, &source)?;
            unread.extend(taken.unread);
            Ok(Some(taken.frame))
        };
        let frames = FleetFrames {
            lines: given("lines")?.unwrap_or_default(),
            segments: given("segments")?,
            rows: given("rows")?,
            models: given("models")?,
            wings: given("wings")?.unwrap_or_default(),
            checks: given("checks")?.unwrap_or_default(),
            readings: given("readings")?.unwrap_or_default(),
            risers: given("risers")?,
            actions: given("actions")?,
            fittings: given("fittings")?,
            events: given("events")?,
        };
        run(py, progress.as_ref(), move |state| {
            state.begin("reading the frames")?;
            let Folder { fleet, notes } = frames.read_with(&folder_spec(covariates, materials.as_ref())?, &unread)?;
            Ok(Self { fleet: Arc::new(fleet), source: "frames".to_owned(), notes, truth: None })
        })
    }

    /// Writes the tables into a new folder.
    fn write(&self, py: Python<'_>, folder: PathBuf, parquet: bool) -> PyResult<()> {
        let fleet = Arc::clone(&self.fleet);
        run(py, None, move |_| {
            let format = if parquet { TableFormat::Parquet } else { TableFormat::Csv };
            Ok(write_new_folder(&fleet, &folder, format)?)
        })
    }

    fn frames(&self, py: Python<'_>) -> PyResult<Vec<(&'static str, Frame)>> {
        let frames = FleetFrames::of(&self.fleet).map_err(|error| Failure::from(error).raise(py))?;
        Ok(frames.named().into_iter().map(|one| (one.name, Frame::from(one.frame.clone()))).collect())
    }

    fn notes(&self) -> Vec<String> {
        self.notes.clone()
    }

    fn truth(&self) -> Option<&str> {
        self.truth.as_deref()
    }

    fn is_demo(&self) -> bool {
        self.fleet.is_demo()
    }

    fn wings(&self) -> Vec<String> {
        self.fleet.histories().iter().map(|history| history.wing.id.clone()).collect()
    }

    fn summary(&self, py: Python<'_>, progress: Option<Bound<'_, PyAny>>) -> PyResult<Answer> {
        let fleet = Arc::clone(&self.fleet);
        run(py, progress.as_ref(), move |state| {
            state.begin("counting")?;
            let summary = FleetSummary::of(&fleet);
            let made = vec![tables::summary_models(&summary), tables::summary_rows(&summary)];
            let words = summary.to_string();
            let answer = document(Document::of_command("summary", &summary), fleet.is_demo());
            Ok(Answer::new(fleet.is_demo(), &answer, &words)?.tables(made))
        })
    }

    #[pyo3(signature = (wing, check, progress))]
    fn vet(
        &self,
        py: Python<'_>,
        wing: Option<String>,
        check: Option<String>,
        progress: Option<Bound<'_, PyAny>>,
    ) -> PyResult<Answer> {
        let fleet = Arc::clone(&self.fleet);
        run(py, progress.as_ref(), move |state| {
            state.begin("looking for doubtful readings")?;
            let job = VetJob::new(DoubtSpec::default());
            let batch = BatchSpec::default().run_of(&fleet, &settings::choice(wing, check)?, &job, state)?;
            let document = VetDocument::new(&batch.answers);
            let document = if fleet.is_demo() { document.marked_demo() } else { document };
            let failed = batch.failures.iter().map(ToString::to_string).collect();
            Ok(Answer::new(fleet.is_demo(), &document, &text::doubts(&batch.answers))?
                .tables(job.tables(&batch.answers))
                .failed(failed))
        })
    }

    #[pyo3(signature = (wing, check, limits, planform, spec, progress))]
    #[allow(clippy::too_many_arguments, reason = "the keyword arguments of the call")]
    fn trim(
        &self,
        py: Python<'_>,
        wing: Option<String>,
        check: Option<String>,
        limits: Option<String>,
        planform: Option<PathBuf>,
        spec: String,
        progress: Option<Bound<'_, PyAny>>,
    ) -> PyResult<Answer> {
        let fleet = Arc::clone(&self.fleet);
        run(py, progress.as_ref(), move |state| {
            state.begin("judging checks")?;
            let mut spec: TrimSpec = settings::over(&spec)?;
            if let Some(file) = planform {
                spec = spec.planform(read_planform(&file)?);
            }
            let job = TrimJob::new(spec, settings::limits(limits.as_deref())?);
            let judged = job.judge(&fleet, &settings::choice(wing, check)?, state)?;
            let failed: Vec<String> = judged.failures.iter().map(ToString::to_string).collect();
            let (trims, demo) = (judged.trims, fleet.is_demo());
            let answer = TrimDocument::new(&trims, &judged.changes).with_failed(&failed);
            let words = format!("{}{}", text::trims(&trims), text::changes(&judged.changes));
            let made = vec![
                tables::checks(&trims),
                tables::diagnosis(&trims),
                tables::rows(&trims),
                tables::lines(&trims),
                tables::twist(&trims),
            ];
            let answer = Answer::new(demo, &document(Document::new(answer), demo), &words)?;
            Ok(answer.tables(made).failed(failed).figures(move || {
                let mut figures = Vec::new();
                for trim in &trims {
                    let mut add = |what: &str, figure| {
                        figures.push(NamedFigure::new(format!("{}-{what}", trim.check), figure));
                    };
                    row_figure(trim)?.into_iter().for_each(|figure| add("rows", figure));
                    for (at, figure) in deviation_figures(trim)?.into_iter().enumerate() {
                        add(&format!("deviation-{}", at + 1), figure);
                    }
                    incidence_figure(trim)?.into_iter().for_each(|figure| add("incidence", figure));
                    if let Some(history) = fleet.history(&trim.wing) {
                        let plan = wing_plan_figure(trim, fleet.line_set(history), None);
                        plan.into_iter().for_each(|figure| add("wing", figure));
                    }
                }
                Ok(figures)
            }))
        })
    }

    #[pyo3(signature = (wing, check, curve, limits, steps, spec, progress))]
    #[allow(clippy::too_many_arguments, reason = "the keyword arguments of the call")]
    fn plan(
        &self,
        py: Python<'_>,
        wing: Option<String>,
        check: Option<String>,
        curve: bool,
        limits: Option<String>,
        steps: Option<PathBuf>,
        spec: String,
        progress: Option<Bound<'_, PyAny>>,
    ) -> PyResult<Answer> {
        let fleet = Arc::clone(&self.fleet);
        run(py, progress.as_ref(), move |state| {
            state.begin("searching for the plan")?;
            let mut spec: PlanSpec = settings::over(&spec)?;
            if let Some(file) = steps {
                spec = spec.offered(&read_steps(&file)?);
            }
            let job = PlanJob::new(spec, settings::limits(limits.as_deref())?);
            let choice = settings::choice(wing, check)?;
            if choice == CheckChoice::Latest && fleet.histories().len() > 1 {
                return plans(&fleet, &job, state);
            }
            let one = choice.one(&fleet)?;
            let demo = fleet.is_demo();
            let findings = PlanJob::findings(&fleet, &one)?;
            let plan = job.plan(&fleet, &one, &findings)?;
            let curve = if curve { job.curve(&fleet, &one, &findings, &plan)? } else { Vec::new() };
            let mut document = plan.document();
            document.demo = demo;
            document.curve = curve.iter().map(CurveRow::from).collect();
            let answer = Answer::new(demo, &document, &format!("{plan}\n"))?;
            Ok(answer.tables(job.tables(std::slice::from_ref(&plan))).figures(move || {
                let figures = [("before-after", plan_figure(&plan)?), ("curve", curve_figure(&curve)?)];
                let there = figures.into_iter().filter_map(|(name, figure)| Some(NamedFigure::new(name, figure?)));
                Ok(there.collect())
            }))
        })
    }

    fn wear(&self, py: Python<'_>, model: String, progress: Option<Bound<'_, PyAny>>) -> PyResult<WearFit> {
        let fleet = Arc::clone(&self.fleet);
        run(py, progress.as_ref(), move |state| wear::fit(&fleet, wear::model(&model)?, state))
    }

    #[pyo3(signature = (
        wing, fit, model, use_demo_fit_for_real_wings, risk, horizon_h, draws, seed, today, interval_h, interval_months,
        limits, service, longer_intervals, progress,
    ))]
    #[allow(
        clippy::too_many_arguments,
        clippy::fn_params_excessive_bools,
        reason = "the keyword arguments of the call"
    )]
    fn due(
        &self,
        py: Python<'_>,
        wing: Option<String>,
        fit: Option<PathBuf>,
        model: String,
        use_demo_fit_for_real_wings: bool,
        risk: f64,
        horizon_h: Option<f64>,
        draws: Option<usize>,
        seed: u64,
        today: Option<String>,
        interval_h: Option<f64>,
        interval_months: Option<f64>,
        limits: Option<String>,
        service: Option<PathBuf>,
        longer_intervals: bool,
        progress: Option<Bound<'_, PyAny>>,
    ) -> PyResult<Answer> {
        let fleet = Arc::clone(&self.fleet);
        run(py, progress.as_ref(), move |state| {
            let today = settings::day(today.as_deref())?.or_else(|| fleet.last_date()).unwrap_or(Date::ZERO);
            let rules = match &service {
                Some(file) => ServiceRules::from_toml(&settings::text(file)?)?,
                None => ServiceRules::default(),
            };
            let longer = if longer_intervals { OwnInterval::MayBeLonger } else { OwnInterval::NeverLonger };
            let mut spec = DueSpec::default()
                .risk(risk)
                .seed(seed)
                .today(today)
                .limits(settings::limits(limits.as_deref())?)
                .rules(rules.own_interval(longer));
            spec = horizon_h.into_iter().fold(spec, DueSpec::horizon_h);
            spec = draws.into_iter().fold(spec, DueSpec::draws);
            spec = interval_h.into_iter().fold(spec, DueSpec::interval_h);
            spec = interval_months.into_iter().fold(spec, DueSpec::interval_months);
            let source = if let Some(file) = &fit {
                state.begin("reading the fit")?;
                let saved =
                    SavedFit::from_json(&settings::text(file)?).map_err(|error| Failure::file(file, &error))?;
                WearSource::Saved(Box::new(saved))
            } else {
                state.begin("fitting the wear model")?;
                WearSource::fit(&wear::model(&model)?.spec, &fleet)?
            };
            state.begin("drawing forecasts")?;
            let demo = if use_demo_fit_for_real_wings { DemoFit::UsedForRealWings } else { DemoFit::Refused };
            let job = DueJob::from_source(&spec, &fleet, &source, demo)?;
            let table = job.table(&fleet, wing.as_deref(), state)?;
            let failed: Vec<String> = table.failures().iter().map(ToString::to_string).collect();
            let words = text::due(&table, today) + &text::workload(&table, today);
            let made = vec![tables::due(table.rows())];
            let answer = Answer::new(table.is_demo(), &table.document(), &words)?.tables(made).failed(failed);
            Ok(answer.figures(move || {
                let figures =
                    [("calendar", calendar_figure(&table, today)?), ("workload", workload_figure(&table, today)?)];
                let there = figures.into_iter().filter_map(|(name, figure)| Some(NamedFigure::new(name, figure?)));
                Ok(there.collect())
            }))
        })
    }

    #[pyo3(signature = (model, rolling, draws, most_fits, seed, progress))]
    #[allow(clippy::too_many_arguments, reason = "the keyword arguments of the call")]
    fn backtest(
        &self,
        py: Python<'_>,
        model: String,
        rolling: bool,
        draws: Option<usize>,
        most_fits: Option<usize>,
        seed: u64,
        progress: Option<Bound<'_, PyAny>>,
    ) -> PyResult<Answer> {
        let fleet = Arc::clone(&self.fleet);
        run(py, progress.as_ref(), move |state| {
            state.begin("looking back")?;
            let origins = if rolling { Origins::Rolling } else { Origins::Last };
            let mut spec = BacktestSpec::default().wear(wear::model(&model)?.spec).origins(origins).seed(seed);
            spec = draws.into_iter().fold(spec, BacktestSpec::draws);
            spec = most_fits.into_iter().fold(spec, BacktestSpec::most_fits);
            let test = spec.run(&fleet)?;
            let made =
                vec![tables::backtest(test.scores()), tables::backtest_coverage(&test), tables::backtest_crps(&test)];
            let answer = Answer::new(test.is_demo(), &test.document(), &test.to_string())?.tables(made);
            Ok(answer.figures(move || {
                let figures = ["coverage", "pit"].into_iter().zip(calibration_figures(&test)?);
                Ok(figures.map(|(name, figure)| NamedFigure::new(name, figure)).collect())
            }))
        })
    }

    #[pyo3(signature = (wing, check, model, today, seed, limits, calibration, progress))]
    #[allow(clippy::too_many_arguments, reason = "the keyword arguments of the call")]
    fn report(
        &self,
        py: Python<'_>,
        wing: Option<String>,
        check: Option<String>,
        model: String,
        today: Option<String>,
        seed: u64,
        limits: Option<String>,
        calibration: bool,
        progress: Option<Bound<'_, PyAny>>,
    ) -> PyResult<Answer> {
        let (fleet, source) = (Arc::clone(&self.fleet), self.source.clone());
        run(py, progress.as_ref(), move |state| {
            let calibration = if calibration { Calibration::Whole } else { Calibration::Quick };
            let mut spec = ReportSpec::default()
                .choice(settings::choice(wing, check)?)
                .seed(seed)
                .limits(settings::limits(limits.as_deref())?)
                .wear(wear::model(&model)?.spec)
                .calibration(calibration);
            spec = settings::day(today.as_deref())?.into_iter().fold(spec, ReportSpec::today);
            let report = spec.run(&fleet, state)?;
            state.begin("drawing the page")?;
            let page = report.page(&source)?;
            let demo = fleet.is_demo();
            let words = text::fleet(&report.data(), report.today());
            let trims = TrimDocument::new(&report.judged().trims, &[]).with_failed(report.failed());
            let figures: Vec<_> = page.figures().iter().map(|one| (one.name.clone(), one.figure.clone())).collect();
            Ok(Answer::new(demo, &document(Document::new(trims), demo), &words)?
                .tables(report.tables())
                .failed(report.failed().to_vec())
                .page(page.html().to_owned())
                .figures(move || {
                    Ok(figures.iter().map(|(name, figure)| NamedFigure::new(name.clone(), figure.clone())).collect())
                }))
        })
    }
}

/// The plans of all wings.
fn plans(fleet: &linedrift::check::Fleet, job: &PlanJob, state: &State) -> Result<Answer, Failure> {
    let batch = BatchSpec::default().run_of(fleet, &CheckChoice::Latest, job, state)?;
    let failed: Vec<String> = batch.failures.iter().map(ToString::to_string).collect();
    let document = PlansDocument::new(&batch.answers, &failed);
    let document = if fleet.is_demo() { document.marked_demo() } else { document };
    let busy: Vec<_> = batch.answers.iter().filter(|plan| !plan.has_nothing_to_do()).cloned().collect();
    let answer = Answer::new(fleet.is_demo(), &document, &plans_table(&busy).to_string())?;
    Ok(answer.tables(job.tables(&batch.answers)).failed(failed))
}

/// An invented fleet with known truth.
#[pyfunction]
#[pyo3(signature = (settings_toml, demo, progress))]
pub(crate) fn simulate(
    py: Python<'_>,
    settings_toml: Option<String>,
    demo: bool,
    progress: Option<Bound<'_, PyAny>>,
) -> PyResult<Fleet> {
    work::run(py, progress.as_ref(), move |state| {
        state.begin("inventing wings")?;
        let spec = match settings_toml {
            Some(text) => FleetSpec::from_toml(&text).map_err(Failure::call)?,
            None if demo => FleetSpec::demo(),
            None => FleetSpec::default(),
        };
        let made = spec.run()?;
        let truth = serde_json::to_string_pretty(&made.truth).map_err(Failure::result)?;
        let fleet = if demo { made.fleet.marked_demo() } else { made.fleet };
        Ok(Fleet {
            fleet: Arc::new(fleet),
            source: "an invented fleet".to_owned(),
            notes: Vec::new(),
            truth: Some(truth),
        })
    })
}
