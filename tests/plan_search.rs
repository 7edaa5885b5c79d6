//! The search against trying everything, on thousands of small trees.
//!
//! The trying is written anew here, with its own costs, weights and uncertainties in floating point: only the list of steps
//! possible at a place comes from the crate.

use linedrift::Date;
use linedrift::check::{ActionKind, Check, Fitting, History, Reading};
use linedrift::plan::{Aim, Groups, OfferedStep, PlanSpec, Sides, Step, Target};
use linedrift::trim::{Limits, TrimSpec};
use linedrift::wing::{Line, LineSet, Row, Segment, Side, Wing};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Most combinations that are tried in one case.
const MOST_TRIED: usize = 3000;
/// The search counts cost in millionths of a unit, rounded line by line.
const COST_TOLERANCE: f64 = 1e-4;

struct Small {
    set: LineSet,
    history: History,
    check: Check,
}

pub(crate) fn history(fittings: Vec<Fitting>) -> History {
    History { wing: Wing::new("w3", "Rook 2"), line_set: 0, checks: vec![], actions: vec![], fittings }
}

fn small(rng: &mut ChaCha8Rng, one_side: bool, with_fittings: bool) -> Small {
    let rows = [Row::A, Row::A, Row::B, Row::C, Row::Stabilo, Row::Brake];
    let mut segments: Vec<Segment> = Vec::new();
    let mut lines: Vec<Line> = Vec::new();
    let count = rng.random_range(2..6);
    for _ in 0..count {
        let parent = if segments.is_empty() || rng.random_bool(0.25) {
            None
        } else {
            Some(rng.random_range(0..segments.len()))
        };
        segments.push(Segment {
            name: format!("s{}", segments.len()),
            parent,
            material: "uhmwpe".to_owned(),
            length_mm: 2000.0,
            diameter_mm: rng.random_bool(0.5).then(|| rng.random_range(0.7..2.0)),
            can_loop: [None, Some(true), Some(false)][rng.random_range(0..3)],
        });
    }
    for segment in 0..segments.len() {
        let is_top = segments.iter().all(|other| other.parent != Some(segment));
        let own = usize::from(is_top) + usize::from(rng.random_bool(0.3));
        for _ in 0..own {
            lines.push(Line {
                name: format!("l{}", lines.len()),
                row: rows[rng.random_range(0..rows.len())],
                rank: 1,
                nominal_mm: 6000.0,
                span: rng.random_range(0.0..1.0),
                span_assumed: false,
                chord: None,
                main: None,
                tolerance_mm: rng.random_bool(0.3).then(|| rng.random_range(4.0..15.0)),
                side: one_side.then_some(Side::Left),
                segment,
            });
        }
    }
    lines[0].row = Row::A;
    let mut fittings = Vec::new();
    if with_fittings {
        for side in Side::BOTH {
            for segment in 0..segments.len() {
                if rng.random_bool(0.5) {
                    fittings.push(Fitting {
                        side,
                        segment,
                        turns: rng.random_bool(0.6).then(|| f64::from(rng.random_range(0..3))),
                        spare_mm: rng.random_bool(0.3).then(|| rng.random_range(0.0..30.0)),
                        can_loop: rng.random_bool(0.3).then(|| rng.random_bool(0.5)),
                        link_diameter_mm: rng.random_bool(0.3).then(|| rng.random_range(3.0..7.0)),
                        step_mm: rng.random_bool(0.3).then(|| rng.random_range(6.0..14.0)),
                    });
                }
            }
        }
    }
    let set = LineSet::new("Rook 2", None, lines, segments).unwrap();
    let mut check = Check::new("c1", Date::constant(2024, 5, 1), 80.0);
    let level = rng.random_range(-40.0..40.0);
    let main_off: Vec<f64> = (0..2 * set.segments().len()).map(|_| rng.random_range(-14.0..14.0)).collect();
    for side in Side::BOTH {
        for (line, drawn) in set.lines().iter().enumerate().filter(|(line, _)| set.has(*line, side)) {
            let off: f64 = set.path_indices(line).map(|at| main_off[2 * at + side.index()]).sum();
            let must_read = line == 0 && side == Side::Left;
            if must_read || rng.random_bool(0.9) {
                let reading_mm = (drawn.nominal_mm + level + off + rng.random_range(-4.0..4.0)).round();
                check.readings.push(Reading { side, line, reading_mm, repeat: 1, operator: None });
            }
        }
    }
    Small { set, history: history(fittings), check }
}

