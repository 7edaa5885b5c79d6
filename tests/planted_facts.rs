//! What two slips would have to agree on is a fact about the wing.

use linedrift::check::{ConfirmedLine, Reading};
use linedrift::trim::{DiagnosisCode as Code, TrimState as State};
use linedrift::wing::{Line, Row, Side};

use super::planted_wing::{Planted, THREE, named};

const SEEDS: std::ops::Range<u64> = 0..20;

#[test]
fn agreeing_repeats_are_a_fact_and_disagreeing_ones_a_doubt() {
    for seed in SEEDS {
        let mut planted = Planted::one(THREE, seed, &|_, _| 0.0);
        planted.slip(Side::Left, "B6", 30.0);
        let doubts = planted.doubts();
        assert_eq!(doubts.findings().len(), 1, "alone it may be a slip: {doubts}");
        let line = planted.set.find("B6", Side::Left).unwrap();
        let first =
            planted.check().readings.iter().find(|one| one.side == Side::Left && one.line == line).unwrap().clone();
        for repeat in 2..=3 {
            let again = Reading { repeat, reading_mm: first.reading_mm + f64::from(repeat) - 2.0, ..first.clone() };
            planted.check().readings.push(again);
        }
        let doubts = planted.doubts();
        assert!(doubts.findings().is_empty(), "{doubts}");
        assert_eq!(doubts.notes()[0].code, "repeats_agree");
        let trim = planted.trim();
        assert_eq!((trim.state, trim.diagnosis[0].code), (State::Adjust, Code::Line), "{}", trim.summary);
        planted.check().readings.pop();
        planted.check().readings.last_mut().unwrap().reading_mm -= 30.0;
        assert_eq!(planted.doubts().findings().len(), 1);
    }
}

#[test]
fn what_earlier_checks_say_too_is_a_fact() {
    for seed in SEEDS {
        let off = |side: Side, line: &Line| if side == Side::Right && named(line, &["A5"]) { -25.0 } else { 0.0 };
        let before = Planted::new(THREE, seed, 4, 0, &Side::BOTH, &off);
        assert!(before.doubts().findings().is_empty(), "{}", before.doubts());
        assert_eq!(before.doubts().notes()[0].code, "as_before");
        let new = Planted::new(THREE, seed, 4, 3, &Side::BOTH, &off);
        assert_eq!(new.doubts().findings().len(), 1, "never seen before: {}", new.doubts());
    }
}

#[test]
fn a_confirmed_line_is_believed_and_its_neighbours_are_judged_as_before() {
    for seed in SEEDS {
        let mut planted = Planted::one(THREE, seed, &|_, _| 0.0);
        planted.slip(Side::Left, "B6", 30.0);
        planted.slip(Side::Right, "C2", 100.0);
        assert_eq!(planted.trim().counts().doubted, 2);
        let line = planted.set.find("B6", Side::Left).unwrap();
        planted.check().confirmed.push(ConfirmedLine { side: Side::Left, line });
        let doubts = planted.doubts();
        assert_eq!(doubts.findings().len(), 1, "{doubts}");
        assert_eq!(doubts.findings()[0].line, "C2");
        assert!(planted.trim().counts().outside >= 1);
    }
}

#[test]
fn exchanged_nominals_are_a_matter_of_the_table() {
    for seed in SEEDS {
        let mut planted = Planted::one(THREE, seed, &|_, _| 0.0);
        let nominal = |name: &str| planted.set.lines()[planted.set.find(name, Side::Left).unwrap()].nominal_mm;
        let apart = nominal("B11") - nominal("B9");
        assert!(apart.abs() > 100.0);
        for side in Side::BOTH {
            planted.slip(side, "B9", apart);
            planted.slip(side, "B11", -apart);
        }
        let trim = planted.trim();
        assert!(trim.diagnosis.iter().any(|one| one.code == Code::Table), "{trim}");
    }
}

#[test]
fn one_side_alone_is_judged_too() {
    for seed in SEEDS {
        let off = |_: Side, line: &Line| if line.row == Row::C { -12.0 } else { 0.0 };
        let planted = Planted::new(THREE, seed, 1, 0, &[Side::Left], &off);
        let trim = planted.trim();
        assert_eq!(
            (trim.state, trim.diagnosis[0].code, trim.diagnosis[0].row),
            (State::Adjust, Code::Row, Some(Row::C))
        );
    }
}
