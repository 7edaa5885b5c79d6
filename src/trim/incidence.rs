//! Incidence change along the span, its effective value, and what the straight line leaves.

use super::chordwise::slope_coefficients;
use super::flexible::flexible_coefficients;
use super::measured::{Combination, Measured};
use super::span::{Bracket, RowCurve, SpanWeights};
use super::{ShapeResidual, TwistStation};
use crate::wing::{Planform, Row, Side};

/// Positions along the half span at which the incidence change is listed. The last stays clear of the tip, where the
/// chord of an elliptic wing vanishes.
const TWIST_STATIONS: [f64; 10] = [0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9];

/// One row at the centre of the wing.
#[derive(Debug, Clone, Copy)]
pub(super) struct CentreRow {
    pub(super) row: Row,
    pub(super) chord: f64,
    pub(super) deviation_mm: f64,
    /// Index in the line set of its innermost line.
    pub(super) line: usize,
}

/// The rows A–D of one side that have chord positions, laid over the span stations.
#[derive(Debug, Clone)]
pub(super) struct HalfWing {
    side: Side,
    rows: Vec<RowOnSide>,
    /// Where each row stands at each station, and its coefficient in the slope there, row after row.
    places: Vec<Place>,
    /// Whether the rows allow a slope at each station.
    able: Vec<bool>,
}

#[derive(Debug, Clone)]
struct RowOnSide {
    row: Row,
    curve: RowCurve,
}

#[derive(Debug, Clone, Copy)]
struct Place {
    bracket: Bracket,
    chord: f64,
    slope: f64,
    /// The same of a section that bends with its rows.
    bent_slope: f64,
}

/// How a section takes the deviations of its rows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Section {
    /// As a straight line through them.
    Rigid,
    /// Bent through them.
    Flexible,
}

impl HalfWing {
    pub(super) fn of(measured: &Measured, side: Side, weights: &SpanWeights) -> Self {
        let rows = Row::ALL.into_iter().filter(|row| row.is_trim()).filter_map(|row| {
            let curve = RowCurve::through(&measured.lines, &measured.members(row, &[side]))?;
            curve.chord(0.0)?;
            Some(RowOnSide { row, curve })
        });
        let rows: Vec<RowOnSide> = rows.collect();
        let mut places = Vec::with_capacity(rows.len() * weights.stations.len());
        let mut able = Vec::with_capacity(weights.stations.len());
        let mut slopes = Vec::with_capacity(rows.len());
        for station in &weights.stations {
            let from = places.len();
            slopes.clear();
            for row in &rows {
                let bracket = row.curve.bracket(station.span);
                let chord = row.curve.chord_at(bracket).unwrap_or(f64::NAN);
                places.push(Place { bracket, chord, slope: 0.0, bent_slope: 0.0 });
                slopes.push(chord);
            }
            let bent = flexible_coefficients(&slopes);
            able.push(slope_coefficients(&mut slopes).is_some());
            for (at, (place, slope)) in places[from..].iter_mut().zip(&slopes).enumerate() {
                place.slope = *slope;
                // where two rows lie on top of each other no bend can be told
                place.bent_slope = bent.as_ref().and_then(|bent| bent.get(at)).copied().unwrap_or(*slope);
            }
        }
        Self { side, rows, places, able }
    }

    /// Rows with chord positions.
    pub(super) fn rows(&self) -> usize {
        self.rows.len()
    }

    /// Slope coefficients of the rows at a span position.
    fn slope(&self, span: f64) -> Option<Vec<f64>> {
        let mut positions: Vec<f64> = self.rows.iter().filter_map(|row| row.curve.chord(span)).collect();
        slope_coefficients(&mut positions).map(|()| positions)
    }

    /// Adds `factor` times the incidence change at a span position, degrees nose-up; `None` where rows coincide.
    fn add_incidence(&self, sum: &mut Combination, span: f64, planform: &Planform, factor: f64) -> Option<()> {
        let per_mm = degrees_per_mm(planform, span, factor)?;
        for (row, slope) in self.rows.iter().zip(self.slope(span)?) {
            row.curve.shares(span, |share| sum.coefficients[share.line] -= per_mm * slope * share.coefficient);
        }
        Some(())
    }

    /// Places of the rows at a station.
    fn at_station(&self, station: usize) -> &[Place] {
        let rows = self.rows.len();
        self.places.get(station * rows..(station + 1) * rows).unwrap_or_default()
    }

    /// Span stations at which the rows' positions do not allow a slope.
    pub(super) fn lacking(&self) -> usize {
        self.able.iter().filter(|able| !**able).count()
    }

    /// Effective incidence change of this half: the local incidence changes weighted by their part in the lift. A station
    /// that allows no slope takes the nearest one that does; `None` where none does.
    pub(super) fn effective(
        &self,
        measured: &Measured,
        planform: &Planform,
        weights: &SpanWeights,
        section: Section,
    ) -> Option<Combination> {
        let mut sum = measured.nothing();
        let usable = |station: usize| {
            let span = weights.stations.get(station)?.span;
            self.able.get(station).copied().filter(|able| *able)?;
            degrees_per_mm(planform, span, 1.0)
        };
        for (at, station) in weights.stations.iter().enumerate() {
            let away = |other: &usize| (weights.stations[*other].span - station.span).abs();
            let stands_in = match usable(at) {
                Some(_) => at,
                None => (0..weights.stations.len())
                    .filter(|other| usable(*other).is_some())
                    .min_by(|a, b| away(a).total_cmp(&away(b)))?,
            };
            let per_mm = usable(stands_in)? * station.weight;
            for (row, place) in self.rows.iter().zip(self.at_station(stands_in)) {
                let slope = if section == Section::Rigid { place.slope } else { place.bent_slope };
                row.curve.shares_at(place.bracket, |share| {
                    sum.coefficients[share.line] -= per_mm * slope * share.coefficient;
                });
            }
        }
        Some(sum)
    }

