//! `linedrift vet`

use std::path::PathBuf;

use linedrift::check::doubt::{DoubtError, Doubts, VetDocument};
use linedrift::report::text;
use rayon::prelude::*;

use super::args::{Choice, Common};
use super::input::Input;
use super::output::Output;
use super::progress::Progress;
use super::{Failure, judging};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Folder with the tables of a fleet
    fleet: PathBuf,
    #[command(flatten)]
    choice: Choice,
    #[command(flatten)]
    pub(super) common: Common,
}

impl Args {
    pub(super) fn run(self) -> Result<Output, Failure> {
        self.common.apply()?;
        let progress = Progress::new();
        progress.step("reading the tables");
        let input = Input::read(&self.fleet, &[], &self.common)?;
        progress.step("looking for doubtful readings");
        let outcomes: Vec<Result<Doubts, String>> = judging::chosen(&input.fleet, &self.choice)?
            .into_par_iter()
            .map(|one| one.doubts(&input.fleet).map_err(|error: DoubtError| one.failed(&error)))
            .collect();
        let mut doubts = Vec::new();
        let mut failed = Vec::new();
        for outcome in outcomes {
            match outcome {
                Ok(found) => doubts.push(found),
                Err(message) => failed.push(message),
            }
        }
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
