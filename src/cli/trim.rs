//! `linedrift trim`

use std::path::PathBuf;

use linedrift::check::Stage;
use linedrift::fleet::batch::TrimJob;
use linedrift::fleet::read_planform;
use linedrift::report::text;
use linedrift::trim::{DecisionRule, TrimDocument, TrimSpec};

use super::args::{Choice, Common, LimitsFile, Tables};
use super::input::Input;
use super::output::{self, Output};
use super::parts::{InParts, Told};
use super::progress::Progress;
use super::{Failure, parts};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Folder with the tables of a fleet
    fleet: PathBuf,
    #[command(flatten)]
    choice: Choice,
    /// The half wing's planform in place of an ellipse: a CSV of stations with the columns that docs/data.md
    /// lists
    #[arg(long, value_name = "FILE")]
    planform: Option<PathBuf>,
    /// Radius of the wing's arch seen from the front, metres
    #[arg(long, value_name = "M", value_parser = length)]
    arch_radius_m: Option<f64>,
    /// How a deviation is judged against its tolerance: by its value, or `undecided` where its uncertainty reaches across
    #[arg(long, value_enum, default_value = "value")]
    rule: Rule,
    #[command(flatten)]
    limits: LimitsFile,
    #[command(flatten)]
    tables: Tables,
    #[command(flatten)]
    parts: InParts,
    #[command(flatten)]
    pub(super) common: Common,
}

#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum Rule {
    Value,
    Guarded,
}

fn length(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(length) if length.is_finite() && length > 0.0 => Ok(length),
        _ => Err(format!("`{text}` is not a length above 0 in metres, such as 7.5")),
    }
}

impl Args {
    fn spec(&self) -> Result<TrimSpec, Failure> {
        let mut spec = TrimSpec::default().rule(match self.rule {
            Rule::Value => DecisionRule::Value,
            Rule::Guarded => DecisionRule::Guarded,
        });
        if let Some(file) = &self.planform {
            spec = spec.planform(read_planform(file)?);
        }
        if let Some(radius_m) = self.arch_radius_m {
            spec = spec.arch_radius_m(radius_m);
        }
        Ok(spec)
    }

    pub(super) fn run(self) -> Result<Output, Failure> {
        self.choice.fits(&self.parts)?;
        self.common.apply()?;
        let spec = self.spec()?;
        let progress = Progress::new();
        progress.step("reading the tables");
        let input = Input::read(&self.fleet, &[], &self.common)?;
        progress.step("judging checks");
        let job = TrimJob::new(spec, self.limits.read(&input.fleet)?);
        if let Some(wanted) = self.parts.wanted(self.tables.out.as_ref()) {
            let told = Told { json: self.common.json, demo: input.fleet.is_demo() };
            return parts::write(&input.fleet, &job, wanted, progress, told);
        }
        let mut judged = job.judge(&input.fleet, &self.choice.meant(), &progress)?;
        let failed: Vec<String> = judged.failures.iter().map(ToString::to_string).collect();
        if let Some(out) = &self.tables.out {
            output::make_folder(out)?;
            output::write_trims(&judged.trims, out, &output::BOTH)?;
        }
        drop(progress);
        let demo = input.fleet.is_demo();
        let output = if self.common.json {
            let document = TrimDocument::new(&judged.trims, &judged.changes).with_failed(&failed);
            Output::json(&output::document(document, demo))?
        } else {
            let note = if demo { text::demo_note() } else { String::new() };
            // of a fleet on one screen, only what adjusting changed
            let alone = judged.trims.len() == 1;
            let left = |id: &String| judged.trims.iter().any(|trim| trim.check == *id && trim.stage == Stage::AsLeft);
            judged.changes.retain(|change| alone || left(&change.after));
            let (trims, changes) = (text::trims(&judged.trims), text::changes(&judged.changes));
            Output::text(format!("{}{note}\n{trims}{changes}", text::cautions()))
        };
        Ok(output.with_failed(failed))
    }
}
