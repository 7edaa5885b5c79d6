//! A line set prepared for judging checks.

use super::bands::{FlightBands, past};
use super::brake::brake_fans;
use super::diagnose::Findings;
use super::faults::Faults;
use super::incidence::{HalfWing, Section, shape_residuals};
use super::lifting_line::LiftingLineSpec;
use super::loads::{LineLoad, line_loads};
use super::measured::{Combination, Measured};
use super::remarks::Remarks;
use super::rows::{main_trims, row_differences, row_trims, side_differences};
use super::setup::SetUp;
use super::span::{SpanWeights, Station};
use super::{
    FlightFigures, IncidenceShare, Interval, LineVerdict, RiserRotation, RiserTriangle, ToleranceOn, Trim, TrimError,
    TrimSpec, TrimState,
};
use crate::check::doubt::{DoubtSpec, Doubts};
use crate::check::{Check, History, Repeats, chance_outside, is_near};
use crate::wing::{LineSet, Planform, Side, Wing};

/// Span stations of one half over which effective values are summed.
const STATIONS: usize = 100;

/// A line set with everything that does not depend on the check: planform, span weights. Cheap to run.
#[derive(Debug, Clone)]
pub struct TrimModel<'a> {
    spec: TrimSpec,
    set: &'a LineSet,
    planform: Option<Planform>,
    /// Weight of the local incidence in the lift, over one half.
    weights: SpanWeights,
    /// Part of the lift at the same stations.
    lift: SpanWeights,
    /// Planform factor of the lift slope.
    tau: f64,
}

/// Expanded uncertainty of a deviation that is the mean of so many readings.
#[derive(Debug, Clone, Copy)]
struct Expanded {
    repeats: u32,
    expanded_mm: f64,
}

impl<'a> TrimModel<'a> {
    pub(super) fn new(spec: &TrimSpec, set: &'a LineSet) -> Result<Self, TrimError> {
        spec.validate()?;
        for (index, line) in set.lines().iter().enumerate() {
            let figures = [
                ("span", Some(line.span)),
                ("chord", set.chord(index)),
                ("nominal_mm", Some(line.nominal_mm)),
                ("tolerance_mm", line.tolerance_mm),
            ];
            if let Some((what, Some(value))) =
                figures.into_iter().find(|(_, value)| value.is_some_and(|v| !v.is_finite()))
            {
                let (model, line) = (set.model().to_owned(), line.name.clone());
                return Err(TrimError::Line { model, line, what, value });
            }
        }
        let flat = spec.planform.clone().or_else(|| Planform::of_model(set.data()));
        // the radius was checked with the other settings
        let planform = match (flat, spec.arch_radius_m) {
            (Some(flat), Some(radius)) => Some(flat.clone().with_arch_radius(radius).unwrap_or(flat)),
            (flat, _) => flat,
        };
        let elliptic = SpanWeights::elliptic(STATIONS);
        let mut tau = 0.0;
        let (weights, lift) = match planform.as_ref().filter(|planform| !planform.is_elliptic()) {
            // on an ellipse both are (4/π)√(1 − η²)
            None => (elliptic.clone(), elliptic),
            Some(planform) => {
                let line = LiftingLineSpec::default().run(planform)?;
                tau = line.tau();
                let half = || line.weights().iter().filter(|station| station.span > 0.0);
                let circulation = |span: f64| line.uniform().circulation(span) * (1.0 - span * span).sqrt();
                (
                    SpanWeights::normalised(half().map(|s| Station { span: s.span, weight: s.weight })),
                    SpanWeights::normalised(half().map(|s| Station { span: s.span, weight: circulation(s.span) })),
                )
            }
        };
        Ok(Self { spec: spec.clone(), set, planform, weights, lift, tau })
    }

    /// The planform that incidence is worked out with.
    #[must_use]
    pub fn planform(&self) -> Option<&Planform> {
        self.planform.as_ref()
    }

    /// Part of each line A–D in the lift of its half wing, from statics with the centre of pressure at 0.30 of the chord.
    /// Empty for a side without two rows of known chord position.
    #[must_use]
    pub fn line_loads(&self) -> Vec<LineLoad> {
        Side::BOTH.into_iter().filter_map(|side| line_loads(self.set, side, &self.lift)).flatten().collect()
    }

