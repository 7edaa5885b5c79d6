//! Wings with a planted fault, and what an experienced hand would say of them, written down first.
//!
//! Each wing is invented: lines of 6 to 8 m that differ by 2 mm as built and are read to 1 mm, whole millimetres. The fault is
//! put on top. What is expected stands in the table: the state, the codes that the list must open with, and the lines that must
//! be doubted.

use linedrift::check::doubt::{DoubtSpec, Doubts};
use linedrift::check::{Check, ConfirmedLine, History, Reading};
use linedrift::plan::{Finding, PlanSpec};
use linedrift::trim::{DiagnosisCode as Code, Trim, TrimSpec, TrimState as State};
use linedrift::wing::{Line, LineSet, ModelData, Row, Segment, Side, Wing};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// How the invented wing is built.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Build {
    rows: usize,
    /// Lines of a row, on one side.
    lines: u32,
    cascade: bool,
}

const FOUR: Build = Build { rows: 4, lines: 12, cascade: true };
const THREE: Build = Build { rows: 3, lines: 12, cascade: true };
const TWO: Build = Build { rows: 2, lines: 16, cascade: true };
const FLAT: Build = Build { rows: 3, lines: 12, cascade: false };

const ROWS: [(Row, &str, f64); 4] =
    [(Row::A, "A", 0.08), (Row::B, "B", 0.30), (Row::C, "C", 0.55), (Row::D, "D", 0.78)];

/// Rows of `lines` lines; every four hang on a main, every two on a middle line; two stabilo lines, eight brake lines.
fn wing(build: Build) -> LineSet {
    let mut lines = Vec::new();
    let mut segments: Vec<Segment> = Vec::new();
    let mut rows: Vec<(Row, &str, Option<f64>, u32)> =
        ROWS[..build.rows].iter().map(|(row, name, chord)| (*row, *name, Some(*chord), build.lines)).collect();
    rows.push((Row::Stabilo, "S", None, 2));
    rows.push((Row::Brake, "K", None, 8));
    let mut add = |name: String, parent: Option<usize>, length_mm: f64| {
        if let Some(at) = segments.iter().position(|known| known.name == name) {
            return at;
        }
        let material = "uhmwpe".to_owned();
        segments.push(Segment { name, parent, material, length_mm, diameter_mm: Some(1.2), can_loop: Some(true) });
        segments.len() - 1
    };
    for (row, letter, chord, count) in rows {
        for rank in 1..=count {
            let span = (f64::from(rank) - 0.5) / f64::from(count);
            // longest at the centre, shorter towards the tip, each row a little longer than the one before
            let nominal_mm =
                (7200.0 - 1500.0 * span * span + 37.0 * row.index() as f64 + 11.0 * f64::from(rank % 3)).round();
            let name = format!("{letter}{rank}");
            let main = format!("{letter}M{}", (rank - 1) / 4 + 1);
            let segment = if build.cascade {
                let main = add(main.clone(), None, 4000.0);
                let middle = add(format!("{letter}m{}", (rank - 1) / 2 + 1), Some(main), 1500.0);
                add(name.clone(), Some(middle), nominal_mm - 5500.0)
            } else {
                add(name.clone(), None, nominal_mm)
            };
            lines.push(Line {
                name,
                row,
                rank,
                nominal_mm,
                span,
                span_assumed: false,
                chord,
                main: Some(main),
                tolerance_mm: None,
                side: None,
                segment,
            });
        }
    }
    let data = ModelData { root_chord_m: Some(2.7), span_m: Some(11.0), ..ModelData::default() };
    LineSet::new("Petrel 4", None, lines, segments).unwrap().with_data(data)
}

struct Planted {
    set: LineSet,
    history: History,
    at: usize,
}

/// What is off: side, line, rank and row to millimetres.
type Off<'a> = &'a dyn Fn(Side, &Line) -> f64;

fn normal(rng: &mut ChaCha8Rng) -> f64 {
    let sum: f64 = (0..12).map(|_| rng.random::<f64>()).sum();
    sum - 6.0
}

