//! `linedrift plan`

use std::collections::BTreeSet;
use std::path::PathBuf;

use clap::ValueEnum;
use linedrift::plan::{Finding, Plan, Target};
use linedrift::report::text;

use super::args::{Choice, Common, LimitsFile};
use super::input::Input;
use super::output::{self, Output};
use super::progress::Progress;
use super::{Failure, judging};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Folder with the tables of a fleet
    fleet: PathBuf,
    #[command(flatten)]
    choice: Choice,
    /// What the lines are to be brought to
    #[arg(long, value_enum, default_value_t = TargetName::Common)]
    target: TargetName,
    #[command(flatten)]
    limits: LimitsFile,
    #[command(flatten)]
    pub(super) common: Common,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum TargetName {
    /// The check's own common offset
    Common,
    /// The maker's lengths
    Maker,
}

impl Args {
    pub(super) fn run(self) -> Result<Output, Failure> {
        self.common.apply()?;
        let progress = Progress::new();
        progress.step("reading the tables");
        let input = Input::read(&self.fleet, &[], &self.common)?;
        let one = judging::one_check(&input.fleet, &self.choice)?;
        let limits = self.limits.read(&input.fleet)?;
        progress.step("looking for doubtful readings");
        let failed = |error: &dyn std::fmt::Display| Failure::Result(one.failed(&error));
        let doubts = one.doubts(&input.fleet).map_err(|error| failed(&error))?;
        // a line read twice may be doubtful twice
        let lines: BTreeSet<_> = doubts.findings().iter().map(|finding| (finding.side, &finding.line)).collect();
        let findings: Vec<Finding> = lines.into_iter().map(|(side, line)| Finding::new(side, line)).collect();
        progress.step("searching for the plan");
        let target = match self.target {
            TargetName::Common => Target::Common,
            TargetName::Maker => Target::Maker,
        };
        let plan = limits
            .of(&one.history.wing.model)
            .plan_spec()
            .target(target)
            .run(input.fleet.line_set(one.history), one.history, one.check, &findings)
            .map_err(|error| failed(&error))?;
        drop(progress);
        if one.at + 1 < one.history.checks.len() {
            output::say("note: this is not the wing's last check; what hangs on its links is taken as it is now\n");
        }
        let demo = input.fleet.is_demo();
        if self.common.json {
            let mut document = plan.document();
            document.demo = demo;
            return Output::json(&document);
        }
        let note = if demo { text::demo_note() } else { String::new() };
        Ok(Output::text(format!("{}{note}\n{plan}\n{}", text::cautions(), sequence(&plan))))
    }
}

/// The order of work; whatever could move the cursor is shown as `?`.
fn sequence(plan: &Plan) -> String {
    let steps: Vec<String> = plan.sequence().iter().map(|step| format!("{step}\n")).collect();
    if steps.is_empty() {
        return String::new();
    }
    let text = format!("\nOrder of work, and the readings to expect after each step\n{}", steps.concat());
    text.replace(|c: char| c.is_control() && c != '\n', "?")
}
