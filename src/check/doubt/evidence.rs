//! A slip or a fact: what two independent slips would have to agree on is a fact about the wing.
//!
//! Slips are independent from line to line and side to side. The faults of wings come in shapes: the lines of a segment
//! together, neighbours, the same on both sides, the same as at an earlier check. Each shape that would explain what is off is
//! weighed as odds against slips of its lines, `P(shape) f(step) Π p(off − step) / Π [p(off) + P(slip) p(off | slip)]`, where
//! what is expected of the lines does not hear them.

use super::ground::{Expected, Ground};
use super::groups::{Group, SIDES, Tie};
use super::hypothesis::{PRIOR_ODD, PRIOR_SLIP, density, odd_density, slip_weight};
use super::level::Anchors;
use crate::wing::Side;

/// Prior probability that one given group is off together by a fault of the wing: order of size only (our choice), as wings
/// come to a workshop. A line alone is as likely misread as wrong, so only further evidence makes it a fact.
const PRIOR_LINE: f64 = 2e-4;
const PRIOR_LINE_BOTH: f64 = 2e-3;
const PRIOR_SEGMENT: f64 = 1e-3;
const PRIOR_SEGMENT_BOTH: f64 = 3e-3;
const PRIOR_RUN: f64 = 1e-4;
const PRIOR_RUN_BOTH: f64 = 1e-3;
const PRIOR_TIPS: f64 = 2e-3;
const PRIOR_ROW: f64 = 2e-3;
/// Prior probability that a line which was worked on since the check before is off by a fault of that work.
const PRIOR_WORKED: f64 = 0.1;
/// Log odds that agreeing repeats of a line add where the line itself speaks for the fact: they exclude a slip of the pen.
const REPEATS_ODDS: f64 = 20.0;
/// Half-width at half height of the steps that faults make, mm.
const STEP_MM: f64 = 15.0;
/// Log odds past which a fact is taken for one: 20 to 1.
const LEAST_ODDS: f64 = 3.0;
/// What the lines about a group may be off the level of their row, mm (standard deviation).
const REST_SD_MM: f64 = 10.0;
/// A group is looked at when its lines are off the same way by so many standard deviations.
const LEAN: f64 = 1.0;
/// No more facts and slips than this are told apart in one check.
const MOST_ROUNDS: usize = 24;
/// With more doubtful lines than this in a row, they are not tried one by one.
const MOST_TRIED: usize = 6;
/// Of the groups that explain a doubtful line, those this far behind the best in log odds are not held against it.
const MOST_BEHIND: f64 = 8.0;
/// One line counts for no more than this when two groups are held against each other.
const MOST_SCORE_SQUARED: f64 = 25.0;

/// Why a deviation is taken for a fact.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Because {
    /// Its lines agree.
    Together,
    /// An earlier check says the same.
    Earlier,
    /// It was worked on since the check before.
    Worked,
    /// Repeats agree.
    Repeats,
    /// Somebody measured again and confirmed it.
    Confirmed,
}

/// Lines that truly are off.
#[derive(Debug, Clone)]
pub(super) struct Known {
    pub(super) tie: Tie,
    pub(super) why: Because,
    /// Lines, by index in the set.
    pub(super) lines: Vec<usize>,
    pub(super) sides: &'static [Side],
    /// Lines with their side in one.
    pub(super) keys: Vec<usize>,
    pub(super) step_mm: f64,
}

/// A group weighed.
struct Candidate {
    /// Log odds of a fact against slips.
    odds: f64,
    /// The same less what speaks against the rest of the row: of two groups that explain each other away, the one that
    /// leaves the others at the level of their row ranks higher.
    rank: f64,
    fact: Known,
}

/// What is expected once slips and facts are told apart.
pub(super) struct Weighed {
    /// With the steps of the facts in it.
    pub(super) expected: Expected,
    pub(super) facts: Vec<Known>,
}

