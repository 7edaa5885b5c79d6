//! What a call may write: every path that is not known to be read is taken for one that is written.

use std::any::TypeId;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use std::sync::atomic::{AtomicBool, Ordering};

use clap::{Arg, ArgMatches, Command};
use linedrift::fleet::{CAUTIONS_PAGE, OutputGate, Overwrite, RefusedOutput, write_atomic};
use linedrift::report::text;

use super::Failure;

/// Arguments that name what is read, or a fleet that is added to. Any other that takes a path is written.
const READ: [&str; 14] = [
    "fleet",
    "files",
    "materials",
    "limits",
    "planform",
    "steps",
    "apply_file",
    "fit",
    "from",
    "service",
    "file",
    "keep",
    "nominal",
    "settings",
];
/// Commands whose folders hold no results of wings: pages of the manual, invented fleets.
const WITHOUT_CAUTIONS: [&str; 2] = ["man", "simulate"];

/// What this call writes; set once, before any command runs.
static WRITES: OnceLock<Writes> = OnceLock::new();

/// The outputs of one call.
#[derive(Debug)]
struct Writes {
    command: String,
    gate: OutputGate,
    folders: Vec<PathBuf>,
    demo: AtomicBool,
}

/// Lets nothing be written over that this program did not write: refuses the call before any work is done.
pub(super) fn guard(command: &Command, matches: &ArgMatches, overwrite: Overwrite) -> Result<(), Failure> {
    let (command, matches) = match matches.subcommand() {
        Some((name, matches)) => (command.find_subcommand(name).unwrap_or(command), matches),
        None => (command, matches),
    };
    // without a command it is the report
    let name = if command.get_name() == "linedrift" { "report" } else { command.get_name() };
    let gate = OutputGate::new(name).overwrite(overwrite);
    let mut folders = Vec::new();
    for arg in command.get_arguments().filter(|arg| is_written(arg)) {
        for path in matches.get_raw(arg.get_id().as_str()).into_iter().flatten().map(Path::new) {
            if is_folder(arg) {
                gate.folder(path)?;
                folders.push(path.to_owned());
            } else {
                gate.file(path)?;
            }
        }
    }
    let writes = Writes { command: name.to_owned(), gate, folders, demo: AtomicBool::new(false) };
    // a second call within one process does not happen
    let _ = WRITES.set(writes);
    Ok(())
}

/// Whether an argument names something that is written.
fn is_written(arg: &Arg) -> bool {
    arg.get_value_parser().type_id() == TypeId::of::<PathBuf>() && !READ.contains(&arg.get_id().as_str())
}

fn is_folder(arg: &Arg) -> bool {
    arg.get_value_names().is_some_and(|names| names.iter().any(|name| name.as_str() == "DIR"))
}

/// From here on, what is written is made of the invented demo.
pub(super) fn is_demo() {
    if let Some(writes) = WRITES.get() {
        writes.demo.store(true, Ordering::Relaxed);
    }
}

/// Makes a folder for results, with those above it; one that the call names is marked as being written, and gets its cautions.
pub(super) fn make_folder(folder: &Path) -> Result<(), Failure> {
    let failed =
        |error: std::io::Error| Failure::Result(format!("cannot make the folder `{}`: {error}", folder.display()));
    std::fs::create_dir_all(folder).map_err(failed)?;
    let Some(writes) = WRITES.get().filter(|writes| writes.folders.iter().any(|known| known == folder)) else {
        return Ok(());
    };
    writes.gate.begin(folder)?;
    if !WITHOUT_CAUTIONS.contains(&writes.command.as_str()) {
        let demo = if writes.demo.load(Ordering::Relaxed) { text::demo_note() } else { String::new() };
        write_atomic(&folder.join(CAUTIONS_PAGE), format!("{}{demo}", text::all_cautions()).as_bytes())?;
    }
    Ok(())
}

/// What came of the command.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Came {
    /// Every file that it makes is there.
    Through,
    /// It stopped before.
    ToGrief,
}

/// Lists in each folder of the call what was written there.
pub(super) fn finish(came: Came) -> Result<(), Failure> {
    let Some(writes) = WRITES.get() else { return Ok(()) };
    for folder in writes.folders.iter().filter(|folder| folder.is_dir()) {
        match came {
            Came::Through => writes.gate.finish(folder)?,
            Came::ToGrief => writes.gate.keep(folder)?,
        }
    }
    Ok(())
}

impl From<RefusedOutput> for Failure {
    fn from(refused: RefusedOutput) -> Self {
        Self::Call(refused.to_string())
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use clap::CommandFactory;

    use super::*;
    use crate::cli::Cli;

    #[test]
    fn every_path_of_every_command_is_read_or_goes_through_the_gate() {
        let root = Cli::command();
        let mut read = BTreeSet::new();
        let mut written = BTreeSet::new();
        for command in root.get_subcommands().chain([&root]) {
            for arg in command.get_arguments() {
                if arg.get_value_parser().type_id() != TypeId::of::<PathBuf>() {
                    // a path by another type would pass by the gate
                    let names: Vec<&str> =
                        arg.get_value_names().unwrap_or_default().iter().map(clap::builder::Str::as_str).collect();
                    let path_like = names.iter().any(|name| ["DIR", "FILE", "PATH", "FOLDER", "PART"].contains(name));
                    assert!(!path_like, "{} {}: a path must be a PathBuf", command.get_name(), arg.get_id());
                    continue;
                }
                let to = if is_written(arg) { &mut written } else { &mut read };
                to.insert(arg.get_id().to_string());
            }
        }
        let listed: BTreeSet<String> = READ.iter().map(ToString::to_string).collect();
        assert!(read.is_subset(&listed) && written.is_disjoint(&listed));
        for known in ["out", "save", "calendar", "html"] {
            assert!(written.contains(known), "{known}");
        }
    }
}
