//! A measuring round, step by step: what is next, what is doubted, what confirms.

use linedrift::check::sheet::{Sheet, SheetSpec};
use linedrift::check::{Check, History, Round, RoundError, RoundEvent};
use linedrift::simulate::{FleetSpec, Simulated};
use linedrift::wing::Side;

fn made() -> Simulated {
    FleetSpec::default().wings(3).missing_share(0.0).seed(3).run().unwrap()
}

struct Case {
    made: Simulated,
    sheet: Sheet,
    check: Check,
}

impl Case {
    fn new() -> Self {
        let made = made();
        let history = &made.fleet.histories()[0];
        let last = history.checks.last().unwrap();
        let check = Check { datum_mm: -300.0, ..Check::new("new", last.date, last.hours_h + 5.0) };
        let sheet = SheetSpec::default().datum_mm(-300.0).run(made.fleet.line_set(history), Some(last));
        Self { made, sheet, check }
    }

    fn history(&self) -> &History {
        &self.made.fleet.histories()[0]
    }

    fn round(&self) -> Round {
        let set = self.made.fleet.line_set(self.history());
        Round::new(set, self.history(), &self.check, &self.sheet, Some("first"))
    }

    /// What a line shows, in the order of the sheet: as at the last check.
    fn value(&self, at: usize) -> f64 {
        self.sheet.rows()[at].last_mm.unwrap().round()
    }
}

fn read(round: &mut Round, value: f64) -> Vec<RoundEvent> {
    let events = round.on_value(value);
    for event in &events {
        round.apply(event).unwrap();
    }
    events
}

fn number(round: &Round) -> usize {
    round.place().map_or(0, |place| place.number)
}

#[test]
fn a_plain_round_goes_through_the_sheet_and_gives_the_check() {
    let case = Case::new();
    let mut round = case.round();
    let mut events = Vec::new();
    let mut at = 0;
    while let Some(place) = round.place() {
        assert_eq!((place.number, place.of), (at + 1, case.sheet.rows().len()));
        assert_eq!(place.row, &case.sheet.rows()[at]);
        events.extend(read(&mut round, case.value(at)));
        let answer = round.answer().unwrap();
        assert!(answer.finding.is_none() && answer.since_last_mm.unwrap().abs() <= 0.5);
        at += 1;
    }
    assert_eq!(at, case.sheet.rows().len());
    assert!(round.unread().is_empty());
    let check = round.check();
    assert!(check.readings.iter().all(|one| one.repeat == 1 && one.operator.as_deref() == Some("first")));
    assert!(round.doubts().unwrap().findings().is_empty());
    // the same events give the same round
    let mut again = case.round();
    events.iter().for_each(|event| again.apply(event).unwrap());
    assert_eq!(again.check(), check);
    assert!(again.place().is_none());
    assert!(again.on_value(5.0).is_empty() && again.on_skip().is_empty() && again.on_keep().is_empty());
}

#[test]
fn a_doubtful_value_is_replaced_confirmed_or_kept() {
    let case = Case::new();
    for second in ["right", "alike", "keep"] {
        let mut round = case.round();
        (0..20).for_each(|at| drop(read(&mut round, case.value(at))));
        let odd = case.value(20) + 1000.0;
        read(&mut round, odd);
        assert_eq!(number(&round), 21, "stays at the line");
        let finding = round.answer().unwrap().finding.unwrap();
        assert_eq!((finding.kind().name(), finding.suggested_mm()), ("thousand-off", Some(case.value(20))));
        match second {
            "right" => assert_eq!(read(&mut round, case.value(20)).len(), 2, "strike and read"),
            "alike" => assert_eq!(read(&mut round, odd + 2.0).len(), 1, "one more"),
            _ => round.on_keep().iter().for_each(|event| round.apply(event).unwrap()),
        }
        assert_eq!(number(&round), 22, "{second}");
        let row = &case.sheet.rows()[20];
        let check = round.check();
        let kept: Vec<f64> = check
            .readings
            .iter()
            .filter(|one| (one.side, one.line) == (row.side, row.line_index))
            .map(|one| one.reading_mm)
            .collect();
        let open = round.doubts().unwrap().findings().len();
        match second {
            "right" => assert_eq!((kept, open), (vec![case.value(20)], 0)),
            "alike" => assert_eq!((kept, open), (vec![odd, odd + 2.0], 0)),
            _ => assert_eq!((kept, open), (vec![odd], 0), "confirmed as it is"),
        }
        assert_eq!(check.confirmed.len(), usize::from(second == "keep"), "{second}");
    }
}

#[test]
fn back_skip_repeat_and_open() {
    let case = Case::new();
    let mut round = case.round();
    (0..5).for_each(|at| drop(read(&mut round, case.value(at))));
    round.back();
    round.back();
    assert_eq!(number(&round), 4);
    assert_eq!(read(&mut round, case.value(3) + 1.0).len(), 2, "takes the place of the old one");
    assert_eq!(number(&round), 6, "goes on at the first line that is not done");
    round.on_skip().iter().for_each(|event| round.apply(event).unwrap());
    assert_eq!(number(&round), 7);
    read(&mut round, case.value(6));
    round.repeat();
    assert_eq!(number(&round), 7);
    assert_eq!(read(&mut round, case.value(6) + 1.0).len(), 1, "one more");
    assert_eq!(number(&round), 8);
    round.to_open();
    assert_eq!(number(&round), 6, "the line passed over");
    read(&mut round, case.value(5));
    assert_eq!(number(&round), 8);
    let check = round.check();
    let of = |at: usize| {
        let row = &case.sheet.rows()[at];
        check.readings.iter().filter(|one| (one.side, one.line) == (row.side, row.line_index)).collect::<Vec<_>>()
    };
    assert_eq!(of(3)[0].reading_mm, case.value(3) + 1.0);
    assert_eq!((of(3).len(), of(6).len(), of(6)[1].repeat), (1, 2, 2));
    assert_eq!(round.lines_read(), 7);
    (0..20).for_each(|_| round.back());
    assert_eq!(number(&round), 1);
}

#[test]
fn what_does_not_belong_is_refused_and_changes_nothing() {
    let case = Case::new();
    let mut round = case.round();
    read(&mut round, case.value(0));
    let before = round.check();
    let event = |line: &str, reading_mm| RoundEvent::Read { side: Side::Left, line: line.to_owned(), reading_mm };
    assert!(matches!(round.apply(&event("Z9", 6000.0)), Err(RoundError::NoLine { .. })));
    for senseless in [0.0, -5.0, f64::NAN, f64::INFINITY, 1e9] {
        assert!(matches!(round.apply(&event("A1", senseless)), Err(RoundError::NoLength { .. })), "{senseless}");
    }
    assert_eq!(round.check(), before);
    assert_eq!(number(&round), 2);
}
