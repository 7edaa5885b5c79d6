//! One check looked through: slips over several lines first, then facts and slips of single ones.

use super::blocks::{Block, contradicts_one_check, shifted_rows, swapped_sides};
use super::epochs::Epochs;
use super::evidence::{Known, Weighed};
use super::fact::Fact;
use super::finding::{DoubtNote, Doubts, Explanation, Finding, FindingKind};
use super::ground::{Expected, Ground};
use super::layout::Layout;
use super::level::Anchors;
use super::past::Past;
use super::spec::{DoubtSpec, Expectation};
use super::table::Cells;
use crate::check::History;
use crate::wing::{LineSet, Side};

impl<'a> Ground<'a> {
    /// What is known of a check of a wing.
    pub(super) fn of(
        spec: &'a DoubtSpec,
        set: &'a LineSet,
        history: &'a History,
        at: usize,
        expectations: &'a [Expectation],
    ) -> Self {
        let layout = Layout::new(set);
        let check = &history.checks[at];
        let past = Past::new(spec, &layout, set, history, &Epochs::new(set, history), at);
        let cells = Cells::new(set, check);
        let worked_on = worked_on(set, history, at);
        Self { spec, set, check, layout, cells, past, worked_on, expectations }
    }

    /// Looks through the check.
    pub(super) fn search(mut self) -> Doubts {
        let anchors = Anchors::new(&self.layout, &self.cells.deviation_mm, self.past.anchors.as_ref());
        let mut blocks = shifted_rows(self.spec, &self.layout, &self.cells, &anchors);
        self.put_back(&blocks);
        let swapped = swapped_sides(self.spec, &self.layout, self.set, &self.cells, &self.past);
        self.put_back(&swapped);
        let contradicts =
            swapped.is_empty() && contradicts_one_check(self.spec, &self.layout, self.set, &self.cells, &self.past);
        blocks.extend(swapped);
        let Weighed { expected, facts } = self.weigh();
        let mut notes = Vec::new();
        if contradicts {
            notes.push(DoubtNote {
                code: "sides_contradict".to_owned(),
                message:
                    "left and right differ the other way round than at the check before: in one of the two checks \
                          the sides may be swapped. Measure a few lines on either side again."
                        .to_owned(),
            });
        }
        let facts: Vec<Fact> = facts.iter().map(|known| self.told(known)).collect();
        notes.extend(facts.iter().map(Fact::note));
        Doubts {
            check: self.check.id.clone(),
            readings: self.check.readings.len(),
            scale_mm: expected.scale_mm,
            expected: self.expectations_of(&expected),
            findings: self.findings(&blocks, &expected),
            facts,
            notes,
        }
    }

    /// Puts the values of slips over several lines where they belong.
    fn put_back(&mut self, blocks: &[Block]) {
        let shown: Vec<f64> = (0..self.layout.keys()).map(|key| self.cells.shown_mm(key)).collect();
        for step in blocks.iter().flat_map(|block| &block.moves) {
            let own = step.from.map_or(f64::NAN, |from| shown[from]);
            self.cells.deviation_mm[step.key] = own - self.cells.zero_mm[step.key];
        }
    }

    fn told(&self, known: &Known) -> Fact {
        let names = known.lines.iter().map(|line| self.set.lines()[*line].name.clone()).collect();
        let row = known.lines.first().map(|line| self.set.lines()[*line].row);
        Fact::new(known, names, row, self.exchanged_with(known))
    }

    /// The line of the same row whose nominal would explain both a line's deviation and, exchanged, the other's.
    fn exchanged_with(&self, known: &Known) -> Option<String> {
        let [line] = known.lines.as_slice() else { return None };
        let own = &self.set.lines()[*line];
        let key = *known.keys.first()?;
        let level = |key: usize, step: f64| self.cells.deviation_mm[key] - step;
        let fits = |other: &usize| {
            let theirs = &self.set.lines()[*other];
            let apart = theirs.nominal_mm - own.nominal_mm;
            let at = key - line + other;
            theirs.row == own.row
                && other != line
                && (known.step_mm - apart).abs() <= EXCHANGED_MM
                && (level(at, -apart) - level(key, known.step_mm)).abs() <= EXCHANGED_MM
        };
        (0..self.layout.lines).find(fits).map(|other| self.set.lines()[other].name.clone())
    }

    fn findings(&self, blocks: &[Block], expected: &Expected) -> Vec<Finding> {
        let mut by_key: Vec<Vec<usize>> = vec![Vec::new(); self.layout.keys()];
        let key_of = |side: Side, line: usize| side.index() * self.layout.lines + line;
        for (at, reading) in self.check.readings.iter().enumerate() {
            by_key[key_of(reading.side, reading.line)].push(at);
        }
        let mut findings = Vec::new();
        for (at, reading) in self.check.readings.iter().enumerate() {
            let key = key_of(reading.side, reading.line);
            if self.is_confirmed(key) {
                continue;
            }
            let block = blocks.iter().find_map(|block| {
                let step = block.moves.iter().find(|step| step.key == key)?;
                Some((block, step))
            });
            let hope = self.hope(at, &by_key[key], expected, key);
            let off = (reading.reading_mm - hope.mean_mm).abs();
            let mut explanations = if let Some((block, step)) = block {
                let own = Some(self.cells.shown_mm(step.key)).filter(|value| value.is_finite());
                vec![Explanation {
                    kind: block.kind,
                    suggested_mm: Some(own.unwrap_or(hope.mean_mm.round())),
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
            } else if off > self.spec.flag_at * hope.sd_mm && off >= self.spec.least_off_mm {
                self.explain(reading, hope, expected)
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
                expected_mm: hope.mean_mm,
                expected_sd_mm: hope.sd_mm,
                score: off / hope.sd_mm,
                explanation,
                alternatives: explanations,
            });
        }
        findings
    }

    fn expectations_of(&self, expected: &Expected) -> Vec<Expectation> {
        let all = Side::BOTH.into_iter().flat_map(|side| (0..self.layout.lines).map(move |line| (side, line)));
        all.filter(|(side, line)| self.set.has(*line, *side))
            .map(|(side, line)| {
                let key = side.index() * self.layout.lines + line;
                Expectation { side, line, deviation_mm: expected.mean_mm[key], sd_mm: expected.sd_mm[key] }
            })
            .collect()
    }
}

/// By side and line: whether an action on the line's own segment is first seen by this check.
fn worked_on(set: &LineSet, history: &History, at: usize) -> Vec<bool> {
    let lines = set.lines().len();
    let before = history.checks[..at].iter().rposition(|check| !check.readings.is_empty());
    let mut worked = vec![false; 2 * lines];
    for action in &history.actions {
        let seen = action.first_check_after(&history.checks);
        if seen <= at && before.is_none_or(|before| seen > before) {
            let on_it = (0..lines).filter(|line| Some(set.lines()[*line].segment) == action.segment);
            on_it.for_each(|line| worked[action.side.index() * lines + line] = true);
        }
    }
    worked
}

/// Two lines that hold each other's lengths agree with that to this, mm.
const EXCHANGED_MM: f64 = 8.0;
