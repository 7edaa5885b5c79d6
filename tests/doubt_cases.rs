//! Doubtful readings, case by case.

use linedrift::check::doubt::{DoubtError, DoubtSpec, Doubts, Expectation, FindingKind, VetDocument};
use linedrift::check::{Check, History};
use linedrift::simulate::{FleetSpec, Simulated, Spreads};
use linedrift::wing::{LineSet, Side, Wing};
use proptest::prelude::*;

/// One invented wing, three checks, every line read.
fn wing(seed: u64) -> Simulated {
    FleetSpec::default().wings(1).models(1).seed(seed).checks_per_year(1.0).missing_share(0.0).run().unwrap()
}

struct Case {
    set: LineSet,
    history: History,
    last: usize,
}

impl Case {
    fn new(seed: u64) -> Self {
        let made = wing(seed);
        let history = made.fleet.histories()[0].clone();
        let last = history.checks.len() - 1;
        assert!(last >= 2, "{} checks", last + 1);
        Self { set: made.fleet.line_set(&history).clone(), history, last }
    }

    fn check(&mut self) -> &mut Check {
        &mut self.history.checks[self.last]
    }

    fn reading(&mut self, side: Side, line: &str) -> &mut f64 {
        let line = self.set.find(line, side).unwrap();
        let readings = &mut self.check().readings;
        &mut readings.iter_mut().find(|one| one.side == side && one.line == line).unwrap().reading_mm
    }

    fn run(&self) -> Doubts {
        DoubtSpec::default().run(&self.set, &self.history, self.last, None).unwrap()
    }
}

fn swap_tens_and_hundreds(value: f64) -> f64 {
    let digits: Vec<char> = format!("{value:.0}").chars().collect();
    let n = digits.len();
    let mut swapped = digits.clone();
    swapped.swap(n - 3, n - 2);
    swapped.iter().collect::<String>().parse().unwrap()
}

#[test]
fn a_good_check_has_no_doubts() {
    for seed in 1..12 {
        let doubts = Case::new(seed).run();
        assert!(doubts.findings().is_empty(), "{doubts}");
        assert!(doubts.readings() > 60);
    }
}

#[test]
fn each_slip_of_the_pen_is_named() {
    type Slip = fn(f64) -> f64;
    let slips: [(FindingKind, Slip); 8] = [
        (FindingKind::DigitsSwapped, swap_tens_and_hundreds),
        (FindingKind::HundredOff, |value| value + 100.0),
        (FindingKind::HundredOff, |value| value - 100.0),
        (FindingKind::ThousandOff, |value| value - 1000.0),
        (FindingKind::Unit, |value| value / 10.0),
        (FindingKind::Unit, |value| value / 25.4),
        (FindingKind::Decimal, |value| value * 10.0),
        (FindingKind::Odd, |value| value + 57.0),
    ];
    for (kind, slip) in slips {
        for line in ["A3", "B7", "K4", "S1"] {
            let mut case = Case::new(5);
            let right = *case.reading(Side::Right, line);
            let wrong = slip(right);
            if (wrong - right).abs() < 25.0 {
                continue;
            }
            *case.reading(Side::Right, line) = wrong;
            let doubts = case.run();
            assert_eq!(doubts.findings().len(), 1, "{kind} {doubts}");
            let finding = &doubts.findings()[0];
            assert_eq!((finding.side, finding.line.as_str(), finding.reading_mm), (Side::Right, line, wrong));
            // 57 mm may be another line's value by chance, and 90 is near 100
            if kind == FindingKind::Odd {
                assert!((finding.expected_mm - right).abs() < 12.0, "{doubts}");
                continue;
            }
            assert_eq!(finding.kind(), kind, "{line} {doubts}");
            approx::assert_abs_diff_eq!(finding.suggested_mm().unwrap(), right, epsilon = 1e-6);
            assert!(finding.explanation.probability > 0.3, "{:?}", finding.explanation);
        }
    }
}

