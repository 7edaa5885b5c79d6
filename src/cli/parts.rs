//! Results of a whole fleet in parts.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use linedrift::check::Fleet;
use linedrift::fleet::batch::{Batch, BatchJob, BatchSpec, EarlierParts, PartsWritten};
use linedrift::report::text;
use serde::Serialize;

use super::Failure;
use super::output::{self, Output};
use super::progress::Progress;

/// Whether and how results are written in parts.
#[derive(Debug, Clone, Default, clap::Args)]
pub(super) struct InParts {
    /// With --out, for all wings: write the tables as Parquet in parts of this many wings, such as 256, in place of whole
    /// tables; the same call continues where an interrupted run stopped
    #[arg(long, value_name = "WINGS", requires = "out", value_parser = clap::value_parser!(u32).range(1..))]
    parts: Option<u32>,
    /// With --parts: remove the parts of an earlier run and start again
    #[arg(long, requires = "parts")]
    restart: bool,
}

#[derive(Serialize)]
struct PartsDocument<'a> {
    schema: String,
    folder: String,
    #[serde(flatten)]
    written: &'a PartsWritten,
    failed: &'a [String],
}

/// How the answer is given, and of what.
#[derive(Debug, Clone, Copy)]
pub(super) struct Told {
    pub(super) json: bool,
    /// Whether wings or fit are the invented demo.
    pub(super) demo: bool,
}

impl InParts {
    /// Whether parts are asked for.
    pub(super) fn is_set(&self) -> bool {
        self.parts.is_some()
    }

    /// The folder and the settings, when parts are asked for.
    pub(super) fn wanted<'a>(&self, out: Option<&'a PathBuf>) -> Option<(&'a Path, BatchSpec)> {
        let (Some(parts), Some(out)) = (self.parts, out) else { return None };
        let earlier = if self.restart { EarlierParts::Discard } else { EarlierParts::Resume };
        let wings = usize::try_from(parts).unwrap_or(usize::MAX);
        Some((out, BatchSpec::default().wings_per_part(wings).earlier(earlier)))
    }
}

/// Asks all wings and keeps their answers.
pub(super) fn ask<J: BatchJob>(fleet: &Fleet, job: &J, progress: &Progress) -> Result<Batch<J::Answer>, Failure> {
    progress.count(fleet.histories().len());
    Ok(BatchSpec::default().run(fleet, job, &|at| progress.at(at))?)
}

/// Asks all wings, writes their answers in parts, and says what came of it.
pub(super) fn write<J: BatchJob>(
    fleet: &Fleet,
    job: &J,
    (folder, spec): (&Path, BatchSpec),
    progress: Progress,
    told: Told,
) -> Result<Output, Failure> {
    output::make_folder(folder)?;
    progress.count(fleet.histories().len());
    let written = spec.write(fleet, job, folder, &|at| progress.at(at))?;
    drop(progress);
    let failed: Vec<String> = written.failures.iter().map(ToString::to_string).collect();
    let output = if told.json {
        let schema = format!("linedrift.{}-parts/1", job.name());
        let folder = folder.display().to_string();
        let document = PartsDocument { schema, folder, written: &written, failed: &failed };
        Output::json(&output::document(document, told.demo))?
    } else {
        let note = if told.demo { text::demo_note() } else { String::new() };
        Output::text(format!("{}{note}\n{}", text::cautions(), words(&written, folder)))
    };
    Ok(output.with_failed(failed))
}

fn words(written: &PartsWritten, folder: &Path) -> String {
    let mut out = format!("{} wings in {} parts", written.wings, written.parts);
    if written.resumed > 0 {
        let _ = write!(out, ", {} of them from an earlier run", written.resumed);
    }
    let failed = written.failures.len();
    let _ = writeln!(out, "\n{} answered, {} without a check, {failed} failed", written.answers, written.without);
    let _ = writeln!(out, "In {}, as Parquet:", folder.display());
    for table in &written.tables {
        let _ = writeln!(out, "  {table}/part-*.parquet");
    }
    out
}
