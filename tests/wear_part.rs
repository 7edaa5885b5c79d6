//! Parts written by the program, damaged, and made by hand: the layout is written down here once more.

use linedrift::Side;
use linedrift::check::{History, Reading};
use linedrift::simulate::FleetSpec;
use linedrift::wear::{PartError, Reduction, ReductionPart, Shape, WearSpec};
use serde::{Deserialize, Serialize};

const MAGIC: [u8; 8] = *b"ldpart\r\n";
const VERSION: u32 = 1;
const HEAD: usize = 24;

#[derive(Serialize, Deserialize)]
struct Head {
    library: String,
    demo: bool,
    covariates: Vec<String>,
    line_sets: String,
    wings: u64,
}

#[derive(Serialize, Deserialize)]
struct PartWing {
    record: History,
    covariates: Vec<f64>,
    sums: PartSums,
}

#[derive(Serialize, Deserialize)]
enum PartSums {
    Single(Vec<Single>),
    Any(Vec<Cell>),
}

#[derive(Serialize, Deserialize)]
struct Single {
    key: u32,
    check: u32,
    um: i64,
}

#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
struct Cell {
    level: u32,
    check: u32,
    count: u32,
    sum_um: i64,
    squares_um2: i128,
}

impl Cell {
    fn single(level: u32, check: u32, um: i64) -> Self {
        Self { level, check, count: 1, sum_um: um, squares_um2: i128::from(um) * i128::from(um) }
    }
}

fn part() -> ReductionPart {
    let fleet = FleetSpec::demo().wings(6).unchecked_wings(1).adjusted_share(1.0).seed(5).run().unwrap().fleet;
    ReductionPart::new(Reduction::new(&fleet, &[]).unwrap())
}

/// The bytes of a part whose wings were tampered with, with length and checksum to match.
fn forged(change: impl Fn(&mut Head, &mut Vec<PartWing>)) -> Vec<u8> {
    let part = part();
    let mut bytes = Vec::new();
    part.write_to(&mut bytes).unwrap();
    let (mut head, mut rest): (Head, &[u8]) = postcard::take_from_bytes(&bytes[HEAD..]).unwrap();
    let mut wings = Vec::new();
    while !rest.is_empty() {
        let (wing, left): (PartWing, &[u8]) = postcard::take_from_bytes(rest).unwrap();
        wings.push(wing);
        rest = left;
    }
    change(&mut head, &mut wings);
    let mut body = postcard::to_stdvec(&head).unwrap();
    for wing in &wings {
        body.extend(postcard::to_stdvec(wing).unwrap());
    }
    with_head(&body)
}

fn cells(wing: &mut PartWing) -> &mut Vec<Cell> {
    if let PartSums::Single(single) = &wing.sums {
        let all = single.iter().map(|one| Cell::single(one.key, one.check, one.um)).collect();
        wing.sums = PartSums::Any(all);
    }
    match &mut wing.sums {
        PartSums::Any(cells) => cells,
        PartSums::Single(_) => unreachable!(),
    }
}

fn with_head(body: &[u8]) -> Vec<u8> {
    let mut out = MAGIC.to_vec();
    out.extend(VERSION.to_le_bytes());
    out.extend((body.len() as u64).to_le_bytes());
    out.extend(crc32fast::hash(body).to_le_bytes());
    out.extend(body);
    out
}

#[test]
fn a_part_without_a_change_is_read() {
    assert_eq!(ReductionPart::from_bytes(&forged(|_, _| {})), Ok(part()));
    // one form or the other makes no difference
    assert_eq!(ReductionPart::from_bytes(&forged(|_, wings| assert!(!cells(&mut wings[0]).is_empty()))), Ok(part()));
}

/// Writes another nominal length of the first line.
fn length(head: &mut Head, mm: &str) {
    let at = head.line_sets.find("\"nominal_mm\":").unwrap() + 13;
    let end = at + head.line_sets[at..].find(',').unwrap();
    head.line_sets.replace_range(at..end, mm);
}

