//! `linedrift wear`

use std::path::PathBuf;

use clap::ValueEnum;
use linedrift::fleet::{tables, write_atomic};
use linedrift::report::{WearPageSpec, text};
use linedrift::wear::{BootstrapSpec, HuberRule, Reduction, SavedFit, WearFit, WearResults, WearSpec};

use super::args::{Common, Tables};
use super::input::Input;
use super::output::{self, Output};
use super::progress::Progress;
use super::reduce::{Repeats, read_parts};
use super::wear_model::WearModel;
use super::wear_research::{Profiles, Research};
use super::{Failure, gate};

/// Residuals listed of each level.
const LARGEST: usize = 3;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Folder with the tables of a fleet
    #[arg(required_unless_present = "from")]
    fleet: Option<PathBuf>,
    /// Parts written by `reduce`, in place of a folder
    #[arg(long, value_name = "PART", num_args = 1.., conflicts_with_all = ["fleet", "materials"])]
    from: Vec<PathBuf>,
    /// With --from: count readings that are in two parts as read twice
    #[arg(long, requires = "from")]
    allow_repeats: bool,
    #[command(flatten)]
    model: WearModel,
    /// Save the fit for wings elsewhere (`due --fit FILE`)
    #[arg(long, value_name = "FILE")]
    save: Option<PathBuf>,
    /// More 95 % intervals, of spreads too: by profile likelihood, or by refits to simulated readings
    #[arg(long, value_enum, default_value_t = IntervalsName::Wald)]
    intervals: IntervalsName,
    /// Refits of the bootstrap
    #[arg(long, value_name = "N", default_value_t = 200, value_parser = replicates)]
    replicates: usize,
    /// Seed of the bootstrap
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Let readings far from the model count less, and say which
    #[arg(long, conflicts_with_all = ["intervals", "influence"])]
    robust: bool,
    /// Also say which wings the estimates depend on most, and which readings are furthest from the model
    #[arg(long)]
    influence: bool,
    /// Also write a page that shows how well the model fits: residuals, drift curves, shapes, random effects
    #[arg(long, value_name = "FILE", conflicts_with = "robust")]
    page: Option<PathBuf>,
    #[command(flatten)]
    research: Research,
    #[command(flatten)]
    tables: Tables,
    #[command(flatten)]
    pub(super) common: Common,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum IntervalsName {
    /// Only those of the terms, from their standard errors
    Wald,
    Profile,
    Bootstrap,
}

fn replicates(text: &str) -> Result<usize, String> {
    match text.parse::<usize>() {
        Ok(count) if (2..=100_000).contains(&count) => Ok(count),
        _ => Err(format!("`{text}` is not a number of refits between 2 and 100,000")),
    }
}

impl Args {
    pub(super) fn run(self) -> Result<Output, Failure> {
        let spec = self.model.spec()?;
        self.common.apply()?;
        let progress = Progress::new();
        progress.step("reading the tables");
        let part = match &self.fleet {
            Some(fleet) => Input::reduce(fleet, self.model.covariates(), &[], &self.common)?,
            None => read_parts(&self.from, if self.allow_repeats { Repeats::Counted } else { Repeats::Refused })?,
        };
        if part.is_demo() {
            gate::is_demo();
        }
        progress.step("fitting the wear model");
        let reduction = part.reduction();
        let mut down_weighted = Vec::new();
        let fit = if self.robust {
            let robust = spec.fit_robust_reduced(reduction, HuberRule::default())?;
            down_weighted = robust.down_weighted;
            robust.fit
        } else {
            spec.fit_reduced(reduction)?
        };
        if let Some(path) = &self.save {
            let text = SavedFit::of_part(fit.clone(), &part).to_json().map_err(|error| Failure::result(&error))?;
            write_atomic(path, text.as_bytes())?;
            output::say(&format!("saved: {}\n", path.display()));
        }
        let mut results = self.asked(&spec, fit, reduction, &progress)?;
        results.down_weighted = down_weighted;
        results.drift = results.fit.drift(reduction.line_sets());
        let fit = &results.fit;
        self.tables.write(&[
            tables::terms(fit.terms()),
            tables::spread(fit.spread()),
            tables::drift(&results.drift),
        ])?;
        let profiles = if self.intervals == IntervalsName::Profile { Profiles::Wanted } else { Profiles::LeftOut };
        self.research.write(self.tables.out.as_deref(), self.seed, profiles, reduction, &results, &progress)?;
        let demo = part.is_demo();
        if let Some(path) = &self.page {
            progress.step("drawing the page");
            let source = self.fleet.as_ref().map(|fleet| fleet.display().to_string()).unwrap_or_default();
            let spec = WearPageSpec::default().source(&source);
            let spec = if demo { spec.demo() } else { spec };
            let page = spec.run(fit, &fit.frame(reduction)?, reduction.line_sets())?;
            write_atomic(path, page.html().as_bytes())?;
            output::say(&format!("page: {}\n", path.display()));
        }
        drop(progress);
        if self.common.json {
            return Output::json(&output::document(results.document(), demo));
        }
        let note = if demo { text::demo_note() } else { String::new() };
        Ok(Output::text(format!("{}{note}\n{results}", text::cautions())))
    }

    /// What else was asked of the fit.
    fn asked(
        &self,
        spec: &WearSpec,
        fit: WearFit,
        reduction: &Reduction,
        progress: &Progress,
    ) -> Result<WearResults, Failure> {
        let mut results = WearResults::new(fit);
        match self.intervals {
            IntervalsName::Wald => {}
            IntervalsName::Profile => {
                progress.step("finding profile intervals");
                results.intervals = results.fit.profile_intervals(reduction)?;
            }
            IntervalsName::Bootstrap => {
                progress.step("fitting simulated readings");
                let bootstrap = BootstrapSpec::default().replicates(self.replicates).seed(self.seed);
                results.intervals = bootstrap.run(&results.fit, reduction)?.rows().to_vec();
            }
        }
        self.research.ask(spec, reduction, progress, &mut results)?;
        if !self.model.covariates().is_empty() {
            results.tests = spec.covariate_tests(reduction)?;
        }
        if self.influence {
            progress.step("leaving out each wing");
            results.influence = Some(results.fit.influence(reduction)?);
            results.residuals = results.fit.largest_residuals(reduction, LARGEST)?;
        }
        Ok(results)
    }
}
