//! `linedrift vet`

use std::path::PathBuf;

use linedrift::check::doubt::VetDocument;
use linedrift::fleet::batch::{BatchJob, BatchSpec, VetJob};
use linedrift::report::text;

use super::args::{Choice, Common, Tables};
use super::input::Input;
use super::output::Output;
use super::parts::{InParts, Told};
use super::progress::Progress;
use super::{Failure, parts};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Folder with the tables of a fleet
    fleet: PathBuf,
    #[command(flatten)]
    choice: Choice,
    #[command(flatten)]
    tables: Tables,
    #[command(flatten)]
    parts: InParts,
    #[command(flatten)]
    pub(super) common: Common,
}

impl Args {
    pub(super) fn run(self) -> Result<Output, Failure> {
        self.choice.fits(&self.parts)?;
        self.common.apply()?;
        let progress = Progress::new();
        progress.step("reading the tables");
        let input = Input::read(&self.fleet, &[], &self.common)?;
        progress.step("looking for doubtful readings");
        let job = VetJob::default();
        if let Some(wanted) = self.parts.wanted(self.tables.out.as_ref()) {
            let told = Told { json: self.common.json, demo: input.fleet.is_demo() };
            return parts::write(&input.fleet, &job, wanted, progress, told);
        }
        let fleet = &input.fleet;
        let batch = BatchSpec::default().run_of(fleet, &self.choice.meant(), &job, &progress)?;
        let doubts = batch.answers;
        let failed = batch.failures.iter().map(ToString::to_string).collect();
        self.tables.write(&job.tables(&doubts))?;
        drop(progress);
        let demo = input.fleet.is_demo();
        let output = if self.common.json {
            let document = VetDocument::new(&doubts);
            Output::json(&if demo { document.marked_demo() } else { document })?
        } else {
            let note = if demo { text::demo_note() } else { String::new() };
            Output::text(format!("{}{note}\n{}", text::cautions(), text::doubts(&doubts)))
        };
        Ok(output.with_failed(failed))
    }
}
