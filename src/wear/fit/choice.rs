//! The model that the readings ask for.

use std::collections::BTreeSet;

use crate::stats::Precision;
use crate::stats::mixed::{Criterion, MixedSpec, Start, Structure};
use crate::wear::fit::averaging::Averaging;
use crate::wear::fit::misfit::wandering;
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
/// Terms that lower the deviance by less than this at the ratios of the model without them are left out there and then.
const NO_GAIN: f64 = 0.01;

/// A further random term.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Term {
    WingRow,
    LineRate,
    ModelRate,
}

impl Term {
    /// In the order in which they are tried: rates of lines make every evaluation dearer.
    const ALL: [Term; 3] = [Term::WingRow, Term::ModelRate, Term::LineRate];

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

    /// Where its ratio is in θ of a model that gets it.
    fn place(self, without: &Structure) -> usize {
        match self {
            Term::LineRate => usize::from(without.inner.is_some()),
            Term::WingRow => without.parameters() - without.shared.len(),
            Term::ModelRate => without.parameters(),
        }
    }
}

/// Fits the model with every further random term that the likelihood asks for, one after the other, under the linear shape, and
/// then the average over the time shapes that the readings leave open.
pub(crate) fn choose(spec: &WearSpec, reduction: &Reduction, means_mm: &[Vec<f64>]) -> Result<WearFit, WearError> {
    let linear = TimeBasis::from(Shape::LINEAR);
    let models: BTreeSet<&str> =
        reduction.wings.iter().map(|wing| reduction.line_sets[wing.line_set()].model()).collect();
    let mut model = ReducedModel::new(spec, reduction, RandomTerms::NONE)?.counting(means_mm);
    let mut mixed = model.fit(&linear, spec.criterion, &Start::default(), Precision::OnTheWay)?;
    let (mut kept, mut left_out) = (Vec::new(), Vec::new());
    for term in Term::ALL {
        if term == Term::ModelRate && models.len() < FEWEST_MODELS {
            continue;
        }
        let larger = ReducedModel::new(spec, reduction, term.with(model.random))?.counting(means_mm);
        if larger.random == model.random {
            continue;
        }
        let blocks = larger.blocks(&linear);
        let trial = mixed.with_ratio(&larger.layout.structure, &blocks, term.place(&model.layout.structure));
        let mut gain = trial.gain;
        if gain > NO_GAIN {
            let search = MixedSpec::default().criterion(spec.criterion);
            let found = search.fit_near(&larger.layout.structure, &blocks, &trial.start, Precision::OnTheWay);
            let Ok(found) = found else { continue };
            gain = (mixed.deviance() - found.deviance()).max(0.0);
            if gain > PRICE_OF_A_VARIANCE {
                kept.push(format!("{} ({gain:.1})", term.of()));
                (model, mixed) = (larger, found);
                continue;
            }
        }
        left_out.push(format!("{} ({gain:.1})", term.of()));
    }
    let averaging = Averaging::run(&model, mixed)?;
    let (fits, mut search) = averaging.search();
    search.why = why(&kept, &left_out, spec.criterion, search.averaged);
    search.diagnostics.extend(thin_models(&model));
    // under the heaviest time shape, whose wear is not to be taken for a walk
    if let (Some(fit), Some(component)) = (fits.first(), search.components.first()) {
        search.diagnostics.extend(wandering(&model, fit, &component.basis));
    }
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
        parts.push("These readings support no further random term".to_owned());
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
