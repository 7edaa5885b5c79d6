//! `linedrift summary`

use std::path::PathBuf;

use linedrift::fleet::FleetSummary;
use linedrift::report::text;

use super::Failure;
use super::args::Common;
use super::input::Input;
use super::output::{self, Output};
use super::progress::Progress;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Folder with the tables of a fleet
    fleet: PathBuf,
    #[command(flatten)]
    pub(super) common: Common,
}

impl Args {
    pub(super) fn run(self) -> Result<Output, Failure> {
        self.common.apply()?;
        let progress = Progress::new();
        progress.step("reading the tables");
        let input = Input::read(&self.fleet, &[], &self.common)?;
        drop(progress);
        let summary = FleetSummary::of(&input.fleet);
        let demo = input.fleet.is_demo();
        if self.common.json {
            return Output::json(&output::of_command("summary", summary, demo));
        }
        let note = if demo { text::demo_note() } else { String::new() };
        Ok(Output::text(format!("{note}{summary}")))
    }
}
