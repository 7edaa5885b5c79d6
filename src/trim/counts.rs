//! How many lines of a judged check are what: the one place that counts them.

use serde::{Deserialize, Serialize};

use super::{LineVerdict, Trim, Verdict};

/// How many lines of a check are what.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct LineCounts {
    /// Lines read, doubted ones included.
    pub read: usize,
    /// Within tolerance.
    pub within: usize,
    /// Outside tolerance.
    pub outside: usize,
    /// Neither, by the guarded rule.
    pub undecided: usize,
    /// Judged lines whose chance of being outside lies between 5 and 95 %.
    pub near: usize,
    /// Lines whose reading is doubted: without a verdict, counted apart.
    pub doubted: usize,
}

impl LineCounts {
    /// Counts some lines.
    #[must_use]
    pub fn of<'a>(lines: impl IntoIterator<Item = &'a LineVerdict>) -> Self {
        let mut counts = Self::default();
        for line in lines {
            counts.read += 1;
            counts.near += usize::from(line.near && !line.doubted);
            match line.verdict {
                Some(Verdict::Within) => counts.within += 1,
                Some(Verdict::Outside) => counts.outside += 1,
                Some(Verdict::Undecided) => counts.undecided += 1,
                None => counts.doubted += 1,
            }
        }
        counts
    }
}

impl Trim {
    /// How many of its lines are what.
    #[must_use]
    pub fn counts(&self) -> LineCounts {
        LineCounts::of(&self.lines)
    }
}
