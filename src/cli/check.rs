//! `linedrift check`: from one spreadsheet to the whole answer.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use linedrift::check::doubt::VetDocument;
use linedrift::check::{Check, Fleet};
use linedrift::fleet::batch::CheckChoice;
use linedrift::fleet::spreadsheet::{Spreadsheet, SpreadsheetSpec, Understood, fleet_of_one, today};
use linedrift::fleet::{Addition, FolderLock, StagedAddition, TableFormat, write_atomic, write_new_folder};
use linedrift::forecast::{DueDocument, DueTable};
use linedrift::plan::PlanDocument;
use linedrift::report::ReportSpec;
use linedrift::trim::TrimDocument;
use linedrift::wing::LineSet;
use serde::Serialize;

use super::answer::{Answer, Asked};
use super::args::{Common, LimitsFile};
use super::conditions::Conditions;
use super::input::Input;
use super::model::ModelData;
use super::output::Output;
use super::progress::Progress;
use super::record::verdict::{Accepted, Vetted};
use super::sheet_file::SheetFile;
use super::wing_data::WingData;
use super::{Failure, output};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// The spreadsheet: .xlsx, .xls, .ods or text with commas, semicolons or tabs
    file: PathBuf,
    /// Also write the wing's page, one HTML file to read or print
    #[arg(long, value_name = "FILE")]
    page: Option<PathBuf>,
    /// Add the check to this fleet folder; made if there is none
    #[arg(long, value_name = "FLEET")]
    keep: Option<PathBuf>,
    /// The wing [default: what the file says, the folder's only wing, or the file's name]
    #[arg(long, value_name = "ID")]
    wing: Option<String>,
    /// Its model [default: what the file says, or the wing]
    #[arg(long, value_name = "NAME")]
    model: Option<String>,
    #[command(flatten)]
    sheet: SheetFile,
    #[command(flatten)]
    conditions: Conditions,
    #[command(flatten)]
    data: WingData,
    #[command(flatten)]
    model_data: ModelData,
    #[command(flatten)]
    accepted: Accepted,
    #[command(flatten)]
    limits: LimitsFile,
    #[command(flatten, next_help_heading = "How to run")]
    pub(super) common: Common,
}

#[derive(Serialize)]
struct CheckDocument<'a> {
    schema: &'static str,
    wing: &'a str,
    check: &'a str,
    understood: &'a Understood,
    vet: Option<VetDocument>,
    trim: Option<TrimDocument<'a>>,
    plan: Option<PlanDocument>,
    due: Option<DueDocument<'a>>,
    kept: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    page: Option<String>,
}

/// The file in its place: a fleet that holds it, and how it gets into the folder.
struct Placed {
    input: Input,
    wing: String,
    check: Check,
    set: LineSet,
    notes: Vec<String>,
    has_hours: bool,
    way: Way,
}

/// How a check is kept.
enum Way {
    Nowhere,
    NewFolder(PathBuf),
    Added { folder: PathBuf, staged: StagedAddition, lock: FolderLock },
}

/// A spreadsheet to be recorded: what `record` was told.
pub(super) struct Recording {
    pub(super) file: PathBuf,
    pub(super) folder: PathBuf,
    pub(super) wing: Option<String>,
    pub(super) model: Option<String>,
    pub(super) sheet: SheetFile,
    pub(super) conditions: Conditions,
    pub(super) data: WingData,
    pub(super) accepted: Accepted,
    pub(super) common: Common,
}

