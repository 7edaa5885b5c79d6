//! `linedrift record`

mod live;
pub(super) mod verdict;

use std::collections::HashSet;
use std::path::{Path, PathBuf};

use linedrift::check::sheet::{FilledSheet, LineOnSide};
use linedrift::check::{Check, Fleet, History, Reading};
use linedrift::fleet::batch::{known_wing, one_wing};
use linedrift::fleet::{Addition, AdditionError, FolderLock, read_user_file};
use linedrift::wing::{LineSet, Side};

use super::Failure;
use super::args::Common;
use super::check;
use super::conditions::Conditions;
use super::input::Input;
use super::output::{self, Output};
use super::sheet_file::SheetFile;
use super::wing_data::WingData;
use verdict::{Accepted, Vetted};

#[derive(Debug, clap::Args)]
#[command(
    override_usage = "linedrift record [OPTIONS] <SHEET> <FLEET>\n       linedrift record --live [OPTIONS] <FLEET>"
)]
pub(super) struct Args {
    /// A filled measuring sheet or any spreadsheet, and the fleet folder; with --live the folder alone
    #[arg(value_name = "FILE", num_args = 1..=2, required = true)]
    files: Vec<PathBuf>,
    /// Take the readings line by line from the terminal (or a pipe)
    #[arg(long, conflicts_with_all = ["unit", "new_wing", "json", "sheet", "columns", "nominal"])]
    live: bool,
    /// With --live: show what to expect of a line, and what it showed last, before it is read
    #[arg(long, requires = "live")]
    show: bool,
    /// The wing that was measured [default: the fleet's only wing]
    #[arg(long, value_name = "ID")]
    wing: Option<String>,
    /// A wing that is new, from a spreadsheet with the maker's lengths; the fleet folder is made where there is none
    #[arg(long, value_name = "ID", conflicts_with = "wing")]
    new_wing: Option<String>,
    /// Model of the new wing [default: the name of the wing]
    #[arg(long, value_name = "NAME", requires = "new_wing")]
    model: Option<String>,
    #[command(flatten)]
    sheet: SheetFile,
    #[command(flatten)]
    conditions: Conditions,
    #[command(flatten)]
    data: WingData,
    #[command(flatten)]
    accepted: Accepted,
    #[command(flatten, next_help_heading = "How to run")]
    pub(super) common: Common,
}

impl Args {
    pub(super) fn run(self) -> Result<Output, Failure> {
        self.common.apply()?;
        match (self.live, self.files.as_slice()) {
            (true, [folder]) => live::run(&self, folder),
            (false, [sheet, folder]) => self.file(sheet, folder),
            (true, _) => Err(Failure::Call("with --live there is no sheet: name the fleet folder alone".to_owned())),
            (false, _) => Err(Failure::Call(
                "name a filled sheet and the fleet folder; or take the readings from the terminal by --live"
                    .to_owned(),
            )),
        }
    }

    fn file(&self, sheet: &Path, folder: &Path) -> Result<Output, Failure> {
        let bytes = read_user_file(sheet)
            .map_err(|error| Failure::Result(format!("cannot read `{}`: {error}", sheet.display())))?;
        let text = match String::from_utf8(bytes) {
            Ok(text) if self.new_wing.is_none() && FilledSheet::is_one(&text) => text,
            _ => return self.spreadsheet(sheet, folder),
        };
        if self.sheet.unit.is_some() {
            return Err(Failure::Call(format!(
                "--unit is for other spreadsheets: the measuring sheet `{}` is in mm",
                sheet.display()
            )));
        }
        let lock = lock(folder)?;
        let input = Input::read(folder, &[], &self.common)?;
        let history = self.history(&input.fleet)?;
        let filled = FilledSheet::read(input.fleet.line_set(history), &text)
            .map_err(|faults| Failure::Sheet { file: sheet.display().to_string(), faults })?;
        say_unused(&filled.unused_columns);
        let wing = history.wing.id.clone();
        let check = self.check(&input.fleet, &wing, &filled)?;
        let addition = Addition::new(&wing, check.clone()).with_wing(self.data.over(history.wing.clone()));
        let staged = addition.stage(folder, &input.fleet, &lock)?;
        let vetted = Vetted::new(staged.fleet(), &check.id, filled.unread)?;
        if vetted.obstacles(self.accepted).is_empty() {
            staged.commit()?;
        }
        vetted.output(self.accepted, folder, &self.common)
    }

