//! One story: what is doubted, the state and its list, the plan and the next date agree with each other and with what an
//! experienced hand says.

use linedrift::check::Fleet;
use linedrift::check::doubt::FindingKind;
use linedrift::forecast::{DueSpec, Reason, WingDue};
use linedrift::trim::{DiagnosisCode as Code, TrimState as State};
use linedrift::wing::{Line, Side};

use super::planted_cases::CASES;
use super::planted_stories::{Due, STORIES, Story};
use super::planted_wing::{FOUR, Planted, THREE};

const SEEDS: std::ops::Range<u64> = 0..5;

fn due(planted: &Planted) -> WingDue {
    let fleet = Fleet::new(vec![planted.set.clone()], vec![planted.history.clone()]).unwrap();
    DueSpec::default().prepare_unfitted(&fleet).unwrap().wing(&planted.history).unwrap()
}

/// What is wrong with the story, if anything.
fn faults(story: &Story, planted: &Planted) -> Vec<String> {
    let (trim, doubts, due) = (planted.trim(), planted.doubts(), due(planted));
    let list: Vec<&str> = trim.diagnosis.iter().map(|one| one.text.as_str()).collect();
    let mut wrong = Vec::new();
    if trim.state != story.state {
        wrong.push(format!("state {}: {}", trim.state, trim.summary));
    }
    let mut doubted: Vec<(Side, &str)> = doubts.findings().iter().map(|one| (one.side, one.line.as_str())).collect();
    doubted.dedup();
    if doubted != story.doubted && story.state != State::NotJudged {
        wrong.push(format!("doubted {doubted:?}"));
    }
    if let Some((code, side, place)) = story.opens {
        let first = trim.diagnosis.first().map(|one| {
            let at = one.segment.clone().or_else(|| one.row.map(|row| row.to_string())).unwrap_or_default();
            (one.code, one.side, at)
        });
        if first
            .as_ref()
            .is_none_or(|first| first.0 != code || first.1 != side || (!place.is_empty() && first.2 != place))
        {
            wrong.push(format!("opens with {first:?}: {list:?}"));
        }
    } else if story.state == State::InTrim && !trim.diagnosis.is_empty() {
        wrong.push(format!("a word for nothing: {list:?}"));
    }
    let (reason, said) = (due.row.reason, &due.detail.explanation);
    let right = match story.due {
        Due::Now => reason == Reason::AlreadyOver && !due.detail.over.is_empty(),
        Due::Interval => reason == Reason::Interval && !said.contains("Not judged") && due.detail.over.is_empty(),
        Due::NotJudged => {
            reason == Reason::Interval
                && said.starts_with("Not judged: ")
                && due.detail.over.is_empty()
                && due.row.risk_now.is_none()
        }
    };
    if !right {
        wrong.push(format!("due {reason:?}: {said}"));
    }
    wrong
}

#[test]
fn each_wing_has_one_story() {
    let mut all = Vec::new();
    for story in STORIES {
        let told = |seed| (seed, faults(story, &(story.wing)(seed)));
        let wrong: Vec<(u64, Vec<String>)> = SEEDS.map(told).filter(|(_, wrong)| !wrong.is_empty()).collect();
        println!("{} of {} right: {}", SEEDS.end - wrong.len() as u64, SEEDS.end, story.what);
        for (seed, wrong) in &wrong {
            println!("      seed {seed}: {}", wrong.join("; "));
        }
        // noise may push one line over its tolerance
        if wrong.len() > 1 {
            all.push(format!("{}: {wrong:?}", story.what));
        }
    }
    assert!(all.is_empty(), "{}", all.join("\n"));
}

/// The plan acts where the state says so and nowhere else, and asks for no reading that changes nothing.
#[test]
fn the_plan_does_what_the_state_says() {
    for story in STORIES {
        let planted = (story.wing)(1);
        let (trim, plan) = (planted.trim(), planted.try_plan());
        let Ok(plan) = plan else {
            assert_eq!(trim.state, State::NotJudged, "{}", story.what);
            continue;
        };
        let both_sides = Side::BOTH.iter().all(|side| trim.lines.iter().any(|line| line.side == *side));
        match trim.state {
            // where no step brings a line in, that is said
            State::Adjust if both_sides => assert!(
                !plan.actions.is_empty()
                    || plan.notes.iter().any(|note| ["outside_left", "left_off"].contains(&note.code.as_str())),
                "{}: {plan}",
                story.what
            ),
            State::Adjust | State::MeasureAgain => {}
            State::InTrim => assert!(plan.actions.is_empty() && plan.remeasure.is_empty(), "{}: {plan}", story.what),
            State::NotJudged => {
                assert!(plan.actions.is_empty() && plan.remeasure.is_empty(), "{}: {plan}", story.what);
            }
        }
        let again = plan.remeasure.iter().filter(|one| {
            !trim.lines.iter().any(|line| line.doubted && line.side == one.side && line.line == one.line)
        });
        assert!(again.count() <= 5, "{}: {plan}", story.what);
        assert_eq!(plan.before.outside, trim.counts().outside, "{}", story.what);
    }
}