/// A line as the trying sees it.
struct Seen {
    side: Side,
    line: usize,
    row: Row,
    off_mm: f64,
    tolerance_mm: f64,
    weight: f64,
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    let n = values.len();
    if n % 2 == 1 { values[n / 2] } else { f64::midpoint(values[n / 2 - 1], values[n / 2]) }
}

fn common_of(small: &Small) -> f64 {
    let trim = |reading: &&Reading| small.set.lines()[reading.line].row.is_trim();
    median(small.check.readings.iter().filter(trim).map(|reading| reading.reading_mm - 6000.0).collect())
}

fn offs(small: &Small, target_mm: f64) -> Vec<Seen> {
    let drawn = |line: usize| &small.set.lines()[line];
    let loading = |span: f64| 4.0 / std::f64::consts::PI * (1.0 - span * span).sqrt();
    let of_trim: Vec<f64> = small
        .check
        .readings
        .iter()
        .filter(|reading| drawn(reading.line).row.is_trim())
        .map(|reading| loading(drawn(reading.line).span))
        .collect();
    let mean = of_trim.iter().sum::<f64>() / of_trim.len() as f64;
    small
        .check
        .readings
        .iter()
        .map(|reading| {
            let line = drawn(reading.line);
            let usual = if line.row == Row::Brake { 20.0 } else { 10.0 };
            Seen {
                side: reading.side,
                line: reading.line,
                row: line.row,
                off_mm: reading.reading_mm - 6000.0 - target_mm,
                tolerance_mm: line.tolerance_mm.unwrap_or(usual),
                weight: loading(line.span) / mean,
            }
        })
        .collect()
}

/// Expanded uncertainty of the mean of some lines by the default budget.
fn guard(lines: &[&Seen], absolute: bool) -> f64 {
    let n = lines.len() as f64;
    let own = (1.0 + (1.0f64 * 0.224).powi(2) / 3.0) / n;
    let mut rows = 0.0;
    for side in Side::BOTH {
        for row in Row::ALL {
            let here = lines.iter().filter(|line| line.side == side && line.row == row).count() as f64;
            rows += (here / n).powi(2) / 3.0;
        }
    }
    let shared = if absolute { 1.5f64.powi(2) / 3.0 + 0.758f64.powi(2) / 3.0 } else { 0.0 };
    2.0 * (own + rows + shared).sqrt()
}

/// A place where something can be done: on one side, or on both alike.
struct Spot {
    sides: Vec<Side>,
    segment: usize,
    level: u32,
    steps: Vec<Step>,
}

fn level(set: &LineSet, segment: usize) -> u32 {
    set.segments()[segment].parent.map_or(0, |below| 1 + level(set, below))
}

fn is_above(set: &LineSet, line: usize, segment: usize) -> bool {
    set.path_indices(line).any(|at| at == segment)
}

fn spots(spec: &PlanSpec, small: &Small, offs: &[Seen], groups: &[Vec<Side>]) -> Vec<Spot> {
    let set = &small.set;
    let mut found = Vec::new();
    for group in groups {
        for segment in 0..set.segments().len() {
            let mut root = segment;
            while let Some(below) = set.segments()[root].parent {
                root = below;
            }
            let on_root = |off: &&Seen| group.contains(&off.side) && is_above(set, off.line, root);
            let touches =
                offs.iter().filter(on_root).any(|off| off.row.is_trim() || off.off_mm.abs() > off.tolerance_mm);
            let known_enough = group.iter().all(|side| {
                let total =
                    (0..set.lines().len()).filter(|&l| set.has(l, *side) && is_above(set, l, segment)).count();
                let known = offs.iter().filter(|off| off.side == *side && is_above(set, off.line, segment)).count();
                known > 0 && 2 * known >= total
            });
            if touches && known_enough {
                let steps = spec.steps(set, &small.history, group[0], segment).unwrap();
                found.push(Spot { sides: group.clone(), segment, level: level(set, segment), steps });
            }
        }
    }
    found
}

