//! The exact search: a dynamic programme over (segment, correction accumulated below it).
//!
//! A correction at a segment moves every line above it, so what is best above a segment depends on the rest of the wing
//! only through the correction accumulated from the riser up to it. With `C(s)` the choices at segment s, Δ their change,
//! `V(s, a) = min over c in C(s) of price(c) + Σ_lines at s cost(d + a + Δ_c) + Σ_children V(child, a + Δ_c)`,
//! in the order of [`Key`]. All reachable `a` are listed from the riser outwards, then V is filled in from the canopy
//! down; every state is visited, so the result is the optimum over the choices given.

use super::forest::{Correction, Forest, Key, Shift};

/// No way from here: the measurement does not tell the need.
const CLOSED: u32 = u32::MAX;

/// One choice taken at one node.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Pick {
    pub(super) node: usize,
    pub(super) choice: usize,
}

/// Every state that can be reached.
#[derive(Debug, Clone)]
pub(super) struct States {
    /// Corrections on the way to a node, per node.
    before: Vec<Vec<Correction>>,
    /// Corrections after the choice, per node, sorted.
    pub(super) after: Vec<Vec<Correction>>,
    /// Place in `after` for each correction before (outer) and each choice (inner), or [`CLOSED`].
    ways: Vec<Vec<u32>>,
    /// States visited.
    pub(super) count: usize,
}

/// A choice that is open in a state, with the place in `after` that it leads to.
#[derive(Debug, Clone, Copy)]
pub(super) struct Way {
    pub(super) choice: usize,
    pub(super) leads_to: usize,
}

impl States {
    /// Lists the states, or `None` past `most` of them.
    pub(super) fn of(forest: &Forest, most: usize) -> Option<Self> {
        let mut states = Self { before: Vec::new(), after: Vec::new(), ways: Vec::new(), count: 0 };
        for node in &forest.nodes {
            let before: Vec<Correction> = match (node.parent, &node.entry) {
                (None, _) => vec![[0, 0]],
                (Some(parent), None) => states.after[parent].clone(),
                (Some(parent), Some(entry)) => entry.iter().take(states.after[parent].len()).copied().collect(),
            };
            states.count = states.count.saturating_add(before.len() * node.choices.len());
            if states.count > most {
                return None;
            }
            let sum = |a: &Correction, change: &Correction| [a[0] + change[0], a[1] + change[1]];
            let mut after: Vec<Correction> = before
                .iter()
                .flat_map(|a| node.choices.iter().map(move |choice| (a, choice)))
                .map(|(a, choice)| sum(a, &choice.change_um))
                .collect();
            after.sort_unstable();
            after.dedup();
            let mut ways = Vec::with_capacity(before.len() * node.choices.len());
            for a in &before {
                for choice in &node.choices {
                    let to = after.binary_search(&sum(a, &choice.change_um)).ok().filter(|_| node.tells(*a, choice));
                    ways.push(to.and_then(|to| u32::try_from(to).ok()).unwrap_or(CLOSED));
                }
            }
            states.before.push(before);
            states.after.push(after);
            states.ways.push(ways);
        }
        Some(states)
    }

    /// The open choices of a node at the `before`-th correction.
    pub(super) fn ways(&self, node: usize, before: usize, choices: usize) -> impl Iterator<Item = Way> + '_ {
        let row = self.ways[node].get(before * choices..(before + 1) * choices).unwrap_or(&[]);
        let open = row.iter().enumerate().filter(|(_, to)| **to != CLOSED);
        open.map(|(choice, to)| Way { choice, leads_to: *to as usize })
    }

    /// How many corrections can reach a node.
    pub(super) fn before(&self, node: usize) -> usize {
        self.before[node].len()
    }
}

/// The best plan of the trees, each for itself.
#[derive(Debug, Clone, Default)]
pub(super) struct Best {
    pub(super) key: Key,
    pub(super) shift: Shift,
    pub(super) picks: Vec<Pick>,
}

impl Best {
    pub(super) fn of(forest: &Forest, picks: Vec<Pick>, key: Key) -> Self {
        let choices = picks.iter().map(|pick| forest.nodes[pick.node].choices[pick.choice].shift);
        let shift = choices.fold(forest.shift, Shift::plus);
        Self { key, shift, picks }
    }
}

