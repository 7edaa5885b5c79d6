//! The exact search: a dynamic programme over (segment, correction accumulated below it).
//!
//! A correction at a segment moves every line above it, so what is best above a segment depends on the rest of the wing
//! only through the correction accumulated from the riser up to it. With `C(s)` the choices at segment s, Δ their change,
//! `V(s, a) = min over c in C(s) of price(c) + Σ_lines at s cost(d + a + Δ_c) + Σ_children V(child, a + Δ_c)`,
//! in the order of [`Key`]. All reachable `a` are listed from the riser outwards, then V is filled in from the canopy
//! down; every state is visited, so the result is the optimum over the choices given.

use super::forest::{Correction, Forest, Key};

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
        let mut states = Self { after: Vec::new(), ways: Vec::new(), count: 0 };
        let start: Vec<Correction> = vec![[0, 0]];
        for node in &forest.nodes {
            let before = node.parent.map_or(&start, |parent| &states.after[parent]);
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
            for a in before {
                for choice in &node.choices {
                    let to = after.binary_search(&sum(a, &choice.change_um)).ok().filter(|_| node.tells(*a, choice));
                    ways.push(to.and_then(|to| u32::try_from(to).ok()).unwrap_or(CLOSED));
                }
            }
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

    /// Corrections that can reach a node.
    pub(super) fn before(&self, node: usize, choices: usize) -> usize {
        self.ways[node].len() / choices.max(1)
    }
}

/// The best plan.
#[derive(Debug, Clone)]
pub(super) struct Best {
    pub(super) key: Key,
    pub(super) picks: Vec<Pick>,
}

/// Finds the best plan.
pub(super) fn best(forest: &Forest, states: &States) -> Best {
    let nodes = &forest.nodes;
    let mut after: Vec<Vec<Key>> = nodes
        .iter()
        .zip(&states.after)
        .map(|(node, corrections)| corrections.iter().map(|a| node.lines_key(*a)).collect())
        .collect();
    let mut chosen: Vec<Vec<Way>> = vec![Vec::new(); nodes.len()];
    let mut total = Key::default();
    for at in (0..nodes.len()).rev() {
        let node = &nodes[at];
        let choices = node.choices.len();
        for before in 0..states.before(at, choices) {
            let value = |way: &Way| node.choices[way.choice].key.plus(after[at][way.leads_to]);
            // the first of equals, in the order of the choices
            let Some(way) = states.ways(at, before, choices).min_by_key(value) else { continue };
            let value = value(&way);
            match node.parent {
                Some(parent) => after[parent][before] = after[parent][before].plus(value),
                None => total = total.plus(value),
            }
            chosen[at].push(way);
        }
    }
    // parents stand before their children, so where each node is reached is known when it is its turn
    let mut reached = vec![0usize; nodes.len()];
    let mut picks = Vec::new();
    for (at, node) in nodes.iter().enumerate() {
        let before = node.parent.map_or(0, |parent| reached[parent]);
        let way = chosen[at][before];
        reached[at] = way.leads_to;
        if way.choice != 0 {
            picks.push(Pick { node: at, choice: way.choice });
        }
    }
    Best { key: total, picks }
}