    /// Judges one check of a wing (`at` its index in the history). Readings that the default [`DoubtSpec`] doubts are set
    /// apart: nothing rests on them.
    ///
    /// # Errors
    /// [`TrimError`] as [`TrimModel::run`], and when the history has no such check or cannot be looked through.
    pub fn judge(&self, history: &History, at: usize) -> Result<Trim, TrimError> {
        let check = history.checks.get(at).ok_or_else(|| TrimError::NoCheck {
            wing: history.wing.id.clone(),
            check: at,
            checks: history.checks.len(),
        })?;
        // what trim refuses is refused in its words
        self.validate(&history.wing, check)?;
        let doubts = DoubtSpec::default().run(self.set, history, at, None);
        let doubts =
            doubts.map_err(|error| TrimError::Doubts { check: check.id.clone(), message: error.to_string() })?;
        self.judge_with(history, at, &doubts)
    }

    /// Judges one check of a wing, the readings in doubt being known.
    ///
    /// # Errors
    /// [`TrimError`] as [`TrimModel::run`], and when the history has no such check.
    pub(crate) fn judge_with(&self, history: &History, at: usize, doubts: &Doubts) -> Result<Trim, TrimError> {
        let check = history.checks.get(at).ok_or_else(|| TrimError::NoCheck {
            wing: history.wing.id.clone(),
            check: at,
            checks: history.checks.len(),
        })?;
        let before = history.checks[..at].iter().rfind(|before| !before.readings.is_empty());
        self.judged(&history.wing, check, Some(doubts), before)
    }

    /// Judges one check alone, every reading believed.
    ///
    /// # Errors
    /// [`TrimError`] when the wing is of another model, a reading names a line that the set does not have on its side, or
    /// a figure of the check is not a finite number.
    pub fn run(&self, wing: &Wing, check: &Check) -> Result<Trim, TrimError> {
        self.judged(wing, check, None, None)
    }

    fn judged(
        &self,
        wing: &Wing,
        check: &Check,
        doubts: Option<&Doubts>,
        before: Option<&Check>,
    ) -> Result<Trim, TrimError> {
        let doubted = |side: Side, line: usize| doubts.is_some_and(|doubts| doubts.doubts_line(side, line));
        self.validate(wing, check)?;
        let mut kept = check.clone();
        kept.readings.retain(|reading| !doubted(reading.side, reading.line));
        let budget = self.spec.budget.clone().repeats(Repeats::of(self.set, &kept));
        let measured = Measured::of(self.set, &kept, budget);
        let mut remarks = Remarks::default();
        let mut trim = Trim {
            check: check.id.clone(),
            wing: wing.id.clone(),
            hours: check.hours_h,
            stage: check.stage,
            common_mm: measured.common_mm,
            state: TrimState::InTrim,
            summary: String::new(),
            diagnosis: Vec::new(),
            again: Vec::new(),
            lines: self.verdicts(check, &measured, &doubted),
            rows: row_trims(&measured, &self.weights),
            row_differences: row_differences(&measured),
            side_differences: side_differences(self.set, &measured),
            mains: main_trims(self.set, &measured),
            incidence_change_deg: Interval::default(),
            flexible_incidence_change_deg: Interval::default(),
            incidence_left_deg: Interval::default(),
            incidence_right_deg: Interval::default(),
            aoa_change_deg: Interval::default(),
            speed_change_pct: Interval::default(),
            bands: None,
            twist: Vec::new(),
            tip_twist_deg: Interval::default(),
            centre_rotation: None,
            brakes: brake_fans(self.set, check, &measured),
            shape_residual_mm: Vec::new(),
            asymmetry_deg: Interval::default(),
            notes: Vec::new(),
        };
        remarks.readings(self.set, &measured);
        self.incidence(wing, &measured, &mut trim, &mut remarks);
        trim.notes = remarks.notes;
        let faults = Faults::of(self.set, &measured);
        let findings =
            Findings { spec: &self.spec, set: self.set, check, measured: &measured, lines: &trim.lines, faults };
        let level_mm = findings.reference().map(|level| level.value(&measured));
        let set_up = SetUp { set: self.set, check, before, doubts, limit_mm: self.spec.limits.offset_limit_mm() };
        let asked = set_up.ask(&trim, level_mm);
        let entries = findings.entries(&trim);
        trim.conclude(asked, entries);
        Ok(trim)
    }

