//! The search for doubtful readings in one check.

use super::blocks::{Block, contradicts_one_check, shifted_rows, swapped_sides};
use super::finding::{DoubtNote, Doubts, Explanation, Finding, FindingKind, OtherLine};
use super::hypothesis::{Hypothesis, PRIOR_OTHER, density, slips};
use super::level::{Anchors, Levels, Plan};
use super::past::Past;
use super::spec::{DoubtSpec, Expectation};
use super::table::Cells;
use super::together::Moved;
use crate::check::{Check, Reading};
use crate::stats::robust::median;
use crate::wing::{LineSet, Side};

/// No more groups than this are looked for.
const MOST_MOVED: usize = 8;

/// What is expected of one reading.
#[derive(Debug, Clone, Copy)]
struct Hope {
    mean_mm: f64,
    sd_mm: f64,
}

/// What is expected of each side and line at this check.
pub(super) struct Predictions {
    pub(super) mean_mm: Vec<f64>,
    pub(super) sd_mm: Vec<f64>,
    /// Standard deviation of one reading of a line whose length is known.
    error_sd_mm: f64,
    scale_mm: f64,
    /// Groups of lines that moved together; their steps are in the means.
    moved: Vec<Moved>,
}

/// What the search works on.
pub(super) struct Search<'a> {
    pub(super) set: &'a LineSet,
    pub(super) check: &'a Check,
    pub(super) plan: Plan,
    pub(super) cells: Cells,
    pub(super) past: Past,
    pub(super) expectations: Option<&'a [Expectation]>,
    /// Whether this check and the one before contradict each other on which side is which.
    pub(super) sides_contradict: bool,
}