#[test]
fn parts_made_by_hand_that_contradict_themselves_are_refused() {
    type Change = fn(&mut Head, &mut Vec<PartWing>);
    let changes: [(&str, &str, Change); 27] = [
        ("one wing fewer", "something follows the last wing", |head, _| head.wings -= 1),
        ("one wing more", "its records cannot be read", |head, _| head.wings += 1),
        ("a huge number of wings", "its records cannot be read", |head, _| head.wings = u64::MAX),
        ("no line sets", "a line set that is not there", |head, _| "[]".clone_into(&mut head.line_sets)),
        ("line sets that are no JSON", "its line sets cannot be read", |head, _| "[".clone_into(&mut head.line_sets)),
        ("a nominal length of nought", "lengths of lines or segments", |head, _| length(head, "0")),
        ("a negative nominal length", "lengths of lines or segments", |head, _| length(head, "-6000")),
        ("a segment that is its own parent", "line sets cannot be read", |head, _| {
            head.line_sets = head.line_sets.replacen("\"parent\":null", "\"parent\":0", 1);
        }),
        ("a covariate without values", "covariates", |head, _| head.covariates.push("x".to_owned())),
        ("a line set that is not there", "a line set that is not there", |_, wings| wings[0].record.line_set = 4),
        ("the line set of another model", "the line set of another model", |_, wings| wings[0].record.line_set ^= 1),
        ("wings out of order", "wings out of order", |_, wings| wings.swap(0, 1)),
        ("a wing twice", "wings out of order", |_, wings| wings[1].record.wing.id = wings[0].record.wing.id.clone()),
        ("a check twice", "a check that appears twice", |_, wings| {
            wings[1].record.checks[0].id = wings[0].record.checks[0].id.clone();
        }),
        ("checks out of order", "checks or actions out of order", |_, wings| wings[0].record.checks.reverse()),
        ("hours that are no number", "out of order", |_, wings| wings[0].record.checks[0].hours_h = f64::NAN),
        ("negative hours", "checks", |_, wings| wings[0].record.checks[0].hours_h = -1.0),
        ("a reading", "checks", |_, wings| {
            let reading = Reading { side: Side::Left, line: 0, reading_mm: 1.0, repeat: 1, operator: None };
            wings[0].record.checks[0].readings.push(reading);
        }),
        ("an action on no segment", "actions", |_, wings| {
            let wing = wings.iter_mut().find(|wing| !wing.record.actions.is_empty()).unwrap();
            wing.record.actions.last_mut().unwrap().segment = Some(10_000);
        }),
        ("a change that is no number", "actions", |_, wings| {
            let wing = wings.iter_mut().find(|wing| !wing.record.actions.is_empty()).unwrap();
            wing.record.actions.last_mut().unwrap().change_mm = f64::INFINITY;
        }),
        ("no sums", "sums", |_, wings| cells(&mut wings[0]).clear()),
        ("a line that is not there", "sums that are missing or given twice", |_, wings| {
            cells(&mut wings[0]).last_mut().unwrap().level = 100_000;
        }),
        ("a check that is not there", "sums that are missing or given twice", |_, wings| {
            cells(&mut wings[0]).last_mut().unwrap().check = 1000;
        }),
        ("sums twice", "sums that are missing or given twice", |_, wings| {
            let cells = cells(&mut wings[0]);
            cells.insert(1, cells[0]);
        }),
        ("a count of nought", "sums that no readings can have", |_, wings| cells(&mut wings[0])[0].count = 0),
        ("squares too small", "sums that no readings can have", |_, wings| {
            let cell = &mut cells(&mut wings[0])[0];
            (cell.count, cell.sum_um, cell.squares_um2) = (2, 10, 49);
        }),
        ("squares below nought", "sums that no readings can have", |_, wings| {
            let cell = &mut cells(&mut wings[0])[0];
            (cell.count, cell.squares_um2) = (u32::MAX, i128::MIN);
        }),
    ];
    let mut wrong = Vec::new();
    for (name, word, change) in changes {
        let found = ReductionPart::from_bytes(&forged(change));
        if !matches!(&found, Err(PartError::Unsound { what, .. }) if what.contains(word)) {
            wrong.push(format!("{name}: {:?}", found.map(|_| "read")));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn damaged_bytes_are_refused_wherever_the_damage_is() {
    let mut bytes = Vec::new();
    part().write_to(&mut bytes).unwrap();
    for at in (0..HEAD).chain((HEAD..bytes.len()).step_by(97)) {
        let mut damaged = bytes.clone();
        damaged[at] ^= 0x10;
        assert!(ReductionPart::from_bytes(&damaged).is_err(), "byte {at}");
        assert!(ReductionPart::from_bytes(&bytes[..at]).is_err(), "cut at {at}");
    }
    bytes.push(0);
    assert!(matches!(ReductionPart::from_bytes(&bytes), Err(PartError::Length { .. })));
}

/// With the checksum made to match, damage in the body gives an error or a part, but never a panic.
#[test]
fn no_body_makes_the_reader_panic() {
    let bytes = forged(|_, _| {});
    let body = &bytes[HEAD..];
    for at in (0..body.len()).step_by(body.len() / 40) {
        for flip in [0x01, 0xff] {
            let mut damaged = body.to_vec();
            damaged[at] ^= flip;
            if let Ok(part) = ReductionPart::from_bytes(&with_head(&damaged)) {
                // an error is an answer too; one model will do
                let _ = WearSpec::default().shape(Shape::LINEAR).fit_reduced(part.reduction());
            }
        }
    }
}
