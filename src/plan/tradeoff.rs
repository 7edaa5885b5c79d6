//! The best plan with at most so many actions: the same programme with the actions counted.

use super::forest::Key;
use super::search::{Best, Pick, Search, Tilt, Way};

/// Best keys with at most 0, 1, 2, … actions; past the end the last holds.
type Curve = Vec<Key>;

fn at(curve: &[Key], actions: usize) -> Key {
    curve.get(actions).or(curve.last()).copied().unwrap_or_default()
}

/// Best sum of two curves for each number of actions.
fn join(one: &[Key], other: &[Key], most: usize) -> Curve {
    let length = (one.len() + other.len() - 1).min(most + 1);
    (0..length)
        .map(|k| {
            let low = k.saturating_sub(other.len() - 1);
            (low..=k.min(one.len() - 1)).map(|i| one[i].plus(at(other, k - i))).min().unwrap_or_default()
        })
        .collect()
}

/// All curves of a forest.
#[derive(Debug)]
pub(super) struct Curves<'a> {
    search: &'a Search,
    tilt: Tilt,
    most: usize,
    /// Curve of each node for each correction before it.
    value: Vec<Vec<Curve>>,
    total: Curve,
}

impl<'a> Curves<'a> {
    pub(super) fn of(search: &'a Search, tilt: Tilt, most: usize) -> Self {
        let nodes = search.forest.nodes.len();
        let mut curves = Self { search, tilt, most, value: vec![Vec::new(); nodes], total: Vec::new() };
        for node in (0..nodes).rev() {
            curves.fill(node);
        }
        curves.total = curves.prefixes(&search.roots, vec![Key::default()], 0).pop().unwrap_or_default();
        curves
    }

    /// Curves of a start joined with the first 0, 1, 2, … of some nodes, all at one correction.
    fn prefixes(&self, nodes: &[usize], start: Curve, before: usize) -> Vec<Curve> {
        let mut found = vec![start];
        for &node in nodes {
            if let Some(last) = found.last() {
                found.push(join(last, &self.value[node][before], self.most));
            }
        }
        found
    }

    fn above(&self, node: usize, leads_to: usize) -> Vec<Curve> {
        let own = self.search.lines[node][leads_to];
        self.prefixes(&self.search.children[node], vec![own], leads_to)
    }

    fn fill(&mut self, at_node: usize) {
        let node = &self.search.forest.nodes[at_node];
        let choices = node.choices.len();
        let above: Vec<Curve> = (0..self.search.states.after[at_node].len())
            .map(|leads_to| self.above(at_node, leads_to).pop().unwrap_or_default())
            .collect();
        let dearest = node.choices.iter().map(|choice| choice.key.actions as usize).max().unwrap_or(0);
        let longest = above.iter().map(Vec::len).max().unwrap_or(1);
        let length = (longest + dearest).min(self.most + 1);
        let mut value = Vec::with_capacity(self.search.states.before(at_node));
        for before in 0..self.search.states.before(at_node) {
            let curve = (0..length).map(|k| {
                let ways = self.search.states.ways(at_node, before, choices);
                ways.filter_map(|way| self.with(at_node, before, way, k, &above[way.leads_to]))
                    .min()
                    .unwrap_or_default()
            });
            value.push(curve.collect());
        }
        self.value[at_node] = value;
    }

    /// Key of one way with at most k actions.
    fn with(&self, node: usize, before: usize, way: Way, k: usize, above: &[Key]) -> Option<Key> {
        let key = self.search.choice_key(node, before, way.choice, self.tilt);
        Some(key.plus(at(above, k.checked_sub(key.actions as usize)?)))
    }

    /// The best plan with at most `most` actions.
    pub(super) fn best(&self, most: usize) -> Best {
        let key = at(&self.total, most);
        let mut picks = Vec::new();
        let mut open = Vec::new();
        self.split(&self.search.roots, vec![Key::default()], 0, most, &mut open);
        while let Some(Open { node, before, most }) = open.pop() {
            let choices = self.search.forest.nodes[node].choices.len();
            let wanted = at(&self.value[node][before], most);
            for way in self.search.states.ways(node, before, choices) {
                let mut above = self.above(node, way.leads_to);
                let full = above.pop().unwrap_or_default();
                if self.with(node, before, way, most, &full) == Some(wanted) {
                    if way.choice != 0 {
                        picks.push(Pick { node, choice: way.choice });
                    }
                    let left = most - self.search.forest.nodes[node].choices[way.choice].key.actions as usize;
                    let own = self.search.lines[node][way.leads_to];
                    self.split(&self.search.children[node], vec![own], way.leads_to, left, &mut open);
                    break;
                }
            }
        }
        picks.sort_by_key(|pick| pick.node);
        let mut best = Best::of(&self.search.forest, picks, key);
        let choices = best.picks.iter().map(|pick| self.search.forest.nodes[pick.node].choices[pick.choice].shift);
        let tilted: i64 = choices.map(|shift| self.tilt.cost(shift)).sum();
        best.key = best.key.dearer_by(-tilted);
        best
    }

    /// Shares `most` actions out among nodes so that their curves add up to the joint optimum.
    fn split(&self, nodes: &[usize], start: Curve, before: usize, most: usize, open: &mut Vec<Open>) {
        let prefixes = self.prefixes(nodes, start, before);
        let mut left = most;
        for (at_node, &node) in nodes.iter().enumerate().rev() {
            let wanted = at(&prefixes[at_node + 1], left);
            let value = &self.value[node][before];
            let share = (0..=left.min(value.len() - 1))
                .find(|share| at(&prefixes[at_node], left - share).plus(at(value, *share)) == wanted)
                .unwrap_or(0);
            open.push(Open { node, before, most: share });
            left -= share;
        }
    }
}

#[derive(Debug, Clone, Copy)]
struct Open {
    node: usize,
    before: usize,
    most: usize,
}
