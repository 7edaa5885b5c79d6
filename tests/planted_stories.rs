//! Further wings as they come to a workshop: mixed faults, few lines, lines not read, repeats, earlier checks, tolerances of the
//! maker's own, noise, exchanged and replaced lines, mistakes in setting the check up. What an experienced hand says of each
//! stands beside it and was written first.

use linedrift::check::{Action, ActionKind, Condition, Reading, RiserReading, Stage};
use linedrift::trim::{DiagnosisCode as Code, TrimState as State};
use linedrift::wing::{Line, Row, RowData, Side};

use super::planted_wing::{Build, FEW, FLAT, FOUR, Planted, THREE, TWO, named};

/// What the wing's next date rests on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Due {
    /// A limit is passed.
    Now,
    /// The interval.
    Interval,
    /// The interval alone, since the check is not judged.
    NotJudged,
}

/// A wing and what an experienced hand says of it.
pub struct Story {
    pub what: &'static str,
    pub wing: fn(u64) -> Planted,
    pub state: State,
    /// Lines doubted, each as side and name.
    pub doubted: &'static [(Side, &'static str)],
    /// Code, side and place (row or segment) of the first entry of the list.
    pub opens: Option<(Code, Option<Side>, &'static str)>,
    pub due: Due,
}

const L: Option<Side> = Some(Side::Left);
const R: Option<Side> = Some(Side::Right);

