//! `linedrift record --live` over a pipe and a pseudo-terminal: a full round, killed on the way and taken up again.

use std::collections::HashMap;
use std::fs;
use std::io::{Read, Write};
use std::path::Path;
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::time::Duration;

use linedrift::fleet::Journal;
use linedrift::wing::Side;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::cli_run::{loft, stdout};
use crate::record_run::fleet;

const WING: &str = "W02";
const CONDITIONS: [&str; 6] = ["--date", "2030-02-03", "--hours", "900", "--datum", "-250"];

/// A running round.
struct Talk {
    child: Child,
    input: ChildStdin,
    output: ChildStdout,
}

/// The line that a prompt asks for.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
struct Asked {
    number: usize,
    side: String,
    line: String,
}

impl Talk {
    fn start(home: &Path, more: &[&str]) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_linedrift"))
            .args(["record", "--live", "loft", "--wing", WING])
            .args(more)
            .current_dir(home)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let (input, output) = (child.stdin.take().unwrap(), child.stdout.take().unwrap());
        Self { child, input, output }
    }

    /// What is said until the next prompt, or until the end.
    fn hear(&mut self) -> String {
        let mut bytes = Vec::new();
        let mut byte = [0];
        while !bytes.ends_with(b" > ") && self.output.read(&mut byte).unwrap() == 1 {
            bytes.push(byte[0]);
        }
        String::from_utf8(bytes).unwrap()
    }

    fn tell(&mut self, text: &str) {
        self.input.write_all(text.as_bytes()).unwrap();
        self.input.write_all(b"\n").unwrap();
    }

    fn kill(mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    fn end(mut self) -> Option<i32> {
        drop(self.input);
        self.child.wait().unwrap().code()
    }
}

/// The last prompt in what was heard; `None` when the round is over.
fn asked(heard: &str) -> Option<Asked> {
    let prompt = heard.rsplit('\n').next().unwrap().strip_suffix(" > ")?;
    let mut words = prompt.split_whitespace();
    let number = words.next()?.split('/').next()?.parse().ok()?;
    Some(Asked { number, side: words.next()?.to_owned(), line: words.next()?.to_owned() })
}

/// What every line shows at this check, by side and name.
fn values(home: &Path) -> HashMap<(String, String), f64> {
    let fleet = fleet(&home.join("loft"));
    let history = fleet.history(WING).unwrap();
    let set = fleet.line_set(history);
    let last = history.checks.last().unwrap();
    let known = linedrift::check::deviations(set, last);
    let mut out = HashMap::new();
    for side in Side::BOTH {
        for (at, line) in set.lines().iter().enumerate() {
            let off =
                known.iter().find(|one| one.side == side && one.line == at).map_or(-3.0, |one| one.deviation_mm);
            let value = (line.nominal_mm - 250.0 + off).round() + f64::from(u32::try_from(at % 3).unwrap()) - 1.0;
            out.insert((side.to_string(), line.name.clone()), value);
        }
    }
    out
}

/// The readings that the new check has in the folder.
fn recorded(home: &Path) -> HashMap<(String, String), Vec<f64>> {
    let fleet = fleet(&home.join("loft"));
    let history = fleet.history(WING).unwrap();
    let check = history.checks.last().unwrap();
    assert_eq!((check.hours_h, check.datum_mm), (900.0, -250.0));
    let mut out: HashMap<(String, String), Vec<f64>> = HashMap::new();
    for reading in &check.readings {
        let line = fleet.line_set(history).lines()[reading.line].name.clone();
        out.entry((reading.side.to_string(), line)).or_default().push(reading.reading_mm);
    }
    out
}

fn assert_recorded(home: &Path, values: &HashMap<(String, String), f64>) {
    let recorded = recorded(home);
    assert_eq!(recorded.len(), values.len());
    for (place, value) in values {
        // a line that was asked for twice was read twice alike
        assert!(recorded[place].iter().all(|read| read == value), "{place:?}: {:?} for {value}", recorded[place]);
    }
    assert!(!Journal::path_of(&home.join("loft"), WING).exists(), "the journal goes when the check is in");
}

fn value_of(values: &HashMap<(String, String), f64>, asked: &Asked) -> String {
    values[&(asked.side.clone(), asked.line.clone())].to_string()
}

