//! The trees of segments that the search runs on, with the cost of every line.

use super::case::Case;
use super::places::Choice;
use crate::check::ActionKind;
use crate::wing::Side;

/// Units of cost in one: costs are whole millionths, so that sums are exact and ties are ties.
const UNITS: f64 = 1e6;

/// What a plan is judged by, in the order of the fields; smaller is better.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub(super) struct Key {
    /// Lines further from the target than their tolerance.
    pub(super) outside: u32,
    /// `Σ w·(deviation/tolerance)² + Σ price`, in millionths.
    pub(super) cost: u64,
    /// Actions.
    pub(super) actions: u32,
    /// Levels away from the riser, summed over actions.
    pub(super) levels: u32,
    /// Absolute changes, summed over actions, µm.
    pub(super) moved_um: u64,
}

impl Key {
    pub(super) fn plus(self, other: Key) -> Key {
        Key {
            outside: self.outside.saturating_add(other.outside),
            cost: self.cost.saturating_add(other.cost),
            actions: self.actions.saturating_add(other.actions),
            levels: self.levels.saturating_add(other.levels),
            moved_um: self.moved_um.saturating_add(other.moved_um),
        }
    }
}

/// Whole millionths of a cost; past the range of the type its end.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a cast from a float saturates")]
fn units(cost: f64) -> u64 {
    (cost * UNITS).round() as u64
}

/// Corrections accumulated up to a place on the sides that the tree stands for, µm.
pub(super) type Correction = [i64; 2];

/// One choice at a node.
#[derive(Debug, Clone)]
pub(super) struct NodeChoice {
    pub(super) change_um: Correction,
    pub(super) key: Key,
    /// Index of the choice among its place's, per side of the node.
    pub(super) at: [usize; 2],
}

#[derive(Debug, Clone, Copy)]
struct NodeLine {
    channel: usize,
    off_mm: f64,
    tolerance_mm: f64,
    weight: f64,
}

/// What the known lines above a node say of the need for a correction there.
#[derive(Debug, Clone, Copy, Default)]
struct Need {
    sum_mm: f64,
    count: [f64; 2],
    guard_mm: f64,
}

/// A segment on one side, or on both at once.
#[derive(Debug, Clone)]
pub(super) struct Node {
    pub(super) segment: usize,
    pub(super) parent: Option<usize>,
    pub(super) sides: Vec<Side>,
    pub(super) choices: Vec<NodeChoice>,
    lines: Vec<NodeLine>,
    need: Need,
}

impl Node {
    /// Cost of the lines whose top segment this is, after a correction.
    pub(super) fn lines_key(&self, correction: Correction) -> Key {
        let mut key = Key::default();
        for line in &self.lines {
            let off_mm = line.off_mm + correction[line.channel] as f64 / 1000.0;
            let outside = u32::from(off_mm.abs() > line.tolerance_mm);
            let cost = units(line.weight * (off_mm / line.tolerance_mm).powi(2));
            key = key.plus(Key { outside, cost, ..Key::default() });
        }
        key
    }

    /// Whether the measurement can tell the need for a choice here, given what is corrected below: both the mean distance
    /// from the target of the known lines above and the change itself are larger than the expanded uncertainty of that
    /// mean.
    pub(super) fn tells(&self, below: Correction, choice: &NodeChoice) -> bool {
        if choice.key.actions == 0 || self.need.guard_mm == 0.0 {
            return true;
        }
        let Need { sum_mm, count, guard_mm } = self.need;
        let moved_mm: f64 = count.iter().zip(below).map(|(n, um)| n * um as f64 / 1000.0).sum();
        let mean_mm = (sum_mm + moved_mm) / (count[0] + count[1]);
        let change = |channel: usize| choice.change_um[channel].unsigned_abs() as f64 / 1000.0;
        mean_mm.abs() > guard_mm && (0..self.sides.len()).all(|channel| change(channel) > guard_mm)
    }
}

/// All trees, parents before their children.
#[derive(Debug, Clone)]
pub(super) struct Forest {
    pub(super) nodes: Vec<Node>,
}

impl Forest {
    /// The trees of a check, lines judged by their distance from a target with this common deviation.
    pub(super) fn of(case: &Case<'_>, target_mm: f64) -> Self {
        let segments = case.set.segments();
        let mut order: Vec<usize> = (0..segments.len()).collect();
        order.sort_by_key(|&segment| case.places.level(segment));
        let mut nodes: Vec<Node> = Vec::new();
        for (group, guards_mm) in case.groups().iter().zip(&case.guards_mm) {
            let mut node_of: Vec<Option<usize>> = vec![None; segments.len()];
            for &segment in &order {
                let here = |side: &&Side| case.above[side.index()][segment].total > 0;
                let sides: Vec<Side> = group.iter().filter(here).copied().collect();
                let known = |side: &Side| !case.above[side.index()][segment].known.is_empty();
                if sides.iter().any(known) {
                    let parent = segments[segment].parent.and_then(|below| node_of[below]);
                    node_of[segment] = Some(nodes.len());
                    let mut node = node(case, segment, parent, sides, target_mm);
                    node.need.guard_mm = guards_mm[segment];
                    nodes.push(node);
                }
            }
        }
        let mut forest = Self { nodes };
        forest.close_quiet_trees(case, target_mm);
        forest
    }

