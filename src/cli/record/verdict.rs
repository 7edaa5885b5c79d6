//! Whether a check may go into the folder, and what is said of it.

use std::collections::HashSet;
use std::fmt::Write as _;
use std::path::Path;

use linedrift::check::doubt::{Doubts, VetDocument, VetFinding, VetNote};
use linedrift::check::sheet::LineOnSide;
use linedrift::check::{Check, Fleet};
use linedrift::fleet::batch::{CheckChoice, CheckJob, VetJob};
use linedrift::report::text;
use serde::Serialize;

use crate::cli::Failure;
use crate::cli::args::Common;
use crate::cli::output::{self, Output};

/// What the user takes upon himself.
#[derive(Debug, Clone, Copy, clap::Args)]
#[command(next_help_heading = "What to accept")]
pub(in crate::cli) struct Accepted {
    /// Add the check although lines were not read; they stay missing
    #[arg(long)]
    accept_missing: bool,
    /// Add the check although readings are doubtful; they are added as they were read
    #[arg(long)]
    accept_doubtful: bool,
}

/// A check that was looked through, and is not in the folder yet.
#[derive(Debug)]
pub(in crate::cli) struct Vetted {
    wing: String,
    check: Check,
    lines_read: usize,
    unread: Vec<LineOnSide>,
    doubts: Doubts,
    demo: bool,
}

#[derive(Debug, Serialize)]
struct RecordDocument<'a> {
    schema: &'static str,
    wing: &'a str,
    check: &'a str,
    added: bool,
    readings: usize,
    unread: &'a [LineOnSide],
    findings: Vec<VetFinding>,
    notes: Vec<VetNote>,
}

impl Vetted {
    /// Looks through a check of a fleet as it will be.
    pub(in crate::cli) fn new(fleet: &Fleet, check: &str, unread: Vec<LineOnSide>) -> Result<Self, Failure> {
        let chosen = CheckChoice::Check(check.to_owned()).one(fleet)?;
        let doubts = VetJob::default().check(fleet, &chosen).map_err(|failure| Failure::result(&failure))?;
        let vetted = Self::of(&chosen.history.wing.id, chosen.check, unread, doubts);
        Ok(Self { demo: fleet.is_demo(), ..vetted })
    }

    /// A check with its doubtful readings.
    pub(in crate::cli) fn of(wing: &str, check: &Check, unread: Vec<LineOnSide>, doubts: Doubts) -> Self {
        let read: HashSet<_> = check.readings.iter().map(|reading| (reading.side, reading.line)).collect();
        Self { wing: wing.to_owned(), check: check.clone(), lines_read: read.len(), unread, doubts, demo: false }
    }

    /// Why the check may not be added.
    pub(in crate::cli) fn obstacles(&self, accepted: Accepted) -> Vec<String> {
        let mut all = Vec::new();
        let plural = |count: usize, one: &str, many: &str| format!("{count} {}", if count == 1 { one } else { many });
        if self.check.readings.is_empty() {
            all.push("no line was read".to_owned());
        } else if !self.unread.is_empty() && !accepted.accept_missing {
            all.push(format!(
                "{} not read: read what is missing, or add the check without by --accept-missing",
                plural(self.unread.len(), "line was", "lines were")
            ));
        }
        let open = self.doubts.findings().len();
        if open > 0 && !accepted.accept_doubtful {
            all.push(format!(
                "{} doubtful: measure again and mend the value (or add a second reading as repeat 2), or add the check \
                 with the values as they are by --accept-doubtful",
                plural(open, "reading is", "readings are")
            ));
        }
        all
    }

    /// What there is to say; what prevents it is a failure.
    pub(in crate::cli) fn output(
        &self,
        accepted: Accepted,
        folder: &Path,
        common: &Common,
    ) -> Result<Output, Failure> {
        let obstacles = self.obstacles(accepted);
        let failed = obstacles.iter().map(|why| format!("nothing was added: {why}")).collect();
        if common.json {
            let vet = VetDocument::new([&self.doubts]);
            let document = RecordDocument {
                schema: "linedrift.record/1",
                wing: &self.wing,
                check: &self.check.id,
                added: obstacles.is_empty(),
                readings: self.check.readings.len(),
                unread: &self.unread,
                findings: vet.findings,
                notes: vet.notes,
            };
            return Ok(Output::json(&output::document(document, self.demo))?.with_failed(failed));
        }
        let mut out = self.words();
        if obstacles.is_empty() {
            let _ = writeln!(
                out,
                "Added check {} with {} readings to {}",
                self.check.id,
                self.check.readings.len(),
                folder.display()
            );
        }
        Ok(Output::text(out).with_failed(failed))
    }

    /// The check, the lines that were not read, the doubtful readings.
    pub(in crate::cli) fn words(&self) -> String {
        let check = &self.check;
        let mut out =
            format!("Wing {}  check {}  {}  {} h  {}\n", self.wing, check.id, check.date, check.hours_h, check.stage);
        let _ = writeln!(
            out,
            "datum {} mm, load {} N, {} degrees Celsius",
            check.datum_mm, check.load_n, check.temperature_c
        );
        let _ = writeln!(out, "{} of {} lines read", self.lines_read, self.lines_read + self.unread.len());
        if !self.unread.is_empty() {
            let names: Vec<String> = self.unread.iter().map(|one| format!("{} {}", one.side, one.line)).collect();
            let _ = writeln!(out, "not read: {}", names.join(", "));
        }
        out.push_str(&text::doubts(std::slice::from_ref(&self.doubts)));
        out
    }
}
