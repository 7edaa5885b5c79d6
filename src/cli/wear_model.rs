//! Which wear model, for every command that fits one.

use clap::ValueEnum;
use linedrift::stats::mixed::Criterion;
use linedrift::wear::{OffsetOption, Shape, ShapeChoice, TermsOption, WearSpec, WingEffects};

use super::Failure;

const HEADING: &str = "Wear model";

/// The wear model to fit.
#[derive(Debug, Clone, clap::Args)]
pub(super) struct WearModel {
    /// How wear goes on with hours flown; naming one fixes the whole model
    #[arg(help_heading = HEADING, long, value_enum, default_value_t = ShapeName::Auto)]
    shape: ShapeName,
    /// Time scale of the log or saturating shape, hours [default: estimated]
    #[arg(help_heading = HEADING, long, value_name = "H", value_parser = hours)]
    scale_h: Option<f64>,
    /// Fixed terms
    #[arg(help_heading = HEADING, long, value_enum, default_value_t = TermsName::RateSpan)]
    terms: TermsName,
    /// Which rates differ from wing to wing; naming one fixes the whole model
    #[arg(help_heading = HEADING, long, value_enum, default_value_t = EffectsName::Auto)]
    wing_effects: EffectsName,
    /// Likelihood to maximise
    #[arg(help_heading = HEADING, long, value_enum, default_value_t = CriterionName::Reml)]
    criterion: CriterionName,
    /// Column of `wings` that changes the rates: a number, or `NAME=LEVEL` for those wings whose text in it is that; with
    /// `:MATERIAL` the rates of that material alone (may be given more than once)
    #[arg(help_heading = HEADING, long, value_name = "NAME")]
    covariate: Vec<String>,
    /// Which constant deviations lines share
    #[arg(help_heading = HEADING, long, value_enum, default_value_t = OffsetsName::Common)]
    offsets: OffsetsName,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum ShapeName {
    Linear,
    Log,
    Saturating,
    /// The three, averaged by weight
    Auto,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum TermsName {
    Rate,
    #[value(name = "rate+span")]
    RateSpan,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum EffectsName {
    /// Those that the likelihood supports, with rates of lines and of models too
    Auto,
    Rate,
    #[value(name = "rate+row")]
    RateRow,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum OffsetsName {
    /// One for all lines
    Common,
    /// One per model and row
    #[value(name = "model+row")]
    ModelRow,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum CriterionName {
    Reml,
    Ml,
}

fn hours(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(hours) if hours > 0.0 && hours.is_finite() => Ok(hours),
        _ => Err(format!("`{text}` is not a positive number of hours")),
    }
}

impl WearModel {
    /// Names of its options.
    pub(super) const OPTIONS: [&'static str; 7] =
        ["shape", "scale_h", "terms", "wing_effects", "criterion", "covariate", "offsets"];

    /// Columns of `wings` that the model asks for.
    pub(super) fn covariates(&self) -> &[String] {
        &self.covariate
    }

    /// The same for the library.
    pub(super) fn spec(&self) -> Result<WearSpec, Failure> {
        Ok(WearSpec::default()
            .shape(self.shape()?)
            .terms(match self.terms {
                TermsName::Rate => TermsOption::Rate,
                TermsName::RateSpan => TermsOption::RateSpan,
            })
            .wing_effects(match self.wing_effects {
                EffectsName::Auto => WingEffects::Auto,
                EffectsName::Rate => WingEffects::Rate,
                EffectsName::RateRow => WingEffects::RateRow,
            })
            .criterion(match self.criterion {
                CriterionName::Reml => Criterion::Reml,
                CriterionName::Ml => Criterion::Ml,
            })
            .offsets(match self.offsets {
                OffsetsName::Common => OffsetOption::Common,
                OffsetsName::ModelRow => OffsetOption::ModelRow,
            })
            .covariates(&self.covariate))
    }

    fn shape(&self) -> Result<ShapeChoice, Failure> {
        let none = |shape: &str| {
            Err(Failure::Call(format!(
                "the {shape} shape takes no scale: leave out --scale-h, or name log or saturating"
            )))
        };
        match (self.shape, self.scale_h) {
            (ShapeName::Linear, None) => Ok(Shape::LINEAR.into()),
            (ShapeName::Log, None) => Ok(ShapeChoice::Log),
            (ShapeName::Saturating, None) => Ok(ShapeChoice::Saturating),
            (ShapeName::Auto, None) => Ok(ShapeChoice::Auto),
            (ShapeName::Log, Some(scale_h)) => Ok(Shape::Log { scale_h }.into()),
            (ShapeName::Saturating, Some(scale_h)) => Ok(Shape::Saturating { scale_h }.into()),
            (ShapeName::Linear, Some(_)) => none("linear"),
            (ShapeName::Auto, Some(_)) => none("auto"),
        }
    }
}