    /// What a millimetre on each line read at a check does to the effective incidence change and to the asymmetry, in the
    /// order of [`crate::check::deviations`]; empty where incidence is not stated. Holds for any deviations of these lines.
    #[must_use]
    pub(crate) fn incidence_shares(&self, check: &Check) -> Vec<IncidenceShare> {
        let measured = Measured::of(self.set, check, self.spec.budget.clone());
        let Some(planform) = self.planform.as_ref() else { return Vec::new() };
        let [left, right] = Side::BOTH.map(|side| {
            let half = HalfWing::of(&measured, side, &self.weights);
            Some(&half).filter(|half| half.rows() > 1)?.effective(&measured, planform, &self.weights, Section::Rigid)
        });
        let (wing, asymmetry) = match (left, right) {
            (Some(left), Some(right)) => (left.half(&right), left.plus(-1.0, &right)),
            (Some(one), None) | (None, Some(one)) => (one, measured.nothing()),
            (None, None) => return Vec::new(),
        };
        let shares = wing.coefficients.iter().zip(&asymmetry.coefficients);
        shares
            .map(|(wing, asymmetry)| IncidenceShare { wing_deg_per_mm: *wing, asymmetry_deg_per_mm: *asymmetry })
            .collect()
    }

    fn validate(&self, wing: &Wing, check: &Check) -> Result<(), TrimError> {
        if wing.model != self.set.model() {
            let (got, expected) = (wing.model.clone(), self.set.model().to_owned());
            return Err(TrimError::Model { wing: wing.id.clone(), got, expected });
        }
        let finite = |what: &str, value: f64| {
            let fault = || TrimError::NotFinite { check: check.id.clone(), what: what.to_owned(), value };
            if value.is_finite() { Ok(()) } else { Err(fault()) }
        };
        finite("hours", check.hours_h)?;
        finite("load_n", check.load_n)?;
        finite("datum_mm", check.datum_mm)?;
        finite("temperature_c", check.temperature_c)?;
        finite("brake_setting_mm", check.brake_setting_mm.unwrap_or(0.0))?;
        for riser in &check.risers {
            finite("a riser's datum_mm", riser.datum_mm.unwrap_or(0.0))?;
            finite("riser_mm", riser.riser_mm.unwrap_or(0.0))?;
        }
        for reading in &check.readings {
            if !self.set.has(reading.line, reading.side) {
                return Err(TrimError::NoLine {
                    check: check.id.clone(),
                    side: reading.side,
                    line: reading.line,
                    lines: self.set.lines().len(),
                });
            }
            finite("reading_mm", reading.reading_mm)?;
        }
        Ok(())
    }

    /// Every line read, held against what the believed ones say of the common offset.
    fn verdicts(
        &self,
        check: &Check,
        measured: &Measured,
        doubted: &impl Fn(Side, usize) -> bool,
    ) -> Vec<LineVerdict> {
        let all = Measured::of(self.set, check, measured.budget.clone());
        let common = measured.common_mm.unwrap_or(0.0);
        // few distinct numbers of repeats, so each is worked out once
        let mut known: Vec<Expanded> = Vec::new();
        let mut expanded = |repeats: u32| {
            if let Some(found) = known.iter().find(|found| found.repeats == repeats) {
                return found.expanded_mm;
            }
            let expanded_mm = measured.budget.one(repeats).expanded();
            known.push(Expanded { repeats, expanded_mm });
            expanded_mm
        };
        let mut verdicts = Vec::with_capacity(all.lines.len());
        for found in &all.lines {
            let Some(line) = self.set.lines().get(found.line) else { continue };
            let relative_mm = found.deviation_mm - common;
            let uncertainty_mm = expanded(found.repeats);
            let tolerance_mm = self.spec.tolerance_of(found.row, line.tolerance_mm);
            let judged = match self.spec.tolerance_on {
                ToleranceOn::Relative => relative_mm,
                ToleranceOn::Absolute => found.deviation_mm,
            };
            let verdict = self.spec.rule.judge(judged, uncertainty_mm, tolerance_mm);
            let chance_outside = chance_outside(judged, uncertainty_mm, tolerance_mm);
            let doubted = doubted(found.side, found.line);
            verdicts.push(LineVerdict {
                side: found.side,
                line: line.name.clone(),
                row: found.row,
                deviation_mm: found.deviation_mm,
                riser_mm: found.riser_mm,
                relative_mm,
                uncertainty_mm,
                tolerance_mm,
                span: found.span,
                verdict: (!doubted).then_some(verdict),
                chance_outside,
                near: is_near(chance_outside),
                doubted,
            });
        }
        verdicts
    }

