//! The wear fit, and what can be asked of it.

use std::path::PathBuf;
use std::sync::Arc;

use linedrift::check::Fleet;
use linedrift::fleet::{Table, tables, write_atomic};
use linedrift::report::{Document, drift_figures, rate_figure, text, to_json};
use linedrift::stats::mixed::Criterion;
use linedrift::wear::{
    Alternative, ContrastSpec, OffsetOption, Pairs, Reduction, SavedFit, Shape, ShapeChoice, TermsOption,
    WearResults, WearSpec, WingEffects, expected_drift, measured_drift,
};
use pyo3::prelude::*;
use serde::Deserialize;

use crate::answer::{NamedFigure, drawn};
use crate::arrow::Frame;
use crate::failure::Failure;
use crate::settings;
use crate::work::{State, run};

/// Points of each profile.
const PROFILE_POINTS: usize = 33;

/// A wear model fitted to a fleet.
#[pyclass(frozen)]
pub(crate) struct WearFit {
    parts: Arc<Parts>,
}

struct Parts {
    spec: WearSpec,
    fit: linedrift::wear::WearFit,
    reduction: Reduction,
    fleet: Arc<Fleet>,
}

/// The settings of the model, by name and with the library's defaults.
#[derive(Deserialize)]
#[serde(default, deny_unknown_fields)]
struct Settings {
    shape: String,
    scale_h: Option<f64>,
    terms: TermsOption,
    wing_effects: WingEffects,
    criterion: Criterion,
    offsets: OffsetOption,
    covariates: Vec<String>,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            shape: "auto".to_owned(),
            scale_h: None,
            terms: TermsOption::default(),
            wing_effects: WingEffects::default(),
            criterion: Criterion::default(),
            offsets: OffsetOption::default(),
            covariates: Vec::new(),
        }
    }
}

/// A model and the covariates that it asks of the wings.
pub(crate) struct Model {
    pub(crate) spec: WearSpec,
    covariates: Vec<String>,
}

/// The model that a JSON object of settings means.
pub(crate) fn model(settings: &str) -> Result<Model, Failure> {
    let given: Settings = serde_json::from_str(settings).map_err(|error| Failure::Call(format!("wear: {error}")))?;
    let choice = match (given.shape.as_str(), given.scale_h) {
        ("auto", None) => ShapeChoice::Auto,
        ("linear", None) => Shape::LINEAR.into(),
        ("log", None) => ShapeChoice::Log,
        ("saturating", None) => ShapeChoice::Saturating,
        ("log", Some(scale_h)) => Shape::Log { scale_h }.into(),
        ("saturating", Some(scale_h)) => Shape::Saturating { scale_h }.into(),
        (shape @ ("auto" | "linear"), Some(_)) => {
            let why = format!("the {shape} shape takes no scale: leave out scale_h, or name log or saturating");
            return Err(Failure::Call(why));
        }
        (shape, _) => {
            return Err(Failure::Call(format!("shape: `{shape}` is none of auto, linear, log, saturating")));
        }
    };
    let spec = WearSpec::default()
        .shape(choice)
        .terms(given.terms)
        .wing_effects(given.wing_effects)
        .criterion(given.criterion)
        .offsets(given.offsets)
        .covariates(&given.covariates);
    Ok(Model { spec, covariates: given.covariates })
}

/// Fits a fleet.
pub(crate) fn fit(fleet: &Arc<Fleet>, model: Model, state: &State) -> Result<WearFit, Failure> {
    state.begin("reducing the readings")?;
    let reduction = Reduction::new(fleet, &model.covariates)?;
    state.begin("fitting the wear model")?;
    let fit = model.spec.fit_reduced(&reduction)?;
    Ok(WearFit { parts: Arc::new(Parts { spec: model.spec, fit, reduction, fleet: Arc::clone(fleet) }) })
}

impl Parts {
    /// The fit, and the answers to what is asked of it.
    fn results(
        &self,
        contrasts: &[String],
        pairs: &[String],
        simultaneous: bool,
        compare: &[String],
    ) -> Result<WearResults, Failure> {
        let mut results = WearResults::new(self.fit.clone());
        let sets = self.reduction.line_sets();
        if !contrasts.is_empty() || !pairs.is_empty() {
            let mut asked = contrasts.iter().fold(ContrastSpec::default(), ContrastSpec::contrast);
            for name in pairs {
                asked = asked.pairs(settings::named::<Pairs>("pairs", name)?);
            }
            asked = if simultaneous { asked.simultaneous() } else { asked };
            results.contrasts = Some(asked.run(&self.fit, sets)?);
        }
        if !compare.is_empty() {
            let others = compare.iter().map(|change| Alternative::parse(&self.spec, change));
            let others = others.collect::<Result<Vec<_>, _>>()?;
            results.compared = self.spec.compare(&others, &self.reduction)?;
        }
        results.drift = self.fit.drift(sets);
        Ok(results)
    }