    /// A tree of stabilo and brake lines alone, all within tolerance, is left as it is: they carry no part of the trim, so
    /// only a tolerance exceeded is a reason to touch them.
    fn close_quiet_trees(&mut self, case: &Case<'_>, target_mm: f64) {
        let mut quiet = vec![false; self.nodes.len()];
        for at in 0..self.nodes.len() {
            let node = &self.nodes[at];
            quiet[at] = match node.parent {
                Some(parent) => quiet[parent],
                None => node
                    .sides
                    .iter()
                    .flat_map(|side| &case.above[side.index()][node.segment].known)
                    .filter_map(|&line| case.lines.get(line))
                    .all(|line| !line.row.is_trim() && case.off_mm(line, target_mm).abs() <= line.tolerance_mm),
            };
            if quiet[at] {
                self.nodes[at].choices.truncate(1);
            }
        }
    }

    /// Keeps the first few choices of every node.
    pub(super) fn thin(&mut self, most: usize) {
        for node in &mut self.nodes {
            node.choices.truncate(most.max(1));
        }
    }

    pub(super) fn most_choices(&self) -> usize {
        self.nodes.iter().map(|node| node.choices.len()).max().unwrap_or(0)
    }
}

fn node(case: &Case<'_>, segment: usize, parent: Option<usize>, sides: Vec<Side>, target_mm: f64) -> Node {
    let mut need = Need::default();
    let mut lines = Vec::new();
    let mut enough = true;
    for (channel, side) in sides.iter().enumerate() {
        let above = &case.above[side.index()][segment];
        let share_pct = 100.0 * above.known.len() as f64 / above.total as f64;
        enough &= !above.known.is_empty() && share_pct >= case.spec.known_share_pct;
        need.count[channel] = above.known.len() as f64;
        for &at in &above.known {
            let Some(line) = case.lines.get(at) else { continue };
            let off_mm = case.off_mm(line, target_mm);
            need.sum_mm += off_mm;
            if case.set.lines().get(line.line).is_some_and(|drawn| drawn.segment == segment) {
                lines.push(NodeLine { channel, off_mm, tolerance_mm: line.tolerance_mm, weight: line.weight });
            }
        }
    }
    let mut choices = node_choices(case, segment, &sides);
    if !enough {
        choices.truncate(1);
    }
    Node { segment, parent, sides, choices, lines, need }
}

/// What makes two choices the same work, whatever each side's own step.
fn work(choice: &Choice) -> Vec<(ActionKind, i32, i64)> {
    let length = |step: &super::Step| match step.kind {
        ActionKind::SmallLink | ActionKind::Splice => super::places::micrometres(step.change_mm),
        _ => 0,
    };
    choice.steps.iter().map(|step| (step.kind, step.turns, length(step))).collect()
}

fn node_choices(case: &Case<'_>, segment: usize, sides: &[Side]) -> Vec<NodeChoice> {
    let level = case.places.level(segment);
    let [first, others @ ..] = sides else { return Vec::new() };
    let mut found = Vec::new();
    for (at, choice) in case.places.choices(*first, segment).iter().enumerate() {
        let mut node_choice =
            NodeChoice { change_um: [choice.change_um, 0], key: key_of(case, segment, choice, level), at: [at, 0] };
        let mut possible = true;
        for other in others {
            let there = case.places.choices(*other, segment);
            match there.iter().position(|mirror| work(mirror) == work(choice)) {
                Some(mirror) => {
                    node_choice.change_um[1] = there[mirror].change_um;
                    node_choice.at[1] = mirror;
                    node_choice.key = node_choice.key.plus(key_of(case, segment, &there[mirror], level));
                }
                None => possible = false,
            }
        }
        if possible {
            found.push(node_choice);
        }
    }
    found
}

fn key_of(case: &Case<'_>, segment: usize, choice: &Choice, level: u32) -> Key {
    let price = |step: &super::Step| units(case.price(Some(segment), step));
    let actions = u32::try_from(choice.steps.len()).unwrap_or(u32::MAX);
    Key {
        outside: 0,
        cost: choice.steps.iter().map(price).fold(0, u64::saturating_add),
        actions,
        levels: level.saturating_mul(actions),
        moved_um: choice.change_um.unsigned_abs(),
    }
}
