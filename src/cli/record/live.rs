//! `linedrift record --live`: line by line over stdin and stdout.

use std::fmt::Write as _;
use std::io::{self, BufRead, Write};
use std::path::Path;

use linedrift::check::sheet::{LengthUnit, SheetSpec, length_mm};
use linedrift::check::{Check, Fleet, History, Round, RoundAnswer, RoundEvent};
use linedrift::fleet::{Addition, Journal, JournalError, RoundHead};
use linedrift::forecast::LimitsTable;
use linedrift::report::text;

use super::verdict::Vetted;
use super::{Args, lock};
use crate::cli::Failure;
use crate::cli::answer::{Answer, Asked};
use crate::cli::input::Input;
use crate::cli::output::{Output, harmless};
use crate::cli::progress::Progress;

const COMMANDS: &str = "\
Type a value in mm, or a letter:
  b  back to the line before       s  skip this line
  r  read the last line again      k  confirm a doubtful value as it is
  o  to what is open               q  stop; the same command goes on later
";

/// What was typed.
#[derive(Debug, Clone, Copy)]
enum Typed {
    Value(f64),
    Back,
    Skip,
    Repeat,
    Keep,
    Open,
    Help,
    Nothing,
    Stop,
}

/// A round at the terminal.
struct Session<'a> {
    args: &'a Args,
    folder: &'a Path,
    wing: String,
    round: Round,
    journal: Journal,
}

pub(super) fn run(args: &Args, folder: &Path) -> Result<Output, Failure> {
    let input = Input::read(folder, &[], &args.common)?;
    let history = args.history(&input.fleet)?;
    let wing = history.wing.id.clone();
    let resumed = Journal::resume(folder, &wing)?;
    let (check, operator, events, journal) = if let Some(open) = resumed {
        let wanted = args.conditions.over(open.head.check.clone());
        let operator = args.conditions.operator.clone().or_else(|| open.head.operator.clone());
        same(&open.head, &wanted, operator.as_deref(), open.journal.path())?;
        (open.head.check, operator, open.events, open.journal)
    } else {
        let inherited = args.conditions.or_as_before(Some(history));
        for note in &inherited.notes {
            show(&format!("note: {note}\n"))?;
        }
        let mut check = inherited.conditions.check_of(&input.fleet, &wing)?;
        check.readings.clear();
        let operator = inherited.conditions.operator.clone();
        // what cannot be added in the end is refused before the first line is read
        Addition::new(&wing, check.clone()).stage(folder, &input.fleet, &lock(folder)?)?;
        let head = RoundHead::new(&wing, &history.wing.model, &check, operator.as_deref());
        (check, operator, Vec::new(), Journal::begin(folder, &head)?)
    };
    let mut session =
        Session { args, folder, round: round(&input.fleet, history, &check, operator.as_deref()), wing, journal };
    session.greet(&check, &events)?;
    session.measure()
}

/// The round of a check, from its start.
fn round(fleet: &Fleet, history: &History, check: &Check, operator: Option<&str>) -> Round {
    let set = fleet.line_set(history);
    let last = history.checks.iter().rfind(|known| !known.readings.is_empty() && known.id != check.id);
    let sheet = SheetSpec::default().datum_mm(check.datum_mm).run(set, last);
    Round::new(set, history, check, &sheet, operator)
}

/// Refuses to go on with a round under other conditions.
fn same(head: &RoundHead, wanted: &Check, operator: Option<&str>, path: &Path) -> Result<(), JournalError> {
    let there = &head.check;
    let name = |operator: Option<&str>| operator.unwrap_or("nobody").to_owned();
    for (what, there, given) in [
        ("check", there.id.clone(), wanted.id.clone()),
        ("date", there.date.to_string(), wanted.date.to_string()),
        ("hours", there.hours_h.to_string(), wanted.hours_h.to_string()),
        ("stage", there.stage.to_string(), wanted.stage.to_string()),
        ("datum", there.datum_mm.to_string(), wanted.datum_mm.to_string()),
        ("load", there.load_n.to_string(), wanted.load_n.to_string()),
        ("temperature", there.temperature_c.to_string(), wanted.temperature_c.to_string()),
        ("condition", format!("{:?}", there.condition), format!("{:?}", wanted.condition)),
        ("brake setting", format!("{:?}", there.brake_setting_mm), format!("{:?}", wanted.brake_setting_mm)),
        ("operator", name(head.operator.as_deref()), name(operator)),
    ] {
        if there != given {
            return Err(JournalError::Differs { path: path.to_owned(), what, there, given });
        }
    }
    Ok(())
}