    /// Fills in everything that rests on incidence.
    fn incidence(&self, wing: &Wing, measured: &Measured, trim: &mut Trim, remarks: &mut Remarks) {
        if measured.common_mm.is_none() {
            return;
        }
        let halves = Side::BOTH.map(|side| HalfWing::of(measured, side, &self.weights));
        let able: Vec<&HalfWing> = halves.iter().filter(|half| half.rows() > 1).collect();
        trim.shape_residual_mm = shape_residuals(&able, measured, &self.weights);
        remarks.missing(measured, &halves, self.planform.as_ref());
        let Some(planform) = self.planform.as_ref() else { return };
        let effective = |section: Section| {
            let of = |half: &HalfWing| {
                Some(half).filter(|half| half.rows() > 1)?.effective(measured, planform, &self.weights, section)
            };
            halves.each_ref().map(of)
        };
        let [left, right] = effective(Section::Rigid);
        remarks.borrowed(&able, &self.weights);
        trim.twist = able.iter().flat_map(|half| half.twist(measured, planform)).collect();
        let tips: Vec<Combination> = able.iter().filter_map(|half| half.tip_twist(measured, planform)).collect();
        trim.tip_twist_deg = match tips.as_slice() {
            [left, right] => left.half(right).interval(measured),
            [one] => one.interval(measured),
            _ => Interval::default(),
        };
        let interval = |found: Option<&Combination>| found.map(|f| f.interval(measured)).unwrap_or_default();
        trim.incidence_left_deg = interval(left.as_ref());
        trim.incidence_right_deg = interval(right.as_ref());
        let whole = match (&left, &right) {
            (Some(left), Some(right)) => {
                trim.asymmetry_deg = left.plus(-1.0, right).interval(measured);
                Some(left.half(right))
            }
            (Some(one), None) | (None, Some(one)) => Some(one.clone()),
            (None, None) => None,
        };
        trim.incidence_change_deg = interval(whole.as_ref());
        let bent = match effective(Section::Flexible) {
            [Some(left), Some(right)] => Some(left.half(&right)),
            [Some(one), None] | [None, Some(one)] => Some(one),
            [None, None] => None,
        };
        trim.flexible_incidence_change_deg = interval(bent.as_ref());
        remarks.asymmetry(trim.asymmetry_deg, self.spec.asymmetry_threshold_deg);
        trim.centre_rotation = self.centre_rotation(&able, measured, planform);
        remarks.rotation(trim.centre_rotation);
        self.bands(wing, trim, remarks);
    }

    /// Angle of attack and speed, by the wing's own figures where they are known.
    fn bands(&self, wing: &Wing, trim: &mut Trim, remarks: &mut Remarks) {
        let (incidence, range) = (trim.incidence_change_deg, self.spec.incidence_range_deg);
        let Some(value) = incidence.value else { return };
        if past(incidence, range) {
            remarks.past_range(value, range);
            return;
        }
        let figures = FlightFigures::of(self.planform.as_ref(), self.tau, self.set.data(), wing);
        let own = figures.as_ref().ok().and_then(FlightFigures::bands);
        remarks.bands(own.as_ref(), figures.as_ref().err().map(Vec::as_slice));
        let bands = own.unwrap_or_else(FlightBands::published);
        trim.aoa_change_deg = bands.aoa_deg(incidence, range);
        trim.speed_change_pct = bands.speed_pct(incidence, range);
        trim.bands = Some(bands);
    }

    /// Rotation of the centre section from the triangle of riser, foremost and rearmost row, deviations averaged over the
    /// sides. Line lengths are the makers', with the riser's where it is known.
    fn centre_rotation(&self, able: &[&HalfWing], measured: &Measured, planform: &Planform) -> Option<RiserRotation> {
        let chord_mm = planform.root_chord_m() * 1000.0;
        let sides: Vec<_> = able.iter().filter_map(|half| half.centre_rows(measured)).collect();
        let [front, rear] = *sides.first()?;
        let n = sides.iter().filter(|pair| pair[0].row == front.row && pair[1].row == rear.row).count();
        if n != sides.len() {
            return None;
        }
        let length = |at: super::incidence::CentreRow| {
            let riser_mm = self.set.row(at.row).and_then(|data| data.riser_mm).unwrap_or(0.0);
            Some((self.set.lines().get(at.line)?.nominal_mm + riser_mm) / chord_mm)
        };
        let mean = |end: usize| sides.iter().map(|pair| pair[end].deviation_mm).sum::<f64>() / n as f64 / chord_mm;
        let triangle = RiserTriangle {
            front: front.chord,
            rear: rear.chord,
            front_length: length(front)?,
            rear_length: length(rear)?,
        };
        triangle.rotation(mean(0), mean(1))
    }
}
