//! Wings with a known fault: what an experienced hand would do is written down first, then the plan is asked.

use linedrift::Date;
use linedrift::check::{Action, ActionKind, Check, History};
use linedrift::plan::{Aim, Direction, Forbidden, Plan, PlanError, PlanSpec, Sides};
use linedrift::trim::{TrimSpec, TrimState};
use linedrift::wing::{Line, LineSet, ModelData, Row, Segment, Side};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};

use crate::plan_patterns::{check, segment};
use crate::plan_search::history;

/// How the invented wing is built.
#[derive(Clone, Copy)]
struct Build {
    /// Whether a loop can be laid at a main; the riser's links are as the table says nothing.
    main: Option<bool>,
    /// A level of middles, two to a main, and whether a loop can be laid there.
    middle: Option<bool>,
    upper: Option<bool>,
}

const PLAIN: Build = Build { main: None, middle: None, upper: Some(false) };

pub(crate) fn line(name: &str, row: Row, rank: u32, count: u32, chord: Option<f64>, segment: usize) -> Line {
    Line {
        name: name.to_owned(),
        row,
        rank,
        nominal_mm: 6000.0,
        span: (f64::from(rank) - 0.5) / f64::from(count) * 0.95,
        span_assumed: false,
        chord,
        main: None,
        tolerance_mm: None,
        side: None,
        segment,
    }
}

/// Rows A, B and C of three mains with four uppers each, and a brake line to eight uppers.
fn wing(build: Build) -> LineSet {
    let (mut segments, mut lines): (Vec<Segment>, Vec<Line>) = (Vec::new(), Vec::new());
    for (row, chord) in [(Row::A, 0.1), (Row::B, 0.35), (Row::C, 0.65)] {
        for group in 0..3 {
            let main = segments.len();
            segments.push(segment(&format!("{row}M{}", group + 1), None, build.main));
            let mut below = main;
            for one in 0..4 {
                let rank: u32 = 4 * group + one + 1;
                if build.middle.is_some() && one % 2 == 0 {
                    below = segments.len();
                    segments.push(segment(&format!("{row}N{}", rank.div_ceil(2)), Some(main), build.middle));
                }
                lines.push(line(&format!("{row}{rank}"), row, rank, 12, Some(chord), segments.len()));
                segments.push(segment(&format!("{row}{rank}"), Some(below), build.upper));
            }
        }
    }
    let brake = segments.len();
    segments.push(segment("KM", None, None));
    for rank in 1..=8 {
        lines.push(line(&format!("K{rank}"), Row::Brake, rank, 8, None, segments.len()));
        segments.push(segment(&format!("K{rank}"), Some(brake), Some(false)));
    }
    let data = ModelData { root_chord_m: Some(2.5), ..ModelData::default() };
    LineSet::new("Rook 2", None, lines, segments).unwrap().with_data(data)
}

fn row(name: &str) -> &str {
    &name[..1]
}

fn rank(name: &str) -> u32 {
    name[1..].parse().unwrap()
}

fn plan(set: &LineSet, off_mm: impl Fn(Side, &str) -> f64) -> Plan {
    PlanSpec::default().run(set, &history(vec![]), &check(set, off_mm), &[]).unwrap()
}

/// Segment and kind of what is done to a side.
fn work(plan: &Plan, side: Side) -> Vec<(String, ActionKind, i32)> {
    let of_side = plan.actions.iter().filter(|action| action.side == side);
    let place = |action: &linedrift::plan::PlannedAction| action.segment.clone().unwrap_or_default();
    of_side.map(|action| (place(action), action.kind, action.turns)).collect()
}

fn alike(plan: &Plan) {
    assert_eq!(work(plan, Side::Left), work(plan, Side::Right), "{plan}");
}

fn places(plan: &Plan, side: Side) -> Vec<String> {
    work(plan, side).into_iter().map(|(place, ..)| place).collect()
}

fn left_deg(plan: &Plan) -> (f64, f64) {
    (plan.after.incidence_change_deg.value.unwrap().abs(), plan.after.asymmetry_deg.value.unwrap().abs())
}

