//! The groups of lines that a fault of a wing moves together.

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

/// Every line, every set of two lines or more that hang on one segment, and every short run of neighbours.
pub(crate) fn line_groups(set: &LineSet) -> Vec<Group> {
    let order = row_orders(set);
    let mut all: Vec<Group> =
        (0..set.lines().len()).map(|line| Group { tie: Tie::Line, lines: vec![line] }).collect();
    let mut on_segment: Vec<Group> = Vec::new();
    let mut add = |name: &str, line: usize| {
        let tie = Tie::Segment(name.to_owned());
        match on_segment.iter_mut().find(|known| known.tie == tie) {
            Some(known) => known.lines.push(line),
            None => on_segment.push(Group { tie, lines: vec![line] }),
        }
    };
    for (at, line) in set.lines().iter().enumerate() {
        set.path(at).for_each(|segment| add(&segment.name, at));
        // where the segments do not say what hangs on a main, its name does
        if let Some(main) = line.main.as_ref().filter(|main| set.path(at).all(|segment| segment.name != **main)) {
            add(main, at);
        }
    }
    on_segment.retain(|group| group.lines.len() > 1);
    on_segment.sort_by_key(|group| std::cmp::Reverse(group.lines.len()));
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
