//! What is off alike is corrected as one: a row at all its mains, a main at the main and not at its parts.

use super::case::Case;
use super::forest::{Correction, Need, Node, NodeChoice, work};
use super::map::PlaceKind;
use crate::wing::Row;

/// Mains that get the same step.
pub(super) struct Tie {
    pub(super) node: Node,
    /// What each choice comes to at each main.
    pub(super) entries: Vec<Vec<Correction>>,
}

/// The mains of each row of A–D that are worked on both sides alike, and those that are not: two or more each.
pub(super) fn alike_rows(case: &Case<'_>) -> Vec<Vec<usize>> {
    let mut rows = vec![Vec::new(); 2 * Row::ALL.len()];
    for root in case.map.roots() {
        let mut of_root = case.set.lines().iter().enumerate().filter(|(line, _)| case.moves(root, *line));
        let Some((_, first)) = of_root.next() else { continue };
        let is_main = matches!(case.map.get(root).kind, PlaceKind::Segment | PlaceKind::Main);
        if is_main && first.row.is_trim() && of_root.all(|(_, line)| line.row == first.row) {
            rows[2 * first.row.index() + usize::from(case.groups(root).len() > 1)].push(root);
        }
    }
    rows.retain(|roots: &Vec<usize>| roots.len() > 1);
    rows
}

/// Whether the means of all parts lie within half a tolerance of the mean of the whole, as the target says.
fn is_uniform(need: &Need, mut parts: impl Iterator<Item = f64>) -> bool {
    let mean_mm = need.mean_mm();
    mean_mm.abs() > need.guard_mm && parts.all(|part_mm| 2.0 * (part_mm - mean_mm).abs() <= need.tolerance_mm)
}

/// Ties mains that are off alike, where the same step helps at all of them.
pub(super) fn tied(case: &Case<'_>, mains: Vec<Option<Node>>) -> Option<Tie> {
    let mains: Vec<Node> = mains.into_iter().collect::<Option<_>>()?;
    let first = mains.first()?;
    let known = mains.iter().flat_map(|main| {
        main.sides.iter().flat_map(|side| case.above[side.index()][main.place].known.iter().copied())
    });
    let need = mains.iter().fold(Need::none(), |sum, main| sum.with(&main.need));
    let need = Need { guard_mm: case.mean_uncertainty(&known.collect::<Vec<_>>()).expanded(), ..need };
    if !is_uniform(&need, mains.iter().map(|main| main.need.mean_mm())) {
        return None;
    }
    // what is added up here is open in any case
    let none = Need { guard_mm: 0.0, ..need };
    let mut node = first.standing_for_several(need);
    let mut entries = vec![vec![[0, 0]]; mains.len()];
    let steps = |choice: &NodeChoice| work(choice.steps.iter().map(|placed| &placed.step));
    for choice in first.choices.iter().skip(1) {
        let alike = |main: &Node| main.choices.iter().find(|other| steps(other) == steps(choice)).cloned();
        let Some(all) = mains.iter().map(alike).collect::<Option<Vec<NodeChoice>>>() else { continue };
        if !all.iter().all(|choice| node.helps(choice)) {
            continue;
        }
        let number = i64::try_from(entries[0].len()).unwrap_or(i64::MAX);
        for (entry, choice) in entries.iter_mut().zip(&all) {
            entry.push(choice.change_um);
        }
        node.choices.push(NodeChoice::joined(&all, number));
    }
    node.need = none;
    (node.choices.len() > 1).then_some(Tie { node, entries })
}

/// What is off as a whole, and can be helped there, is not corrected at its parts.
pub(super) fn close_parts(nodes: &mut [Node]) {
    let mut helped = vec![false; nodes.len()];
    let mut children: Vec<Vec<usize>> = vec![Vec::new(); nodes.len()];
    for (at, node) in nodes.iter().enumerate().filter(|(_, node)| node.entry.is_none()) {
        if let Some(parent) = node.parent {
            children[parent].push(at);
        }
    }
    for at in 0..nodes.len() {
        let node = &nodes[at];
        let is_helped =
            helped[at] || node.entry.is_some() || node.choices.iter().skip(1).any(|choice| node.helps(choice));
        let own = node.lines.iter().map(|line| line.off_mm);
        let parts = own.chain(children[at].iter().map(|child| nodes[*child].need.mean_mm()));
        if is_helped && is_uniform(&node.need, parts) {
            for &child in &children[at] {
                nodes[child].choices.truncate(1);
                helped[child] = true;
            }
        }
    }
}