/// Every line is within tolerance, and yet the wing is half a degree out: it is not left so, and both sides get the same.
#[test]
fn a_long_and_c_short_on_both_sides() {
    let set = wing(PLAIN);
    let out = |_: Side, name: &str| match row(name) {
        "A" => 7.0,
        "C" => -7.0,
        _ => 0.0,
    };
    let plan = plan(&set, out);
    assert_eq!(plan.before.outside, 0);
    assert!(plan.before.incidence_change_deg.value.unwrap() > 0.5, "{plan}");
    let (incidence, asymmetry) = left_deg(&plan);
    assert!(incidence < 0.15 && asymmetry < 0.01 && plan.after.outside == 0, "{plan}");
    alike(&plan);
    assert!(
        places(&plan, Side::Left).iter().all(|place| place.starts_with("AM") || place.starts_with("CM")),
        "{plan}"
    );
    assert!(plan.optimal);
}

/// The sides are 24 mm apart: that is said, and the work is done where it is needed, not to both.
#[test]
fn one_side_shrunk() {
    let set = wing(PLAIN);
    let plan = plan(&set, |side, name| if side == Side::Left && row(name) != "K" { -24.0 } else { 0.0 });
    assert!(plan.notes.iter().any(|note| note.code == "sides_differ"), "{plan}");
    assert!(plan.before.outside > 60 && plan.after.outside == 0, "{plan}");
    assert_ne!(work(&plan, Side::Left), work(&plan, Side::Right));
    assert!(left_deg(&plan).1 < 0.15, "{plan}");
    for action in &plan.actions {
        assert_eq!(action.change_mm > 0.0, action.side == Side::Left, "{plan}");
    }
}

/// Shrunk tips are let out at the tips' mains, on both sides.
#[test]
fn tips_short_on_both_sides() {
    let set = wing(PLAIN);
    let plan = plan(&set, |_, name| if row(name) != "K" && rank(name) > 8 { -25.0 } else { 0.0 });
    alike(&plan);
    assert_eq!(plan.before.outside, 24);
    assert_eq!(plan.after.outside, 0, "{plan}");
    assert!(plan.actions.iter().all(|action| action.change_mm > 0.0), "{plan}");
    assert!(places(&plan, Side::Left).iter().all(|place| place.ends_with("M3")), "{plan}");
}

/// One group torn long in a tree: it is shortened on its side, and the other side is left alone.
#[test]
fn a_tree_landing() {
    let set = wing(PLAIN);
    let plan =
        plan(
            &set,
            |side, name| {
                if side == Side::Left && row(name) == "B" && (5..=8).contains(&rank(name)) { 34.0 } else { 0.0 }
            },
        );
    assert_eq!(places(&plan, Side::Left), ["BM2"]);
    assert!(places(&plan, Side::Right).is_empty() && plan.after.outside == 0, "{plan}");
    assert!(plan.notes.iter().any(|note| note.code == "sides_differ" && note.message.contains("BM2")), "{plan}");
}

/// A main that takes no loop is replaced or spliced, never eight lines worked on for it.
#[test]
fn a_main_without_a_loop() {
    for upper in [Some(false), Some(true)] {
        let set = wing(Build { main: Some(false), upper, ..PLAIN });
        let plan = plan(&set, |_, name| if row(name) == "A" && rank(name) <= 4 { 20.0 } else { 0.0 });
        alike(&plan);
        assert_eq!(work(&plan, Side::Left), [("AM1".to_owned(), ActionKind::ReplaceLine, 0)], "{plan}");
        assert_eq!(plan.actions[0].change_mm, -20.0);
        assert_eq!(plan.after.outside, 0);
        let text = plan.to_string().split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(text.contains("AM1 is 20 mm too long on both sides: replace it, or re-splice it"), "{text}");
    }
}

