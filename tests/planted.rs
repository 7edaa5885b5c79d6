//! What is said of wings with one planted fault, against the table of what an experienced hand says.

use linedrift::trim::{DiagnosisCode as Code, TrimState as State};
use linedrift::wing::Side;

use super::planted_cases::{CASES, Case};
use super::planted_wing::Planted;

/// What is wrong with the answer, if anything.
fn faults(case: &Case, seed: u64) -> Vec<String> {
    let planted = Planted::one(case.build, seed, &case.off);
    let (trim, doubts) = (planted.trim(), planted.doubts());
    let mut wrong = Vec::new();
    if trim.state != case.state {
        wrong.push(format!("state {}: {}", trim.state, trim.summary));
    }
    if !doubts.findings().is_empty() {
        let names: Vec<_> = doubts.findings().iter().map(|one| format!("{} {}", one.line, one.side)).collect();
        wrong.push(format!("doubted {}", names.join(", ")));
    }
    let codes: Vec<Code> = trim.diagnosis.iter().map(|one| one.code).collect();
    if !codes.starts_with(case.codes) {
        wrong.push(format!("codes {codes:?}: {:?}", trim.diagnosis.iter().map(|one| &one.text).collect::<Vec<_>>()));
        return wrong;
    }
    if case.state == State::InTrim && case.codes.is_empty() && codes.iter().any(|code| *code != Code::Twist) {
        wrong.push(format!(
            "a word for nothing: {:?}",
            trim.diagnosis.iter().map(|one| &one.text).collect::<Vec<_>>()
        ));
    }
    if let (Some(first), true) = (trim.diagnosis.first(), case.value_mm != 0.0) {
        if first.side != case.side {
            wrong.push(format!("side {:?}: {}", first.side, first.text));
        }
        let place = first.segment.clone().or_else(|| first.row.map(|row| row.to_string())).unwrap_or_default();
        if !case.place.is_empty() && place != case.place {
            wrong.push(format!("place {place}: {}", first.text));
        }
        let value = first.value_mm.unwrap_or(f64::NAN);
        if !((value - case.value_mm).abs() <= 4.0) {
            wrong.push(format!("value {value:.1}: {}", first.text));
        }
    }
    wrong
}

/// Seeds of the noise.
const SEEDS: std::ops::Range<u64> = 0..20;

#[test]
fn planted_faults_are_named_as_an_experienced_hand_would() {
    let mut all = Vec::new();
    for case in CASES {
        let wrong: Vec<(u64, Vec<String>)> =
            SEEDS.map(|seed| (seed, faults(case, seed))).filter(|(_, wrong)| !wrong.is_empty()).collect();
        println!("{:>2} of {} right: {}", 20 - wrong.len(), 20, case.what);
        for (seed, wrong) in wrong.iter().take(2) {
            println!("      seed {seed}: {}", wrong.join("; "));
        }
        // noise may push one line of twenty wings over its tolerance
        if wrong.len() > 1 {
            all.push(format!("{}: {} of 20 wrong, {:?}", case.what, wrong.len(), wrong[0]));
        }
    }
    assert!(all.is_empty(), "{}", all.join("\n"));
}

/// A slip of the pen on one line must still be found on every one of these wings.
#[test]
fn a_slip_of_one_line_is_still_found_beside_the_fault() {
    let (mut planted_slips, mut found, mut false_ones, mut readings) = (0, 0, 0, 0);
    for case in CASES.iter().filter(|case| case.state != State::NotJudged) {
        for seed in 100..106 {
            for (at, slip) in [100.0, -100.0, 1000.0, 45.0, -57.0].into_iter().enumerate() {
                let mut planted = Planted::one(case.build, seed, &case.off);
                let count = planted.check().readings.len();
                let spoilt = (7 * at + 13 * usize::try_from(seed).unwrap()) % count;
                planted.check().readings[spoilt].reading_mm += slip;
                let (side, line) = {
                    let reading = &planted.history.checks[0].readings[spoilt];
                    (reading.side, reading.line)
                };
                let doubts = planted.doubts();
                planted_slips += 1;
                readings += count;
                let hit = doubts.doubts_line(side, line);
                found += usize::from(hit);
                let others =
                    doubts.findings().iter().filter(|one| (one.side, one.line_index) != (side, line)).count();
                false_ones += others;
                if !hit || others > 0 {
                    println!(
                        "{} seed {seed} slip {slip} on {} {side}: {}",
                        case.what,
                        planted.set.lines()[line].name,
                        doubts
                    );
                }
            }
        }
    }
    println!("{found} of {planted_slips} slips found, {false_ones} false of {readings}");
    assert!(found * 100 >= 95 * planted_slips, "{found} of {planted_slips}");
    assert!(false_ones * 1000 <= readings, "{false_ones} of {readings}");
}

/// Trim, plan and lines agree on how many lines are outside, whatever is planted.
#[test]
fn outside_lines_are_counted_alike_everywhere() {
    for case in CASES {
        let mut planted = Planted::one(case.build, 0, &case.off);
        planted.slip(Side::Left, "A3", 100.0);
        let trim = planted.trim();
        let by_value =
            trim.lines.iter().filter(|line| !line.doubted && line.relative_mm.abs() > line.tolerance_mm).count();
        assert_eq!(trim.counts().outside, by_value, "{}", case.what);
        assert_eq!(planted.plan().before.outside, by_value, "{}", case.what);
    }
}