#[derive(Clone, Copy, PartialEq, Debug)]
struct Price {
    outside: usize,
    cost: f64,
    actions: usize,
}

impl Price {
    fn less(&self, other: &Price) -> bool {
        (self.outside, self.cost) < (other.outside, other.cost)
    }
}

/// Tries every combination; the best with at most 0, 1, 2, … actions.
fn try_all(small: &Small, offs: &[Seen], spots: &[Spot], absolute: bool) -> Vec<Price> {
    let set = &small.set;
    let mut best: Vec<Option<Price>> = vec![None; 2 * spots.len() + 1];
    let mut digits = vec![0usize; spots.len()];
    loop {
        let change = |at: usize| digits[at].checked_sub(1).map_or(0.0, |step| spots[at].steps[step].change_mm);
        let moved = |off: &Seen, below: Option<usize>| -> f64 {
            let on_path = |spot: &Spot| {
                spot.sides.contains(&off.side)
                    && is_above(set, off.line, spot.segment)
                    && below.is_none_or(|limit| spot.segment != limit && path_has(set, limit, spot.segment))
            };
            (0..spots.len()).filter(|&at| on_path(&spots[at])).map(change).sum()
        };
        let allowed = (0..spots.len()).filter(|&at| digits[at] > 0).all(|at| {
            let spot = &spots[at];
            let above = |off: &&Seen| spot.sides.contains(&off.side) && is_above(set, off.line, spot.segment);
            let lines: Vec<&Seen> = offs.iter().filter(above).collect();
            let limit = guard(&lines, absolute);
            let mean =
                lines.iter().map(|off| off.off_mm + moved(off, Some(spot.segment))).sum::<f64>() / lines.len() as f64;
            mean.abs() > limit && change(at) * -mean.signum() > limit
        });
        if allowed {
            let mut cost = Price { outside: 0, cost: 0.0, actions: 0 };
            for off in offs {
                let after = off.off_mm + moved(off, None);
                cost.outside += usize::from(after.abs() > off.tolerance_mm);
                cost.cost += off.weight * (after / off.tolerance_mm).powi(2);
            }
            for at in (0..spots.len()).filter(|&at| digits[at] > 0) {
                let spot = &spots[at];
                let on_way = |other: &usize| {
                    *other != at
                        && spots[*other].sides.contains(&spot.sides[0])
                        && path_has(set, spot.segment, spots[*other].segment)
                };
                let below: f64 = (0..spots.len()).filter(on_way).map(change).sum();
                // what undoes part of what was done below it costs as much as a replacement on top
                let undoing = if below * change(at) < -1e-9 { 6.0 } else { 0.0 };
                let price = spot.steps[digits[at] - 1].price.unwrap_or(2.0) + undoing;
                cost.cost += spot.sides.len() as f64 * price * (1.0 + 0.25 * f64::from(spot.level));
                cost.actions += spots[at].sides.len();
            }
            for known in &mut best[cost.actions..] {
                if known.is_none_or(|known| cost.less(&known)) {
                    *known = Some(cost);
                }
            }
        }
        let Some(next) = (0..spots.len()).find(|&at| digits[at] < spots[at].steps.len()) else { break };
        digits[next] += 1;
        digits[..next].fill(0);
    }
    best.into_iter().map(Option::unwrap).collect()
}

/// Whether a segment lies on the way from another down to the riser.
fn path_has(set: &LineSet, from: usize, wanted: usize) -> bool {
    std::iter::successors(Some(from), |&at| set.segments()[at].parent).any(|at| at == wanted)
}

fn combinations(spots: &[Spot]) -> usize {
    spots.iter().map(|spot| spot.steps.len() + 1).product()
}

struct Tally {
    compared: usize,
    with_actions: usize,
}