    /// Any other spreadsheet.
    fn spreadsheet(&self, sheet: &Path, folder: &Path) -> Result<Output, Failure> {
        let is_there = std::fs::read_dir(folder).is_ok_and(|mut entries| entries.next().is_some());
        if self.new_wing.is_none() && !folder.is_dir() {
            lock(folder)?;
        }
        if is_there {
            let fleet = Input::read(folder, &[], &self.common)?.fleet;
            match &self.new_wing {
                Some(id) if fleet.history(id).is_some_and(|history| !history.checks.is_empty()) => {
                    return Err(AdditionError::WingThere { wing: id.clone() }.into());
                }
                Some(_) => {}
                None => {
                    if let Some(id) = &self.wing {
                        known_wing(&fleet, id)?;
                    }
                }
            }
        }
        let wing = self.new_wing.clone().or_else(|| self.wing.clone());
        check::Recording {
            file: sheet.to_owned(),
            folder: folder.to_owned(),
            model: self.model.clone().or_else(|| self.new_wing.clone()),
            wing,
            sheet: self.sheet.clone(),
            conditions: self.conditions.clone(),
            data: self.data.clone(),
            accepted: self.accepted,
            common: self.common.clone(),
        }
        .run()
    }

    /// The wing that was measured: the one named, that of the check named, or the only one.
    fn history<'a>(&self, fleet: &'a Fleet) -> Result<&'a History, Failure> {
        let of_check = self.conditions.check.as_ref().filter(|_| self.wing.is_none()).and_then(|id| {
            fleet.histories().iter().find(|history| history.checks.iter().any(|check| check.id == *id))
        });
        match of_check {
            Some(history) => Ok(history),
            None => Ok(one_wing(fleet, self.wing.as_deref())?),
        }
    }

    /// The check with its readings.
    fn check(&self, fleet: &Fleet, wing: &str, filled: &FilledSheet) -> Result<Check, Failure> {
        let inherited = self.conditions.or_as_before(fleet.history(wing));
        let mut check = inherited.conditions.check_of(fleet, wing)?;
        if let Some(made_for) = filled.datum_mm {
            match self.conditions.datum {
                Some(given) if (given - made_for).abs() > 0.05 => {
                    return Err(Failure::Call(format!(
                        "the sheet was made for a datum of {made_for} mm, and --datum says {given}"
                    )));
                }
                Some(_) => {}
                None => check.datum_mm = made_for,
            }
        }
        for note in &inherited.notes {
            // what the sheet was made for goes before
            if !(note.starts_with("datum") && filled.datum_mm.is_some()) {
                output::say(&format!("note: {note}\n"));
            }
        }
        let operator = &inherited.conditions.operator;
        let named = |reading: &Reading| Reading {
            operator: reading.operator.clone().or_else(|| operator.clone()),
            ..reading.clone()
        };
        check.readings = filled.readings.iter().map(named).collect();
        if let Some(history) = fleet.history(wing) {
            self.conditions.confirm_in(fleet.line_set(history), &mut check)?;
        }
        Ok(check)
    }
}

/// The lock of a folder that is there.
fn lock(folder: &Path) -> Result<FolderLock, Failure> {
    if !folder.is_dir() {
        return Err(Failure::Result(format!(
            "there is no folder `{}`; a spreadsheet with --new-wing makes one",
            folder.display()
        )));
    }
    Ok(FolderLock::take(folder)?)
}

/// The lines of a set without a reading, left before right.
pub(super) fn unread(set: &LineSet, readings: &[Reading]) -> Vec<LineOnSide> {
    let read: HashSet<_> = readings.iter().map(|reading| (reading.side, reading.line)).collect();
    let all = Side::BOTH.into_iter().flat_map(|side| (0..set.lines().len()).map(move |line| (side, line)));
    all.filter(|(side, line)| set.has(*line, *side) && !read.contains(&(*side, *line)))
        .map(|(side, line)| LineOnSide { side, line: set.lines()[line].name.clone() })
        .collect()
}

fn say_unused(columns: &[String]) {
    let known: HashSet<&String> = columns.iter().filter(|name| !name.is_empty()).collect();
    if !known.is_empty() {
        let mut names: Vec<String> = known.iter().map(|name| format!("`{name}`")).collect();
        names.sort();
        output::say(&format!("note: left out of the file: {}\n", names.join(", ")));
    }
}