type Opens = Option<(Code, Option<Side>, &'static str)>;

const fn adjust(
    what: &'static str,
    wing: fn(u64) -> Planted,
    code: Code,
    side: Option<Side>,
    place: &'static str,
) -> Story {
    Story { what, wing, state: State::Adjust, doubted: &[], opens: Some((code, side, place)), due: Due::Now }
}

const fn fine(what: &'static str, wing: fn(u64) -> Planted, opens: Opens) -> Story {
    Story { what, wing, state: State::InTrim, doubted: &[], opens, due: Due::Interval }
}

const fn again(what: &'static str, wing: fn(u64) -> Planted, doubted: &'static [(Side, &'static str)]) -> Story {
    Story { what, wing, state: State::MeasureAgain, doubted, opens: None, due: Due::Interval }
}

const fn not_judged(what: &'static str, wing: fn(u64) -> Planted, opens: Opens, due: Due) -> Story {
    Story { what, wing, state: State::NotJudged, doubted: &[], opens, due }
}

/// So much on the lines named, on both sides.
fn lines(build: Build, seed: u64, names: &[&str], mm: f64) -> Planted {
    Planted::one(build, seed, &|_, line| if named(line, names) { mm } else { 0.0 })
}

/// So much on the lines named, on one side.
fn on_side(build: Build, seed: u64, side: Side, names: &[&str], mm: f64) -> Planted {
    Planted::one(build, seed, &|at, line| if at == side && named(line, names) { mm } else { 0.0 })
}

/// So much on a row, on both sides.
fn row(build: Build, seed: u64, row: Row, mm: f64) -> Planted {
    Planted::one(build, seed, &|_, line| if line.row == row { mm } else { 0.0 })
}

/// So much on each line, the same on both sides.
fn rows(build: Build, seed: u64, of: fn(&Line) -> f64) -> Planted {
    Planted::one(build, seed, &|_, line| of(line))
}

fn good(build: Build, seed: u64) -> Planted {
    Planted::one(build, seed, &|_, _| 0.0)
}

fn slipped(mut planted: Planted, side: Side, name: &str, mm: f64) -> Planted {
    planted.slip(side, name, mm);
    planted
}

/// Without the readings of some lines.
fn without(mut planted: Planted, gone: impl Fn(Side, &Line, usize) -> bool) -> Planted {
    let set = planted.set.clone();
    planted.check().readings.retain(|one| !gone(one.side, &set.lines()[one.line], one.line));
    planted
}

/// With a tolerance of its own on each line.
fn tolerances(mut planted: Planted, of: impl Fn(&Line) -> f64) -> Planted {
    planted.change_lines(|line| line.tolerance_mm = Some(of(line)));
    planted
}

/// Every line of the last check read once more.
fn read_twice(mut planted: Planted) -> Planted {
    let again: Vec<Reading> =
        planted.check().readings.iter().map(|one| Reading { repeat: 2, ..one.clone() }).collect();
    planted.check().readings.extend(again);
    planted
}

/// A line of the last check read twice more, with the same value.
fn read_thrice(mut planted: Planted, side: Side, name: &str) -> Planted {
    let line = planted.set.find(name, side).unwrap();
    let is_it = |one: &&Reading| one.side == side && one.line == line;
    let first = planted.check().readings.iter().find(is_it).unwrap().clone();
    planted.check().readings.extend((2..=3).map(|repeat| Reading { repeat, ..first.clone() }));
    planted
}

/// The values of the last check, changed.
fn rewritten(mut planted: Planted, of: impl Fn(&Planted, &Reading) -> f64) -> Planted {
    let values: Vec<f64> = planted.history.checks[planted.at].readings.iter().map(|one| of(&planted, one)).collect();
    planted.check().readings.iter_mut().zip(values).for_each(|(one, value)| one.reading_mm = value);
    planted
}

/// What was read of a line at the last check, by row and rank.
fn value(planted: &Planted, side: Side, row: Row, rank: u32) -> Option<f64> {
    let readings = &planted.history.checks[planted.at].readings;
    let is_it = |one: &&Reading| {
        let line = &planted.set.lines()[one.line];
        one.side == side && line.row == row && line.rank == rank
    };
    readings.iter().find(is_it).map(|one| one.reading_mm)
}

/// Checks of which each has the given millimetres on a row.
fn row_at_checks(seed: u64, build: Build, row: Row, mm: &[f64]) -> Planted {
    let mut planted = Planted::new(build, seed, mm.len(), 0, &Side::BOTH, &|_, _| 0.0);
    let set = planted.set.clone();
    for (check, mm) in planted.history.checks.iter_mut().zip(mm) {
        for one in check.readings.iter_mut().filter(|one| set.lines()[one.line].row == row) {
            one.reading_mm += mm;
        }
    }
    planted
}

/// B7 on the left 22 mm long since the check before.
fn b7_long(seed: u64) -> Planted {
    Planted::new(THREE, seed, 2, 1, &Side::BOTH, &|side, line| {
        if side == Side::Left && named(line, &["B7"]) { 22.0 } else { 0.0 }
    })
}

/// The written values of two lines of one side in each other's place.
fn exchanged(seed: u64, sides: &[Side]) -> Planted {
    let mut planted = good(THREE, seed);
    let nominal = |name: &str| planted.set.lines()[planted.set.find(name, Side::Left).unwrap()].nominal_mm;
    let apart = nominal("B11") - nominal("B9");
    for side in sides {
        planted.slip(*side, "B9", apart);
        planted.slip(*side, "B11", -apart);
    }
    planted
}

/// Shrunk more and more towards the tips.
fn used(build: Build, seed: u64, of: fn(Row, f64) -> f64) -> Planted {
    Planted::one(build, seed, &|_, line| of(line.row, line.span))
}

pub const STORIES: &[Story] = &[
    adjust("four lines a row: row C 14 mm short", |seed| row(FEW, seed, Row::C, -14.0), Code::Row, None, "C"),
    adjust(
        "four lines a row: main BM1 of two lines 18 mm long on the left",
        |seed| on_side(FEW, seed, Side::Left, &["B1", "B2"], 18.0),
        Code::Segment,
        L,
        "BM1",
    ),
    again(
        "four lines a row: A3 right 50 mm misread",
        |seed| slipped(good(FEW, seed), Side::Right, "A3", 50.0),
        &[(Side::Right, "A3")],
    ),
    fine("four lines a row: nothing", |seed| good(FEW, seed), None),
    adjust(
        "a third of the lines not read; B3 and B4 20 mm long on both sides",
        |seed| {
            let planted = lines(THREE, seed, &["B3", "B4"], 20.0);
            without(planted, |side, line, at| !named(line, &["B3", "B4"]) && (at * 7 + 3 * side.index()) % 3 == 0)
        },
        Code::Segment,
        None,
        "Bm2",
    ),
    adjust(
        "row B not read on the right; row C 12 mm short",
        |seed| without(row(THREE, seed, Row::C, -12.0), |side, line, _| side == Side::Right && line.row == Row::B),
        Code::Row,
        None,
        "C",
    ),
    adjust(
        "the left alone read: main AM2 16 mm short",
        |seed| {
            let planted = lines(THREE, seed, &["A5", "A6", "A7", "A8"], -16.0);
            without(planted, |side, _, _| side == Side::Right)
        },
        Code::Segment,
        L,
        "AM2",
    ),
    again(
        "the left alone read: C5 60 mm misread",
        |seed| without(slipped(good(THREE, seed), Side::Left, "C5", -60.0), |side, _, _| side == Side::Right),
        &[(Side::Left, "C5")],
    ),
    adjust(
        "every line read twice: A6 18 mm short on both sides",
        |seed| read_twice(lines(THREE, seed, &["A6"], -18.0)),
        Code::Line,
        None,
        "A",
    ),
    again(
        "B8 left read twice, 40 mm apart",
        |seed| {
            let mut planted = good(THREE, seed);
            let line = planted.set.find("B8", Side::Left).unwrap();
            let is_it = |one: &&Reading| one.side == Side::Left && one.line == line;
            let first = planted.check().readings.iter().find(is_it).unwrap().clone();
            planted.check().readings.push(Reading { repeat: 2, reading_mm: first.reading_mm + 40.0, ..first });
            planted
        },
        &[(Side::Left, "B8")],
    ),
    adjust(
        "three checks: row C 4, 9, 14 mm short",
        |seed| row_at_checks(seed, THREE, Row::C, &[-4.0, -9.0, -14.0]),
        Code::Row,
        None,
        "C",
    ),
    again(
        "three checks: B2 right a hundred too long in the last",
        |seed| slipped(row_at_checks(seed, THREE, Row::C, &[0.0, 0.0, 0.0]), Side::Right, "B2", 100.0),
        &[(Side::Right, "B2")],
    ),
    adjust(
        "three checks: main CM2 15 mm short on the left in the last",
        |seed| {
            Planted::new(THREE, seed, 3, 2, &Side::BOTH, &|side, line| {
                if side == Side::Left && named(line, &["C5", "C6", "C7", "C8"]) { -15.0 } else { 0.0 }
            })
        },
        Code::Segment,
        L,
        "CM2",
    ),
    adjust(
        "a tolerance of 5 mm in row B: B3 and B4 9 mm long on both sides",
        |seed| {
            let planted = lines(THREE, seed, &["B3", "B4"], 9.0);
            tolerances(planted, |line| if line.row == Row::B { 5.0 } else { 20.0 })
        },
        Code::Segment,
        None,
        "Bm2",
    ),
    fine(
        "a tolerance of 20 mm: B3 and B4 13 mm long on both sides",
        |seed| tolerances(lines(THREE, seed, &["B3", "B4"], 13.0), |_| 20.0),
        Some((Code::Segment, None, "Bm2")),
    ),
    adjust(
        "a tolerance of 20 mm: row C 14 mm short",
        |seed| tolerances(row(THREE, seed, Row::C, -14.0), |_| 20.0),
        Code::Row,
        None,
        "C",
    ),
    adjust(
        "a tolerance of 5 mm in row A, 20 elsewhere: A9 15 mm long on both sides",
        |seed| tolerances(lines(THREE, seed, &["A9"], 15.0), |line| if line.row == Row::A { 5.0 } else { 20.0 }),
        Code::Line,
        None,
        "A",
    ),
    adjust(
        "readings 2 mm rougher: main AM2 16 mm short on the right",
        |seed| {
            Planted::noisy(THREE, seed, 2.0, &|side, line| {
                if side == Side::Right && named(line, &["A5", "A6", "A7", "A8"]) { -16.0 } else { 0.0 }
            })
        },
        Code::Segment,
        R,
        "AM2",
    ),
    again(
        "B9 and B11 left written in each other's place",
        |seed| exchanged(seed, &[Side::Left]),
        &[(Side::Left, "B9"), (Side::Left, "B11")],
    ),
    not_judged(
        "nominals of B9 and B11 in each other's place in the table",
        |seed| exchanged(seed, &Side::BOTH),
        Some((Code::Table, None, "")),
        Due::NotJudged,
    ),
    adjust(
        "B7 left replaced since the check before, 22 mm long",
        |seed| {
            let mut planted = b7_long(seed);
            let line = planted.set.find("B7", Side::Left).unwrap();
            let (date, segment) = (linedrift::Date::constant(2021, 9, 1), Some(planted.set.lines()[line].segment));
            let kind = ActionKind::Replace;
            let side = Side::Left;
            let action =
                Action { date, hours_h: 70.0, side, segment, kind, change_mm: 0.0, turns: None, check: None };
            planted.history.actions.push(action);
            planted
        },
        Code::Line,
        L,
        "B",
    ),
    again("B7 left 22 mm longer than at the check before, no work on record", b7_long, &[(Side::Left, "B7")]),
    not_judged(
        "wet lines; row C 14 mm short",
        |seed| {
            let mut planted = row(THREE, seed, Row::C, -14.0);
            planted.check().condition = Some(Condition::Wet);
            planted
        },
        Some((Code::Wet, None, "")),
        Due::NotJudged,
    ),
    fine(
        "the whole set 30 mm shorter than at the check before",
        |seed| Planted::new(THREE, seed, 2, 1, &Side::BOTH, &|_, _| -30.0),
        Some((Code::Datum, None, "")),
    ),
    fine(
        "a datum of 30 mm forgotten, the first check",
        |seed| Planted::one(TWO, seed, &|_, _| 30.0),
        Some((Code::WholeSet, None, "")),
    ),
    adjust(
        "risers measured: that of row C 12 mm long on the right",
        |seed| {
            let mut planted = good(THREE, seed);
            let rows = [(Row::A, 0.08), (Row::B, 0.30), (Row::C, 0.55)];
            planted.set = planted.set.with_rows(
                rows.map(|(row, chord)| RowData { row, chord: Some(chord), riser_mm: Some(500.0) }).to_vec(),
            );
            for side in Side::BOTH {
                for (row, _) in rows {
                    let long = if (side, row) == (Side::Right, Row::C) { 512.0 } else { 500.0 };
                    planted.check().risers.push(RiserReading { side, row, datum_mm: None, riser_mm: Some(long) });
                }
            }
            planted
        },
        Code::Side,
        R,
        "C",
    ),
    fine(
        "row C 14 mm short as found, put right as left",
        |seed| {
            let mut planted = row_at_checks(seed, THREE, Row::C, &[-14.0, 0.0]);
            let (hours, date) = (planted.history.checks[0].hours_h, planted.history.checks[0].date);
            let left = planted.check();
            (left.hours_h, left.date, left.stage) = (hours, date, Stage::AsLeft);
            planted
        },
        None,
    ),
    adjust(
        "left 9 mm long and right 6 mm short in A, B and C",
        |seed| {
            Planted::one(THREE, seed, &|side, line| match (line.row.is_trim(), side) {
                (true, Side::Left) => 9.0,
                (true, Side::Right) => -6.0,
                _ => 0.0,
            })
        },
        Code::Side,
        L,
        "",
    ),
    adjust(
        "row A 9 mm long on the left and 7 mm short on the right",
        |seed| {
            Planted::one(THREE, seed, &|side, line| match (line.row, side) {
                (Row::A, Side::Left) => 9.0,
                (Row::A, Side::Right) => -7.0,
                _ => 0.0,
            })
        },
        Code::Side,
        L,
        "A",
    ),
    adjust(
        "much flown: row C 5 mm short at the centre to 25 at the tips, row B half of it",
        |seed| {
            used(THREE, seed, |row, span| match row {
                Row::C => -5.0 - 20.0 * span,
                Row::B => -2.5 - 10.0 * span,
                _ => 0.0,
            })
        },
        Code::Row,
        None,
        "C",
    ),
    adjust(
        "much flown, four rows: row D 6 to 24 mm short, row C 4 to 14",
        |seed| {
            used(FOUR, seed, |row, span| match row {
                Row::D => -6.0 - 18.0 * span,
                Row::C => -4.0 - 10.0 * span,
                _ => 0.0,
            })
        },
        Code::Row,
        None,
        "D",
    ),
    Story {
        doubted: &[(Side::Left, "A5")],
        ..adjust(
            "row C 12 mm short, the left brake 30 mm short, A5 left a hundred too long",
            |seed| {
                let planted = Planted::one(THREE, seed, &|side, line| match (line.row, side) {
                    (Row::C, _) => -12.0,
                    (Row::Brake, Side::Left) => -30.0,
                    _ => 0.0,
                });
                slipped(planted, Side::Left, "A5", 100.0)
            },
            Code::Row,
            None,
            "C",
        )
    },
    adjust(
        "tips 14 mm long on both sides, main AM1 16 mm short on the left",
        |seed| {
            Planted::one(THREE, seed, &|side, line| {
                if line.row.is_trim() && line.rank >= 11 {
                    14.0
                } else if side == Side::Left && named(line, &["A1", "A2", "A3", "A4"]) {
                    -16.0
                } else {
                    0.0
                }
            })
        },
        Code::Tips,
        None,
        "",
    ),
    adjust(
        "B3 and B4 13 mm long on the left",
        |seed| on_side(THREE, seed, Side::Left, &["B3", "B4"], 13.0),
        Code::Segment,
        L,
        "Bm2",
    ),
    adjust(
        "B3 and B4 30 mm long on the left, four rows",
        |seed| on_side(FOUR, seed, Side::Left, &["B3", "B4"], 30.0),
        Code::Segment,
        L,
        "Bm2",
    ),
    fine("B3 and B4 5 mm long on both sides", |seed| lines(THREE, seed, &["B3", "B4"], 5.0), None),
    adjust(
        "two rows: row A 13 mm long on the left",
        |seed| {
            Planted::one(TWO, seed, &|side, line| if (side, line.row) == (Side::Left, Row::A) { 13.0 } else { 0.0 })
        },
        Code::Side,
        L,
        "A",
    ),
    adjust("two rows: row B 9 mm short", |seed| row(TWO, seed, Row::B, -9.0), Code::Row, None, "B"),
    adjust(
        "stabilo 20 mm long on both sides",
        |seed| row(THREE, seed, Row::Stabilo, 20.0),
        Code::Stabilo,
        None,
        "stabilo",
    ),
    Story {
        doubted: &[(Side::Right, "A1")],
        ..adjust(
            "main CM3 20 mm short on both sides, A1 right a hundred too short",
            |seed| {
                let planted = lines(THREE, seed, &["C9", "C10", "C11", "C12"], -20.0);
                slipped(planted, Side::Right, "A1", -100.0)
            },
            Code::Segment,
            None,
            "CM3",
        )
    },
    adjust(
        "no segments: C8 left 25 mm short, read three times",
        |seed| read_thrice(on_side(FLAT, seed, Side::Left, &["C8"], -25.0), Side::Left, "C8"),
        Code::Line,
        L,
        "C",
    ),
    adjust(
        "K3 left 32 mm long, read three times",
        |seed| read_thrice(on_side(THREE, seed, Side::Left, &["K3"], 32.0), Side::Left, "K3"),
        Code::Line,
        L,
        "brake",
    ),
    adjust("brakes 40 mm long on both sides", |seed| row(TWO, seed, Row::Brake, 40.0), Code::Brakes, None, "brake"),
    adjust(
        "four rows: row A 6 mm long, row D 6 mm short, every line in",
        |seed| rows(FOUR, seed, |line| [6.0, 0.0, 0.0, -6.0, 0.0, 0.0][line.row.index()]),
        Code::Row,
        None,
        "",
    ),
    adjust(
        "row A from 6 mm short at the centre to 6 long at the tips, row C the other way, every line in",
        |seed| rows(THREE, seed, |line| [12.0, 0.0, -12.0, 0.0, 0.0, 0.0][line.row.index()] * (line.span - 0.5)),
        Code::Twist,
        None,
        "",
    ),
    fine(
        "a tolerance of 20 mm: main BM2 15 mm long on the left",
        |seed| tolerances(on_side(FOUR, seed, Side::Left, &["B5", "B6", "B7", "B8"], 15.0), |_| 20.0),
        Some((Code::Segment, L, "BM2")),
    ),
    not_judged(
        "row A alone read, 15 mm long",
        |seed| without(row(THREE, seed, Row::A, 15.0), |_, line, _| line.row != Row::A),
        None,
        Due::Interval,
    ),
    not_judged(
        "the brakes alone read",
        |seed| without(good(THREE, seed), |_, line, _| line.row != Row::Brake),
        None,
        Due::Interval,
    ),
    not_judged(
        "three checks: left 14 mm short, in the last the sides in each other's place",
        |seed| {
            let off = |side: Side, line: &Line| if side == Side::Left && line.row.is_trim() { -14.0 } else { 0.0 };
            let planted = Planted::new(THREE, seed, 3, 0, &Side::BOTH, &off);
            rewritten(planted, |planted, one| {
                let line = &planted.set.lines()[one.line];
                value(planted, one.side.mirror(), line.row, line.rank).unwrap()
            })
        },
        Some((Code::Sides, None, "")),
        Due::NotJudged,
    ),
    not_judged(
        "lines given from the tip to the centre",
        |seed| {
            rewritten(good(THREE, seed), |planted, one| {
                let line = &planted.set.lines()[one.line];
                value(planted, one.side, line.row, 13 - line.rank)
                    .filter(|_| line.row.is_trim())
                    .unwrap_or(one.reading_mm)
            })
        },
        Some((Code::Table, None, "")),
        Due::NotJudged,
    ),
    not_judged(
        "readings in metres",
        |seed| rewritten(good(FOUR, seed), |_, one| one.reading_mm / 1000.0),
        Some((Code::Datum, None, "")),
        Due::NotJudged,
    ),
    not_judged(
        "a datum of 356 mm forgotten",
        |seed| Planted::one(TWO, seed, &|_, _| 356.0),
        Some((Code::Datum, None, "")),
        Due::NotJudged,
    ),
];
