//! `linedrift wear`

use std::path::PathBuf;

use clap::ValueEnum;
use linedrift::fleet::{TableFormat, tables, write_table};
use linedrift::report::text;
use linedrift::stats::mixed::Criterion;
use linedrift::wear::{Shape, ShapeChoice, TermsOption, WearSpec, WingEffects};

use super::Failure;
use super::args::{Common, Tables};
use super::input::Input;
use super::output::{self, Document, Output};
use super::progress::Progress;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Folder with the tables of a fleet
    fleet: PathBuf,
    /// How wear goes on with hours flown
    #[arg(long, value_enum, default_value_t = ShapeName::Linear)]
    shape: ShapeName,
    /// Time scale of the log or saturating shape, hours [default: estimated]
    #[arg(long, value_name = "H", value_parser = hours)]
    scale_h: Option<f64>,
    /// Fixed terms
    #[arg(long, value_enum, default_value_t = TermsName::RateSpan)]
    terms: TermsName,
    /// Which rates differ from wing to wing
    #[arg(long, value_enum, default_value_t = EffectsName::Rate)]
    wing_effects: EffectsName,
    /// Likelihood to maximise
    #[arg(long, value_enum, default_value_t = CriterionName::Reml)]
    criterion: CriterionName,
    /// Column of `wings` that changes the rates (may be given more than once)
    #[arg(long, value_name = "NAME")]
    covariate: Vec<String>,
    #[command(flatten)]
    tables: Tables,
    #[command(flatten)]
    pub(super) common: Common,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum ShapeName {
    Linear,
    Log,
    Saturating,
    /// The best of the three by AIC
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
    Rate,
    #[value(name = "rate+row")]
    RateRow,
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

impl Args {
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

    pub(super) fn run(self) -> Result<Output, Failure> {
        let spec = WearSpec::default()
            .shape(self.shape()?)
            .terms(match self.terms {
                TermsName::Rate => TermsOption::Rate,
                TermsName::RateSpan => TermsOption::RateSpan,
            })
            .wing_effects(match self.wing_effects {
                EffectsName::Rate => WingEffects::Rate,
                EffectsName::RateRow => WingEffects::RateRow,
            })
            .criterion(match self.criterion {
                CriterionName::Reml => Criterion::Reml,
                CriterionName::Ml => Criterion::Ml,
            })
            .covariates(&self.covariate);
        self.common.apply()?;
        let progress = Progress::new();
        progress.step("reading the tables");
        let input = Input::read(&self.fleet, &self.covariate, &self.common)?;
        progress.step("fitting the wear model");
        let fit = spec.fit(&input.fleet)?;
        if let Some(out) = &self.tables.out {
            output::make_folder(out)?;
            for format in [TableFormat::Csv, TableFormat::Parquet] {
                write_table(&tables::terms(fit.terms()), out, format)?;
                write_table(&tables::spread(fit.spread()), out, format)?;
            }
        }
        drop(progress);
        let demo = input.fleet.is_demo();
        if self.common.json {
            return Output::json(&Document::new(fit.document(), demo));
        }
        let note = if demo { text::demo_note() } else { String::new() };
        Ok(Output::text(format!("{}{note}\n{fit}", text::cautions())))
    }
}
