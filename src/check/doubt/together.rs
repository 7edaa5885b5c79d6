//! Lines above one segment that moved together: a fact about the wing, not a slip of the pen.

use super::search::{Predictions, Search};
use super::spec::DoubtSpec;
use crate::stats::robust::median;
use crate::wing::{LineSet, Side};

/// More than this is no adjustment, mm.
pub(super) const MOST_MM: f64 = 60.0;
/// Lines of a group may differ from its step by so many standard deviations.
const AGREE: f64 = 3.0;
/// The same for a group of two, where each is half of the evidence.
const AGREE_OF_TWO: f64 = 2.0;

/// No line counts for more than this in what a step explains, variances.
const MOST_SQUARE: f64 = 100.0;

/// The lines above one segment, or of one main.
#[derive(Debug, Clone)]
pub(super) struct Group {
    pub(super) name: String,
    pub(super) lines: Vec<usize>,
}

/// A group that moved on one side.
#[derive(Debug, Clone)]
pub(super) struct Moved {
    pub(super) side: Side,
    pub(super) name: String,
    pub(super) keys: Vec<usize>,
    pub(super) step_mm: f64,
    /// How much less the squared distances are with the step, in variances.
    explained: f64,
}

/// Every set of two lines or more that hang on one segment, the largest first.
pub(super) fn groups(set: &LineSet) -> Vec<Group> {
    let mut all: Vec<Group> = Vec::new();
    let mut add = |name: &str, line: usize| match all.iter_mut().find(|known| known.name == name) {
        Some(known) => known.lines.push(line),
        None => all.push(Group { name: name.to_owned(), lines: vec![line] }),
    };
    for (at, line) in set.lines().iter().enumerate() {
        if set.has_cascade() {
            set.path(at).for_each(|segment| add(&segment.name, at));
        } else if let Some(main) = &line.main {
            add(main, at);
        }
    }
    all.retain(|group| group.lines.len() > 1);
    all.sort_by_key(|group| std::cmp::Reverse(group.lines.len()));
    all
}

impl Search<'_> {
    /// Of the groups whose lines are off together, the one whose step explains most, judged without hearing itself.
    pub(super) fn moved(&self, spec: &DoubtSpec, heard: &[f64], first: &Predictions) -> Option<Moved> {
        let mut found: Vec<Moved> = Vec::new();
        let part = |key: usize, of: &Predictions| (heard[key] - of.mean_mm[key]) / of.sd_mm[key];
        if (0..heard.len()).all(|key| !(part(key, first).abs() > spec.flag_at)) {
            return None;
        }
        for group in groups(self.set) {
            for side in Side::BOTH {
                let keys: Vec<usize> = group
                    .lines
                    .iter()
                    .map(|line| side.index() * self.plan.lines + line)
                    .filter(|key| heard[*key].is_finite())
                    .collect();
                let up = keys.iter().filter(|key| part(**key, first) > 0.4 * spec.flag_at).count();
                let down = keys.iter().filter(|key| part(**key, first) < -0.4 * spec.flag_at).count();
                if keys.len() < 2
                    || 2 * up.max(down) < keys.len()
                    || keys.iter().all(|key| !(part(*key, first).abs() > spec.flag_at))
                {
                    continue;
                }
                found.extend(self.step(spec, heard, side, &group.name, keys));
            }
        }
        found.into_iter().max_by(|a, b| a.explained.total_cmp(&b.explained))
    }

    /// By how much a group is off from what is expected without it, when its lines agree on that.
    fn step(&self, spec: &DoubtSpec, heard: &[f64], side: Side, name: &str, keys: Vec<usize>) -> Option<Moved> {
        let mut others = heard.to_vec();
        for key in &keys {
            others[*key] = f64::NAN;
        }
        let without = self.predict_from(spec, &others);
        let off: Vec<f64> = keys.iter().map(|key| heard[*key] - without.mean_mm[*key]).collect();
        let step_mm = median(&off)?;
        let limit = if keys.len() == 2 { AGREE_OF_TWO } else { AGREE };
        let mut agree = 0;
        let mut explained = 0.0;
        for (key, off) in keys.iter().zip(&off) {
            let sd = without.sd_mm[*key];
            let (before, after) = ((off / sd).powi(2), ((off - step_mm) / sd).powi(2));
            agree += usize::from(after <= limit * limit);
            explained += before.min(MOST_SQUARE) - after.min(MOST_SQUARE);
        }
        // one in four may be a slip on top
        let enough = keys.len() - keys.len() / 4;
        (step_mm.abs() <= MOST_MM && agree >= enough).then(|| Moved {
            side,
            name: name.to_owned(),
            keys,
            step_mm,
            explained,
        })
    }
}
