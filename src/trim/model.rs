//! A line set prepared for judging checks.

use super::bands::{AOA, SPEED, band};
use super::incidence::{HalfWing, shape_residuals};
use super::measured::{Combination, Measured};
use super::rows::{row_differences, row_trims, side_differences};
use super::span::SpanWeights;
use super::{IncidenceShare, Interval, LineVerdict, ToleranceOn, Trim, TrimError, TrimNote, TrimSpec, Verdict};
use crate::check::{Check, Repeats, Uncertainty};
use crate::wing::{LineSet, Planform, Row, Side, Wing};

/// Span stations of one half over which effective values are summed.
const STATIONS: usize = 100;

/// A line set with everything that does not depend on the check: planform, span weights. Cheap to run.
#[derive(Debug, Clone)]
pub struct TrimModel<'a> {
    spec: TrimSpec,
    set: &'a LineSet,
    planform: Option<Planform>,
    weights: SpanWeights,
}

fn note(notes: &mut Vec<TrimNote>, code: &str, message: String) {
    notes.push(TrimNote { code: code.to_owned(), message });
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
        let planform = spec.planform.clone().or_else(|| Planform::of_model(set.data()));
        Ok(Self { spec: spec.clone(), set, planform, weights: SpanWeights::elliptic(STATIONS) })
    }

    /// Judges one check.
    ///
    /// # Errors
    /// [`TrimError`] when the wing is of another model, a reading names a line that the set does not have on its side, or
    /// a figure of the check is not a finite number.
    pub fn run(&self, wing: &Wing, check: &Check) -> Result<Trim, TrimError> {
        self.validate(wing, check)?;
        let budget = self.spec.budget.clone().repeats(Repeats::of(self.set, check));
        let measured = Measured::of(self.set, check, budget);
        let mut notes = Vec::new();
        let mut trim = Trim {
            check: check.id.clone(),
            wing: wing.id.clone(),
            hours: check.hours_h,
            stage: check.stage,
            common_mm: measured.common_mm,
            lines: self.verdicts(&measured),
            rows: row_trims(&measured, &self.weights),
            row_differences: row_differences(&measured),
            side_differences: side_differences(&measured),
            incidence_change_deg: Interval::default(),
            incidence_left_deg: Interval::default(),
            incidence_right_deg: Interval::default(),
            aoa_change_deg: Interval::default(),
            speed_change_pct: Interval::default(),
            twist: Vec::new(),
            shape_residual_mm: Vec::new(),
            asymmetry_deg: Interval::default(),
            notes: Vec::new(),
        };
        self.remark_readings(&measured, &mut notes);
        self.incidence(&measured, &mut trim, &mut notes);
        trim.notes = notes;
        Ok(trim)
    }

    /// What a millimetre on each line read at a check does to the effective incidence change and to the asymmetry, in the
    /// order of [`crate::check::deviations`]; empty where incidence is not stated. Holds for any deviations of these lines.
    #[must_use]
    pub fn incidence_shares(&self, check: &Check) -> Vec<IncidenceShare> {
        let measured = Measured::of(self.set, check, self.spec.budget.clone());
        let Some(planform) = self.planform.as_ref() else { return Vec::new() };
        let [left, right] = Side::BOTH.map(|side| {
            let half = HalfWing::of(&measured, side);
            Some(&half).filter(|half| half.rows() > 1)?.effective(&measured, planform, &self.weights)
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

    fn verdicts(&self, measured: &Measured) -> Vec<LineVerdict> {
        let common = measured.common_mm.unwrap_or(0.0);
        // few distinct numbers of repeats, so each is worked out once
        let mut known: Vec<(u32, Uncertainty)> = Vec::new();
        let mut expanded = |repeats: u32| {
            if let Some((_, found)) = known.iter().find(|(n, _)| *n == repeats) {
                return found.expanded();
            }
            let found = measured.budget.one(repeats);
            known.push((repeats, found));
            found.expanded()
        };
        let mut verdicts = Vec::with_capacity(measured.lines.len());
        for found in &measured.lines {
            let Some(line) = self.set.lines().get(found.line) else { continue };
            let relative_mm = found.deviation_mm - common;
            let uncertainty_mm = expanded(found.repeats);
            let tolerance_mm = self.spec.tolerance_of(found.row, line.tolerance_mm);
            let judged = match self.spec.tolerance_on {
                ToleranceOn::Relative => relative_mm,
                ToleranceOn::Absolute => found.deviation_mm,
            };
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
                verdict: Verdict::judge(judged, uncertainty_mm, tolerance_mm),
            });
        }
        verdicts
    }

    /// Remarks on what was and was not read.
    fn remark_readings(&self, measured: &Measured, notes: &mut Vec<TrimNote>) {
        match measured.common_mm {
            None => note(
                notes,
                "no_trim_rows",
                "No line of the rows A to D was read: relative deviations are the raw ones; read those rows."
                    .to_owned(),
            ),
            Some(common) if common.abs() > self.spec.common_limit_mm => note(
                notes,
                "common_offset",
                format!(
                    "The whole set is off by {common:.0} mm, past {:.0} mm: check datum and instrument, then the set.",
                    self.spec.common_limit_mm
                ),
            ),
            Some(_) => {}
        }
        for row in Row::ALL.into_iter().filter(|row| row.is_trim()) {
            for side in Side::BOTH {
                let expected =
                    self.set.lines().iter().any(|line| line.row == row && line.side.is_none_or(|only| only == side));
                let side_read = measured.lines.iter().any(|line| line.side == side && line.row.is_trim());
                if expected && side_read && measured.members(row, &[side]).is_empty() {
                    note(notes, "row_missing", format!("No line of row {row} was read on the {side}."));
                }
            }
        }
        if measured.lines.iter().any(|line| line.riser_mm != 0.0) {
            note(
                notes,
                "riser_added",
                "Measured risers are added to their rows: deviations run from the riser's lower end to the canopy."
                    .to_owned(),
            );
        }
        if measured.lines.iter().any(|found| self.set.lines().get(found.line).is_some_and(|line| line.span_assumed)) {
            note(
                notes,
                "span_assumed",
                "Span positions are assumed from the count of the lines; give `span` for sharper figures.".to_owned(),
            );
        }
    }

    /// Fills in everything that rests on incidence.
    fn incidence(&self, measured: &Measured, trim: &mut Trim, notes: &mut Vec<TrimNote>) {
        if measured.common_mm.is_none() {
            return;
        }
        let halves = Side::BOTH.map(|side| HalfWing::of(measured, side));
        let able: Vec<&HalfWing> = halves.iter().filter(|half| half.rows() > 1).collect();
        trim.shape_residual_mm = shape_residuals(&able, measured, &self.weights);
        self.remark_missing(measured, &halves, notes);
        let Some(planform) = self.planform.as_ref() else { return };
        let [left, right] = halves
            .each_ref()
            .map(|half| Some(half).filter(|half| half.rows() > 1)?.effective(measured, planform, &self.weights));
        trim.twist = able.iter().flat_map(|half| half.twist(measured, planform)).collect();
        let interval = |found: Option<&Combination>| found.map(|f| f.interval(measured)).unwrap_or_default();
        trim.incidence_left_deg = interval(left.as_ref());
        trim.incidence_right_deg = interval(right.as_ref());
        let wing = match (&left, &right) {
            (Some(left), Some(right)) => {
                trim.asymmetry_deg = left.plus(-1.0, right).interval(measured);
                Some(left.half(right))
            }
            (Some(one), None) | (None, Some(one)) => Some(one.clone()),
            (None, None) => None,
        };
        trim.incidence_change_deg = interval(wing.as_ref());
        self.remark_asymmetry(trim.asymmetry_deg, notes);
        self.bands(trim, notes);
    }

    fn bands(&self, trim: &mut Trim, notes: &mut Vec<TrimNote>) {
        let Some(value) = trim.incidence_change_deg.value else { return };
        if value.abs() > self.spec.incidence_range_deg {
            note(
                notes,
                "past_range",
                format!(
                    "The incidence change of {value:.2}° is past ±{:.1}°, where the bands for angle of attack and speed \
                     no longer hold: they are not stated.",
                    self.spec.incidence_range_deg
                ),
            );
            return;
        }
        trim.aoa_change_deg = band(trim.incidence_change_deg, AOA, 1.0);
        trim.speed_change_pct = band(trim.incidence_change_deg, SPEED, -1.0);
    }

    fn remark_asymmetry(&self, asymmetry: Interval, notes: &mut Vec<TrimNote>) {
        let (Some(value), Some(lower), Some(upper)) = (asymmetry.value, asymmetry.lower, asymmetry.upper) else {
            return;
        };
        if (lower > 0.0 || upper < 0.0) && value.abs() > self.spec.asymmetry_threshold_deg {
            note(
                notes,
                "asymmetry",
                format!("Left and right differ by {:.2}° of incidence: a turn tendency is possible.", value.abs()),
            );
        }
    }

    /// Says why incidence is missing, and what would give it.
    fn remark_missing(&self, measured: &Measured, halves: &[HalfWing; 2], notes: &mut Vec<TrimNote>) {
        let read = |side: Side, row: Row| !measured.members(row, &[side]).is_empty();
        let rows_read = |side: Side| Row::ALL.into_iter().filter(|row| row.is_trim() && read(side, *row)).count();
        for side in Side::BOTH {
            let other = side.mirror();
            match rows_read(side) {
                0 => note(
                    notes,
                    "side_missing",
                    format!("Rows A to D were not read on the {side}: the figures are of the {other} half alone."),
                ),
                1 => note(
                    notes,
                    "one_row",
                    format!(
                        "Only one row was read on the {side}: incidence needs two; none is stated for this half."
                    ),
                ),
                _ => {}
            }
        }
        let able = Side::BOTH.into_iter().filter(|side| rows_read(*side) > 1);
        let no_position = able.clone().any(|side| halves[side.index()].rows() < rows_read(side));
        let tape = "lay one tape along the centre cell from leading to trailing edge, read where each row is attached \
                    and where the tape ends";
        if no_position {
            note(
                notes,
                "no_chord",
                format!("Rows without a chord position are left out of incidence. One measurement gives it: {tape}."),
            );
        } else if self.planform.is_none() && able.count() > 0 {
            note(
                notes,
                "no_chord_length",
                format!("The chord is unknown, so incidence is not stated. One measurement gives it: {tape}."),
            );
        }
    }
}
