//! One check as the planner sees it: the lines it may rest on, and what may be done where.

use super::aim::Weights;
use super::forest::{Shift, units};
use super::map::PlaceMap;
use super::places::Places;
use super::settle::Placed;
use super::sides::SideTest;
use super::{Aim, Finding, PlanError, PlanSpec, Remeasure, RemeasureReason, Sides, Step, Target};
use crate::check::{ActionKind, Budget, Check, History, Repeats, Uncertainty, Weighted};
use crate::trim::{IncidenceShare, Interval, LineVerdict, Trim, TrimModel};
use crate::wing::{LineSet, Row, Side};

/// How near to a line that is far off its mirror, or a line of the same group, must be to confirm it, mm.
const CONFIRMED_MM: f64 = 15.0;

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
    /// Lines outside tolerance that are left out because they are too far off to be drift.
    pub(super) far_outside: usize,
    pub(super) lines: Vec<KnownLine>,
    /// What a millimetre on each known line does to incidence and asymmetry; empty where incidence is not known.
    pub(super) shares: Vec<IncidenceShare>,
    /// Lines above each place, by side.
    pub(super) above: [Vec<Above>; 2],
    pub(super) remeasure: Vec<Remeasure>,
    pub(super) map: PlaceMap,
    pub(super) places: Places<'a>,
    forbidden: Vec<Barred>,
    /// How the sides compare.
    pub(super) sides: SideTest,
    pub(super) aim: Aim,
    pub(super) target: Target,
    pub(super) weights: Weights,
}