impl Planted {
    /// A wing with so many checks; `off` is put on the last one, and on those before it from `since` on.
    fn new(build: Build, seed: u64, checks: usize, since: usize, sides: &[Side], off: Off<'_>) -> Self {
        let set = wing(build);
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let built: Vec<f64> = (0..2 * set.lines().len()).map(|_| 2.0 * normal(&mut rng)).collect();
        let all = (0..checks).map(|number| {
            let date = linedrift::Date::constant(2021 + i16::try_from(number).unwrap(), 5, 1);
            let mut check = Check::new(&format!("c{number}"), date, 40.0 + 60.0 * number as f64);
            for side in sides {
                for (line, known) in set.lines().iter().enumerate() {
                    let planted = if number >= since { off(*side, known) } else { 0.0 };
                    let built = built[side.index() * set.lines().len() + line];
                    let reading_mm = (known.nominal_mm + built + normal(&mut rng) + planted).round();
                    check.readings.push(Reading { side: *side, line, reading_mm, repeat: 1, operator: None });
                }
            }
            check
        });
        let checks: Vec<Check> = all.collect();
        let at = checks.len() - 1;
        let wing = Wing::new("17", "Petrel 4");
        Self { set, history: History { wing, line_set: 0, checks, actions: Vec::new(), fittings: Vec::new() }, at }
    }

    fn one(build: Build, seed: u64, off: Off<'_>) -> Self {
        Self::new(build, seed, 1, 0, &Side::BOTH, off)
    }

    fn check(&mut self) -> &mut Check {
        &mut self.history.checks[self.at]
    }

    fn doubts(&self) -> Doubts {
        DoubtSpec::default().run(&self.set, &self.history, self.at, None).unwrap()
    }

    fn trim(&self) -> Trim {
        TrimSpec::default().judge(&self.set, &self.history, self.at).unwrap()
    }
}

fn named(line: &Line, names: &[&str]) -> bool {
    names.contains(&line.name.as_str())
}

/// A planted fault: what it is, and what an experienced hand says of it.
struct Case {
    what: &'static str,
    build: Build,
    off: fn(Side, &Line) -> f64,
    state: State,
    /// Codes that the list must open with.
    codes: &'static [Code],
    side: Option<Side>,
    /// Row or segment of the first entry.
    place: &'static str,
    value_mm: f64,
}

const LEFT: Option<Side> = Some(Side::Left);
const RIGHT: Option<Side> = Some(Side::Right);

