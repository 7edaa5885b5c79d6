//! The model that the readings ask for.

use std::collections::BTreeSet;

use crate::stats::mixed::{Criterion, MixedError, MixedFit};
use crate::wear::fit::averaging::Averaging;
use crate::wear::model::random::RandomTerms;
use crate::wear::model::spec::ReducedModel;
use crate::wear::model::time_basis::TimeBasis;
use crate::wear::{Diagnostic, Reduction, Shape, WearError, WearFit, WearSpec};

/// How much lower the deviance must be for one variance more: Akaike's criterion. A variance on its boundary has the even mixture
/// of zero and χ² with one degree of freedom as its reference, under which 2 is passed by chance in 8 of 100 fleets: a term kept
/// for nothing makes intervals a little wide, one left out makes them far too narrow.
const PRICE_OF_A_VARIANCE: f64 = 2.0;
/// Fewest models for which rates of models are considered.
const FEWEST_MODELS: usize = 3;
/// Where the ratio of a new term starts, over its scale.
const NEW_RATIO: f64 = 0.3;

/// A further random term.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Term {
    WingRow,
    LineRate,
    ModelRate,
}

impl Term {
    const ALL: [Term; 3] = [Term::WingRow, Term::LineRate, Term::ModelRate];

    fn of(self) -> &'static str {
        match self {
            Term::WingRow => "rows of a wing",
            Term::LineRate => "lines",
            Term::ModelRate => "models",
        }
    }

    fn with(self, random: RandomTerms) -> RandomTerms {
        match self {
            Term::WingRow => RandomTerms { wing_row: true, ..random },
            Term::LineRate => RandomTerms { line_rate: true, ..random },
            Term::ModelRate => RandomTerms { model_rate: true, ..random },
        }
    }

    /// Where a fit with the term starts from one without.
    fn start(self, without: &ReducedModel<'_>, end: &[f64]) -> Vec<f64> {
        let structure = &without.layout.structure;
        let place = match self {
            Term::LineRate => usize::from(structure.inner.is_some()),
            Term::WingRow => end.len() - structure.shared.len().min(end.len()),
            Term::ModelRate => end.len(),
        };
        let mut start = end.to_vec();
        start.insert(place.min(end.len()), NEW_RATIO);
        start
    }
}

/// Fits the model with every further random term that the likelihood asks for, one after the other, under the linear shape, and
/// then the average over the time shapes that the readings leave open.
pub(crate) fn choose(spec: &WearSpec, reduction: &Reduction, weights: &[Vec<f64>]) -> Result<WearFit, WearError> {
    let linear = TimeBasis::from(Shape::LINEAR);
    let fit_of = |model: &ReducedModel<'_>, start: &[f64]| -> Result<MixedFit, MixedError> {
        model.fit(&linear, spec.criterion, start)
    };
    let models: BTreeSet<&str> =
        reduction.wings.iter().map(|wing| reduction.line_sets[wing.line_set()].model()).collect();
    let mut model = ReducedModel::new(spec, reduction, RandomTerms::NONE)?.weighing(weights);
    let mut mixed = fit_of(&model, &[])?;
    let (mut kept, mut left_out) = (Vec::new(), Vec::new());
    for term in Term::ALL {
        if term == Term::ModelRate && models.len() < FEWEST_MODELS {
            continue;
        }
        let larger = ReducedModel::new(spec, reduction, term.with(model.random))?.weighing(weights);
        if larger.random == model.random {
            continue;
        }
        let Ok(found) = fit_of(&larger, &term.start(&model, &mixed.minimum().end)) else { continue };
        let gain = (mixed.deviance() - found.deviance()).max(0.0);
        let said = format!("{} ({gain:.1})", term.of());
        if gain > PRICE_OF_A_VARIANCE {
            kept.push(said);
            (model, mixed) = (larger, found);
        } else {
            left_out.push(said);
        }
    }
    let averaging = Averaging::run(&model, &mixed)?;
    let fits = averaging
        .components
        .iter()
        .map(|component| model.fit(&component.basis, spec.criterion, &averaging.start))
        .collect::<Result<Vec<_>, _>>()?;
    let mut search = averaging.search();
    search.why = why(&kept, &left_out, spec.criterion, search.averaged);
    search.diagnostics.extend(thin_models(&model));
    Ok(WearFit::new(model, fits, search))
}

/// The choice in a sentence.
fn why(kept: &[String], left_out: &[String], criterion: Criterion, averaged: bool) -> String {
    let criterion = match criterion {
        Criterion::Reml => "REML",
        Criterion::Ml => "ML",
    };
    let mut parts = Vec::new();
    if !kept.is_empty() {
        parts.push(format!("Rates of their own for {}", kept.join(", ")));
    }
    if !left_out.is_empty() {
        parts.push(format!(
            "{} for {}",
            if kept.is_empty() { "No rates of their own" } else { "none" },
            left_out.join(", ")
        ));
    }
    if parts.is_empty() {
        parts.push("No further random term can be told from these readings".to_owned());
    }
    let shapes = if averaged { " Time shapes are averaged by Akaike weight." } else { "" };
    format!(
        "{}: in brackets how much the term lowers the {criterion} deviance; kept above {PRICE_OF_A_VARIANCE} (AIC).{shapes}",
        parts.join(", ")
    )
}

/// Materials that one model alone has, where models differ: nothing says how far that model's rate is the material's.
fn thin_models(model: &ReducedModel<'_>) -> Option<Diagnostic> {
    if !model.random.model_rate {
        return None;
    }
    let alone = model.layout.rates_of_one_model();
    (!alone.is_empty()).then(|| Diagnostic {
        code: "one_model".to_owned(),
        message: format!(
            "Models differ, and only one model has {}: what is said there of the material is said of that model. Wings of \
             another model with it would tell them apart.",
            alone.join(", ")
        ),
    })
}