#[test]
fn a_full_round_killed_in_the_middle_and_taken_up_again_loses_nothing() {
    let folder = loft();
    let home = folder.path();
    let values = values(home);
    let before = fs::read(home.join("loft/readings.csv")).unwrap();
    let mut talk = Talk::start(home, &CONDITIONS);
    let mut heard = talk.hear();
    assert!(heard.contains("linedrift help") && heard.contains("record-W02.journal"), "{heard}");
    let middle = values.len() / 2;
    let mut given = Vec::new();
    while given.len() < middle {
        let asked = asked(&heard).unwrap();
        assert_eq!(asked.number, given.len() + 1);
        talk.tell(&value_of(&values, &asked));
        given.push(asked);
        heard = talk.hear();
        assert!(heard.contains("mm from the maker's length") && !heard.contains("doubtful"), "{heard}");
    }
    let open = asked(&heard).unwrap();
    talk.kill();
    assert_eq!(fs::read(home.join("loft/readings.csv")).unwrap(), before, "nothing is in the tables yet");

    // without the conditions: the journal knows them
    let mut talk = Talk::start(home, &[]);
    let mut heard = talk.hear();
    assert!(heard.contains(&format!("interrupted round: {middle} lines are read")), "{heard}");
    assert_eq!(asked(&heard).unwrap(), open, "goes on where it was");
    while let Some(asked) = asked(&heard) {
        talk.tell(&value_of(&values, &asked));
        heard = talk.hear();
    }
    assert!(heard.contains("Added check"), "{heard}");
    assert_eq!(talk.end(), Some(0));
    assert_recorded(home, &values);
    let recorded = recorded(home);
    assert!(recorded.values().all(|read| read.len() == 1));
}

/// Ended at random moments, before or after a value is answered: what was answered is never asked again.
#[test]
fn killed_at_random_moments_what_was_answered_is_kept() {
    assert_eq!(killed_live(10, 12, 41), 10);
}

/// A round killed up to so many times, each after fewer than so many values, until every line is read; how many times it was.
pub(crate) fn killed_live(most: usize, values_between: usize, seed: u64) -> usize {
    let folder = loft();
    let home = folder.path();
    let values = values(home);
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut answered: HashMap<(String, String), bool> = HashMap::new();
    let mut kills = 0;
    loop {
        let mut talk = Talk::start(home, &CONDITIONS);
        let mut heard = talk.hear();
        let turns = rng.random_range(0..values_between);
        let mut ended = true;
        for turn in 0.. {
            let Some(asked) = asked(&heard) else { break };
            let place = (asked.side.clone(), asked.line.clone());
            assert!(!answered.contains_key(&place), "{place:?} was answered and is asked again");
            talk.tell(&value_of(&values, &asked));
            if turn == turns && kills < most {
                // the value is on its way, perhaps on the disk, and not answered
                std::thread::sleep(Duration::from_micros(rng.random_range(0..4000)));
                ended = false;
                break;
            }
            heard = talk.hear();
            answered.insert(place, true);
        }
        if ended {
            assert!(heard.contains("Added check"), "{heard}");
            assert_eq!(talk.end(), Some(0));
            break;
        }
        talk.kill();
        kills += 1;
    }
    assert_recorded(home, &values);
    kills
}

#[test]
fn doubts_commas_commands_and_the_end_of_the_input() {
    let folder = loft();
    let home = folder.path();
    let values = values(home);
    let mut talk = Talk::start(home, &CONDITIONS);
    let mut heard = talk.hear();
    for _ in 0..12 {
        let asked = asked(&heard).unwrap();
        talk.tell(&value_of(&values, &asked));
        heard = talk.hear();
    }
    let here = asked(&heard).unwrap();
    let right = values[&(here.side.clone(), here.line.clone())];
    for (text, word) in [
        ("6,473", "thousands"),
        ("six", "a length in mm"),
        ("-5", "above 0"),
        ("64 73", "a length in mm"),
        ("?", "back"),
        ("k", "nothing"),
        ("", "(row "),
    ] {
        talk.tell(text);
        heard = talk.hear();
        assert!(heard.contains(word), "{text}: {heard}");
        // what to expect is not shown before the line is read
        assert!(!heard.contains("expect "), "{text}: {heard}");
        assert_eq!(asked(&heard).unwrap(), here, "{text}");
    }
    talk.tell(&(right + 1000.0).to_string());
    heard = talk.hear();
    assert!(heard.contains("doubtful") && heard.contains(&format!("thousand-off: {right:.1}")), "{heard}");
    assert_eq!(asked(&heard).unwrap(), here);
    // a second one at the same time is refused
    let second = Command::new(env!("CARGO_BIN_EXE_linedrift"))
        .args(["record", "--live", "loft", "--wing", WING])
        .current_dir(home)
        .stdin(Stdio::null())
        .output()
        .unwrap();
    assert_eq!(second.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&second.stderr).contains("record-W02.journal"));
    talk.kill();

    // the doubt is there again, and a decimal comma is taken
    let mut talk = Talk::start(home, &[]);
    heard = talk.hear();
    assert_eq!(asked(&heard).unwrap(), here);
    talk.tell(&format!("{:.1}", right + 0.5).replace('.', ","));
    heard = talk.hear();
    assert_eq!(asked(&heard).unwrap().number, here.number + 1);
    talk.tell("b");
    heard = talk.hear();
    assert_eq!(asked(&heard).unwrap(), here);
    talk.tell(&right.to_string());
    heard = talk.hear();
    assert_eq!(asked(&heard).unwrap().number, here.number + 1);
    talk.tell("s");
    heard = talk.hear();
    assert_eq!(asked(&heard).unwrap().number, here.number + 2);
    // other conditions are not this round's
    talk.kill();
    let mut other = Talk::start(home, &["--hours", "901"]);
    assert_eq!(asked(&other.hear()), None);
    assert_eq!(other.end(), Some(1));

    let mut talk = Talk::start(home, &[]);
    heard = talk.hear();
    while let Some(asked) = asked(&heard) {
        talk.tell(&value_of(&values, &asked));
        heard = talk.hear();
    }
    assert!(heard.contains("1 line was not read") && heard.contains("end of the round"), "{heard}");
    talk.tell("o");
    heard = talk.hear();
    let skipped = asked(&heard).unwrap();
    assert_eq!(skipped.number, here.number + 1);
    // the input ends without a line end: that value may be cut off, and is not taken
    talk.input.write_all(b"64").unwrap();
    assert_eq!(talk.end(), Some(1));
    let mut talk = Talk::start(home, &[]);
    heard = talk.hear();
    assert_eq!(asked(&heard), None, "at the end of the round: {heard}");
    talk.tell("o");
    heard = talk.hear();
    talk.tell(&value_of(&values, &asked(&heard).unwrap()));
    heard = talk.hear();
    assert!(heard.contains("Added check"), "{heard}");
    assert_eq!(talk.end(), Some(0));
    assert_recorded(home, &values);
}

