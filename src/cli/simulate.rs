//! `linedrift simulate`

use std::path::PathBuf;

use clap::ValueEnum;
use linedrift::fleet::{
    DEMO_MARK, TableFormat, WrittenFleet, tables, write_atomic, write_folder, write_simulated, write_table,
};
use linedrift::report::{policy_figure, text};
use linedrift::simulate::{FleetSpec, PolicySpec};

use super::Failure;
use super::args::read_text;
use super::output::{self, Output};
use super::progress::Progress;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Folder to write the invented fleet into
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Seed of the simulation [default: 1]
    #[arg(long, value_name = "N", conflicts_with = "demo")]
    seed: Option<u64>,
    /// Number of wings [default: 48]
    #[arg(long, value_name = "N", conflicts_with = "demo", value_parser = clap::value_parser!(u32).range(1..=250_000))]
    wings: Option<u32>,
    /// Every setting of the invented fleet by its name (TOML, see docs/researchers.md)
    #[arg(long, value_name = "FILE", conflicts_with = "demo")]
    settings: Option<PathBuf>,
    /// Format of the tables
    #[arg(long, value_enum, default_value_t = FormatName::Csv, conflicts_with_all = ["demo", "policies"])]
    format: FormatName,
    /// Instead of tables: how wings fare when checked at fixed intervals and when checked by forecast
    #[arg(long, conflicts_with = "demo")]
    policies: bool,
    /// The bundled demo, with a page that says what it is
    #[arg(long)]
    demo: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum FormatName {
    /// One file a table, with the truth of every wing
    Csv,
    /// Readings in parts, written as they are drawn into a new folder: for fleets of any size
    Parquet,
}

const DEMO_README: &str = "\
# Demo fleet

Everything here is invented: the club, its loft, the four models, the wings and every reading. A seeded simulation made
it, to show the program and to test it. No real wing, maker or person is behind it.

Made by

    linedrift simulate --demo --out notebooks-data/demo

which gives the same files again. `truth.json` holds what was put in: rates, spreads, and every effect drawn. The file
`DEMO` marks the folder, so that every result made from it says that its data is invented.
";

const DEMO_MARK_TEXT: &str = "The tables in this folder are the invented demo of linedrift.\n";

impl Args {
    /// Policies side by side, on wings whose rows drift differently.
    fn compare(&self, progress: &Progress) -> Result<Output, Failure> {
        let wings = self.wings.unwrap_or(100) as usize;
        let fleet = FleetSpec::default().wing_row_spread(0.2).wings(wings).seed(self.seed.unwrap_or(1));
        progress.step("letting wings fly");
        let comparison = PolicySpec::default().fleet(fleet).run()?;
        output::make_folder(&self.out)?;
        write_table(&tables::policies(&comparison.rows), &self.out, TableFormat::Csv)?;
        write_atomic(&self.out.join("policies.svg"), policy_figure(&comparison)?.standalone().as_bytes())?;
        Ok(Output::text(format!("{}\n{comparison}", text::cautions())))
    }

    pub(super) fn run(self) -> Result<Output, Failure> {
        let spec = match &self.settings {
            Some(path) => FleetSpec::from_toml(&read_text(path)?)
                .map_err(|error| Failure::Result(format!("{}: {error}", path.display())))?,
            None if self.demo => FleetSpec::demo(),
            None => FleetSpec::default(),
        };
        let spec = self.seed.into_iter().fold(spec, FleetSpec::seed);
        let spec = self.wings.into_iter().fold(spec, |spec, wings| spec.wings(wings as usize));
        let progress = Progress::new();
        if self.policies {
            return self.compare(&progress);
        }
        progress.step("inventing wings");
        if self.format == FormatName::Parquet {
            let WrittenFleet { wings, checks, readings } = write_simulated(&spec, &self.out)?;
            return Ok(Output::text(format!(
                "Wrote an invented fleet of {wings} wings, {checks} checks and {readings} readings into {}\n",
                self.out.display()
            )));
        }
        let made = spec.run()?;
        let truth = serde_json::to_string_pretty(&made.truth).map_err(|error| Failure::result(&error))?;
        progress.step("writing the tables");
        output::make_folder(&self.out)?;
        if self.demo {
            // before the tables: they are never there without the mark
            write_atomic(&self.out.join("README.md"), DEMO_README.as_bytes())?;
            write_atomic(&self.out.join(DEMO_MARK), DEMO_MARK_TEXT.as_bytes())?;
        }
        write_folder(&made.fleet, &self.out, TableFormat::Csv)?;
        write_atomic(&self.out.join("truth.json"), format!("{truth}\n").as_bytes())?;
        drop(progress);
        let checks: usize = made.fleet.histories().iter().map(|history| history.checks.len()).sum();
        Ok(Output::text(format!(
            "Wrote an invented fleet of {} wings and {checks} checks into {}\n",
            made.fleet.histories().len(),
            self.out.display()
        )))
    }
}
