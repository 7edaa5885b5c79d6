//! What researchers ask of `linedrift wear`: contrasts, other models, tables to go on with.

use std::path::Path;

use clap::ValueEnum;
use linedrift::fleet::{Table, tables};
use linedrift::wear::{Alternative, ContrastSpec, Pairs, Reduction, WearResults, WearSpec};

use super::Failure;
use super::output;
use super::progress::Progress;

/// Points of each profile in the tables.
const PROFILE_POINTS: usize = 33;

#[derive(Debug, clap::Args)]
pub(super) struct Research {
    /// A question of the fit: "uhmwpe:C - lcp:C", "drift:MODEL:A@200 - drift:MODEL:C@200" (may be given more than once)
    #[arg(long, value_name = "SUM", allow_hyphen_values = true)]
    contrast: Vec<String>,
    /// Compare rates pair by pair; the intervals hold together
    #[arg(long, value_enum, value_name = "WHICH")]
    pairs: Vec<PairsName>,
    /// Make the intervals of all contrasts hold together
    #[arg(long, requires = "contrast")]
    simultaneous: bool,
    /// Compare with a changed model: "wing-effects=rate+row", "shape=log,terms=rate" (may be given more than once)
    #[arg(long, value_name = "CHANGE")]
    compare: Vec<String>,
    /// With --out: also the model frame, its design, random effects, residuals, influence and draws
    #[arg(long, requires = "out")]
    export: bool,
    /// With --export: draws of the fixed terms
    #[arg(long, value_name = "N", default_value_t = 1000, requires = "export")]
    draws: usize,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum PairsName {
    /// Materials with each other, within each row
    Materials,
    /// Rows with each other, within each material
    Rows,
    /// All rates with each other
    Rates,
}

impl From<PairsName> for Pairs {
    fn from(name: PairsName) -> Self {
        match name {
            PairsName::Materials => Pairs::Materials,
            PairsName::Rows => Pairs::Rows,
            PairsName::Rates => Pairs::Rates,
        }
    }
}

impl Research {
    /// Answers what was asked of the fit.
    pub(super) fn ask(
        &self,
        spec: &WearSpec,
        reduction: &Reduction,
        progress: &Progress,
        results: &mut WearResults,
    ) -> Result<(), Failure> {
        if !self.contrast.is_empty() || !self.pairs.is_empty() {
            let mut asked = ContrastSpec::default();
            asked = self.contrast.iter().fold(asked, ContrastSpec::contrast);
            asked = self.pairs.iter().fold(asked, |asked, pairs| asked.pairs((*pairs).into()));
            asked = if self.simultaneous { asked.simultaneous() } else { asked };
            results.contrasts = Some(asked.run(&results.fit, reduction.line_sets())?);
        }
        if !self.compare.is_empty() {
            progress.step("fitting the models to compare");
            let others =
                self.compare.iter().map(|change| Alternative::parse(spec, change)).collect::<Result<Vec<_>, _>>()?;
            results.compared = spec.compare(&others, reduction)?;
        }
        Ok(())
    }

    /// Writes what was asked for, and what others need to go on.
    pub(super) fn write(
        &self,
        out: Option<&Path>,
        seed: u64,
        profiles: Profiles,
        reduction: &Reduction,
        results: &WearResults,
        progress: &Progress,
    ) -> Result<(), Failure> {
        let Some(out) = out else { return Ok(()) };
        let fit = &results.fit;
        let write = |table: &Table| output::write_formats(table, out, &output::BOTH);
        write(&tables::covariance(fit))?;
        if let Some(contrasts) = &results.contrasts {
            write(&tables::contrasts(contrasts))?;
        }
        if !results.compared.is_empty() {
            write(&tables::compared(&results.compared))?;
        }
        if profiles == Profiles::Wanted {
            progress.step("drawing the profiles");
            write(&tables::profiles(&fit.profile_curves(reduction, PROFILE_POINTS)?))?;
        }
        if self.export {
            progress.step("writing the model frame");
            let frame = fit.frame(reduction)?;
            write(&tables::frame(&frame))?;
            write(&tables::design(&frame, fit.terms()))?;
            write(&tables::effects(&frame))?;
            write(&tables::residuals(&fit.residuals(reduction)?))?;
            write(&tables::influence(&fit.influence(reduction)?))?;
            write(&tables::draws(&fit.term_draws(self.draws, seed)))?;
        }
        Ok(())
    }
}

/// Whether the profiles are to be written as curves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Profiles {
    Wanted,
    LeftOut,
}