/// What a millionth of a degree costs on top, in millionths.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Tilt {
    pub(super) incidence: f64,
    pub(super) asymmetry: f64,
}

impl Tilt {
    /// Cost of a shift, rounded to whole millionths.
    #[allow(clippy::cast_possible_truncation, reason = "a cast from a float saturates")]
    pub(super) fn cost(self, shift: Shift) -> i64 {
        (self.incidence * shift.incidence as f64 + self.asymmetry * shift.asymmetry as f64).round() as i64
    }
}

/// The search made ready: what does not depend on a tilt.
#[derive(Debug, Clone)]
pub(super) struct Search {
    pub(super) forest: Forest,
    pub(super) states: States,
    /// Cost of each node's own lines for each correction after it.
    pub(super) lines: Vec<Vec<Key>>,
    pub(super) children: Vec<Vec<usize>>,
    pub(super) roots: Vec<usize>,
}

/// Best values of all states at one tilt.
#[derive(Debug, Clone)]
pub(super) struct Values {
    /// Of each node for each correction before it.
    pub(super) before: Vec<Vec<Key>>,
    /// Of each node's lines and children for each correction after it.
    pub(super) after: Vec<Vec<Key>>,
    chosen: Vec<Vec<Way>>,
    pub(super) total: Key,
}

impl Search {
    /// Makes a forest ready, or gives it back past `most` states.
    pub(super) fn of(forest: Forest, most: usize) -> Result<Self, Forest> {
        let Some(states) = States::of(&forest, most) else { return Err(forest) };
        let lines = forest.nodes.iter().zip(&states.after);
        let lines = lines.map(|(node, after)| after.iter().map(|a| node.lines_key(*a)).collect()).collect();
        let mut children = vec![Vec::new(); forest.nodes.len()];
        let mut roots = Vec::new();
        for (at, node) in forest.nodes.iter().enumerate() {
            match node.parent {
                Some(parent) => children[parent].push(at),
                None => roots.push(at),
            }
        }
        Ok(Self { forest, states, lines, children, roots })
    }

    /// Key of a choice at a node in the `before`-th state, tilted.
    pub(super) fn choice_key(&self, node: usize, before: usize, choice: usize, tilt: Tilt) -> Key {
        let choice = &self.forest.nodes[node].choices[choice];
        choice.key.dearer_by(tilt.cost(choice.shift) + choice.undoing_of(self.states.before[node][before]))
    }

    /// Fills in the values from the canopy down.
    pub(super) fn values(&self, tilt: Tilt) -> Values {
        let nodes = &self.forest.nodes;
        let mut after = self.lines.clone();
        let mut before: Vec<Vec<Key>> = vec![Vec::new(); nodes.len()];
        let mut chosen: Vec<Vec<Way>> = vec![Vec::new(); nodes.len()];
        let mut total = Key::default();
        for at in (0..nodes.len()).rev() {
            let count = nodes[at].choices.len();
            for from in 0..self.states.before(at) {
                let value = |way: &Way| self.choice_key(at, from, way.choice, tilt).plus(after[at][way.leads_to]);
                // the first of equals, in the order of the choices
                let Some(way) = self.states.ways(at, from, count).min_by_key(value) else { continue };
                let value = value(&way);
                match nodes[at].parent {
                    Some(parent) => after[parent][from] = after[parent][from].plus(value),
                    None => total = total.plus(value),
                }
                before[at].push(value);
                chosen[at].push(way);
            }
        }
        Values { before, after, chosen, total }
    }

    /// The plan that has the best values, with its key untilted.
    pub(super) fn best(&self, values: &Values, tilt: Tilt) -> Best {
        // parents stand before their children, so where each node is reached is known when it is its turn
        let mut reached = vec![0usize; self.forest.nodes.len()];
        let mut picks = Vec::new();
        let mut tilted = 0_i64;
        for (at, node) in self.forest.nodes.iter().enumerate() {
            let before = node.parent.map_or(0, |parent| reached[parent]);
            let way = values.chosen[at][before];
            reached[at] = way.leads_to;
            if way.choice != 0 {
                picks.push(Pick { node: at, choice: way.choice });
                tilted += tilt.cost(node.choices[way.choice].shift);
            }
        }
        Best::of(&self.forest, picks, values.total.dearer_by(-tilted))
    }
}
