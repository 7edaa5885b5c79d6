//! The trees of places that the search runs on, with the cost of every line.

use super::case::Case;
use super::groups::{alike_rows, close_parts, tied};
use super::need::needed_steps;
use super::places::Choice;
use super::settle::Placed;
use super::{Groups, Sides, Step};
use crate::check::ActionKind;
use crate::wing::Side;

/// Units of cost in one: costs are whole millionths, so that sums are exact and ties are ties.
pub(super) const UNITS: f64 = 1e6;
/// How far apart the steps of the two sides may be where both get the same work, mm.
const ALIKE_MM: f64 = 3.0;

/// What a plan is judged by, in the order of the fields; smaller is better.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub(super) struct Key {
    /// Lines further from the target than their tolerance.
    pub(super) outside: u32,
    /// `Σ w·(deviation/tolerance)² + Σ price`, in millionths.
    pub(super) cost: i64,
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

    pub(super) fn dearer_by(self, cost: i64) -> Key {
        Key { cost: self.cost.saturating_add(cost), ..self }
    }
}

/// Whole millionths of a value; past the range of the type its end.
#[allow(clippy::cast_possible_truncation, reason = "a cast from a float saturates")]
pub(super) fn units(value: f64) -> i64 {
    (value * UNITS).round() as i64
}

/// Corrections accumulated up to a place on the sides that the tree stands for, µm.
pub(super) type Correction = [i64; 2];

/// What a choice does to the wing as a whole, in millionths of a degree.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub(super) struct Shift {
    pub(super) incidence: i64,
    pub(super) asymmetry: i64,
}

impl Shift {
    pub(super) fn plus(self, other: Shift) -> Shift {
        Shift {
            incidence: self.incidence.saturating_add(other.incidence),
            asymmetry: self.asymmetry.saturating_add(other.asymmetry),
        }
    }
}

/// One choice at a node.
#[derive(Debug, Clone)]
pub(super) struct NodeChoice {
    pub(super) change_um: Correction,
    pub(super) key: Key,
    pub(super) shift: Shift,
    /// What it costs on top where it undoes part of what was done below, in millionths.
    undoing: i64,
    pub(super) steps: Vec<Placed>,
}

impl Node {
    /// One that stands for several, of which this is the first.
    pub(super) fn standing_for_several(&self, need: Need) -> Self {
        let choices = vec![NodeChoice::nothing()];
        Self { entry: None, lines: Vec::new(), spared: Vec::new(), choices, need, ..self.clone() }
    }
}

impl NodeChoice {
    /// One choice at each of several places, known by its number.
    pub(super) fn joined(all: &[NodeChoice], number: i64) -> Self {
        let start = Self { change_um: [number, number], ..Self::nothing() };
        all.iter().fold(start, |mut sum, one| {
            (sum.key, sum.shift) = (sum.key.plus(one.key), sum.shift.plus(one.shift));
            sum.steps.extend_from_slice(&one.steps);
            sum
        })
    }

    pub(super) fn nothing() -> Self {
        let (key, shift) = (Key::default(), Shift::default());
        Self { change_um: [0, 0], key, shift, undoing: 0, steps: Vec::new() }
    }

    /// What it costs on top after a correction below.
    pub(super) fn undoing_of(&self, below: Correction) -> i64 {
        let against = |(below, change): (&i64, &i64)| below.signum() * change.signum() < 0;
        if below.iter().zip(&self.change_um).any(against) { self.undoing } else { 0 }
    }
}

#[derive(Debug, Clone, Copy)]
pub(super) struct NodeLine {
    channel: usize,
    pub(super) off_mm: f64,
    tolerance_mm: f64,
    weight: f64,
}

/// What the known lines above a node say of the need for a correction there.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Need {
    pub(super) sum_mm: f64,
    pub(super) count: [f64; 2],
    /// Expanded uncertainty of their mean, mm.
    pub(super) guard_mm: f64,
    /// Narrowest tolerance among them, mm.
    pub(super) tolerance_mm: f64,
    /// Least and largest distance from the target among them, mm.
    pub(super) least_mm: f64,
    pub(super) most_mm: f64,
}

impl Need {
    pub(super) fn none() -> Self {
        let (least_mm, most_mm) = (f64::INFINITY, f64::NEG_INFINITY);
        Self { tolerance_mm: f64::INFINITY, least_mm, most_mm, ..Self::default() }
    }

