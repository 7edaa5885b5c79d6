//! `linedrift power`

use std::path::PathBuf;

use linedrift::fleet::{tables, write_atomic};
use linedrift::report::{power_figure, text};
use linedrift::simulate::{FleetSpec, PowerSpec};
use linedrift::wear::WearSpec;

use super::Failure;
use super::args::{Common, Tables, read_text};
use super::input::Input;
use super::output::{self, Output};
use super::progress::Progress;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Folder with the tables of a fleet: rates and spreads are taken from its wear model
    #[arg(required_unless_present = "settings")]
    fleet: Option<PathBuf>,
    /// Rates, spreads and habits of invented wings, in place of a fleet (TOML, see docs/researchers.md)
    #[arg(long, value_name = "FILE", conflicts_with = "fleet")]
    settings: Option<PathBuf>,
    /// The question, as `wear --contrast` takes it: "uhmwpe:C - uhmwpe:A"
    #[arg(long, value_name = "SUM", allow_hyphen_values = true)]
    contrast: String,
    /// Numbers of wings to try
    #[arg(long, value_name = "N", value_delimiter = ',', default_values_t = [12, 24, 48])]
    wings: Vec<usize>,
    /// Numbers of checks of each wing to try
    #[arg(long, value_name = "N", value_delimiter = ',', default_values_t = [3])]
    checks: Vec<usize>,
    /// Numbers of readings of each line at a check to try
    #[arg(long, value_name = "N", value_delimiter = ',', default_values_t = [1])]
    repeats: Vec<u32>,
    /// Invented fleets per design
    #[arg(long, value_name = "N", default_value_t = 200)]
    replicates: usize,
    /// Seed of the random numbers
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    #[command(flatten)]
    tables: Tables,
    #[command(flatten)]
    pub(super) common: Common,
}

impl Args {
    pub(super) fn run(self) -> Result<Output, Failure> {
        self.common.apply()?;
        let progress = Progress::new();
        let mut demo = false;
        let truth = match (&self.fleet, &self.settings) {
            (Some(fleet), _) => {
                progress.step("fitting the wear model");
                let part = Input::reduce(fleet, &[], &[], &self.common)?;
                demo = part.is_demo();
                FleetSpec::default().like(&WearSpec::default().fit_reduced(part.reduction())?)
            }
            (None, Some(path)) => FleetSpec::from_toml(&read_text(path)?)
                .map_err(|error| Failure::Result(format!("{}: {error}", path.display())))?,
            (None, None) => FleetSpec::default(),
        };
        let spec = PowerSpec::new(&self.contrast)
            .fleet(truth)
            .wings(self.wings.iter().copied())
            .checks(self.checks.iter().copied())
            .repeats(self.repeats.iter().copied())
            .replicates(self.replicates)
            .seed(self.seed);
        progress.step("inventing fleets and asking them");
        progress.designs(spec.designs());
        let power = spec.run_with(&mut |_| progress.one_more())?;
        self.tables.write(&[tables::power(&power)])?;
        if let Some(out) = &self.tables.out {
            write_atomic(&out.join("power.svg"), power_figure(&power)?.standalone().as_bytes())?;
        }
        drop(progress);
        if self.common.json {
            return Output::json(&output::of_command("power", &power, demo));
        }
        let note = if demo { text::demo_note() } else { String::new() };
        Ok(Output::text(format!("{}{note}\n{power}", text::cautions())))
    }
}