#[test]
fn two_lines_exchanged_get_each_other_s_values() {
    let mut case = Case::new(3);
    let (one, other) = (*case.reading(Side::Left, "A11"), *case.reading(Side::Left, "A12"));
    *case.reading(Side::Left, "A11") = other;
    *case.reading(Side::Left, "A12") = one;
    let doubts = case.run();
    assert_eq!(doubts.findings().len(), 2, "{doubts}");
    for (finding, right, holds) in [(&doubts.findings()[0], one, "A12"), (&doubts.findings()[1], other, "A11")] {
        assert_eq!(finding.kind(), FindingKind::OtherLine, "{doubts}");
        assert_eq!(finding.suggested_mm(), Some(right));
        assert_eq!(finding.explanation.other.as_ref().unwrap().line, holds);
    }
}

#[test]
fn a_shifted_row_is_one_slip() {
    let mut case = Case::new(4);
    let right: Vec<f64> = (1..=14).map(|rank| *case.reading(Side::Left, &format!("B{rank}"))).collect();
    // B6 was left out, and each value after it stands one line too far in
    for (at, next) in right.iter().enumerate().skip(6) {
        *case.reading(Side::Left, &format!("B{at}")) = *next;
    }
    let doubts = case.run();
    let shifted: Vec<_> =
        doubts.findings().iter().filter(|finding| finding.kind() == FindingKind::RowShifted).collect();
    assert!(shifted.len() >= 7 && shifted.len() == doubts.findings().len(), "{doubts}");
    for finding in shifted {
        let rank: usize = finding.line[1..].parse().unwrap();
        assert!((6..14).contains(&rank), "{doubts}");
        assert!((finding.suggested_mm().unwrap() - right[rank - 1]).abs() < 10.0, "{doubts}");
    }
}

#[test]
fn exchanged_sides_need_two_earlier_checks() {
    let spreads = Spreads { line_offset_mm: 6.0, ..Spreads::default() };
    let made = FleetSpec::default()
        .wings(1)
        .models(1)
        .checks_per_year(1.0)
        .missing_share(0.0)
        .spreads(spreads)
        .run()
        .unwrap();
    let mut history = made.fleet.histories()[0].clone();
    assert!(history.checks.len() > 3);
    let set = made.fleet.line_set(&history);
    for check in &mut history.checks[2..3] {
        for reading in &mut check.readings {
            reading.side = reading.side.mirror();
        }
    }
    let spec = DoubtSpec::default();
    let swapped = spec.run(set, &history, 2, None).unwrap();
    assert!(swapped.findings().len() > 50);
    assert!(swapped.findings().iter().all(|finding| finding.kind() == FindingKind::SidesSwapped));
    // of two checks that contradict each other either may be wrong: said, but no reading is pointed at
    history.checks.remove(0);
    let unsure = spec.run(set, &history, 1, None).unwrap();
    assert!(unsure.findings().is_empty(), "{unsure}");
    assert_eq!(unsure.notes()[0].code, "sides_contradict");
}

#[test]
fn a_check_in_centimetres_is_a_matter_of_unit() {
    let mut case = Case::new(6);
    for reading in &mut case.check().readings {
        reading.reading_mm /= 10.0;
    }
    let doubts = case.run();
    assert_eq!(doubts.findings().len(), doubts.readings());
    assert!(doubts.findings().iter().all(|finding| finding.kind() == FindingKind::Unit));
}

#[test]
fn one_reading_or_none_will_do() {
    let mut case = Case::new(7);
    case.history.checks.truncate(1);
    case.last = 0;
    case.check().readings.truncate(1);
    assert!(case.run().findings().is_empty());
    case.check().readings[0].reading_mm += 1000.0;
    let doubts = case.run();
    assert_eq!(doubts.findings()[0].kind(), FindingKind::ThousandOff, "{doubts}");
    case.check().readings.clear();
    let doubts = case.run();
    assert!(doubts.findings().is_empty());
    assert!(doubts.expected().iter().all(|one| one.deviation_mm.is_finite() && one.sd_mm > 0.0));
}

#[test]
fn a_second_reading_decides() {
    let mut case = Case::new(8);
    let mut wrong = case.check().readings[10].clone();
    wrong.repeat = 2;
    wrong.reading_mm += 14.0;
    case.check().readings.push(wrong);
    let doubts = case.run();
    assert_eq!(doubts.findings().len(), 1, "{doubts}");
    assert_eq!(doubts.findings()[0].repeat, 2);
}

