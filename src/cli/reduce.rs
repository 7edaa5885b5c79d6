//! `linedrift reduce`

use std::path::{Path, PathBuf};
use std::time::Instant;

use linedrift::fleet::{read_user_file, write_atomic_by};
use linedrift::wear::{MergeError, ReductionPart};
use serde::Serialize;

use super::Failure;
use super::args::Common;
use super::input::Input;
use super::output::{self, Output};
use super::progress::Progress;

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Folder with the tables of a fleet, or of a part of one
    fleet: PathBuf,
    /// File to write the part into
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Only this file of the folder's `readings/` (may be given more than once) [default: all]
    #[arg(long, value_name = "NAME")]
    part: Vec<String>,
    /// Column of `wings` to keep as a covariate (may be given more than once)
    #[arg(long, value_name = "NAME")]
    covariate: Vec<String>,
    #[command(flatten)]
    pub(super) common: Common,
}

#[derive(Serialize)]
struct ReduceDocument {
    schema: &'static str,
    readings: usize,
    wings: usize,
}

impl Args {
    pub(super) fn run(self) -> Result<Output, Failure> {
        self.common.apply()?;
        let progress = Progress::new();
        progress.step("reducing the readings");
        let begun = Instant::now();
        let part = Input::reduce(&self.fleet, &self.covariate, &self.part, &self.common)?;
        let reduction_s = begun.elapsed().as_secs_f64();
        progress.step("writing the part");
        write_atomic_by(&self.out, |file| part.write_to(file))?;
        drop(progress);
        let (readings, wings) = (part.reduction().readings(), part.reduction().wings().len());
        if self.common.json {
            let document = ReduceDocument { schema: "linedrift.reduce/1", readings, wings };
            return Output::json(&output::document(document, part.is_demo()));
        }
        let out = self.out.display();
        let rate = readings as f64 / 1e6 / reduction_s;
        Ok(Output::text(format!(
            "Reduced {readings} readings of {wings} wings into {out}, {rate:.1} million a second\n"
        )))
    }
}

/// What to do with the same readings in two parts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Repeats {
    Refused,
    Counted,
}

/// Reads parts and puts them together.
pub(super) fn read_parts(files: &[PathBuf], repeats: Repeats) -> Result<ReductionPart, Failure> {
    let mut repeated = Vec::new();
    let mut heads: Vec<(&Path, Vec<u8>)> = Vec::new();
    let mut whole: Option<ReductionPart> = None;
    for file in files {
        let name = file.display();
        let failed = |why: &dyn std::fmt::Display| Failure::Result(format!("{name}: {why}"));
        let bytes = read_user_file(file).map_err(|error| failed(&error))?;
        // length and checksum: a part given twice would count twice
        let head = bytes.iter().take(24).copied().collect();
        if let Some((other, _)) = heads.iter().find(|(_, known)| *known == head) {
            return Err(failed(&format!("the same part as {}: its readings would count twice", other.display())));
        }
        heads.push((file, head));
        let part = ReductionPart::from_bytes(&bytes).map_err(|error| failed(&error))?;
        whole = Some(match whole {
            Some(whole) => match repeats {
                Repeats::Refused => whole.merge(part),
                Repeats::Counted => whole.merge_with_repeats(part, &mut repeated),
            }
            .map_err(|error| match error {
                MergeError::Repeated { .. } => {
                    failed(&format!("{error}. If they were read twice, and gave the same twice, say --allow-repeats"))
                }
                other => failed(&other),
            })?,
            None => part,
        });
    }
    if let Some(first) = repeated.first() {
        output::say(&format!(
            "note: lines with the same readings in two parts, which count twice: {}; the first is check `{}`, line `{}`\n",
            repeated.len(),
            first.check,
            first.line
        ));
    }
    whole.ok_or_else(|| Failure::Call("--from wants at least one part".to_owned()))
}