/// The least work by steps of given sizes at each place for itself, which the trying knows; what is set to need, and whole
/// groups, have tests of their own.
fn sized() -> PlanSpec {
    let needed = [ActionKind::ReplaceLine, ActionKind::BrakeHandle];
    PlanSpec::default().groups(Groups::Each).aim(Aim::Work).larger_links_mm(&[]).without(&needed)
}

/// Compares plans with trying over many seeds, and says how many cases there were and how many called for work.
fn compare(seeds: std::ops::Range<u64>, spec: &PlanSpec, sides: Sides, one_side: bool, absolute: bool) -> Tally {
    let spec = spec.clone().sides(sides).most_turns(2).doubtful_mm(10_000.0);
    let groups: Vec<Vec<Side>> = match (one_side, sides) {
        (true, _) => vec![vec![Side::Left]],
        (false, Sides::Separate | Sides::Auto) => vec![vec![Side::Left], vec![Side::Right]],
        (false, Sides::Same) => vec![Side::BOTH.to_vec()],
    };
    let mut tally = Tally { compared: 0, with_actions: 0 };
    for seed in seeds {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let small = small(&mut rng, one_side, sides == Sides::Separate);
        let target_mm = if absolute { 0.0 } else { common_of(&small).clamp(-50.0, 50.0) };
        let offs = offs(&small, target_mm);
        let spots = spots(&spec, &small, &offs, &groups);
        if combinations(&spots) > MOST_TRIED {
            continue;
        }
        let tried = try_all(&small, &offs, &spots, absolute);
        let plan = spec.run(&small.set, &small.history, &small.check, &[]).unwrap();
        // a set so far off that its datum is asked about
        if plan.notes.iter().any(|note| note.code == "not_judged") {
            continue;
        }
        let best = tried.last().unwrap();
        assert!(plan.optimal);
        assert_eq!(plan.objective.outside, best.outside, "seed {seed}: {plan}");
        assert!((plan.objective.cost() - best.cost).abs() < COST_TOLERANCE, "seed {seed}: {best:?} against {plan}");
        let curve = spec.curve(&small.set, &small.history, &small.check, &[]).unwrap();
        for point in &curve {
            let best = &tried[point.most_actions.min(tried.len() - 1)];
            assert!(point.actions.len() <= point.most_actions);
            assert_eq!(point.objective.outside, best.outside, "seed {seed}, {} actions", point.most_actions);
            let gap = (point.objective.cost() - best.cost).abs();
            assert!(gap < COST_TOLERANCE, "seed {seed}, {} actions: {best:?}", point.most_actions);
        }
        assert_eq!(curve.last().unwrap().objective, plan.objective);
        tally.compared += 1;
        tally.with_actions += usize::from(!plan.actions.is_empty());
    }
    tally
}

#[test]
fn the_search_finds_what_trying_everything_finds() {
    let spec = sized();
    let one = compare(0..2500, &spec, Sides::Separate, true, false);
    assert!(one.compared > 2000 && one.with_actions > 400, "{} {}", one.compared, one.with_actions);
    let both = compare(10_000..12_000, &spec, Sides::Separate, false, false);
    assert!(both.compared > 500 && both.with_actions > 200, "{} {}", both.compared, both.with_actions);
}

#[test]
fn the_same_work_on_both_sides_and_the_makers_lengths_are_as_exact() {
    let same = compare(20_000..21_000, &sized(), Sides::Same, false, false);
    assert!(same.compared > 700 && same.with_actions > 100, "{} {}", same.compared, same.with_actions);
    let maker = sized().target(Target::Maker);
    let maker = compare(30_000..31_000, &maker, Sides::Separate, true, true);
    assert!(maker.compared > 700 && maker.with_actions > 300, "{} {}", maker.compared, maker.with_actions);
}