impl Session<'_> {
    fn greet(&mut self, check: &Check, events: &[RoundEvent]) -> Result<(), Failure> {
        let mut out = text::cautions();
        let _ = writeln!(
            out,
            "\nWing {}  check {}  {}  {} h  {}\ndatum {} mm, load {} N, {} degrees Celsius",
            self.wing,
            check.id,
            check.date,
            check.hours_h,
            check.stage,
            check.datum_mm,
            check.load_n,
            check.temperature_c
        );
        for event in events {
            self.round.apply(event)?;
        }
        let path = self.journal.path().display();
        if events.is_empty() {
            let _ = writeln!(out, "Until the check is added, every value is kept in {path}");
        } else {
            let read = self.round.lines_read();
            let lines = if read == 1 { "line is" } else { "lines are" };
            let _ = writeln!(out, "Going on with an interrupted round: {read} {lines} read, from {path}");
        }
        let _ = write!(out, "{COMMANDS}");
        show(&out)
    }

    /// Takes values until every line is done or the input ends.
    fn measure(mut self) -> Result<Output, Failure> {
        let mut input = io::stdin().lock();
        loop {
            if self.round.place().is_none() && self.ask_to_end()? {
                return self.add();
            }
            show(&self.prompt())?;
            let typed = if let Some(line) = read_line(&mut input)? {
                parse(&line)
            } else {
                show("\n")?;
                Ok(Typed::Stop)
            };
            match typed {
                Err(sentence) => show(&format!("   {sentence}\n"))?,
                Ok(Typed::Stop) => return Ok(self.stopped()),
                Ok(typed) => self.take(typed)?,
            }
        }
    }

    fn take(&mut self, typed: Typed) -> Result<(), Failure> {
        let events = match typed {
            Typed::Value(reading_mm) => self.round.on_value(reading_mm),
            Typed::Skip => self.round.on_skip(),
            Typed::Keep => self.round.on_keep(),
            Typed::Back => {
                self.round.back();
                return Ok(());
            }
            Typed::Repeat => {
                self.round.repeat();
                return Ok(());
            }
            Typed::Open => {
                self.round.to_open();
                return Ok(());
            }
            Typed::Nothing => {
                // a line that has its value is left as it is
                if self.round.place().is_some_and(|place| !place.readings_mm.is_empty()) {
                    self.round.on();
                }
                return Ok(());
            }
            Typed::Help | Typed::Stop => return show(COMMANDS),
        };
        if events.is_empty() {
            return show("   there is nothing to do that with here\n");
        }
        // on the disk first
        self.journal.add(&events)?;
        for event in &events {
            self.round.apply(event)?;
        }
        if matches!(typed, Typed::Value(_))
            && let Some(answer) = self.round.answer()
        {
            show(&words(&answer))?;
        }
        Ok(())
    }

    fn prompt(&self) -> String {
        let Some(place) = self.round.place() else { return "end of the round (o, b, r or q) > ".to_owned() };
        let row = place.row;
        let mut out = format!("{:>3}/{}  {} {} (row {}", place.number, place.of, row.side, row.line, row.row);
        if let Some(main) = &row.main {
            let _ = write!(out, ", main {main}");
        }
        out.push(')');
        // a value that is looked up is no reading: what to expect is shown once the line is read, or when asked for
        if self.args.show || !place.readings_mm.is_empty() {
            let _ = write!(out, "  expect {:.0}", row.expected_mm);
            if let Some(last) = row.last_mm {
                let _ = write!(out, ", last {last:.0}");
            }
        }
        if !place.readings_mm.is_empty() {
            let read: Vec<String> = place.readings_mm.iter().map(ToString::to_string).collect();
            let _ = write!(out, ", read {}", read.join(" and "));
        }
        out.push_str(" > ");
        out
    }

    /// At the end of the round: whether the check can be added. What prevents it is said.
    fn ask_to_end(&self) -> Result<bool, Failure> {
        if self.round.lines_read() == 0 {
            show("No line was read.\n")?;
            return Ok(false);
        }
        let doubts = self.round.doubts()?;
        let check = self.round.check();
        let vetted = Vetted::of(&self.wing, &check, self.round.unread(), doubts);
        let obstacles = vetted.obstacles(self.args.accepted);
        if obstacles.is_empty() {
            return Ok(true);
        }
        show(&format!("\n{}", vetted.words()))?;
        for obstacle in obstacles {
            show(&format!("not added yet: {obstacle}\n"))?;
        }
        Ok(false)
    }

    fn stopped(&self) -> Output {
        let read = self.round.lines_read();
        let lines = if read == 1 { "line is" } else { "lines are" };
        Output::text(format!(
            "Stopped: {read} {lines} kept in {}; the same command continues.\n",
            self.journal.path().display()
        ))
        .with_failed(vec!["the check is not added yet".to_owned()])
    }

    /// Vets the whole and adds the check; the journal goes only then.
    fn add(self) -> Result<Output, Failure> {
        let lock = lock(self.folder)?;
        let input = Input::read(self.folder, &[], &self.args.common)?;
        let check = self.round.check();
        let there = input.fleet.history(&self.wing).and_then(|history| {
            history.checks.iter().find(|known| known.id == check.id && !known.readings.is_empty())
        });
        if there.is_some_and(|known| known.readings == check.readings) {
            self.journal.remove()?;
            return Ok(Output::text(format!(
                "Check {} was added before the interruption; nothing is left to do.\n",
                check.id
            )));
        }
        let mut addition = Addition::new(&self.wing, check.clone());
        if let Some(history) = input.fleet.history(&self.wing) {
            addition = addition.with_wing(self.args.data.over(history.wing.clone()));
        }
        let staged = addition.stage(self.folder, &input.fleet, &lock)?;
        let vetted = Vetted::new(staged.fleet(), &check.id, self.round.unread())?;
        if vetted.obstacles(self.args.accepted).is_empty() {
            let fleet = staged.fleet().clone();
            staged.commit()?;
            self.journal.remove()?;
            let asked = Asked { fleet: &fleet, wing: &self.wing, check: &check.id, has_hours: true };
            let answer = Answer::new(asked, &LimitsTable::default(), &Progress::new())?;
            let output = vetted.output(self.args.accepted, self.folder, &self.args.common)?;
            return Ok(output.followed_by(&answer.words(check.date)));
        }
        vetted.output(self.args.accepted, self.folder, &self.args.common)
    }
}