const CASES: &[Case] = &[
    case("nothing", THREE, |_, _| 0.0, State::InTrim, &[], None, "", 0.0),
    case("nothing, two rows", TWO, |_, _| 0.0, State::InTrim, &[], None, "", 0.0),
    case("nothing, four rows", FOUR, |_, _| 0.0, State::InTrim, &[], None, "", 0.0),
    case("nothing, no segments", FLAT, |_, _| 0.0, State::InTrim, &[], None, "", 0.0),
    case(
        "B3 and B4 of one middle line 20 mm long on both sides",
        THREE,
        |_, line| if named(line, &["B3", "B4"]) { 20.0 } else { 0.0 },
        State::Adjust,
        &[Code::Segment],
        None,
        "Bm2",
        20.0,
    ),
    case(
        "the same, 20 mm short, four rows",
        FOUR,
        |_, line| if named(line, &["B3", "B4"]) { -20.0 } else { 0.0 },
        State::Adjust,
        &[Code::Segment],
        None,
        "Bm2",
        -20.0,
    ),
    case(
        "two neighbours across two middle lines 22 mm short on both sides",
        THREE,
        |_, line| if named(line, &["A6", "A7"]) { -22.0 } else { 0.0 },
        State::Adjust,
        &[Code::Neighbours],
        None,
        "A",
        -22.0,
    ),
    case(
        "C8 18 mm long on both sides",
        THREE,
        |_, line| if named(line, &["C8"]) { 18.0 } else { 0.0 },
        State::Adjust,
        &[Code::Line],
        None,
        "C",
        18.0,
    ),
    case(
        "C8 20 mm short on both sides, no segments",
        FLAT,
        |_, line| if named(line, &["C8"]) { -20.0 } else { 0.0 },
        State::Adjust,
        &[Code::Line],
        None,
        "C",
        -20.0,
    ),
    case(
        "a main of four lines 15 mm short on the left",
        THREE,
        |side, line| if side == Side::Left && named(line, &["B5", "B6", "B7", "B8"]) { -15.0 } else { 0.0 },
        State::Adjust,
        &[Code::Segment],
        LEFT,
        "BM2",
        -15.0,
    ),
    case(
        "a main of four lines 18 mm long on the right, two rows",
        TWO,
        |side, line| if side == Side::Right && named(line, &["A9", "A10", "A11", "A12"]) { 18.0 } else { 0.0 },
        State::Adjust,
        &[Code::Segment],
        RIGHT,
        "AM3",
        18.0,
    ),
    case(
        "a main 14 mm long on both sides, no segments",
        FLAT,
        |_, line| if named(line, &["B5", "B6", "B7", "B8"]) { 14.0 } else { 0.0 },
        State::Adjust,
        &[Code::Segment],
        None,
        "BM2",
        14.0,
    ),
    case(
        "row C 11 mm short",
        THREE,
        |_, line| if line.row == Row::C { -11.0 } else { 0.0 },
        State::Adjust,
        &[Code::Row],
        None,
        "C",
        -11.0,
    ),
    case(
        "row A 65 mm short",
        THREE,
        |_, line| if line.row == Row::A { -65.0 } else { 0.0 },
        State::Adjust,
        &[Code::Row],
        None,
        "A",
        -65.0,
    ),
    case(
        "row B of two 16 mm short",
        TWO,
        |_, line| if line.row == Row::B { -16.0 } else { 0.0 },
        State::Adjust,
        &[Code::Row],
        None,
        "B",
        -16.0,
    ),
    case(
        "row A of two 20 mm long",
        TWO,
        |_, line| if line.row == Row::A { 20.0 } else { 0.0 },
        State::Adjust,
        &[Code::Row],
        None,
        "A",
        20.0,
    ),
    case(
        "row D of four 15 mm short",
        FOUR,
        |_, line| if line.row == Row::D { -15.0 } else { 0.0 },
        State::Adjust,
        &[Code::Row],
        None,
        "D",
        -15.0,
    ),
    case(
        "rows C and D of four 14 mm short",
        FOUR,
        |_, line| if line.row >= Row::C && line.row.is_trim() { -14.0 } else { 0.0 },
        State::Adjust,
        &[Code::Row, Code::Row],
        None,
        "",
        -14.0,
    ),
    case(
        "left side 14 mm short in A, B and C",
        THREE,
        |side, line| if side == Side::Left && line.row.is_trim() { -14.0 } else { 0.0 },
        State::Adjust,
        &[Code::Side],
        LEFT,
        "",
        -14.0,
    ),
    case(
        "right side 16 mm long, two rows",
        TWO,
        |side, line| if side == Side::Right && line.row.is_trim() { 16.0 } else { 0.0 },
        State::Adjust,
        &[Code::Side],
        RIGHT,
        "",
        16.0,
    ),
    case(
        "row B 15 mm short on the right alone",
        THREE,
        |side, line| if side == Side::Right && line.row == Row::B { -15.0 } else { 0.0 },
        State::Adjust,
        &[Code::Side],
        RIGHT,
        "B",
        -15.0,
    ),
    case(
        "tips 12 mm short on both sides",
        THREE,
        |_, line| if line.row.is_trim() && line.rank >= 11 { -12.0 } else { 0.0 },
        State::Adjust,
        &[Code::Tips],
        None,
        "",
        -12.0,
    ),
    case(
        "tips 16 mm long on the left, four rows",
        FOUR,
        |side, line| if side == Side::Left && line.row.is_trim() && line.rank >= 11 { 16.0 } else { 0.0 },
        State::Adjust,
        &[Code::Tips],
        LEFT,
        "",
        16.0,
    ),
    case(
        "brakes 45 mm short",
        THREE,
        |_, line| if line.row == Row::Brake { -45.0 } else { 0.0 },
        State::Adjust,
        &[Code::Brakes],
        None,
        "brake",
        -45.0,
    ),
    case(
        "brakes 40 mm long",
        TWO,
        |_, line| if line.row == Row::Brake { 40.0 } else { 0.0 },
        State::Adjust,
        &[Code::Brakes],
        None,
        "brake",
        40.0,
    ),
    case(
        "left brake 35 mm short",
        THREE,
        |side, line| if side == Side::Left && line.row == Row::Brake { -35.0 } else { 0.0 },
        State::Adjust,
        &[Code::Brakes],
        LEFT,
        "brake",
        -35.0,
    ),
    case(
        "left stabilo 30 mm short",
        THREE,
        |side, line| if side == Side::Left && line.row == Row::Stabilo { -30.0 } else { 0.0 },
        State::Adjust,
        &[Code::Stabilo],
        LEFT,
        "stabilo",
        -30.0,
    ),
    case(
        "right stabilo 25 mm long, four rows",
        FOUR,
        |side, line| if side == Side::Right && line.row == Row::Stabilo { 25.0 } else { 0.0 },
        State::Adjust,
        &[Code::Stabilo],
        RIGHT,
        "stabilo",
        25.0,
    ),
    case("whole set 25 mm short", THREE, |_, _| -25.0, State::InTrim, &[Code::WholeSet], None, "", -25.0),
    case("whole set 30 mm long, two rows", TWO, |_, _| 30.0, State::InTrim, &[Code::WholeSet], None, "", 30.0),
    case("a forgotten datum of -356", THREE, |_, _| -356.0, State::NotJudged, &[Code::Datum], None, "", -356.0),
    case("a datum of 180 with the wrong sign", FOUR, |_, _| 360.0, State::NotJudged, &[Code::Datum], None, "", 360.0),
    case(
        "row C 12 mm short and the left brake 40 mm short",
        THREE,
        |side, line| match (side, line.row) {
            (_, Row::C) => -12.0,
            (Side::Left, Row::Brake) => -40.0,
            _ => 0.0,
        },
        State::Adjust,
        &[],
        None,
        "",
        0.0,
    ),
    case(
        "a main 16 mm short on the left, another 15 mm long on the right",
        THREE,
        |side, line| match (side, line.name.as_str()) {
            (Side::Left, "A1" | "A2" | "A3" | "A4") => -16.0,
            (Side::Right, "C5" | "C6" | "C7" | "C8") => 15.0,
            _ => 0.0,
        },
        State::Adjust,
        &[Code::Segment, Code::Segment],
        None,
        "",
        0.0,
    ),
];

