//! One check as the planner sees it: the lines it may rest on, and what may be done where.

use super::places::Places;
use super::{Finding, PlanError, PlanSpec, Remeasure, RemeasureReason, Sides, Step};
use crate::check::{Budget, Check, History, Repeats, Uncertainty, Weighted};
use crate::trim::{Trim, TrimModel};
use crate::wing::{LineSet, Row, Side};

/// A line that was read and has no open finding.
#[derive(Debug, Clone, Copy)]
pub(super) struct KnownLine {
    pub(super) side: Side,
    /// Index in the line set.
    pub(super) line: usize,
    pub(super) row: Row,
    /// Deviation, the riser's included, mm.
    pub(super) deviation_mm: f64,
    pub(super) tolerance_mm: f64,
    /// Mean of its readings, mm.
    pub(super) reading_mm: f64,
    pub(super) repeats: u32,
    /// Weight of its misfit: span loading, mean 1 over the known lines of A–D.
    pub(super) weight: f64,
}

/// What is known of the lines above a segment on one side.
#[derive(Debug, Clone, Default)]
pub(super) struct Above {
    /// Indices of the known lines.
    pub(super) known: Vec<usize>,
    /// All lines that the wing has there.
    pub(super) total: usize,
}

/// One check prepared for planning.
#[derive(Debug, Clone)]
pub(super) struct Case<'a> {
    pub(super) spec: &'a PlanSpec,
    pub(super) set: &'a LineSet,
    pub(super) history: &'a History,
    pub(super) model: TrimModel<'a>,
    /// The check without the readings that are to be taken again.
    pub(super) check: Check,
    pub(super) budget: Budget,
    pub(super) trim: Trim,
    pub(super) common_mm: f64,
    pub(super) lines: Vec<KnownLine>,
    pub(super) above: [Vec<Above>; 2],
    pub(super) remeasure: Vec<Remeasure>,
    pub(super) places: Places,
    /// Expanded uncertainty of the mean of the known lines above each segment, per group of sides, mm.
    pub(super) guards_mm: Vec<Vec<f64>>,
}

impl<'a> Case<'a> {
    pub(super) fn new(
        spec: &'a PlanSpec,
        set: &'a LineSet,
        history: &'a History,
        check: &Check,
        findings: &[Finding],
    ) -> Result<Self, PlanError> {
        spec.validate()?;
        let places = Places::of(spec, set, &history.fittings)?;
        let model = spec.judge().prepare(set)?;
        let mut remeasure = Vec::new();
        let mut left_out = vec![false; 2 * set.lines().len()];
        for finding in findings {
            let Some(line) = set.find(&finding.line, finding.side) else {
                let (model, line) = (set.model().to_owned(), finding.line.clone());
                return Err(PlanError::NoLine { model, line, side: finding.side });
            };
            let cell = &mut left_out[finding.side.index() * set.lines().len() + line];
            if !*cell {
                *cell = true;
                remeasure.push(Remeasure::new(finding.side, &finding.line, RemeasureReason::Finding));
            }
        }
        // a reading of a line that the set does not have is the trim's to refuse
        let mut trim = model.run(&history.wing, check)?;
        let mut kept = without(check, set, &left_out);
        if !remeasure.is_empty() {
            trim = model.run(&history.wing, &kept)?;
        }
        let common = trim.common_mm.unwrap_or(0.0);
        let mut far = false;
        for verdict in &trim.lines {
            let far_off = verdict.row != Row::Brake && (verdict.deviation_mm - common).abs() > spec.doubtful_mm;
            if far_off && let Some(line) = set.find(&verdict.line, verdict.side) {
                left_out[verdict.side.index() * set.lines().len() + line] = true;
                remeasure.push(Remeasure::new(verdict.side, &verdict.line, RemeasureReason::FarOff));
                far = true;
            }
        }
        if far {
            kept = without(&kept, set, &left_out);
            trim = model.run(&history.wing, &kept)?;
        }
        let lines = known_lines(set, &kept, &trim)?;
        let usable = lines.iter().filter(|line| line.row.is_trim()).count();
        let Some(common_mm) = trim.common_mm.filter(|_| usable > 0) else {
            return Err(PlanError::NoReadings { check: check.id.clone(), got: lines.len(), trim: usable });
        };
        let above = lines_above(set, &lines);
        let budget = spec.budget.clone().repeats(Repeats::of(set, &kept));
        let guards_mm = Vec::new();
        let mut case = Self {
            spec,
            set,
            history,
            model,
            check: kept,
            budget,
            trim,
            common_mm,
            lines,
            above,
            remeasure,
            places,
            guards_mm,
        };
        case.guards_mm = case.groups().iter().map(|sides| case.guards_of(sides)).collect();
        Ok(case)
    }