// A workshop's own list: each kind of step with its own size and price.
#[test]
fn a_workshops_own_steps_are_as_exact() {
    let own = |kind, change_mm, price| OfferedStep { change_mm: Some(change_mm), price, ..OfferedStep::new(kind) };
    let turn = OfferedStep { most: Some(2), ..own(ActionKind::Turn, -7.0, Some(0.5)) };
    let steps = [
        turn,
        own(ActionKind::SmallLink, 9.0, Some(1.0)),
        own(ActionKind::Splice, -15.0, None),
        own(ActionKind::Splice, 15.0, None),
    ];
    let spec = sized().offered(&steps);
    let found = compare(40_000..40_800, &spec, Sides::Separate, true, false);
    assert!(found.compared > 500 && found.with_actions > 150, "{} {}", found.compared, found.with_actions);
}

#[test]
fn a_free_target_is_the_best_of_all_whole_millimetres() {
    let mut moved = 0;
    for seed in 40_000..40_150 {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let small = small(&mut rng, true, true);
        let spec = sized()
            .target(Target::Free)
            .trim(TrimSpec::default().limits(Limits::default().offset_mm(8.0)))
            .most_turns(2)
            .doubtful_mm(10_000.0);
        let mut best: Option<Price> = None;
        let mut too_many = false;
        for target in -8..=8 {
            let offs = offs(&small, f64::from(target));
            let spots = spots(&spec, &small, &offs, &[vec![Side::Left]]);
            too_many |= combinations(&spots) > 1000;
            if too_many {
                break;
            }
            let found = *try_all(&small, &offs, &spots, false).last().unwrap();
            if best.is_none_or(|best| found.less(&best)) {
                best = Some(found);
            }
        }
        let (Some(best), false) = (best, too_many) else { continue };
        let plan = spec.run(&small.set, &small.history, &small.check, &[]).unwrap();
        if plan.notes.iter().any(|note| note.code == "not_judged") {
            continue;
        }
        assert_eq!(plan.objective.outside, best.outside, "seed {seed}");
        assert!((plan.objective.cost() - best.cost).abs() < COST_TOLERANCE, "seed {seed}: {best:?} against {plan}");
        assert!(plan.target_mm.abs() <= 8.0 && plan.target_mm.fract() == 0.0);
        moved += usize::from(plan.target_mm != 0.0);
    }
    assert!(moved > 30, "{moved}");
}

/// Left and right exchanged exchanges the work, and a longer datum changes nothing.
#[test]
fn the_mirrored_wing_gets_the_mirrored_plan() {
    let mut with_actions = 0;
    for seed in 60_000..60_200 {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let small = small(&mut rng, false, true);
        let (mut mirrored, mut history) = (small.check.clone(), small.history.clone());
        mirrored.datum_mm = 37.0;
        for reading in &mut mirrored.readings {
            reading.side = reading.side.mirror();
            reading.reading_mm += 37.0;
        }
        for fitting in &mut history.fittings {
            fitting.side = fitting.side.mirror();
        }
        let spec = PlanSpec::default();
        let plan = spec.run(&small.set, &small.history, &small.check, &[]).unwrap();
        let other = spec.run(&small.set, &history, &mirrored, &[]).unwrap();
        let work = |plan: &linedrift::plan::Plan, mirror: bool| {
            let side = |side: Side| if mirror { side.mirror() } else { side };
            let mut work: Vec<_> = plan
                .actions
                .iter()
                .map(|action| (side(action.side), action.segments.clone(), action.kind, action.turns))
                .collect();
            work.sort_unstable();
            work
        };
        assert_eq!(work(&plan, false), work(&other, true), "seed {seed}");
        with_actions += usize::from(!plan.actions.is_empty());
    }
    assert!(with_actions > 50, "{with_actions}");
}

/// The order of the table and of the readings changes nothing.
#[test]
fn the_order_of_the_readings_does_not_show() {
    for seed in 50_000..50_100 {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let small = small(&mut rng, false, true);
        let mut turned = small.check.clone();
        turned.readings.reverse();
        let spec = PlanSpec::default();
        let plan = spec.run(&small.set, &small.history, &small.check, &[]).unwrap();
        assert_eq!(plan, spec.run(&small.set, &small.history, &turned, &[]).unwrap(), "seed {seed}");
    }
}