impl Recording {
    /// Adds the check of the spreadsheet to the folder, and says what is doubtful.
    pub(super) fn run(self) -> Result<Output, Failure> {
        let Self { file, folder, wing, model, sheet, conditions, data, accepted, common } = self;
        let args = Args {
            file,
            page: None,
            keep: Some(folder.clone()),
            wing,
            model,
            sheet,
            conditions,
            data,
            model_data: ModelData::default(),
            accepted,
            limits: LimitsFile::default(),
            common,
        };
        let spec = args
            .sheet
            .spec(args.conditions.stage, Some(&folder).filter(|folder| is_fleet(folder)).map(PathBuf::as_path))?;
        let sheet = spec.read(&args.file)?;
        if sheet.reading_count() == 0 {
            return Err(sheet.no_readings().into());
        }
        args.dated(&sheet)?;
        let placed = args.place(&sheet)?;
        output::say(&Args::understood(&sheet, &placed).to_string());
        let vetted = Vetted::new(&placed.input.fleet, &placed.check.id, sheet_unread(&placed))?;
        if vetted.obstacles(args.accepted).is_empty() {
            Args::keep(placed, &spec)?;
        }
        vetted.output(args.accepted, &folder, &args.common)
    }
}

impl Args {
    /// Refuses a check without its day and hours, for a folder that keeps it.
    fn dated(&self, sheet: &Spreadsheet) -> Result<(), Failure> {
        let said = self.conditions.or_of(sheet, &self.file.display().to_string())?;
        if said.date.is_some() && said.hours.is_some() {
            return Ok(());
        }
        Err(Failure::Call(
            "say when the lines were measured: --date 2026-03-01 --hours 85 (hours flown since new)".to_owned(),
        ))
    }

    /// Puts the check into its folder.
    fn keep(placed: Placed, spec: &SpreadsheetSpec) -> Result<(), Failure> {
        let folder = match placed.way {
            Way::Nowhere => return Ok(()),
            Way::NewFolder(folder) => {
                write_new_folder(&placed.input.fleet, &folder, TableFormat::Csv)?;
                folder
            }
            Way::Added { folder, staged, lock } => {
                staged.commit()?;
                drop(lock);
                folder
            }
        };
        Ok(spec.keep_columns(&folder)?)
    }

    pub(super) fn run(self) -> Result<Output, Failure> {
        self.common.apply()?;
        let progress = Progress::new();
        progress.step("reading the spreadsheet");
        let folder = self.keep.as_deref().filter(|folder| is_fleet(folder));
        let spec = self.sheet.spec(self.conditions.stage, folder)?;
        let sheet = spec.read(&self.file)?;
        if sheet.reading_count() == 0 {
            return Err(sheet.no_readings().into());
        }
        let placed = self.place(&sheet)?;
        let understood = Self::understood(&sheet, &placed);
        let limits = self.limits.read(&placed.input.fleet)?;
        let asked = Asked {
            fleet: &placed.input.fleet,
            wing: &placed.wing,
            check: &placed.check.id,
            has_hours: placed.has_hours,
        };
        let answer = Answer::new(asked, &limits, &progress)?;
        let page = match &self.page {
            Some(path) => {
                progress.step("drawing the page");
                let spec =
                    ReportSpec::default().choice(CheckChoice::OfWing(placed.wing.clone())).limits(limits.clone());
                let page = spec.run(&placed.input.fleet, &progress)?.check_page(&placed.input.source)?;
                write_atomic(path, page.html().as_bytes())?;
                Some(path.display().to_string())
            }
            None => None,
        };
        let vetted = Vetted::new(&placed.input.fleet, &placed.check.id, sheet_unread(&placed))?;
        let mut failed = answer.failed.clone();
        let mut kept = false;
        let (wing, check, has_hours) = (placed.wing.clone(), placed.check.clone(), placed.has_hours);
        let demo = placed.input.fleet.is_demo();
        let place = match &placed.way {
            Way::Nowhere => None,
            Way::NewFolder(folder) | Way::Added { folder, .. } => Some(folder.clone()),
        };
        if place.is_some() {
            let mut obstacles = vetted.obstacles(self.accepted);
            if self.dated(&sheet).is_err() {
                obstacles.push("say when it was measured: --date 2026-03-14 --hours 62.5".to_owned());
            }
            kept = obstacles.is_empty();
            if kept {
                Self::keep(placed, &spec)?;
            }
            failed.extend(obstacles.iter().map(|why| format!("nothing was kept: {why}")));
        }
        drop(progress);
        if self.common.json {
            let document = CheckDocument {
                schema: "linedrift.check/1",
                wing: &wing,
                check: &check.id,
                understood: &understood,
                vet: answer.doubts.as_ref().map(|doubts| VetDocument::new([doubts])),
                trim: answer
                    .trim
                    .as_ref()
                    .map(|trim| TrimDocument::new(std::slice::from_ref(&trim.trim), trim.change.as_slice())),
                plan: answer.plan.as_ref().map(linedrift::plan::Plan::document),
                due: answer.due.as_ref().map(DueTable::document),
                kept,
                page,
            };
            return Ok(Output::json(&output::document(document, demo))?.with_failed(failed));
        }
        let state = answer.trim.as_ref().map_or("", |trim| trim.trim.summary.as_str());
        let mut out = understood_words(&understood, &wing, &check, has_hours, state);
        out.push_str(&answer.words(check.date));
        if let Some(page) = page {
            let _ = writeln!(out, "\nThe page: {page}");
        }
        if let (true, Some(folder)) = (kept, &place) {
            let _ = writeln!(out, "Kept as check {} in {}", check.id, folder.display());
        }
        Ok(Output::text(out).with_failed(failed))
    }