    /// The sides that are worked on together.
    pub(super) fn groups(&self) -> &'static [&'static [Side]] {
        match self.spec.sides {
            Sides::Separate => &[&[Side::Left], &[Side::Right]],
            Sides::Same => &[&Side::BOTH],
        }
    }

    fn guards_of(&self, sides: &[Side]) -> Vec<f64> {
        let above = |segment: usize| -> Vec<usize> {
            sides.iter().flat_map(|side| self.above[side.index()][segment].known.iter().copied()).collect()
        };
        (0..self.set.segments().len()).map(|segment| self.mean_uncertainty(&above(segment)).expanded()).collect()
    }

    /// Uncertainty of the mean of some known lines from the target.
    pub(super) fn mean_uncertainty(&self, lines: &[usize]) -> Uncertainty {
        let coefficient = 1.0 / lines.len().max(1) as f64;
        let terms = lines.iter().filter_map(|&at| self.lines.get(at)).map(|line| Weighted {
            coefficient,
            side: line.side,
            row: line.row,
            repeats: line.repeats,
        });
        if self.spec.target.is_relative() { self.budget.relative(terms) } else { self.budget.combination(terms) }
    }

    /// Deviation of a known line from the target, mm.
    pub(super) fn off_mm(&self, line: &KnownLine, target_mm: f64) -> f64 {
        line.deviation_mm - self.spec.target.of(line.row, target_mm)
    }

    /// Price of one step at a segment (`None`: everything on a side).
    pub(super) fn price(&self, segment: Option<usize>, step: &Step) -> f64 {
        let level = segment.map_or(0, |segment| self.places.level(segment));
        step.price.unwrap_or(self.spec.price) * (1.0 + self.spec.upper_price_pct / 100.0 * f64::from(level))
    }
}

fn without(check: &Check, set: &LineSet, left_out: &[bool]) -> Check {
    let mut kept = check.clone();
    let lines = set.lines().len();
    kept.readings.retain(|reading| !left_out[reading.side.index() * lines + reading.line]);
    kept
}

fn known_lines(set: &LineSet, check: &Check, trim: &Trim) -> Result<Vec<KnownLine>, PlanError> {
    let deviations = crate::check::deviations(set, check);
    let lines_of_set = set.lines().len();
    let mut readings = vec![0.0; 2 * lines_of_set];
    for reading in &check.readings {
        readings[reading.side.index() * lines_of_set + reading.line] += reading.reading_mm;
    }
    let mut lines = Vec::with_capacity(deviations.len());
    for (found, verdict) in deviations.iter().zip(&trim.lines) {
        if !(verdict.tolerance_mm > 0.0) {
            let (model, line) = (set.model().to_owned(), verdict.line.clone());
            return Err(PlanError::Tolerance { model, line, value: verdict.tolerance_mm });
        }
        let span = verdict.span.clamp(-1.0, 1.0);
        lines.push(KnownLine {
            side: found.side,
            line: found.line,
            row: verdict.row,
            deviation_mm: verdict.deviation_mm,
            tolerance_mm: verdict.tolerance_mm,
            reading_mm: readings[found.side.index() * lines_of_set + found.line] / f64::from(found.repeats),
            repeats: found.repeats,
            // elliptic loading over the half span
            weight: (1.0 - span * span).max(0.0).sqrt(),
        });
    }
    let trim_rows = || lines.iter().filter(|line| line.row.is_trim());
    let mean = trim_rows().map(|line| line.weight).sum::<f64>() / trim_rows().count().max(1) as f64;
    for line in &mut lines {
        line.weight = if mean > 0.0 { line.weight / mean } else { 1.0 };
    }
    Ok(lines)
}

fn lines_above(set: &LineSet, lines: &[KnownLine]) -> [Vec<Above>; 2] {
    let mut above = [vec![Above::default(); set.segments().len()], vec![Above::default(); set.segments().len()]];
    for side in Side::BOTH {
        for line in (0..set.lines().len()).filter(|&line| set.has(line, side)) {
            for segment in set.path_indices(line) {
                above[side.index()][segment].total += 1;
            }
        }
    }
    for (at, line) in lines.iter().enumerate() {
        for segment in set.path_indices(line.line) {
            above[line.side.index()][segment].known.push(at);
        }
    }
    above
}