    /// Centre-to-tip difference of the incidence change.
    pub(super) fn tip_twist(&self, measured: &Measured, planform: &Planform) -> Option<Combination> {
        let [centre, .., tip] = TWIST_STATIONS;
        Some(self.at(measured, planform, tip)?.plus(-1.0, &self.at(measured, planform, centre)?))
    }

    /// Relative deviation of the foremost and the rearmost row at the centre.
    pub(super) fn centre_rows(&self, measured: &Measured) -> Option<[CentreRow; 2]> {
        let level = measured.common_mm.unwrap_or(0.0);
        let at_centre = |row: &RowOnSide| {
            let (mut deviation_mm, mut innermost) = (0.0, None);
            row.curve.shares(0.0, |share| {
                let line = &measured.lines[share.line];
                deviation_mm += share.coefficient * (line.deviation_mm - level);
                innermost = Some(line.line);
            });
            Some(CentreRow { row: row.row, chord: row.curve.chord(0.0)?, deviation_mm, line: innermost? })
        };
        let rows: Vec<CentreRow> = self.rows.iter().filter_map(at_centre).collect();
        let first = rows.iter().min_by(|a, b| a.chord.total_cmp(&b.chord))?;
        let last = rows.iter().max_by(|a, b| a.chord.total_cmp(&b.chord))?;
        Some([*first, *last])
    }

    /// Incidence change at one span position.
    pub(super) fn at(&self, measured: &Measured, planform: &Planform, span: f64) -> Option<Combination> {
        let mut sum = measured.nothing();
        self.add_incidence(&mut sum, span, planform, 1.0)?;
        Some(sum)
    }

    /// The incidence change along the span.
    pub(super) fn twist(&self, measured: &Measured, planform: &Planform) -> Vec<TwistStation> {
        let station = |span: f64| {
            let here = self.at(measured, planform, span)?;
            let uncertainty = here.uncertainty(measured);
            Some(TwistStation {
                span,
                side: self.side,
                incidence_deg: here.relative(measured),
                se_deg: uncertainty.standard,
                reach_deg: uncertainty.expanded(),
            })
        };
        TWIST_STATIONS.into_iter().filter_map(station).collect()
    }

    /// Residual of each row averaged over the span.
    fn residuals(&self, measured: &Measured, weights: &SpanWeights) -> Vec<ShapeResidual> {
        let level = measured.common_mm.unwrap_or(0.0);
        let mut found: Vec<ShapeResidual> =
            self.rows.iter().map(|row| ShapeResidual { row: row.row, mm: 0.0 }).collect();
        let n = self.rows.len() as f64;
        let mut values = Vec::with_capacity(self.rows.len());
        for (at, station) in weights.stations.iter().enumerate() {
            if self.able.get(at) != Some(&true) {
                continue;
            }
            let places = self.at_station(at);
            values.clear();
            values.extend(self.rows.iter().zip(places).map(|(row, place)| {
                let mut value = 0.0;
                row.curve.shares_at(place.bracket, |share| {
                    value += share.coefficient * (measured.lines[share.line].deviation_mm - level);
                });
                value
            }));
            let centre = places.iter().map(|place| place.chord).sum::<f64>() / n;
            let mean = values.iter().sum::<f64>() / n;
            let along: f64 = places.iter().zip(&values).map(|(place, d)| place.slope * (d - mean)).sum();
            for ((residual, place), d) in found.iter_mut().zip(places).zip(&values) {
                residual.mm += station.weight * (d - mean - along * (place.chord - centre));
            }
        }
        found
    }
}

/// `factor` degrees of incidence per millimetre of slope over the local chord; `None` where the chord vanishes.
fn degrees_per_mm(planform: &Planform, span: f64, factor: f64) -> Option<f64> {
    let per_mm = factor * (1.0 / (planform.chord_m(span) * 1000.0)).to_degrees();
    per_mm.is_finite().then_some(per_mm)
}

/// Shape residual of each row over the halves that have at least two rows: with two rows zero by construction.
pub(super) fn shape_residuals(
    halves: &[&HalfWing],
    measured: &Measured,
    weights: &SpanWeights,
) -> Vec<ShapeResidual> {
    let found: Vec<ShapeResidual> = halves.iter().flat_map(|half| half.residuals(measured, weights)).collect();
    let of_row = |row: Row| {
        let mm: Vec<f64> = found.iter().filter(|residual| residual.row == row).map(|residual| residual.mm).collect();
        (!mm.is_empty()).then(|| ShapeResidual { row, mm: mm.iter().sum::<f64>() / mm.len() as f64 })
    };
    Row::ALL.into_iter().filter_map(of_row).collect()
}