/// What is said of a value at once.
fn words(answer: &RoundAnswer) -> String {
    let mut out = format!("   {:+.1} mm from the maker's length", answer.deviation_mm);
    if let Some(since) = answer.since_last_mm {
        let _ = write!(out, ", {since:+.1} since the last check");
    }
    out.push('\n');
    let Some(finding) = &answer.finding else { return out };
    if answer.confirmed {
        out.push_str("   far from what was expected, but read twice alike: both are kept\n");
        return out;
    }
    let _ = write!(
        out,
        "   doubtful: expected {:.0}, give or take {:.0}",
        finding.expected_mm,
        2.0 * finding.expected_sd_mm
    );
    let _ = match (finding.kind().name(), &finding.explanation.other, finding.suggested_mm()) {
        ("odd", ..) => write!(out, "; it fits no usual slip"),
        (kind, Some(other), _) => write!(out, "; perhaps {kind}: the value of {} {}", other.side, other.line),
        (kind, None, Some(right)) => write!(out, "; perhaps {kind}: {right:.1}"),
        (kind, None, None) => write!(out, "; perhaps {kind}"),
    };
    out.push_str("\n   read the line a second time; k confirms that it is as read\n");
    out
}

fn parse(line: &str) -> Result<Typed, String> {
    Ok(match line.trim() {
        "" => Typed::Nothing,
        "b" | "back" => Typed::Back,
        "s" | "skip" => Typed::Skip,
        "r" | "repeat" => Typed::Repeat,
        "k" | "keep" | "c" | "confirm" => Typed::Keep,
        "o" | "open" => Typed::Open,
        "q" | "quit" => Typed::Stop,
        "?" | "h" | "help" => Typed::Help,
        value => {
            let length = length_mm(value, LengthUnit::Millimetre);
            Typed::Value(length.map_err(|expected| format!("expected {expected}, or a letter (? lists them)"))?)
        }
    })
}

/// One line of the input; `None` at its end. What stands there without a line end may be cut off, and is not taken.
fn read_line(input: &mut impl BufRead) -> Result<Option<String>, Failure> {
    let mut bytes = Vec::new();
    input.read_until(b'\n', &mut bytes)?;
    Ok(bytes.ends_with(b"\n").then(|| String::from_utf8_lossy(&bytes).into_owned()))
}

fn show(text: &str) -> Result<(), Failure> {
    let text = harmless(text);
    let mut out = io::stdout().lock();
    out.write_all(text.as_bytes()).and_then(|()| out.flush())?;
    Ok(())
}