    /// That of both together; the uncertainty of their mean is to be found anew.
    pub(super) fn with(self, other: &Need) -> Self {
        Self {
            sum_mm: self.sum_mm + other.sum_mm,
            count: [self.count[0] + other.count[0], self.count[1] + other.count[1]],
            guard_mm: 0.0,
            tolerance_mm: self.tolerance_mm.min(other.tolerance_mm),
            least_mm: self.least_mm.min(other.least_mm),
            most_mm: self.most_mm.max(other.most_mm),
        }
    }

    pub(super) fn mean_mm(&self) -> f64 {
        self.sum_mm / (self.count[0] + self.count[1]).max(1.0)
    }
}

/// A place on one side, or on both at once; or several that get the same step.
#[derive(Debug, Clone)]
pub(super) struct Node {
    pub(super) place: usize,
    pub(super) parent: Option<usize>,
    /// What each choice of the parent comes to here, where the parent stands for several places.
    pub(super) entry: Option<Vec<Correction>>,
    pub(super) sides: Vec<Side>,
    pub(super) choices: Vec<NodeChoice>,
    pub(super) lines: Vec<NodeLine>,
    pub(super) need: Need,
    /// All known lines above, where what is right is not to be moved off.
    spared: Vec<NodeLine>,
}

impl Node {
    /// Whether the lines above are further off as a whole than before, or half of them or more are right and would not be so any
    /// more: within half their tolerance, and past it.
    fn spoils(&self, below: Correction, choice: &NodeChoice) -> bool {
        let (mut spoilt, mut before_sum_mm, mut after_sum_mm) = (0, 0.0_f64, 0.0_f64);
        for line in &self.spared {
            let before_mm = line.off_mm + below[line.channel] as f64 / 1000.0;
            let after_mm = before_mm + choice.change_um[line.channel] as f64 / 1000.0;
            before_sum_mm += before_mm;
            after_sum_mm += after_mm;
            let is_spoilt = 2.0 * before_mm.abs() <= line.tolerance_mm && 2.0 * after_mm.abs() > line.tolerance_mm;
            spoilt += usize::from(is_spoilt);
        }
        !self.spared.is_empty() && (2 * spoilt >= self.spared.len() || after_sum_mm.abs() > before_sum_mm.abs())
    }

    /// Whether a choice goes towards the target on both sides, by more than the mean of the lines above is uncertain.
    pub(super) fn helps(&self, choice: &NodeChoice) -> bool {
        let mean_mm = self.need.mean_mm();
        let helps_mm = |um: &i64| -mean_mm.signum() * *um as f64 / 1000.0;
        let changes = choice.change_um.iter().take(self.sides.len());
        choice.key.actions > 0 && changes.map(helps_mm).all(|mm| mm > self.need.guard_mm)
    }

    /// Cost of the lines whose top piece this is, after a correction.
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
    /// mean, and the change goes towards the target.
    pub(super) fn tells(&self, below: Correction, choice: &NodeChoice) -> bool {
        let Need { sum_mm, count, guard_mm, .. } = self.need;
        if choice.key.actions == 0 {
            return true;
        }
        if self.spoils(below, choice) {
            return false;
        }
        if guard_mm == 0.0 {
            return true;
        }
        let moved_mm: f64 = count.iter().zip(below).map(|(n, um)| n * um as f64 / 1000.0).sum();
        let mean_mm = (sum_mm + moved_mm) / (count[0] + count[1]);
        let helps_mm = |channel: usize| -mean_mm.signum() * choice.change_um[channel] as f64 / 1000.0;
        mean_mm.abs() > guard_mm && (0..self.sides.len()).all(|channel| helps_mm(channel) > guard_mm)
    }
}

/// All trees, parents before their children.
#[derive(Debug, Clone)]
pub(super) struct Forest {
    pub(super) nodes: Vec<Node>,
    /// Of the wing as it was read.
    pub(super) shift: Shift,
}