impl Ground<'_> {
    fn flag(&self, heard: &[f64], expected: &Expected) -> Vec<usize> {
        let is_off = |key: &usize| {
            let off = heard[*key] - expected.mean_mm[*key];
            off.abs() > self.spec.flag_at * expected.sd_mm[*key] && off.abs() >= self.spec.least_off_mm
        };
        (0..heard.len()).filter(is_off).collect()
    }

    /// Tells slips from facts, one after the other: with the first put right, the others are seen better.
    pub(super) fn weigh(&self) -> Weighed {
        let mut heard = self.cells.deviation_mm.clone();
        let mut expected = self.expected(&heard);
        let mut facts: Vec<Known> = Vec::new();
        for _ in 0..MOST_ROUNDS {
            let flagged = self.flag(&heard, &expected);
            if flagged.is_empty() {
                break;
            }
            if let Some(fact) = self.fact(&heard, &expected, &flagged) {
                fact.keys.iter().for_each(|key| heard[*key] -= fact.step_mm);
                facts.push(fact);
            } else {
                self.set_aside(&mut heard, &flagged);
            }
            expected = self.expected(&heard);
        }
        for key in self.flag(&heard, &expected) {
            heard[key] = f64::NAN;
        }
        expected = self.expected(&heard);
        for fact in &facts {
            fact.keys.iter().for_each(|key| expected.mean_mm[*key] += fact.step_mm);
        }
        Weighed { expected, facts }
    }

    /// Takes away the doubtful line of each row without which the others of that row are doubted least.
    fn set_aside(&self, heard: &mut [f64], flagged: &[usize]) {
        let mut rows: Vec<Vec<usize>> = Vec::new();
        for key in flagged {
            match rows.iter_mut().find(|row| self.layout.row(row[0]) == self.layout.row(*key)) {
                Some(row) => row.push(*key),
                None => rows.push(vec![*key]),
            }
        }
        let mut gone = Vec::new();
        for row in rows {
            if row.len() == 1 || row.len() > MOST_TRIED {
                gone.extend(row);
                continue;
            }
            let misfit = |without: usize| {
                let mut others = heard.to_vec();
                others[without] = f64::NAN;
                let expected = self.expected(&others);
                let left = row.iter().filter(|key| **key != without);
                left.map(|key| expected.score(heard, *key).powi(2).min(100.0)).sum::<f64>()
            };
            let least = row.iter().map(|key| (misfit(*key), *key)).min_by(|a, b| a.0.total_cmp(&b.0));
            gone.extend(least.map(|(_, key)| key));
        }
        for key in gone {
            heard[key] = f64::NAN;
        }
    }

    /// Of the groups that would explain a doubtful line, the one with the best odds.
    fn fact(&self, heard: &[f64], expected: &Expected, flagged: &[usize]) -> Option<Known> {
        let mut able: Vec<Candidate> = Vec::new();
        let anchors = Anchors::new(&self.layout, heard, self.past.anchors.as_ref());
        for group in self.layout.groups(self.set) {
            for sides in SIDES {
                let all = sides
                    .iter()
                    .flat_map(|side| group.lines.iter().map(move |line| side.index() * self.layout.lines + line));
                let keys: Vec<usize> = all.filter(|key| heard[*key].is_finite()).collect();
                if !keys.iter().any(|key| flagged.contains(key)) || !leans(heard, expected, &keys) {
                    continue;
                }
                if group.tie == Tie::Row && sides.len() > 1 {
                    continue;
                }
                let whole = sides.iter().all(|side| keys.iter().any(|key| key / self.layout.lines == side.index()));
                if !whole || keys.len() < group.lines.len().min(2) {
                    continue;
                }
                let weighed = self.odds(heard, &anchors, group, sides, keys);
                if weighed.odds > LEAST_ODDS {
                    able.push(weighed);
                }
            }
        }
        able.sort_by(|a, b| b.rank.total_cmp(&a.rank));
        let close = |one: &Candidate| able.first().is_some_and(|best| one.rank >= best.rank - MOST_BEHIND);
        able.truncate(able.iter().take_while(|one| close(one)).count().min(MOST_TRIED));
        if able.len() > 1 {
            for one in &mut able {
                one.rank -= self.misfit_with(heard, &one.fact);
            }
            able.sort_by(|a, b| b.rank.total_cmp(&a.rank));
        }
        able.into_iter().next().map(|best| best.fact)
    }

    /// What is still off in the rows of a fact once its step is taken out, as log odds: of two groups that explain each other
    /// away, one leaves more to be explained.
    fn misfit_with(&self, heard: &[f64], fact: &Known) -> f64 {
        let mut others = heard.to_vec();
        fact.keys.iter().for_each(|key| others[*key] -= fact.step_mm);
        let expected = self.expected(&others);
        let in_rows = |key: &usize| {
            others[*key].is_finite() && fact.keys.iter().any(|own| self.layout.row(*own) == self.layout.row(*key))
        };
        let all = (0..others.len()).filter(in_rows);
        all.map(|key| 0.5 * expected.score(&others, key).powi(2).min(MOST_SCORE_SQUARED)).sum()
    }

    /// Log odds that a group is off together against slips of its lines, and the fact it would be.
    fn odds(
        &self,
        heard: &[f64],
        anchors: &Anchors,
        group: &Group,
        sides: &'static [Side],
        keys: Vec<usize>,
    ) -> Candidate {
        let mut others = heard.to_vec();
        keys.iter().for_each(|key| others[*key] = f64::NAN);
        let expected = self.expected(&others);
        let off = |key: usize| heard[key] - expected.mean_mm[key];
        let mut all: Vec<f64> = keys.iter().map(|key| off(*key)).collect();
        all.sort_by(f64::total_cmp);
        let step_mm = f64::midpoint(all[(all.len() - 1) / 2], all[all.len() / 2]);
        let mut fact = Known {
            tie: group.tie.clone(),
            why: Because::Together,
            lines: group.lines.clone(),
            sides,
            keys,
            step_mm,
        };
        if step_mm.abs() < self.spec.least_off_mm {
            return Candidate { odds: f64::NEG_INFINITY, rank: f64::NEG_INFINITY, fact };
        }
        let n = fact.keys.len() as f64;
        let sd = fact.keys.iter().map(|key| expected.sd_mm[*key]).sum::<f64>() / n;
        let worked = matches!(fact.keys.as_slice(), [key] if self.worked_on[*key]);
        let prior = if worked { PRIOR_WORKED } else { prior(&group.tie, sides) };
        let mut odds = prior.ln() + step_density(step_mm).ln();
        // the step is not known beforehand: what is integrated over
        odds += (std::f64::consts::TAU.sqrt() * sd / n.sqrt()).ln();
        let mut repeats = false;
        for key in &fact.keys {
            let (off, sd) = (off(*key), expected.sd_mm[*key]);
            let reading_mm = self.cells.zero_mm[*key] + heard[*key];
            let slip = slip_weight(reading_mm, reading_mm - off, sd);
            let right = (1.0 - PRIOR_SLIP) * density(off - step_mm, sd) + PRIOR_ODD * odd_density(off - step_mm);
            let gain = right.ln() - ((1.0 - PRIOR_SLIP) * density(off, sd) + slip).ln();
            odds += gain;
            if self.cells.repeats_agree[*key] && gain > 0.0 {
                odds += REPEATS_ODDS;
                repeats = true;
            }
        }
        let earlier = self.seen_before(&fact, &expected, heard);
        odds += earlier;
        if let [key] = fact.keys.as_slice() {
            if self.is_confirmed(*key) {
                odds = f64::INFINITY;
                fact.why = Because::Confirmed;
            } else if repeats {
                fact.why = Because::Repeats;
            } else if earlier > 0.0 {
                fact.why = Because::Earlier;
            } else if worked {
                fact.why = Because::Worked;
            }
        }
        let rest = |key: &usize| expected.mean_mm[*key] - anchors.of(self.layout.row(*key)).level_mm;
        let rest_mm = fact.keys.iter().map(rest).sum::<f64>() / n;
        Candidate { odds, rank: odds - 0.5 * (rest_mm / REST_SD_MM).powi(2), fact }
    }

    /// What earlier checks add to the log odds of a fact.
    fn seen_before(&self, fact: &Known, expected: &Expected, heard: &[f64]) -> f64 {
        let error = expected.error_sd_mm;
        let of_line = |key: &usize| {
            let off = heard[*key] - expected.mean_mm[*key];
            let alike = |before: &f64| {
                let alike = density(before - off, std::f64::consts::SQRT_2 * error);
                let by_chance = density(*before, expected.sd_mm[*key]) + PRIOR_ODD * odd_density(*before);
                (alike / by_chance).ln()
            };
            self.past.seen_mm[*key].iter().map(alike).sum::<f64>().max(0.0)
        };
        fact.keys.iter().map(of_line).sum()
    }
}