    /// Finds wing, model and lines, and puts the check in.
    fn place(&self, sheet: &Spreadsheet) -> Result<Placed, Failure> {
        let file = self.file.display().to_string();
        let said = self.conditions.or_of(sheet, &file)?;
        let stem = self.file.file_stem().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default();
        let folder = self.keep.as_deref().filter(|folder| is_fleet(folder));
        let Some(folder) = folder else {
            let wing = self.wing.clone().or_else(|| sheet.facts().wing.clone()).unwrap_or(stem);
            let model = self.model.clone().or_else(|| sheet.facts().model.clone()).unwrap_or_else(|| wing.clone());
            let set = self.model_data.over(sheet.line_set(&model)?);
            let mut notes = Vec::new();
            let check = self.check(sheet, &said, &set, &Fleet::default(), &wing, &mut notes)?;
            let aircraft = self.data.over(sheet.wing(&wing, &model));
            let fleet =
                fleet_of_one(set.clone(), aircraft, check.clone()).map_err(|error| Failure::result(&error))?;
            let way = self.keep.clone().map_or(Way::Nowhere, Way::NewFolder);
            let input = Input { fleet, source: file };
            return Ok(Placed { input, wing, check, set, notes, has_hours: said.hours.is_some(), way });
        };
        let lock = FolderLock::take(folder)?;
        let known = Input::read(folder, &[], &self.common)?;
        let named = self.wing.clone().or_else(|| sheet.facts().wing.clone());
        let wing = match (named, known.fleet.histories()) {
            (Some(wing), _) => wing,
            (None, [only]) if self.model.is_none() => only.wing.id.clone(),
            (None, _) => return Err(Failure::Call("say which wing it is: --wing 17".to_owned())),
        };
        let history = known.fleet.history(&wing);
        let inherited = said.or_as_before(history);
        let mut notes = inherited.notes;
        let (set, addition): (LineSet, Box<dyn Fn(Check) -> Addition>) = if let Some(history) = history {
            let aircraft = self.data.over(history.wing.clone());
            let added = move |check| Addition::new(&aircraft.id, check).with_wing(aircraft.clone());
            (known.fleet.line_set(history).clone(), Box::new(added))
        } else {
            let model = self.model.clone().or_else(|| sheet.facts().model.clone());
            let Some(model) = model else {
                return Err(Failure::Call(format!(
                    "wing `{wing}` is new to the folder: say its model by --model NAME"
                )));
            };
            let set = match Addition::model_in(folder, &known.fleet, &model) {
                Some(set) => set,
                None => self.model_data.over(sheet.line_set(&model)?),
            };
            let aircraft = self.data.over(sheet.wing(&wing, &model));
            let made = set.clone();
            (set, Box::new(move |check| Addition::of_new_wing(aircraft.clone(), made.clone(), check)))
        };
        let check = self.check(sheet, &inherited.conditions, &set, &known.fleet, &wing, &mut notes)?;
        let staged = addition(check.clone()).stage(folder, &known.fleet, &lock)?;
        let demo = known.fleet.is_demo();
        let fleet = if demo { staged.fleet().clone().marked_demo() } else { staged.fleet().clone() };
        drop(addition);
        let way = Way::Added { folder: folder.to_owned(), staged, lock };
        let input = Input { fleet, source: file };
        Ok(Placed { input, wing, check, set, notes, has_hours: said.hours.is_some(), way })
    }