#[test]
fn rows_that_differ_are_not_said_to_differ_from_themselves() {
    // both sides off the same rows: the rows as such stand where they should
    for story in STORIES.iter().filter(|story| matches!(story.opens, Some((Code::Side, ..)))) {
        for seed in SEEDS {
            let trim = (story.wing)(seed).trim();
            let rows: Vec<&str> =
                trim.diagnosis.iter().filter(|one| one.code == Code::Row).map(|one| one.text.as_str()).collect();
            assert!(rows.is_empty(), "{} seed {seed}: {rows:?}", story.what);
        }
    }
}

#[test]
fn a_row_written_one_line_late_is_seen_as_that() {
    let is_late = |side: Side, line: &Line| side == Side::Left && line.name.starts_with('B') && line.rank >= 4;
    for seed in SEEDS {
        let mut planted = Planted::one(THREE, seed, &|_, _| 0.0);
        let set = planted.set.clone();
        let read = planted.check().readings.clone();
        for one in planted.check().readings.iter_mut().filter(|one| is_late(one.side, &set.lines()[one.line])) {
            let line = &set.lines()[one.line];
            let inner =
                set.lines().iter().position(|next| next.row == line.row && next.rank + 1 == line.rank).unwrap();
            one.reading_mm = read.iter().find(|next| next.side == one.side && next.line == inner).unwrap().reading_mm;
        }
        let doubts = planted.doubts();
        let shifted = doubts.findings().iter().filter(|one| one.kind() == FindingKind::RowShifted).count();
        assert!(shifted >= 8 && doubts.facts().is_empty(), "seed {seed}: {doubts}");
        assert_eq!(planted.trim().state, State::MeasureAgain, "{}", planted.trim().summary);
    }
}

/// Rough readings put a line near its tolerance now and then: that is read again, no work is asked for.
#[test]
fn rough_readings_of_a_good_wing_ask_for_no_work() {
    let (mut again, mut over) = (0, 0);
    for seed in 0..30 {
        let planted = Planted::noisy(if seed % 2 == 0 { THREE } else { FOUR }, seed, 1.5, &|_, _| 0.0);
        let (trim, due) = (planted.trim(), due(&planted));
        assert_ne!(trim.state, State::Adjust, "seed {seed}: {}", trim.summary);
        again += usize::from(trim.state == State::MeasureAgain);
        let near = due.row.reason == Reason::Line;
        assert!(near || due.row.reason == Reason::Interval, "seed {seed}: {}", due.detail.explanation);
        if near {
            over += 1;
            assert_eq!(due.row.due_hours, due.row.hours_now);
            assert!(
                due.detail.explanation.starts_with("Due now for a second reading: line "),
                "{}",
                due.detail.explanation
            );
        }
    }
    println!("{again} of 30 with a line to read again, {over} due for it");
    assert!(again <= 12 && over <= 12, "{again}, {over}");
}

/// One row of the table of `docs/reliability.md`: what is said of a wing.
fn table_row(what: &str, planted: &Planted) -> String {
    let (trim, doubts, plan, due) = (planted.trim(), planted.doubts(), planted.try_plan(), due(planted));
    let mut doubted: Vec<String> = doubts.findings().iter().map(|one| format!("{} {}", one.line, one.side)).collect();
    doubted.dedup();
    let vet = match doubted.len() {
        0 => "\u{2013}".to_owned(),
        1..=3 => doubted.join(", "),
        many => format!("{many} readings"),
    };
    let said = trim.summary.split_inclusive(". ").next().unwrap_or_default().trim();
    let plan = match plan {
        Ok(_) | Err(_) if trim.state == State::NotJudged => "nothing".to_owned(),
        Ok(plan) if plan.actions.is_empty() => "nothing".to_owned(),
        Ok(plan) => format!("{} steps, {} to {}", plan.actions.len(), plan.before.outside, plan.after.outside),
        Err(error) => error.to_string(),
    };
    let due = match due.row.reason {
        _ if due.detail.explanation.starts_with("Not judged") => "not judged",
        Reason::AlreadyOver => "now",
        Reason::Line => "read again now",
        _ => "interval",
    };
    format!("| {what} | {vet} | {said} | {plan} | {due} |")
}

#[test]
#[ignore = "prints a table"]
fn slow_planted_table() {
    println!("| planted | `vet` doubts | `trim` | `plan`: steps, lines outside before and after | `due` |");
    println!("|---|---|---|---|---|");
    for case in CASES {
        println!("{}", table_row(case.what, &Planted::one(case.build, 1, &case.off)));
    }
    for story in STORIES {
        println!("{}", table_row(story.what, &(story.wing)(1)));
    }
}
