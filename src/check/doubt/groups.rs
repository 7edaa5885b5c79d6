//! The groups of lines that a fault of a wing moves together.

use std::collections::HashMap;

use crate::wing::{LineSet, Row, Side};

/// Longest run of neighbours that is looked at as one.
const LONGEST_RUN: usize = 4;

/// Outermost lines of each row that are looked at as the tips.
const MOST_TIPS: usize = 3;

/// What holds the lines of a group together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Tie {
    /// The line itself.
    Line,
    /// They hang on one segment, or on one main.
    Segment(String),
    /// They are neighbours in their row.
    Run,
    /// They are the outermost lines of every row A–D.
    Tips,
    /// They are a row.
    Row,
}

/// Lines that may be off together, on one side or on both.
#[derive(Debug, Clone)]
pub(crate) struct Group {
    pub(crate) tie: Tie,
    /// Indices in the line set.
    pub(crate) lines: Vec<usize>,
}

/// The lines of each row on each side from the centre outwards: by side, then row.
pub(crate) fn row_orders(set: &LineSet) -> Vec<Vec<usize>> {
    let all = set.lines();
    let mut order = Vec::new();
    for side in Side::BOTH {
        for row in Row::ALL {
            let mut lines: Vec<usize> =
                (0..all.len()).filter(|at| set.has(*at, side) && all[*at].row == row).collect();
            lines.sort_by_key(|at| all[*at].rank);
            order.push(lines);
        }
    }
    order
}

/// The lines above each segment or of each main, two or more, the most first. Of segments that carry the same lines the one
/// nearest the riser stands for all.
fn on_segments(set: &LineSet) -> Vec<Group> {
    let mut above: Vec<Vec<usize>> = vec![Vec::new(); set.segments().len()];
    let mut mains: Vec<(&str, Vec<usize>)> = Vec::new();
    for (at, line) in set.lines().iter().enumerate() {
        set.path_indices(at).for_each(|segment| above[segment].push(at));
        let Some(main) = &line.main else { continue };
        match mains.iter_mut().find(|(name, _)| name == main) {
            Some((_, lines)) => lines.push(at),
            None => mains.push((main, vec![at])),
        }
    }
    let mut all: Vec<Group> = Vec::new();
    let mut known: HashMap<Vec<usize>, usize> = HashMap::new();
    for at in 0..set.lines().len() {
        for segment in set.path_indices(at).filter(|segment| above[*segment].len() > 1 && above[*segment][0] == at) {
            let tie = Tie::Segment(set.segments()[segment].name.clone());
            // the path runs down to the riser
            if let Some(place) = known.get(&above[segment]) {
                all[*place].tie = tie;
            } else {
                known.insert(above[segment].clone(), all.len());
                all.push(Group { tie, lines: above[segment].clone() });
            }
        }
    }
    // where the segments do not say what hangs on a main, its name does
    for (name, lines) in mains.into_iter().filter(|(_, lines)| lines.len() > 1) {
        if !known.contains_key(&lines) {
            all.push(Group { tie: Tie::Segment(name.to_owned()), lines });
        }
    }
    all.sort_by_key(|group| std::cmp::Reverse(group.lines.len()));
    all
}

/// Every line, every set of two lines or more that hang on one segment, and every short run of neighbours.
pub(crate) fn line_groups(set: &LineSet) -> Vec<Group> {
    let order = row_orders(set);
    let mut all: Vec<Group> =
        (0..set.lines().len()).map(|line| Group { tie: Tie::Line, lines: vec![line] }).collect();
    let on_segment = on_segments(set);
    let mut runs = Vec::new();
    let (left, right) = order.split_at(order.len() / 2);
    // a set that is not symmetric has rows of its own on the right
    let own = right.iter().zip(left).filter(|(right, left)| right != left).map(|(right, _)| right);
    for row in left.iter().chain(own) {
        for length in 2..=LONGEST_RUN.min(row.len()) {
            let is_new = |run: &&[usize]| {
                !on_segment
                    .iter()
                    .any(|known| known.lines.len() == length && run.iter().all(|line| known.lines.contains(line)))
            };
            let new = row.windows(length).filter(is_new);
            runs.extend(new.map(|run| Group { tie: Tie::Run, lines: run.to_vec() }));
        }
    }
    let is_trim = |line: &usize| set.lines().get(*line).is_some_and(|line| line.row.is_trim());
    for count in 1..=MOST_TIPS {
        // of a short row the tip is not most of it
        let long = left.iter().filter(|row| row.len() > 2 * count && row.iter().all(is_trim));
        let tips: Vec<Vec<usize>> = long.map(|row| row[row.len() - count..].to_vec()).collect();
        if tips.len() > 1 {
            runs.push(Group { tie: Tie::Tips, lines: tips.concat() });
        }
    }
    runs.extend(left.iter().filter(|row| row.len() > 2).map(|row| Group { tie: Tie::Row, lines: row.clone() }));
    all.extend(on_segment);
    all.extend(runs);
    all
}

/// The sides that a fault may be on.
pub(crate) const SIDES: [&[Side]; 3] = [&[Side::Left], &[Side::Right], &Side::BOTH];