impl Forest {
    /// The trees of a check, lines judged by their distance from a target with this common deviation.
    pub(super) fn of(case: &Case<'_>, target_mm: f64, groups: Groups) -> Self {
        let degrees = |value: Option<f64>| units(value.unwrap_or(0.0));
        let shift = Shift {
            incidence: degrees(case.trim.incidence_change_deg.value),
            asymmetry: degrees(case.trim.asymmetry_deg.value),
        };
        let mut forest = Self { nodes: Vec::new(), shift };
        let rows = if groups == Groups::Whole { alike_rows(case) } else { Vec::new() };
        let alone = case.map.roots().filter(|root| !rows.iter().any(|row| row.contains(root)));
        for roots in alone.map(|root| vec![root]).chain(rows.iter().cloned()) {
            for group in case.groups(roots[0]) {
                forest.grow_row(case, &roots, group, target_mm);
            }
        }
        forest.close_quiet_trees(case, target_mm);
        match groups {
            Groups::Whole => close_parts(&mut forest.nodes),
            // what is right is spared all the same where that is not asked for
            Groups::Each if case.spec.groups == Groups::Whole => {}
            Groups::Each => forest.nodes.iter_mut().for_each(|node| node.spared.clear()),
        }
        forest
    }

    /// The trees on some roots, tied together where they are off alike.
    fn grow_row(&mut self, case: &Case<'_>, roots: &[usize], group: &[Side], target_mm: f64) {
        let tie = match roots {
            [_] => None,
            _ => tied(case, roots.iter().map(|root| node_of(case, *root, group, target_mm, None)).collect()),
        };
        let parent = tie.map(|tie| {
            self.nodes.push(tie.node);
            (self.nodes.len() - 1, tie.entries)
        });
        for (at, &root) in roots.iter().enumerate() {
            let main = self.nodes.len();
            self.grow(case, root, group, target_mm);
            if let Some(((parent, entries), main)) = parent.as_ref().zip(self.nodes.get_mut(main)) {
                (main.parent, main.entry) = (Some(*parent), entries.get(at).cloned());
                main.choices.truncate(1);
            }
        }
    }