/// Brakes off together are set at the handle, the same on both sides, and the free travel is checked.
#[test]
fn brakes_long_and_short() {
    let set = wing(PLAIN);
    for off in [45.0, -45.0] {
        let plan = plan(&set, |_, name| if row(name) == "K" { off } else { 0.0 });
        alike(&plan);
        assert_eq!(work(&plan, Side::Left), [("KM".to_owned(), ActionKind::BrakeHandle, 0)], "{plan}");
        assert!((plan.actions[0].change_mm + off).abs() < 1.0, "{plan}");
        assert!(plan.notes.iter().any(|note| note.message.contains("check the free travel")), "{plan}");
        assert_eq!((plan.before.outside, plan.after.outside), (16, 0));
    }
}

/// A middle that is off is corrected at the middle: the lines of its neighbour are right.
#[test]
fn a_middle_20_mm_long() {
    let set = wing(Build { middle: Some(true), ..PLAIN });
    let plan = plan(&set, |_, name| if ["C5", "C6"].contains(&name) { 20.0 } else { 0.0 });
    alike(&plan);
    assert_eq!(places(&plan, Side::Right), ["CN3"], "{plan}");
    assert_eq!(plan.after.outside, 0);
}

/// Where a link was put in before, no other is put on it; it can be taken out.
#[test]
fn no_link_on_a_link() {
    let set = wing(PLAIN);
    let at = set.find_segment("CM1").unwrap();
    let linked = Side::BOTH.map(|side| Action {
        date: Date::constant(2023, 5, 1),
        hours_h: 20.0,
        side,
        segment: Some(at),
        kind: ActionKind::SmallLink,
        change_mm: 8.0,
        turns: None,
        check: None,
    });
    let mut before = history(vec![]);
    before.actions = linked.to_vec();
    let aimed = |before: &History, off: f64, spec: PlanSpec| {
        let check = check(&set, |_, name| if row(name) == "C" && rank(name) <= 4 { off } else { 0.0 });
        spec.run(&set, before, &check, &[]).unwrap()
    };
    let run = |before: &History, off: f64| aimed(before, off, PlanSpec::default());
    let free = run(&history(vec![]), -12.0);
    assert!(places(&free, Side::Left) == ["CM1"] && free.actions[0].kind == ActionKind::LargerLink, "{free}");
    let kinds = [ActionKind::SmallLink, ActionKind::LargerLink];
    let stacked = run(&before, -12.0);
    assert!(stacked.actions.iter().all(|action| !kinds.contains(&action.kind)), "{stacked}");
    // within tolerance: left alone unless an aim is given
    assert!(run(&before, 8.5).actions.is_empty());
    let long = aimed(&before, 8.5, PlanSpec::default().aim(Aim::Trim));
    alike(&long);
    assert_eq!(work(&long, Side::Left), [("CM1".to_owned(), ActionKind::SmallLink, 0)], "{long}");
    assert_eq!(long.actions[0].change_mm, -8.0);
}

/// Half a main's lines long, where the lines take no loop: those lines are replaced or re-spliced, and the others are left as they are.
#[test]
fn two_lines_of_one_main_long_on_both_sides() {
    let set = wing(PLAIN);
    let plan = plan(&set, |_, name| if ["B3", "B4"].contains(&name) { 20.0 } else { 0.0 });
    alike(&plan);
    assert_eq!(places(&plan, Side::Left), ["B3", "B4"], "{plan}");
    assert!(plan.actions.iter().all(|one| one.kind == ActionKind::ReplaceLine && one.change_mm == -20.0), "{plan}");
}

