//! `linedrift plan`

use std::path::PathBuf;

use clap::ValueEnum;
use linedrift::Date;
use linedrift::check::sheet::LineOnSide;
use linedrift::check::{ActionKind, Check, Fleet};
use linedrift::fleet::batch::{BatchFailure, ChosenCheck, PlanJob};
use linedrift::fleet::{FolderLock, read_given, read_steps, record_confirmed, write_atomic};
use linedrift::forecast::{DueSpec, LimitsTable, PlanWithDue, WingDue};
use linedrift::plan::{
    CurveRow, Direction, Forbidden, GivenAction, Plan, PlanError, PlanSpec, RowTarget, Sides, Target, curve_table,
};
use linedrift::report::{curve_figure, plan_figure, text};
use linedrift::wear::WearSpec;
use linedrift::wing::UnknownName;

use super::args::{Choice, Common, LimitsFile, Tables, confirmed, day};
use super::input::Input;
use super::output::{self, Output};
use super::parts::{InParts, Told};
use super::progress::Progress;
use super::{Failure, parts, plan_after, plan_all};

#[derive(Debug, clap::Args)]
#[allow(clippy::struct_excessive_bools, reason = "the flags of a command")]
pub(super) struct Args {
    /// Folder with the tables of a fleet
    pub(super) fleet: PathBuf,
    #[command(flatten)]
    pub(super) choice: Choice,
    /// Plans for the latest check of every wing: one line a wing, or with --json all plans in one document
    #[arg(long, conflicts_with_all = ["wing", "check", "curve", "apply", "apply_file", "done", "achieved", "learn"])]
    all: bool,
    /// What to bring the lines to
    #[arg(long, value_enum, default_value_t = TargetName::Common)]
    target: TargetName,
    /// A row trim to bring the lines to: this row by this many mm above the common offset, such as A=-3; may be given more than once
    #[arg(long, value_name = "ROW=MM", value_parser = row_target, conflicts_with = "target")]
    row_target: Vec<RowTarget>,
    /// What the plan is for [default: the best of the three: fewest lines outside, then at most 0.15 degrees left, then the
    /// least work]
    #[arg(long, value_name = "AIM", value_parser = ["work", "trim", "table"])]
    aim: Option<String>,
    /// The same work on both sides, even where they measurably differ
    #[arg(long)]
    same_sides: bool,
    /// On each side the work it needs, even where the sides are alike
    #[arg(long, conflicts_with = "same_sides")]
    each_side: bool,
    /// A place to leave alone, on one side or both; may be given more than once
    #[arg(long, value_name = "SEGMENT[:SIDE]")]
    forbid: Vec<Forbidden>,
    /// The only way in which lengths may be changed
    #[arg(long, value_enum)]
    only: Option<DirectionName>,
    /// Most actions, both sides counted
    #[arg(long, value_name = "N")]
    most: Option<usize>,
    #[allow(clippy::doc_markdown, reason = "the text of the help")]
    /// A kind of action that is never proposed, such as replace_line; may be given more than once
    #[arg(long, value_name = "ACTION")]
    without: Vec<ActionKind>,
    /// Also allow stretching mains of the rear rows under load, by at most this many mm: it does not last
    #[arg(long, value_name = "MM")]
    stretch: Option<f64>,
    /// The only steps to choose from, as a CSV with the columns that docs/data.md lists
    #[arg(long, value_name = "FILE")]
    steps: Option<PathBuf>,
    /// A line that was measured again and is as read, such as left:B3: no longer doubted, and kept with the check. May be
    /// several times
    #[arg(long, value_name = "SIDE:LINE", conflicts_with_all = ["all", "learn"])]
    confirm: Vec<LineOnSide>,
    /// Also show the best plans with 0, 1, 2, … actions
    #[arg(long, conflicts_with_all = ["apply", "apply_file", "achieved", "learn"])]
    curve: bool,
    /// What if: the trim that this action would leave, such as AM2:left:turn:2 (segment, side, action, and for turns how
    /// many, for a small link or splice its change in mm); may be given more than once
    #[arg(long, value_name = "SEGMENT:SIDE:ACTION[:AMOUNT]", conflicts_with_all = ["achieved", "learn"])]
    apply: Vec<GivenAction>,
    /// The same with the actions from a CSV: columns segment, side, action, amount
    #[arg(long, value_name = "FILE", conflicts_with_all = ["achieved", "learn"])]
    apply_file: Option<PathBuf>,
    /// The work is done: writes the actions into the folder's `actions` table and keeps `fittings` up to date
    #[arg(long, conflicts_with_all = ["curve", "achieved", "learn"])]
    done: bool,
    /// With --done or --achieved: the check taken after the work
    #[arg(long, value_name = "CHECK")]
    pub(super) as_left: Option<String>,
    /// With --done: day of the work [default: day of the check after the work, else of the check itself]
    #[arg(long, value_name = "DATE", value_parser = day, requires = "done")]
    pub(super) date: Option<Date>,
    /// With --done: even though work after this check is recorded already
    #[arg(long, requires = "done")]
    pub(super) again: bool,
    /// Also say when the wing must be checked next once the plan is done, from the wear of its fleet
    #[arg(long, conflicts_with_all = ["all", "achieved", "learn"])]
    due: bool,
    /// Compares the recorded work with the check taken after it
    #[arg(long, conflicts_with = "learn")]
    achieved: bool,
    /// Learns the step sizes from all recorded work of the fleet and writes them into `fittings` (`step_mm`)
    #[arg(long, conflicts_with_all = ["wing", "check"])]
    learn: bool,
    /// Also write figures as SVG into this folder: before and after, and with --curve the trade-off; with --all the tables
    /// of the plans, as CSV and Parquet
    #[arg(long, value_name = "DIR", conflicts_with_all = ["achieved", "learn"])]
    out: Option<PathBuf>,
    #[command(flatten)]
    parts: InParts,
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
    /// One common deviation, whichever costs least
    Free,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum DirectionName {
    /// Shorter only
    Shorten,
    /// Longer only
    Lengthen,
}

fn row_target(text: &str) -> Result<RowTarget, String> {
    let wrong = || format!("`{text}` is not a row with millimetres, such as A=-3");
    let (row, mm) = text.split_once('=').ok_or_else(wrong)?;
    let relative_mm: f64 = mm.parse().ok().filter(|mm: &f64| mm.is_finite()).ok_or_else(wrong)?;
    Ok(RowTarget { row: row.parse().map_err(|_| wrong())?, relative_mm })
}

impl Args {
    fn spec(&self) -> Result<PlanSpec, Failure> {
        let target = match self.target {
            _ if !self.row_target.is_empty() => Target::Rows(self.row_target.clone()),
            TargetName::Common => Target::Common,
            TargetName::Maker => Target::Maker,
            TargetName::Free => Target::Free,
        };
        let sides = match (self.same_sides, self.each_side) {
            (true, _) => Sides::Same,
            (_, true) => Sides::Separate,
            _ => Sides::Auto,
        };
        let mut spec = PlanSpec::default().target(target).sides(sides).forbidden(&self.forbid).without(&self.without);
        if let Some(aim) = &self.aim {
            spec = spec.aim(aim.parse().map_err(|error: UnknownName| Failure::Call(error.to_string()))?);
        }
        if let Some(only) = self.only {
            spec = spec.only(match only {
                DirectionName::Shorten => Direction::Shorten,
                DirectionName::Lengthen => Direction::Lengthen,
            });
        }
        if let Some(most) = self.most {
            spec = spec.most_actions(most);
        }
        if let Some(mm) = self.stretch {
            spec = spec.stretch_mm(mm);
        }
        Ok(match &self.steps {
            Some(file) => spec.offered(&read_steps(file)?),
            None => spec,
        })
    }