    fn table(&self, name: &str, draws: usize, seed: u64) -> Result<Table, Failure> {
        let (fit, reduction) = (&self.fit, &self.reduction);
        Ok(match name {
            "terms" => tables::terms(fit.terms()),
            "spread" => tables::spread(fit.spread()),
            "drift" => tables::drift(&fit.drift(reduction.line_sets())),
            "covariance" => tables::covariance(fit),
            "frame" => tables::frame(&fit.frame(reduction)?),
            "design" => tables::design(&fit.frame(reduction)?, fit.terms()),
            "effects" => tables::effects(&fit.frame(reduction)?),
            "residuals" => tables::residuals(&fit.residuals(reduction)?),
            "influence" => tables::influence(&fit.influence(reduction)?),
            "profiles" => tables::profiles(&fit.profile_curves(reduction, PROFILE_POINTS)?),
            "draws" => tables::draws(&fit.term_draws(draws, seed)),
            _ => return Err(Failure::Call(format!("a fit has no table `{name}`"))),
        })
    }
}

#[pymethods]
impl WearFit {
    #[pyo3(signature = (contrasts, pairs, simultaneous, compare, progress))]
    fn json(
        &self,
        py: Python<'_>,
        contrasts: Vec<String>,
        pairs: Vec<String>,
        simultaneous: bool,
        compare: Vec<String>,
        progress: Option<Bound<'_, PyAny>>,
    ) -> PyResult<String> {
        let parts = Arc::clone(&self.parts);
        run(py, progress.as_ref(), move |_| {
            let results = parts.results(&contrasts, &pairs, simultaneous, &compare)?;
            let document = Document::new(results.document());
            Ok(to_json(&if parts.fleet.is_demo() { document.marked_demo() } else { document })?)
        })
    }

    fn text(&self, py: Python<'_>) -> PyResult<String> {
        let results = self.parts.results(&[], &[], false, &[]).map_err(|failure| failure.raise(py))?;
        let note = if self.parts.fleet.is_demo() { text::demo_note() } else { String::new() };
        Ok(format!("{}{note}\n{results}", text::cautions()))
    }

    /// A table of the fit by its name.
    #[pyo3(signature = (name, draws=1000, seed=1))]
    fn table(&self, py: Python<'_>, name: String, draws: usize, seed: u64) -> PyResult<Frame> {
        let parts = Arc::clone(&self.parts);
        run(py, None, move |_| Frame::of(&parts.table(&name, draws, seed)?))
    }

    #[pyo3(signature = (contrasts, pairs, simultaneous))]
    fn contrasts(
        &self,
        py: Python<'_>,
        contrasts: Vec<String>,
        pairs: Vec<String>,
        simultaneous: bool,
    ) -> PyResult<Option<Frame>> {
        let results = self.parts.results(&contrasts, &pairs, simultaneous, &[]);
        let results = results.map_err(|failure| failure.raise(py))?;
        let table = results.contrasts.as_ref().map(|found| Frame::of(&tables::contrasts(found)));
        table.transpose().map_err(|failure| failure.raise(py))
    }

    fn compare(&self, py: Python<'_>, changes: Vec<String>, progress: Option<Bound<'_, PyAny>>) -> PyResult<Frame> {
        let parts = Arc::clone(&self.parts);
        run(py, progress.as_ref(), move |state| {
            state.begin("fitting the models to compare")?;
            Frame::of(&tables::compared(&parts.results(&[], &[], false, &changes)?.compared))
        })
    }

    fn save(&self, py: Python<'_>, path: PathBuf) -> PyResult<()> {
        let saved = SavedFit::new(self.parts.fit.clone(), &self.parts.fleet).to_json();
        let saved = saved.map_err(|error| Failure::result(error).raise(py))?;
        write_atomic(&path, saved.as_bytes()).map_err(|error| Failure::from(error).raise(py))
    }

    fn facts(&self) -> (usize, usize, usize, usize, f64, bool, Vec<String>) {
        let fit = &self.parts.fit;
        let dropped = fit.dropped_terms().to_vec();
        (fit.readings(), fit.wings(), fit.checks(), fit.lines(), fit.deviance(), fit.converged(), dropped)
    }

    fn diagnostics(&self) -> Vec<(String, String)> {
        let found = self.parts.fit.diagnostics().iter();
        found.map(|one| (one.code.to_string(), one.message.clone())).collect()
    }

    #[pyo3(signature = (seed=1))]
    fn figure_list(&self, py: Python<'_>, seed: u64) -> PyResult<Vec<(String, String, String, String)>> {
        let parts = Arc::clone(&self.parts);
        run(py, None, move |_| {
            let mut figures: Vec<NamedFigure> = Vec::new();
            figures.extend(rate_figure(parts.fit.terms())?.map(|figure| NamedFigure::new("rates", figure)));
            let drifts = expected_drift(measured_drift(&parts.fleet), &parts.fleet, &parts.fit, seed)?;
            let drifts = drift_figures(&drifts)?.into_iter().enumerate();
            figures.extend(drifts.map(|(at, figure)| NamedFigure::new(format!("drift-{}", at + 1), figure)));
            Ok(drawn(figures, parts.fleet.is_demo()))
        })
    }
}