#[test]
fn order_datum_and_common_offset_do_not_matter() {
    let mut case = Case::new(9);
    *case.reading(Side::Left, "A5") += 100.0;
    *case.reading(Side::Right, "K2") -= 40.0;
    let names = |doubts: &Doubts| {
        let mut all: Vec<String> =
            doubts.findings().iter().map(|one| format!("{} {} {}", one.side, one.line, one.kind())).collect();
        all.sort();
        all
    };
    let before = names(&case.run());
    assert_eq!(before.len(), 2);
    case.check().readings.reverse();
    assert_eq!(names(&case.run()), before);
    case.check().datum_mm += 37.0;
    for reading in &mut case.check().readings {
        reading.reading_mm += 37.0;
    }
    assert_eq!(names(&case.run()), before);
    case.check().datum_mm -= 20.0;
    assert_eq!(names(&case.run()), before);
}

#[test]
fn an_expectation_sharpens_the_eye() {
    let made = FleetSpec::default().wings(1).models(1).missing_share(0.0).run().unwrap();
    let mut history = made.fleet.histories()[0].clone();
    let set = made.fleet.line_set(&history);
    history.checks.truncate(1);
    let check = &mut history.checks[0];
    let known: Vec<Expectation> = check
        .readings
        .iter()
        .map(|one| Expectation {
            side: one.side,
            line: one.line,
            deviation_mm: made.truth.deviation_mm(set, &history.wing.id, one.side, one.line, check.hours_h).unwrap(),
            sd_mm: 0.5,
        })
        .collect();
    let spoilt = &mut check.readings[20];
    spoilt.reading_mm -= 12.0;
    let spec = DoubtSpec::default();
    assert!(spec.run(set, &history, 0, None).unwrap().findings().is_empty());
    let doubts = spec.run(set, &history, 0, Some(&known)).unwrap();
    assert_eq!(doubts.findings().len(), 1, "{doubts}");
    assert_eq!(doubts.findings()[0].line_index, history.checks[0].readings[20].line);
}

#[test]
fn the_document_has_the_agreed_keys() {
    let mut case = Case::new(9);
    *case.reading(Side::Left, "A5") += 100.0;
    let document = serde_json::to_value(VetDocument::new([&case.run()])).unwrap();
    assert_eq!(document["schema"], "linedrift.vet/1");
    assert!(document.get("demo").is_none());
    let finding = &document["findings"][0];
    assert_eq!(finding["side"], "left");
    assert_eq!(finding["line"], "A5");
    assert_eq!(finding["kind"], "hundred-off");
    for key in ["check", "reading_mm", "expected_mm", "suggested_mm", "score"] {
        assert!(!finding[key].is_null(), "{key}");
    }
    assert_eq!(serde_json::to_value(VetDocument::new([]).marked_demo()).unwrap()["demo"], true);
}

#[test]
fn faults_are_errors() {
    let mut case = Case::new(2);
    let spec = DoubtSpec::default();
    let missing = spec.run(&case.set, &case.history, 99, None).unwrap_err();
    assert!(matches!(missing, DoubtError::NoCheck { check: 99, .. }), "{missing}");
    let nowhere = [Expectation { side: Side::Left, line: 999, deviation_mm: 0.0, sd_mm: 1.0 }];
    let missing = spec.run(&case.set, &case.history, 0, Some(&nowhere)).unwrap_err();
    assert!(matches!(missing, DoubtError::NoLine { line: 999, .. }), "{missing}");
    assert!(spec.clone().flag_at(0.0).run(&case.set, &case.history, 0, None).is_err());
    case.check().readings[0].reading_mm = f64::NAN;
    assert!(matches!(
        spec.run(&case.set, &case.history, case.last, None),
        Err(DoubtError::OutOfRange { what: "reading_mm", .. })
    ));
}

