//! The groups of lines that a fault of a wing moves together.

use crate::wing::{LineSet, Side};

/// Longest run of neighbours that is looked at as one.
const LONGEST_RUN: usize = 4;

/// What holds the lines of a group together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Tie {
    /// The line itself.
    Line,
    /// They hang on one segment, or on one main.
    Segment(String),
    /// They are neighbours in their row.
    Run,
}

/// Lines that may be off together, on one side or on both.
#[derive(Debug, Clone)]
pub(super) struct Group {
    pub(super) tie: Tie,
    /// Indices in the line set.
    pub(super) lines: Vec<usize>,
}

/// Every line, every set of two lines or more that hang on one segment, and every short run of neighbours.
pub(super) fn groups(set: &LineSet, order: &[Vec<usize>]) -> Vec<Group> {
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
        if set.has_cascade() {
            set.path(at).for_each(|segment| add(&segment.name, at));
        } else if let Some(main) = &line.main {
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
    all.extend(on_segment);
    all.extend(runs);
    all
}

/// The sides that a fault may be on.
pub(super) const SIDES: [&[Side]; 3] = [&[Side::Left], &[Side::Right], &Side::BOTH];