    /// The check with its readings.
    fn check(
        &self,
        sheet: &Spreadsheet,
        said: &Conditions,
        set: &LineSet,
        fleet: &Fleet,
        wing: &str,
        notes: &mut Vec<String>,
    ) -> Result<Check, Failure> {
        let mut said = said.clone();
        said.hours = said.hours.or_else(|| {
            // a wing that was flown has at least the hours of its last check
            fleet.history(wing).and_then(|history| history.checks.last()).map(|last| last.hours_h).or(Some(0.0))
        });
        if said.date.is_none() {
            let today = today();
            notes.push(format!("no day of the check is named: {today}, today, is taken (--date says another)"));
            said.date = Some(today);
        }
        let mut check = said.check_of(fleet, wing)?;
        match (self.conditions.datum, sheet.datum_of(set)?) {
            (Some(given), Some(made_for)) if (given - made_for).abs() > 0.05 => {
                return Err(Failure::Call(format!(
                    "the sheet was made for a datum of {made_for} mm, and --datum says {given}"
                )));
            }
            (None, Some(made_for)) => {
                // what the sheet was made for goes before the check before
                check.datum_mm = made_for;
                notes.retain(|note| !note.starts_with("datum"));
            }
            _ => {}
        }
        check.readings = sheet.readings(set)?;
        said.confirm_in(set, &mut check)?;
        for reading in &mut check.readings {
            reading.operator = reading.operator.take().or_else(|| said.operator.clone());
        }
        Ok(check)
    }

    fn understood(sheet: &Spreadsheet, placed: &Placed) -> Understood {
        let mut understood = sheet.understood(&placed.set, &placed.check.readings, placed.check.datum_mm);
        understood.notes.extend(placed.notes.iter().cloned());
        if !placed.has_hours {
            understood.missing.insert(0, "the hours flown (--hours, or a cell `Hours`): the next date".to_owned());
        }
        understood
    }
}

/// Lines that were not read, left before right.
fn sheet_unread(placed: &Placed) -> Vec<linedrift::check::sheet::LineOnSide> {
    super::record::unread(&placed.set, &placed.check.readings)
}

/// Whether a folder holds something that may be a fleet.
fn is_fleet(folder: &Path) -> bool {
    std::fs::read_dir(folder).is_ok_and(|mut entries| entries.next().is_some())
}

/// The state in a sentence, and what was understood of the file.
fn understood_words(understood: &Understood, wing: &str, check: &Check, has_hours: bool, state: &str) -> String {
    let hours = if has_hours { format!("{} h", check.hours_h) } else { "hours not said".to_owned() };
    let state = if state.is_empty() { String::new() } else { format!("{state}\n\n") };
    let mut out =
        format!("Wing {wing}  check {}  {}  {hours}  {}\n{state}{understood}", check.id, check.date, check.stage);
    out.truncate(out.trim_end().len());
    out.push('\n');
    output::harmless(&out)
}