    fn grow(&mut self, case: &Case<'_>, root: usize, group: &[Side], target_mm: f64) {
        let of_tree = case.map.order().iter().filter(|&&place| case.map.get(place).root == root);
        let mut made: Vec<Option<usize>> = vec![None; case.map.len()];
        for &place in of_tree {
            let parent = case.map.get(place).parent.and_then(|below| made[below]);
            let below = parent.and_then(|parent| self.nodes.get(parent)).map(|node| node.need);
            if let Some(mut node) = node_of(case, place, group, target_mm, below) {
                made[place] = Some(self.nodes.len());
                node.parent = parent;
                self.nodes.push(node);
            }
        }
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
                    .flat_map(|side| &case.above[side.index()][node.place].known)
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

/// A place with what may be done there; none where no line above it is known.
fn node_of(case: &Case<'_>, place: usize, group: &[Side], target_mm: f64, below: Option<Need>) -> Option<Node> {
    let here = |side: &&Side| case.above[side.index()][place].total > 0;
    let sides: Vec<Side> = group.iter().filter(here).copied().collect();
    let known = sides.iter().any(|side| !case.above[side.index()][place].known.is_empty());
    known.then(|| {
        let mut node = lines_of(case, place, sides, target_mm);
        add_choices(case, &mut node, below);
        node
    })
}

fn lines_of(case: &Case<'_>, place: usize, sides: Vec<Side>, target_mm: f64) -> Node {
    let mut need = Need::none();
    let (mut lines, mut spared) = (Vec::new(), Vec::new());
    let mut all = Vec::new();
    for (channel, side) in sides.iter().enumerate() {
        let known = &case.above[side.index()][place].known;
        need.count[channel] = known.len() as f64;
        all.extend_from_slice(known);
        for &at in known {
            let Some(line) = case.lines.get(at) else { continue };
            let off_mm = case.off_mm(line, target_mm);
            need.sum_mm += off_mm;
            need.tolerance_mm = need.tolerance_mm.min(line.tolerance_mm);
            need.least_mm = need.least_mm.min(off_mm);
            need.most_mm = need.most_mm.max(off_mm);
            let here = NodeLine { channel, off_mm, tolerance_mm: line.tolerance_mm, weight: line.weight };
            spared.push(here);
            if case.map.path(line.line).first() == Some(&place) {
                lines.push(here);
            }
        }
    }
    need.guard_mm = case.mean_uncertainty(&all).expanded();
    Node { place, parent: None, entry: None, sides, choices: Vec::new(), lines, need, spared }
}

fn add_choices(case: &Case<'_>, node: &mut Node, below: Option<Need>) {
    node.choices = vec![NodeChoice::nothing()];
    let enough = node.sides.iter().all(|side| {
        let above = &case.above[side.index()][node.place];
        let share_pct = 100.0 * above.known.len() as f64 / above.total as f64;
        !above.known.is_empty() && share_pct >= case.spec.known_share_pct
    });
    if !enough || node.sides.iter().any(|side| case.is_forbidden(*side, node.place)) {
        return;
    }
    let of_sizes = of_sizes(case, node);
    node.choices.extend(of_sizes);
    let sizes_um: Vec<i64> = node.choices.iter().map(|choice| choice.change_um[0]).collect();
    for step in needed_steps(case, node, below, &sizes_um) {
        let steps = node.sides.iter().map(|&side| Placed { side, place: Some(node.place), step });
        let choice = made(case, node, steps.collect());
        node.choices.push(choice);
    }
    // fewest actions first, then the smallest changes: also the order in which ties are settled
    node.choices.sort_by_key(|choice| (choice.key.actions, choice.key.moved_um, choice.change_um));
}

/// What makes steps at two places the same work, whatever each place's own step.
pub(super) fn work<'a>(steps: impl IntoIterator<Item = &'a Step>) -> Vec<(ActionKind, i32, i64)> {
    let length = |step: &Step| match step.kind {
        ActionKind::Turn | ActionKind::LarksHead | ActionKind::RemoveLoop | ActionKind::ReplaceLine => 0,
        _ => super::places::micrometres(step.change_mm),
    };
    steps.into_iter().map(|step| (step.kind, step.turns, length(step))).collect()
}

/// The same work among the choices of the other side, or where links differ the work that comes nearest to it.
fn mirrored(case: &Case<'_>, choice: &Choice, there: &[Choice]) -> Option<usize> {
    let same = there.iter().position(|mirror| work(&mirror.steps) == work(&choice.steps));
    if same.is_some() || case.spec.sides == Sides::Same {
        return same;
    }
    let apart = |at: &usize| (there[*at].change_um - choice.change_um).abs();
    let alike = |at: &usize| there[*at].steps.len() == choice.steps.len() && apart(at) as f64 <= ALIKE_MM * 1000.0;
    (0..there.len()).filter(alike).min_by_key(apart)
}

/// Steps of given sizes.
fn of_sizes(case: &Case<'_>, node: &Node) -> Vec<NodeChoice> {
    let choices = |side: Side| case.places.choices(&case.map, side, node.place);
    let placed = |side: Side, choice: &Choice| -> Vec<Placed> {
        choice.steps.iter().map(|&step| Placed { side, place: Some(node.place), step }).collect()
    };
    match node.sides[..] {
        [side] => choices(side).iter().skip(1).map(|choice| made(case, node, placed(side, choice))).collect(),
        [one, other] => {
            let (here, there) = (choices(one), choices(other));
            let mut pairs: Vec<[usize; 2]> = Vec::new();
            pairs.extend((1..here.len()).filter_map(|at| Some([at, mirrored(case, &here[at], &there)?])));
            // from either side, so that the mirrored wing has the mirrored choices
            let back = (1..there.len()).filter_map(|at| Some([mirrored(case, &there[at], &here)?, at]));
            let new: Vec<[usize; 2]> = back.filter(|pair| !pairs.contains(pair)).collect();
            pairs.extend(new);
            let both =
                |&[left, right]: &[usize; 2]| [placed(one, &here[left]), placed(other, &there[right])].concat();
            pairs.iter().map(|pair| made(case, node, both(pair))).collect()
        }
        _ => Vec::new(),
    }
}

/// A choice with what it costs and does.
fn made(case: &Case<'_>, node: &Node, steps: Vec<Placed>) -> NodeChoice {
    let level = case.map.get(node.place).level;
    let actions = u32::try_from(steps.len()).unwrap_or(u32::MAX);
    let mut choice = NodeChoice {
        change_um: [0, 0],
        key: Key { actions, levels: level.saturating_mul(actions), ..Key::default() },
        shift: Shift::default(),
        undoing: 0,
        steps,
    };
    for placed in &choice.steps {
        let um = super::places::micrometres(placed.step.change_mm);
        let channel = node.sides.iter().position(|side| *side == placed.side).unwrap_or(0);
        choice.change_um[channel] += um;
        let price = units(case.weights.price * case.price(Some(node.place), &placed.step));
        choice.key.cost = choice.key.cost.saturating_add(price);
        let undoing = units(case.weights.price * case.undoing(Some(node.place)));
        choice.undoing = choice.undoing.saturating_add(undoing);
        choice.key.moved_um += um.unsigned_abs();
        choice.shift = choice.shift.plus(case.shift_of(placed));
    }
    choice
}