#[test]
fn a_set_without_lines_has_nothing_to_doubt() {
    let set = LineSet::new("x", None, Vec::new(), Vec::new()).unwrap();
    let check = Check::new("1", linedrift::Date::constant(2024, 1, 1), 0.0);
    let wing = Wing::new("w", "x");
    let history = History { wing, line_set: 0, checks: vec![check], actions: Vec::new(), fittings: Vec::new() };
    assert!(DoubtSpec::default().run(&set, &history, 0, None).unwrap().findings().is_empty());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// However wild the readings, every number given out is one, and probabilities are probabilities.
    #[test]
    fn wild_readings_do_no_harm(wild in prop::collection::vec((0usize..300, -1e6f64..1e6), 0..300), keep in 0usize..140) {
        let mut case = Case::new(1);
        let last = case.last;
        let count = case.check().readings.len();
        for (at, value) in wild {
            case.history.checks[at % (last + 1)].readings[at % count].reading_mm = value;
        }
        case.check().readings.truncate(keep);
        let doubts = case.run();
        for one in doubts.expected() {
            prop_assert!(one.deviation_mm.is_finite() && one.sd_mm.is_finite() && one.sd_mm > 0.0);
        }
        for finding in doubts.findings() {
            prop_assert!(finding.score.is_finite() && finding.expected_mm.is_finite());
            for one in std::iter::once(&finding.explanation).chain(&finding.alternatives) {
                prop_assert!((0.0..=1.0).contains(&one.probability));
                prop_assert!(one.suggested_mm.is_none_or(f64::is_finite));
            }
        }
    }

    /// The wing seen from behind: the same doubts on the other side.
    #[test]
    fn a_mirrored_wing_has_mirrored_doubts(line in 0usize..40, off in 20.0f64..300.0) {
        let mut case = Case::new(2);
        case.check().readings[line].reading_mm += off.round();
        let before = case.run();
        for check in &mut case.history.checks {
            for reading in &mut check.readings {
                reading.side = reading.side.mirror();
            }
        }
        let after = case.run();
        prop_assert_eq!(before.findings().len(), after.findings().len());
        for (a, b) in before.findings().iter().zip(after.findings()) {
            prop_assert_eq!((a.side, &a.line, a.kind()), (b.side.mirror(), &b.line, b.kind()));
            prop_assert!((a.expected_mm - b.expected_mm).abs() < 1e-6);
        }
    }
}

/// A main that someone shortened without a word is a fact about the wing, not a slip of the pen: the lines on it move
/// together, and no reading of them may be doubted for it.
#[test]
fn lines_that_move_together_are_no_slip() {
    let made = FleetSpec::default().wings(4).seed(21).missing_share(0.0).run().unwrap();
    let (mut flagged, mut near, mut tried, mut noted, mut steps) = (0, 0, 0, 0, 0);
    let mut told = Vec::new();
    for history in made.fleet.histories() {
        let set = made.fleet.line_set(history);
        for segment in 0..set.segments().len() {
            let above: Vec<usize> =
                (0..set.lines().len()).filter(|line| set.path_indices(*line).any(|at| at == segment)).collect();
            if above.len() < 2 {
                continue;
            }
            for step_mm in [-30.0, -12.0, 20.0] {
                let mut history = history.clone();
                let last = history.checks.len() - 1;
                for reading in &mut history.checks[last].readings {
                    if reading.side == Side::Left && above.contains(&reading.line) {
                        reading.reading_mm += step_mm;
                    }
                }
                let doubts = DoubtSpec::default().run(set, &history, last, None).unwrap();
                for finding in doubts.findings() {
                    told.push(format!(
                        "{} {step_mm} at {}: {} {} {:?}",
                        history.wing.id,
                        set.segments()[segment].name,
                        finding.line,
                        finding.side,
                        finding.kind()
                    ));
                }
                // 12 mm of two lines may drown in what lines differ by, so that one of them stands out
                if step_mm == -12.0 {
                    near += doubts.findings().len();
                    tried += above.len();
                } else {
                    flagged += doubts.findings().len();
                }
                if step_mm != -12.0 {
                    steps += 1;
                    noted += usize::from(doubts.notes().iter().any(|note| note.code == "lines_moved"));
                }
            }
        }
    }
    assert!(flagged == 0 && near * 25 <= tried, "{flagged} doubted, {near} of {tried} at 12 mm: {told:#?}");
    assert!(noted * 10 >= steps * 9, "{noted} of {steps} said");
}