/// The check was added, and the process ended before the journal was removed.
#[test]
fn a_journal_of_a_check_that_is_in_is_seen_as_done() {
    let folder = loft();
    let home = folder.path();
    let values = values(home);
    let journal = Journal::path_of(&home.join("loft"), WING);
    let mut talk = Talk::start(home, &CONDITIONS);
    let mut heard = talk.hear();
    while let Some(asked) = asked(&heard) {
        if asked.number == values.len() {
            break;
        }
        talk.tell(&value_of(&values, &asked));
        heard = talk.hear();
    }
    let last = asked(&heard).unwrap();
    let kept = fs::read_to_string(&journal).unwrap();
    talk.tell(&value_of(&values, &last));
    assert!(talk.hear().contains("Added check"));
    assert_eq!(talk.end(), Some(0));
    let added = fs::read(home.join("loft/readings.csv")).unwrap();
    let event = |value: &str| {
        format!(
            "{{\"step\":\"read\",\"side\":\"{}\",\"line\":\"{}\",\"reading_mm\":{value}}}\n",
            last.side, last.line
        )
    };
    fs::write(&journal, kept.clone() + &event(&value_of(&values, &last))).unwrap();
    let mut done = Talk::start(home, &[]);
    assert!(done.hear().contains("added before the interruption"));
    assert_eq!(done.end(), Some(0));
    assert!(!journal.exists());
    // with another value it is another check of that id, and stays out
    fs::write(&journal, kept + &event("1")).unwrap();
    let other = Command::new(env!("CARGO_BIN_EXE_linedrift"))
        .args(["record", "--live", "loft", "--wing", WING, "--accept-doubtful"])
        .current_dir(home)
        .stdin(Stdio::null())
        .output()
        .unwrap();
    assert_eq!(other.status.code(), Some(1), "{}", stdout(&other));
    assert!(journal.exists());
    assert_eq!(fs::read(home.join("loft/readings.csv")).unwrap(), added);
}

/// The same over a pseudo-terminal, where `script` is installed.
#[test]
#[cfg(target_os = "linux")]
fn over_a_pseudo_terminal() {
    let folder = loft();
    let home = folder.path();
    let binary = env!("CARGO_BIN_EXE_linedrift");
    let command = format!("{binary} record --live loft --wing {WING} {}", CONDITIONS.join(" "));
    let spawned = Command::new("script")
        .args(["-qec", &command, "/dev/null"])
        .current_dir(home)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn();
    let Ok(mut child) = spawned else {
        eprintln!("no `script` here: the pseudo-terminal is not tried");
        return;
    };
    let values = values(home);
    let (mut input, mut output) = (child.stdin.take().unwrap(), child.stdout.take().unwrap());
    let mut hear = || {
        let mut bytes = Vec::new();
        let mut byte = [0];
        while !bytes.ends_with(b" > ") && output.read(&mut byte).unwrap() == 1 {
            bytes.push(byte[0]);
        }
        String::from_utf8(bytes).unwrap().replace('\r', "")
    };
    let mut heard = hear();
    assert!(!heard.contains('\u{1b}'), "no colour: {heard:?}");
    while let Some(asked) = asked(&heard) {
        input.write_all(format!("{}\n", value_of(&values, &asked)).as_bytes()).unwrap();
        heard = hear();
    }
    assert!(heard.contains("Added check"), "{heard}");
    drop(input);
    assert_eq!(child.wait().unwrap().code(), Some(0));
    assert_recorded(home, &values);
}