    /// The actions that were given, if any.
    fn given(&self) -> Result<Vec<GivenAction>, Failure> {
        let mut given = self.apply.clone();
        if let Some(file) = &self.apply_file {
            given.extend(read_given(file)?);
        }
        Ok(given)
    }

    /// The lock of the folder, where the call writes into it; none of a folder that is not there.
    fn lock(&self) -> Result<Option<FolderLock>, Failure> {
        if (self.done || self.learn || !self.confirm.is_empty()) && self.fleet.is_dir() {
            return Ok(Some(FolderLock::take(&self.fleet)?));
        }
        Ok(None)
    }

    #[allow(clippy::too_many_lines, reason = "one list of what a call may ask")]
    pub(super) fn run(self) -> Result<Output, Failure> {
        if self.parts.is_set() && !self.all {
            return Err(Failure::Call("--parts goes with --all".to_owned()));
        }
        if self.as_left.is_some() && !(self.done || self.achieved) {
            return Err(Failure::Call("--as-left goes with --done or --achieved".to_owned()));
        }
        self.common.apply()?;
        let spec = self.spec()?;
        let given = self.given()?;
        let progress = Progress::new();
        progress.step("reading the tables");
        // nobody may change the tables between the reading and the writing
        let lock = self.lock()?;
        let mut input = Input::read(&self.fleet, &[], &self.common)?;
        if let Some(lock) = lock.as_ref().filter(|_| !self.confirm.is_empty()) {
            let one = self.choice.meant().one(&input.fleet)?;
            let set = input.fleet.line_set(one.history);
            record_confirmed(&self.fleet, set, one.check, &confirmed(set, &self.confirm)?, lock)?;
            input = Input::read(&self.fleet, &[], &self.common)?;
        }
        let limits = self.limits.read(&input.fleet)?;
        if self.all {
            progress.step("searching for the plans");
            let job = PlanJob::new(spec, limits);
            if let Some(wanted) = self.parts.wanted(self.out.as_ref()) {
                let told = Told { json: self.common.json, demo: input.fleet.is_demo() };
                return parts::write(&input.fleet, &job, wanted, progress, told);
            }
            return plan_all::run(&input, &job, &Tables { out: self.out }, progress, self.common.json);
        }
        if self.learn {
            progress.step("learning from recorded work");
            return plan_after::learn(&self, &input, &spec, lock.as_ref());
        }
        let one = self.choice.meant().one(&input.fleet)?;
        let spec = limits.of(&one.history.wing.model).planning(spec);
        progress.step("looking for doubtful readings");
        let findings = PlanJob::findings(&input.fleet, &one).map_err(|failure| Failure::result(&failure))?;
        if self.achieved {
            return plan_after::achieved(&self, &input, &spec, one, &findings);
        }
        progress.step("searching for the plan");
        let set = input.fleet.line_set(one.history);
        let failed =
            |error: &dyn std::fmt::Display| Failure::Result(BatchFailure::of_check(&one, &error).to_string());
        let is_given = !given.is_empty() || self.apply_file.is_some();
        let plan = if is_given {
            let actions =
                spec.given(set, one.history, one.check, &given).map_err(|error| Failure::Call(error.to_string()))?;
            spec.what_if(set, one.history, one.check, &findings, &actions)
        } else {
            spec.run(set, one.history, one.check, &findings)
        };
        let plan = plan.map_err(|error| match error {
            // what the call asks for cannot be
            PlanError::NoSegment { .. }
            | PlanError::Forbidden { .. }
            | PlanError::RuledOut { .. }
            | PlanError::Contradiction { .. }
            | PlanError::AimAndTarget { .. }
            | PlanError::Setting { .. } => Failure::Call(error.to_string()),
            _ => failed(&error),
        })?;
        let curve = if self.curve {
            spec.clone()
                .aim(plan.aim)
                .curve(set, one.history, one.check, &findings)
                .map_err(|error| failed(&error))?
        } else {
            Vec::new()
        };
        if let Some(out) = &self.out {
            output::make_folder(out)?;
            for (name, figure) in [("before-after.svg", plan_figure(&plan)?), ("curve.svg", curve_figure(&curve)?)] {
                if let Some(figure) = figure {
                    let figure = output::alone(&figure, &input.fleet);
                    write_atomic(&out.join(name), figure.standalone().as_bytes())?;
                }
            }
        }
        let due = if self.due {
            progress.step("fitting the wear model");
            Some(due_after(&input.fleet, one, &plan, limits.clone())?)
        } else {
            None
        };
        let recorded =
            if self.done { Some(plan_after::done(&self, &input, one, &plan, lock.as_ref())?) } else { None };
        drop(progress);
        if one.at + 1 < one.history.checks.len() {
            output::say("note: this is not the wing's last check; what hangs on its links is taken as it is now\n");
        }
        let demo = input.fleet.is_demo();
        if self.common.json {
            let mut document = plan.document();
            document.demo = demo;
            document.given = is_given;
            document.curve = curve.iter().map(CurveRow::from).collect();
            document.recorded = recorded;
            return Output::json(&PlanWithDue::new(document, due.map(|due| due.row)));
        }
        let note = if demo { text::demo_note() } else { String::new() };
        let mut out = format!("{}{note}\n{plan}\n", text::cautions());
        if !curve.is_empty() {
            out.push_str("\nThe best plan for each number of actions\n");
            out.push_str(&curve_table(&curve));
        }
        if let Some(due) = due {
            out.push_str(&text::due_after(&due));
        }
        if let Some(recorded) = recorded {
            out.push_str(&plan_after::words(&recorded, one.check));
        }
        Ok(Output::text(out))
    }

    /// The check after the work: the one named, which must be this wing's.
    pub(super) fn named_as_left<'a>(&self, one: ChosenCheck<'a>) -> Result<Option<&'a Check>, Failure> {
        let Some(id) = &self.as_left else { return Ok(None) };
        let found = one.history.checks.iter().find(|check| check.id == *id);
        let wing = &one.history.wing.id;
        found.map(Some).ok_or_else(|| Failure::Call(format!("wing `{wing}` has no check `{id}`")))
    }
}

/// The next check of the wing once the plan is done, before anyone has measured what it left.
fn due_after(fleet: &Fleet, one: ChosenCheck<'_>, plan: &Plan, limits: LimitsTable) -> Result<WingDue, Failure> {
    let wear = WearSpec::default().fit(fleet)?;
    let actions = plan.actions(one.check.date, one.check.hours_h, None);
    let today = fleet.last_date().unwrap_or(one.check.date);
    Ok(DueSpec::default().today(today).limits(limits).run_after(fleet, &wear, &one.history.wing.id, &actions)?)
}