impl Search<'_> {
    /// Finds slips over several lines and puts their values where they belong.
    pub(super) fn blocks(&mut self, spec: &DoubtSpec) -> Vec<Block> {
        let anchors = Anchors::new(&self.plan, &self.cells.deviation_mm, self.past.anchors.as_ref());
        let mut blocks = shifted_rows(spec, &self.plan, &self.cells, &anchors);
        self.put_back(&blocks);
        let swapped = swapped_sides(spec, &self.plan, self.set, &self.cells, &self.past);
        self.put_back(&swapped);
        self.sides_contradict =
            swapped.is_empty() && contradicts_one_check(spec, &self.plan, self.set, &self.cells, &self.past);
        blocks.extend(swapped);
        blocks
    }

    fn put_back(&mut self, blocks: &[Block]) {
        let shown: Vec<f64> = (0..self.plan.keys()).map(|key| self.cells.shown_mm(key)).collect();
        for step in blocks.iter().flat_map(|block| &block.moves) {
            let own = step.from.map_or(f64::NAN, |from| shown[from]);
            self.cells.deviation_mm[step.key] = own - self.cells.zero_mm[step.key];
        }
    }

    pub(super) fn predict(&self, spec: &DoubtSpec) -> Predictions {
        let mut heard = self.cells.deviation_mm.clone();
        let mut predictions = self.predict_from(spec, &heard);
        // one group after the other: with the first put right, its neighbours are seen better
        let mut moved: Vec<Moved> = Vec::new();
        while moved.len() < MOST_MOVED
            && let Some(group) = self.moved(spec, &heard, &predictions)
        {
            group.keys.iter().for_each(|key| heard[*key] -= group.step_mm);
            moved.push(group);
            predictions = self.predict_from(spec, &heard);
        }
        // a second time, without those that the first found doubtful
        for (value, (mean, sd)) in heard.iter_mut().zip(predictions.mean_mm.iter().zip(&predictions.sd_mm)) {
            if (*value - mean).abs() > spec.flag_at * sd {
                *value = f64::NAN;
            }
        }
        predictions = self.predict_from(spec, &heard);
        for group in &moved {
            group.keys.iter().for_each(|key| predictions.mean_mm[*key] += group.step_mm);
        }
        predictions.moved = moved;
        predictions
    }

    pub(super) fn predict_from(&self, spec: &DoubtSpec, heard: &[f64]) -> Predictions {
        let anchors = Anchors::new(&self.plan, heard, self.past.anchors.as_ref());
        let levels = Levels::new(spec, &self.plan, heard, &anchors);
        let all = levels.scale_mm.powi(2);
        let error = match self.past.error_sd_mm {
            Some(sd) => (sd * sd).clamp(0.1 * all, 0.9 * all),
            None => spec.error_share * all,
        }
        .max(spec.least_sd_mm.powi(2));
        let own = (all - error).max(0.1 * all);
        let mut out = Predictions {
            mean_mm: levels.mean_mm,
            sd_mm: Vec::with_capacity(self.plan.keys()),
            error_sd_mm: error.sqrt(),
            scale_mm: levels.scale_mm,
            moved: Vec::new(),
        };
        for key in 0..self.plan.keys() {
            let count = self.past.count[key];
            let share = count * own / (count * own + error);
            out.mean_mm[key] += share * self.past.off_mm[key];
            out.sd_mm.push((error + own * (1.0 - share) + levels.ratio[key] * all).sqrt());
        }
        self.hear_expectations(heard, error, &mut out);
        out
    }

    /// Takes the caller's expectation in. The two are not independent, so the better one's spread is kept.
    fn hear_expectations(&self, heard: &[f64], error: f64, out: &mut Predictions) {
        let Some(known) = self.expectations else { return };
        let key = |one: &Expectation| one.side.index() * self.plan.lines + one.line;
        let apart: Vec<f64> = known
            .iter()
            .filter(|one| self.plan.is_trim(key(one)))
            .map(|one| heard[key(one)] - one.deviation_mm)
            .collect();
        let offset = median(&apart).unwrap_or(0.0);
        for one in known {
            let at = key(one);
            let theirs = one.sd_mm.powi(2) + error;
            let ours = out.sd_mm[at].powi(2);
            let share = ours / (ours + theirs);
            out.mean_mm[at] += share * (one.deviation_mm + offset - out.mean_mm[at]);
            out.sd_mm[at] = ours.min(theirs).sqrt();
        }
    }

    pub(super) fn doubts(&self, spec: &DoubtSpec, blocks: &[Block], predictions: &Predictions) -> Doubts {
        let mut findings = Vec::new();
        let mut by_key: Vec<Vec<usize>> = vec![Vec::new(); self.plan.keys()];
        for (at, reading) in self.check.readings.iter().enumerate() {
            by_key[reading.side.index() * self.plan.lines + reading.line].push(at);
        }
        for (at, reading) in self.check.readings.iter().enumerate() {
            let key = reading.side.index() * self.plan.lines + reading.line;
            let block = blocks.iter().find_map(|block| {
                let step = block.moves.iter().find(|step| step.key == key)?;
                Some((block, step))
            });
            let hope = self.with_repeats(spec, at, &by_key[key], predictions, key);
            let (expected_mm, sd) = (self.cells.zero_mm[key] + hope.mean_mm, hope.sd_mm);
            let off = (reading.reading_mm - expected_mm).abs();
            let mut explanations = if let Some((block, step)) = block {
                let own = Some(self.cells.shown_mm(step.key)).filter(|value| value.is_finite());
                vec![Explanation {
                    kind: block.kind,
                    suggested_mm: Some(own.unwrap_or(expected_mm.round())),
                    other: Some(self.name(step.holds)),
                    probability: block.probability,
                }]
            } else if self.cells.is_other_unit() {
                vec![Explanation {
                    kind: FindingKind::Unit,
                    suggested_mm: Some(reading.reading_mm * self.cells.unit),
                    other: None,
                    probability: 0.99,
                }]
            } else if off > spec.flag_at * sd && off >= spec.least_off_mm {
                self.explain(spec, reading, Hope { mean_mm: expected_mm, sd_mm: sd }, predictions)
            } else {
                continue;
            };
            if explanations.is_empty() {
                continue;
            }
            let explanation = explanations.remove(0);
            findings.push(Finding {
                check: self.check.id.clone(),
                side: reading.side,
                line: self.set.lines()[reading.line].name.clone(),
                line_index: reading.line,
                repeat: reading.repeat,
                reading_mm: reading.reading_mm,
                expected_mm,
                expected_sd_mm: sd,
                score: off / sd,
                explanation,
                alternatives: explanations,
            });
        }
        let expected = Side::BOTH
            .into_iter()
            .flat_map(|side| (0..self.plan.lines).map(move |line| (side, line)))
            .filter(|(side, line)| self.set.has(*line, *side))
            .map(|(side, line)| {
                let key = side.index() * self.plan.lines + line;
                Expectation { side, line, deviation_mm: predictions.mean_mm[key], sd_mm: predictions.sd_mm[key] }
            })
            .collect();
        let mut notes = Vec::new();
        if self.sides_contradict {
            notes.push(DoubtNote {
                code: "sides_contradict".to_owned(),
                message:
                    "left and right differ the other way round than at the check before: in one of the two checks \
                          the sides may stand in each other's place. Measure a few lines on either side again."
                        .to_owned(),
            });
        }
        notes.extend(predictions.moved.iter().map(|group| DoubtNote {
            code: "lines_moved".to_owned(),
            message: format!(
                "{} {}: its {} lines are off together by {:+.0} mm: an adjustment that is not recorded, or a loop or \
                     tangle below them. Look there before measuring again.",
                group.side,
                group.name,
                group.keys.len(),
                group.step_mm
            ),
        }));
        Doubts {
            check: self.check.id.clone(),
            readings: self.check.readings.len(),
            scale_mm: predictions.scale_mm,
            expected,
            findings,
            notes,
        }
    }

    /// What is expected of one reading: of its line, and of what its other repeats say where they agree with that.
    fn with_repeats(
        &self,
        spec: &DoubtSpec,
        reading: usize,
        repeats: &[usize],
        predictions: &Predictions,
        key: usize,
    ) -> Hope {
        let (mean, sd) = (predictions.mean_mm[key], predictions.sd_mm[key]);
        let others: Vec<f64> = repeats
            .iter()
            .filter(|at| **at != reading)
            .map(|at| self.check.readings[*at].reading_mm * self.cells.unit - self.cells.zero_mm[key])
            .collect();
        let Some(read) = median(&others).filter(|read| (read - mean).abs() <= spec.flag_at * sd) else {
            return Hope { mean_mm: mean, sd_mm: sd };
        };
        let error = predictions.error_sd_mm.powi(2);
        let line = (sd * sd - error).max(0.01 * error);
        let share = line / (line + error / others.len() as f64);
        Hope { mean_mm: mean + share * (read - mean), sd_mm: (error + line * (1.0 - share)).sqrt() }
    }

    /// The explanations of a doubtful reading, the likeliest first. `hope` is in what the instrument shows.
    fn explain(
        &self,
        spec: &DoubtSpec,
        reading: &Reading,
        hope: Hope,
        predictions: &Predictions,
    ) -> Vec<Explanation> {
        let written = reading.reading_mm;
        let mut all = slips(written, hope.mean_mm, hope.sd_mm);
        let key = reading.side.index() * self.plan.lines + reading.line;
        let place = &self.set.lines()[reading.line];
        for (at, line) in self.set.lines().iter().enumerate() {
            if at == reading.line || !self.set.has(at, reading.side) {
                continue;
            }
            let apart = line.rank.abs_diff(place.rank);
            let near = match (line.row == place.row, apart) {
                (true, 1) => 0.3,
                (true, 2) => 0.07,
                (false, 0) => 0.05,
                (true, _) => 0.01,
                (false, _) => 0.002,
            };
            let other = reading.side.index() * self.plan.lines + at;
            let away = written - self.cells.zero_mm[other] - predictions.mean_mm[other];
            let weight = PRIOR_OTHER * near * density(away, predictions.sd_mm[other]);
            // exchanged with that line, its reading is this one's
            let theirs = Some(self.cells.shown_mm(other))
                .filter(|shown| (shown - hope.mean_mm).abs() <= spec.flag_at * hope.sd_mm && other != key)
                .filter(|_| self.is_off(spec, predictions, other));
            all.push(Hypothesis {
                kind: Some(FindingKind::OtherLine),
                suggested_mm: Some(theirs.unwrap_or(hope.mean_mm.round())),
                other: Some(other),
                weight,
            });
        }
        let total: f64 = all.iter().map(|one| one.weight).sum::<f64>().max(f64::MIN_POSITIVE);
        all.sort_by(|a, b| b.weight.total_cmp(&a.weight));
        let right = all.iter().find(|one| one.kind.is_none()).map_or(0.0, |one| one.weight);
        let mut explanations: Vec<Explanation> = all
            .iter()
            .filter_map(|one| {
                Some(Explanation {
                    kind: one.kind?,
                    suggested_mm: one.suggested_mm,
                    other: one.other.map(|key| self.name(key)),
                    probability: one.weight / total,
                })
            })
            .collect();
        // far off, but no slip explains it better than chance does: odd
        if explanations.first().is_some_and(|best| best.probability * total < right)
            && let Some(odd) = explanations.iter().position(|one| one.kind == FindingKind::Odd)
        {
            let odd = explanations.remove(odd);
            explanations.insert(0, odd);
        }
        let mut first = true;
        explanations.retain(|one| std::mem::take(&mut first) || one.probability >= 0.01);
        explanations
    }

    fn is_off(&self, spec: &DoubtSpec, predictions: &Predictions, key: usize) -> bool {
        (self.cells.deviation_mm[key] - predictions.mean_mm[key]).abs() > spec.flag_at * predictions.sd_mm[key]
    }

    fn name(&self, key: usize) -> OtherLine {
        let side = if key < self.plan.lines { Side::Left } else { Side::Right };
        OtherLine { side, line: self.set.lines()[key % self.plan.lines].name.clone() }
    }
}