/// Without segments the mains that the lines name are the places; without those the plan says which column is missing.
#[test]
fn mains_of_the_line_table_are_places() {
    let cascade = wing(PLAIN);
    let mut lines = cascade.lines().to_vec();
    let mut segments = Vec::new();
    for line in &mut lines {
        let parent = cascade.segments()[line.segment].parent.unwrap();
        line.main = Some(cascade.segments()[parent].name.clone());
        line.segment = segments.len();
        segments.push(segment(&line.name, None, None));
    }
    let build = |lines: Vec<Line>| {
        let set = LineSet::new("Rook 2", None, lines, segments.clone()).unwrap().without_cascade();
        set.with_data(*cascade.data())
    };
    let off = |_: Side, name: &str| match (row(name), rank(name)) {
        ("A", 1..=4) => 12.0,
        ("B", 7) => 14.0,
        ("K", _) => -45.0,
        _ => 0.0,
    };
    let set = build(lines.clone());
    let plan_of = plan(&set, off);
    alike(&plan_of);
    assert_eq!(places(&plan_of, Side::Left), ["AM1", "KM"], "{plan_of}");
    // recorded line by line, so that the tables say which lines were moved, and one action when it is read back
    let rows = plan_of.actions(Date::constant(2024, 5, 2), 80.0, None);
    assert_eq!(rows.len(), 2 * (4 + 8));
    let again = PlanSpec::default().what_if(&set, &history(vec![]), &check(&set, off), &[], &rows).unwrap();
    assert_eq!(again.actions, plan_of.actions);

    lines.iter_mut().for_each(|line| line.main = None);
    let bare = plan(&build(lines), |_, name| if row(name) == "A" { 14.0 } else { 0.0 });
    assert!(bare.actions.is_empty(), "{bare}");
    assert!(bare.notes.iter().any(|note| note.message.contains("column `main` of `lines`")), "{bare}");
}

/// What the call rules out is not proposed, and what contradicts itself is refused.
#[test]
fn constraints_from_the_call() {
    let set = wing(Build { upper: Some(true), ..PLAIN });
    let off = |_: Side, name: &str| match (row(name), rank(name)) {
        ("A", 1..=4) => 13.0,
        ("C", 1..=4) => -13.0,
        _ => 0.0,
    };
    let check = check(&set, off);
    let run = |spec: PlanSpec| spec.run(&set, &history(vec![]), &check, &[]);
    let main = Forbidden { segment: "AM1".to_owned(), side: None };
    let plan = run(PlanSpec::default().forbidden(std::slice::from_ref(&main))).unwrap();
    assert!(plan.actions.iter().all(|action| action.segment.as_deref() != Some("AM1")), "{plan}");
    assert_eq!(plan.after.outside, 0);
    for (direction, sign) in [(Direction::Shorten, -1.0), (Direction::Lengthen, 1.0)] {
        let plan = run(PlanSpec::default().only(direction)).unwrap();
        assert!(
            !plan.actions.is_empty() && plan.actions.iter().all(|action| action.change_mm * sign > 0.0),
            "{plan}"
        );
    }
    for most in 0..5 {
        let plan = run(PlanSpec::default().most_actions(most)).unwrap();
        assert!(plan.actions.len() <= most, "{plan}");
    }
    let unknown = Forbidden { segment: "QM9".to_owned(), side: Some(Side::Left) };
    assert!(
        matches!(run(PlanSpec::default().forbidden(&[unknown])), Err(PlanError::NoSegment { segment, .. }) if segment == "QM9")
    );
    let spec = PlanSpec::default().forbidden(&[main]);
    let given = spec.given(&set, &history(vec![]), &check, &["AM1:left:turn".parse().unwrap()]).unwrap();
    let refused = spec.what_if(&set, &history(vec![]), &check, &[], &given);
    assert!(matches!(refused, Err(PlanError::Forbidden { .. })), "{refused:?}");
}

/// Stretching is proposed only where it was asked for, at the rear, and the plan says that it does not last.
#[test]
fn stretching_is_off_by_default() {
    let set = wing(Build { main: Some(false), ..PLAIN });
    let short = check(&set, |_, name| if row(name) == "C" { -12.0 } else { 0.0 });
    let spec = PlanSpec::default().small_links_mm(&[]).larger_links_mm(&[]).without(&[ActionKind::ReplaceLine]);
    let plain = spec.run(&set, &history(vec![]), &short, &[]).unwrap();
    assert!(plain.actions.is_empty(), "{plain}");
    let plan = spec.stretch_mm(15.0).run(&set, &history(vec![]), &short, &[]).unwrap();
    alike(&plan);
    assert_eq!(places(&plan, Side::Left), ["CM1", "CM2", "CM3"]);
    assert!(
        plan.actions.iter().all(|action| action.kind == ActionKind::Stretch && action.standard_mm > 3.0),
        "{plan}"
    );
    assert!(plan.notes.iter().any(|note| note.code == "stretch"), "{plan}");
}

