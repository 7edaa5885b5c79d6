//! Fleets read from a folder, and the bundled demo.

use std::path::{Path, PathBuf};

use linedrift::check::Fleet;
use linedrift::fleet::{FolderSpec, Scan, ScanSpec, is_demo_folder};
use linedrift::simulate::FleetSpec;
use linedrift::wear::ReductionPart;

use super::args::Common;
use super::{Failure, gate, output};

/// Where the bundled demo lies, seen from the project's folder.
const DEMO_FOLDER: &str = "notebooks-data/demo";

/// A fleet and where it came from, in words.
#[derive(Debug)]
pub(super) struct Input {
    pub(super) fleet: Fleet,
    pub(super) source: String,
}

impl Input {
    /// Reads a folder. What the reader left out or assumed goes to stderr.
    pub(super) fn read(folder: &Path, covariates: &[String], common: &Common) -> Result<Self, Failure> {
        let read = FolderSpec::default().covariates(covariates).fibres(common.fibres()?).read(folder)?;
        for note in &read.notes {
            output::say(&format!("note: {note}\n"));
        }
        let demo = is_demo_folder(folder);
        let fleet = if demo { read.fleet.marked_demo() } else { read.fleet };
        if demo {
            gate::is_demo();
        }
        Ok(Self { fleet, source: folder.display().to_string() })
    }

    /// Reduces a folder without holding its readings; of the files in `readings/` only those named, where any is.
    pub(super) fn reduce(
        folder: &Path,
        covariates: &[String],
        parts: &[String],
        common: &Common,
    ) -> Result<ReductionPart, Failure> {
        let spec = ScanSpec::default().covariates(covariates).fibres(common.fibres()?).parts(parts);
        let Scan { reduction, notes } = spec.run(folder)?;
        for note in &notes {
            output::say(&format!("note: {note}\n"));
        }
        let part = ReductionPart::new(reduction);
        if is_demo_folder(folder) {
            gate::is_demo();
        }
        Ok(if is_demo_folder(folder) { part.marked_demo() } else { part })
    }

    /// The folder given, or the bundled demo: its folder where it lies in the current one, else made again from its seed.
    pub(super) fn read_or_demo(
        folder: Option<&PathBuf>,
        covariates: &[String],
        common: &Common,
    ) -> Result<Self, Failure> {
        if let Some(folder) = folder {
            return Self::read(folder, covariates, common);
        }
        let bundled = Path::new(DEMO_FOLDER);
        if is_demo_folder(bundled) {
            return Self::read(bundled, covariates, common);
        }
        let fleet = FleetSpec::demo().run()?.fleet.marked_demo();
        gate::is_demo();
        Ok(Self { fleet, source: "the bundled demo, made from its seed".to_owned() })
    }
}