#[allow(clippy::too_many_arguments, reason = "one row of a table")]
const fn case(
    what: &'static str,
    build: Build,
    off: fn(Side, &Line) -> f64,
    state: State,
    codes: &'static [Code],
    side: Option<Side>,
    place: &'static str,
    value_mm: f64,
) -> Case {
    Case { what, build, off, state, codes, side, place, value_mm }
}

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

fn set_reading(planted: &mut Planted, side: Side, name: &str, off_mm: f64) {
    let line = planted.set.find(name, side).unwrap();
    for reading in planted.check().readings.iter_mut().filter(|one| one.side == side && one.line == line) {
        reading.reading_mm += off_mm;
    }
}

#[test]
fn agreeing_repeats_are_a_fact_and_disagreeing_ones_a_doubt() {
    for seed in SEEDS {
        let mut planted = Planted::one(THREE, seed, &|_, _| 0.0);
        set_reading(&mut planted, Side::Left, "B6", 30.0);
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
        set_reading(&mut planted, Side::Left, "B6", 30.0);
        set_reading(&mut planted, Side::Right, "C2", 100.0);
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
            set_reading(&mut planted, side, "B9", apart);
            set_reading(&mut planted, side, "B11", -apart);
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

/// Trim, plan and lines agree on how many lines are outside, whatever is planted.
#[test]
fn outside_lines_are_counted_alike_everywhere() {
    // a line more than 60 mm off is for the plan to measure again first, where nothing confirms it
    let near = |case: &&Case| case.state != State::NotJudged && case.value_mm.abs() < 60.0;
    for case in CASES.iter().filter(near) {
        for seed in 0..4 {
            let mut planted = Planted::one(case.build, seed, &case.off);
            set_reading(&mut planted, Side::Left, "A3", 100.0);
            let trim = planted.trim();
            let by_value =
                trim.lines.iter().filter(|line| !line.doubted && line.relative_mm.abs() > line.tolerance_mm).count();
            assert_eq!(trim.counts().outside, by_value, "{}", case.what);
            let doubts = planted.doubts();
            let findings: Vec<Finding> =
                doubts.findings().iter().map(|one| Finding::new(one.side, &one.line)).collect();
            let plan = PlanSpec::default()
                .run(&planted.set, &planted.history, &planted.history.checks[0], &findings)
                .unwrap();
            assert_eq!(plan.before.outside, by_value, "{} seed {seed}", case.what);
        }
    }
}

/// The table of `docs/reliability.md`: what is said of each planted fault, with the noise of seed 1.
#[test]
#[ignore = "prints a table"]
fn slow_planted_table() {
    println!("| planted | doubted | `trim` | `plan`: steps, lines outside before and after |\n|---|---|---|---|");
    for case in CASES {
        let planted = Planted::one(case.build, 1, &case.off);
        let (trim, doubts) = (planted.trim(), planted.doubts());
        let findings: Vec<Finding> = doubts.findings().iter().map(|one| Finding::new(one.side, &one.line)).collect();
        let check = &planted.history.checks[0];
        let plan = PlanSpec::default().run(&planted.set, &planted.history, check, &findings);
        let plan = plan.map_or_else(
            |error| error.to_string(),
            |plan| format!("{}, {} to {}", plan.actions.len(), plan.before.outside, plan.after.outside),
        );
        println!("| {} | {} | {} | {plan} |", case.what, findings.len(), trim.summary);
    }
}