/// The recommended plan follows the stated rule, whatever the wing: fewest lines outside, then no more than 0.15° left, then
/// work; and each aim can be asked for.
#[test]
fn the_recommended_plan_follows_the_rule() {
    let set = wing(PLAIN);
    let noise = Normal::new(0.0, 4.0).unwrap();
    let (mut chosen, mut in_trim) = ([0; 3], 0);
    for seed in 0..40 {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut check: Check = check(&set, |_, name| if row(name) == "C" { -6.0 } else { 0.0 });
        for reading in &mut check.readings {
            reading.reading_mm = (reading.reading_mm + noise.sample(&mut rng)).round();
        }
        let run = |spec: PlanSpec| spec.run(&set, &history(vec![]), &check, &[]).unwrap();
        let plan = run(PlanSpec::default());
        assert_eq!(plan.alternatives.len(), 2);
        // a wing in trim is left alone
        if TrimSpec::default().run(&set, &history(vec![]).wing, &check).unwrap().state == TrimState::InTrim {
            assert!(plan.actions.is_empty(), "{plan}");
            in_trim += 1;
            continue;
        }
        chosen[usize::from(plan.aim != Aim::Work) + usize::from(plan.aim == Aim::Table)] += 1;
        let left =
            |incidence: Option<f64>, asymmetry: Option<f64>| incidence.unwrap().abs().max(asymmetry.unwrap().abs());
        let own = left(plan.after.incidence_change_deg.value, plan.after.asymmetry_deg.value);
        for other in &plan.alternatives {
            let asked = run(PlanSpec::default().aim(other.aim));
            assert_eq!((asked.aim, asked.actions.len()), (other.aim, other.actions));
            assert_eq!(asked.after.incidence_change_deg.value, other.incidence_change_deg);
            assert!(plan.after.outside <= other.outside, "{plan}");
            if plan.after.outside == other.outside && left(other.incidence_change_deg, other.asymmetry_deg) <= 0.15 {
                assert!(own <= 0.15, "{plan}");
            }
        }
    }
    assert!(chosen[0] > 0 && chosen[1] > 0 && in_trim < 30, "{chosen:?}, {in_trim} in trim");
}

/// Two hundred wings whose sides are alike but for the reading: what is left between them, in the readings and in truth.
#[test]
fn symmetric_noisy_wings_stay_symmetric() {
    let set = wing(PLAIN);
    let (built, noise) = (Normal::new(0.0, 5.0).unwrap(), Normal::new(0.0, 1.5).unwrap());
    let (mut left, mut uneven) = (Vec::new(), 0);
    for seed in 0..200 {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let rows: Vec<f64> = (0..4).map(|_| built.sample(&mut rng)).collect();
        let lines: Vec<f64> =
            set.lines().iter().map(|line| rows[line.row.index().min(3)] + built.sample(&mut rng)).collect();
        let mut check = check(&set, |_, _| 0.0);
        for reading in &mut check.readings {
            reading.reading_mm = (reading.reading_mm + lines[reading.line] + noise.sample(&mut rng)).round();
        }
        let plan = PlanSpec::default().run(&set, &history(vec![]), &check, &[]).unwrap();
        uneven += usize::from(work(&plan, Side::Left) != work(&plan, Side::Right));
        left.push(plan.after.asymmetry_deg.value.unwrap().abs());
        let separate = PlanSpec::default().sides(Sides::Separate).run(&set, &history(vec![]), &check, &[]).unwrap();
        assert!(separate.optimal && plan.optimal);
    }
    left.sort_by(f64::total_cmp);
    println!("median {:.3}\u{b0} left between the sides, {uneven} of 200 with unlike work", left[100]);
    assert!(left[100] < 0.05, "{}", left[100]);
    // 5 % by the level of the test, and those whose asymmetry as a whole is certain, which are 5 % again
    assert!(uneven < 20, "{uneven}");
}