/// Whether half of a group or more are off the same way, and hardly one the other: they are heard, so they hide each other.
fn leans(heard: &[f64], expected: &Expected, keys: &[usize]) -> bool {
    let up = keys.iter().filter(|key| expected.score(heard, **key) > LEAN).count();
    let down = keys.iter().filter(|key| expected.score(heard, **key) < -LEAN).count();
    2 * up.max(down) >= keys.len() && 4 * up.min(down) <= keys.len()
}

fn prior(tie: &Tie, sides: &[Side]) -> f64 {
    match (tie, sides.len()) {
        (Tie::Line, 1) => PRIOR_LINE,
        (Tie::Line, _) => PRIOR_LINE_BOTH,
        (Tie::Segment(_), 1) => PRIOR_SEGMENT,
        (Tie::Segment(_), _) => PRIOR_SEGMENT_BOTH,
        (Tie::Run, 1) => PRIOR_RUN,
        (Tie::Run, _) => PRIOR_RUN_BOTH,
        (Tie::Tips, _) => PRIOR_TIPS,
        (Tie::Row, 1) => PRIOR_ROW,
        // the level of a row is heard, not expected
        (Tie::Row, _) => 0.0,
    }
}

fn step_density(step_mm: f64) -> f64 {
    let unit = step_mm / STEP_MM;
    1.0 / (std::f64::consts::PI * STEP_MM * (1.0 + unit * unit))
}