/// A place that must be left alone.
#[derive(Debug, Clone, Copy)]
struct Barred {
    place: usize,
    side: Option<Side>,
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
        let places = Places::of(spec, set, history)?;
        let map = PlaceMap::of(spec, set);
        let forbidden = barred(spec, set, &map)?;
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
        let mut far_outside = 0;
        let is_far = |verdict: &LineVerdict| {
            verdict.row != Row::Brake && (verdict.deviation_mm - common).abs() > spec.doubtful_mm
        };
        let far: Vec<&LineVerdict> = trim.lines.iter().filter(|verdict| is_far(verdict)).collect();
        let mut alone = Vec::new();
        for verdict in &far {
            let Some(line) = set.find(&verdict.line, verdict.side) else { continue };
            let confirms = |other: &&&LineVerdict| {
                let at = set.find(&other.line, other.side);
                let mirror = at == Some(line) && other.side != verdict.side;
                let parent = |line: usize| map.path(line).get(1).copied();
                let mate =
                    other.side == verdict.side && at.is_some_and(|at| at != line && parent(at) == parent(line));
                (mirror || mate) && (other.deviation_mm - verdict.deviation_mm).abs() <= CONFIRMED_MM
            };
            if far.iter().any(|other| confirms(&other)) {
                continue;
            }
            left_out[verdict.side.index() * set.lines().len() + line] = true;
            remeasure.push(Remeasure::new(verdict.side, &verdict.line, RemeasureReason::FarOff));
            far_outside += usize::from(verdict.is_outside());
            alone.push(line);
        }
        let far = !alone.is_empty();
        if far {
            kept = without(&kept, set, &left_out);
            trim = model.run(&history.wing, &kept)?;
        }
        let lines = known_lines(set, &kept, &trim)?;
        let usable = lines.iter().filter(|line| line.row.is_trim()).count();
        let Some(common_mm) = trim.common_mm.filter(|_| usable > 0) else {
            return Err(PlanError::NoReadings { check: check.id.clone(), got: lines.len(), trim: usable });
        };
        let above = lines_above(set, &map, &lines);
        let budget = spec.budget.clone().repeats(Repeats::of(set, &kept));
        let shares = model.incidence_shares(&kept);
        let mut case = Self {
            spec,
            set,
            history,
            model,
            check: kept,
            budget,
            trim,
            common_mm,
            far_outside,
            lines,
            shares,
            above,
            remeasure,
            map,
            places,
            forbidden,
            sides: SideTest::default(),
            aim: Aim::Work,
            target: spec.target.clone(),
            weights: Aim::Work.weights(),
        };
        case.sides = SideTest::of(&case);
        Ok(case)
    }

    /// The same check with another aim.
    pub(super) fn aimed(&self, aim: Aim) -> Self {
        let target = if aim == Aim::Table { Target::Maker } else { self.spec.target.clone() };
        Self { aim, target, weights: aim.weights(), ..self.clone() }
    }

    /// The sides of a tree that are worked on together.
    pub(super) fn groups(&self, root: usize) -> &'static [&'static [Side]] {
        let alike = match self.spec.sides {
            Sides::Auto => !self.sides.differs(root),
            Sides::Separate => false,
            Sides::Same => true,
        };
        if alike { &[&Side::BOTH] } else { &[&[Side::Left], &[Side::Right]] }
    }

    pub(super) fn is_forbidden(&self, side: Side, place: usize) -> bool {
        self.forbidden.iter().any(|barred| barred.place == place && barred.side.is_none_or(|only| only == side))
    }

    /// Whether a place moves a line.
    pub(super) fn moves(&self, place: usize, line: usize) -> bool {
        self.map.path(line).contains(&place)
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
        if self.target.is_relative() { self.budget.relative(terms) } else { self.budget.combination(terms) }
    }

    /// Deviation of a known line from the target, mm.
    pub(super) fn off_mm(&self, line: &KnownLine, target_mm: f64) -> f64 {
        line.deviation_mm - self.target.of(line.row, target_mm)
    }

    /// Price of one step at a place (`None`: everything on a side), whatever the aim.
    pub(super) fn price(&self, place: Option<usize>, step: &Step) -> f64 {
        let usual = if step.kind == ActionKind::ReplaceLine { self.spec.replace_price } else { self.spec.price };
        step.price.unwrap_or(usual) * self.height(place)
    }

    /// Price on top of a step that undoes part of what was done below it.
    pub(super) fn undoing(&self, place: Option<usize>) -> f64 {
        self.spec.replace_price * self.height(place)
    }

    /// How many times as dear work is at a place as at the riser.
    fn height(&self, place: Option<usize>) -> f64 {
        let level = place.map_or(0, |place| self.map.get(place).level);
        1.0 + self.spec.upper_price_pct / 100.0 * f64::from(level)
    }

    /// What a step does to the incidence and the asymmetry of the wing.
    pub(super) fn shift_of(&self, placed: &Placed) -> Shift {
        let lines = placed.place.map(|place| self.above[placed.side.index()][place].known.as_slice());
        let (mut incidence, mut asymmetry) = (0.0, 0.0);
        for share in lines.unwrap_or_default().iter().filter_map(|at| self.shares.get(*at)) {
            incidence += share.wing_deg_per_mm;
            asymmetry += share.asymmetry_deg_per_mm;
        }
        let change_mm = placed.step.change_mm;
        Shift { incidence: units(incidence * change_mm), asymmetry: units(asymmetry * change_mm) }
    }

    /// Price of a degree of the incidence and of the asymmetry that are left, past what cannot be told from none.
    pub(super) fn left_over(&self, incidence_deg: f64, asymmetry_deg: f64) -> f64 {
        if self.shares.is_empty() {
            return 0.0;
        }
        let past = |value: f64, free: f64| (value.abs() - free).max(0.0);
        self.weights.incidence_per_deg * past(incidence_deg, self.incidence_free_deg())
            + self.weights.asymmetry_per_deg * past(asymmetry_deg, self.asymmetry_free_deg())
    }

    /// Incidence that cannot be told from none, degrees.
    pub(super) fn incidence_free_deg(&self) -> f64 {
        half_width(self.trim.incidence_change_deg)
    }

    /// Asymmetry that cannot be told from none, degrees: with mirrored lines that scatter more than they are measured.
    pub(super) fn asymmetry_free_deg(&self) -> f64 {
        self.sides.inflation * half_width(self.trim.asymmetry_deg)
    }
}

/// Expanded uncertainty of a value, from its interval.
pub(super) fn half_width(of: Interval) -> f64 {
    of.upper.zip(of.value).map_or(0.0, |(upper, value)| upper - value)
}

fn barred(spec: &PlanSpec, set: &LineSet, map: &PlaceMap) -> Result<Vec<Barred>, PlanError> {
    let find = |place: &super::Forbidden| {
        let unknown = || PlanError::NoSegment { model: set.model().to_owned(), segment: place.segment.clone() };
        Ok(Barred { place: map.find(&place.segment).ok_or_else(unknown)?, side: place.side })
    };
    spec.forbidden.iter().map(find).collect()
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

fn lines_above(set: &LineSet, map: &PlaceMap, lines: &[KnownLine]) -> [Vec<Above>; 2] {
    let mut above = [vec![Above::default(); map.len()], vec![Above::default(); map.len()]];
    for side in Side::BOTH {
        for line in (0..set.lines().len()).filter(|&line| set.has(line, side)) {
            for &place in map.path(line) {
                above[side.index()][place].total += 1;
            }
        }
    }
    for (at, line) in lines.iter().enumerate() {
        for &place in map.path(line.line) {
            above[line.side.index()][place].known.push(at);
        }
    }
    above
}
