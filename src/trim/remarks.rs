//! Remarks on a trim result: what was missing, what to measure, what deserves a look.

use super::incidence::HalfWing;
use super::measured::Measured;
use super::span::SpanWeights;
use super::{Factor, FlightBands, Interval, RiserRotation, TrimNote};
use crate::wing::{LineSet, Planform, Row, Side};

/// Difference of exact and small-angle rotation that is remarked on, degrees.
const ROTATION_DIFFERENCE_DEG: f64 = 0.05;
/// The one measurement that gives chord and chord positions.
const TAPE: &str = "lay one tape along the centre cell from leading to trailing edge, read where each row is attached and \
                    where the tape ends";

/// Remarks in the order they came up.
#[derive(Debug, Clone, Default)]
pub(super) struct Remarks {
    pub(super) notes: Vec<TrimNote>,
}

fn trim_rows() -> impl Iterator<Item = Row> {
    Row::ALL.into_iter().filter(|row| row.is_trim())
}

impl Remarks {
    fn add(&mut self, code: &str, message: String) {
        self.notes.push(TrimNote { code: code.to_owned(), message });
    }

    /// What was and was not read.
    pub(super) fn readings(&mut self, set: &LineSet, measured: &Measured) {
        if measured.common_mm.is_none() {
            self.add(
                "no_trim_rows",
                "No line of the rows A to D was read: relative deviations are the raw ones; read those rows."
                    .to_owned(),
            );
        }
        for row in trim_rows() {
            for side in Side::BOTH {
                let here = |only: Option<Side>| only.is_none_or(|only| only == side);
                let expected = set.lines().iter().any(|line| line.row == row && here(line.side));
                let side_read = measured.lines.iter().any(|line| line.side == side && line.row.is_trim());
                if expected && side_read && measured.members(row, &[side]).is_empty() {
                    self.add("row_missing", format!("No line of row {row} was read on the {side}."));
                }
            }
        }
        if measured.lines.iter().any(|line| line.riser_mm != 0.0) {
            self.add(
                "riser_added",
                "Measured risers are added to their rows: deviations run from the riser's lower end to the canopy."
                    .to_owned(),
            );
        }
        if measured.lines.iter().any(|found| set.lines().get(found.line).is_some_and(|line| line.span_assumed)) {
            self.add(
                "span_assumed",
                "Span positions are assumed from the count of the lines; give `span` for sharper figures.".to_owned(),
            );
        }
    }

    /// Why incidence is missing, and what would give it.
    pub(super) fn missing(&mut self, measured: &Measured, halves: &[HalfWing; 2], planform: Option<&Planform>) {
        let read = |side: Side| trim_rows().filter(|row| !measured.members(*row, &[side]).is_empty()).count();
        for side in Side::BOTH {
            let other = side.mirror();
            let rest = if read(other) > 1 {
                format!("the figures are of the {other} half alone")
            } else {
                "no incidence is stated".to_owned()
            };
            match read(side) {
                0 => self.add("side_missing", format!("Rows A to D were not read on the {side}: {rest}.")),
                1 => self
                    .add("one_row", format!("Only one row was read on the {side}, and incidence needs two: {rest}.")),
                _ => {}
            }
        }
        let mut able = Side::BOTH.into_iter().filter(|side| read(*side) > 1);
        if able.clone().any(|side| halves[side.index()].rows() < read(side)) {
            self.add(
                "no_chord",
                format!("Rows without a chord position are left out of incidence. One measurement gives it: {TAPE}."),
            );
        } else if planform.is_none() && able.next().is_some() {
            self.add(
                "no_chord_length",
                format!("The chord is unknown, so incidence is not stated. One measurement gives it: {TAPE}."),
            );
        }
    }

    /// Span stations whose rows lie on top of each other.
    pub(super) fn borrowed(&mut self, able: &[&HalfWing], weights: &SpanWeights) {
        let lacking: usize = able.iter().map(|half| half.lacking()).sum();
        if lacking > 0 {
            self.add(
                "stations_borrowed",
                format!(
                    "At {lacking} of {} span stations the rows do not lie apart along the chord: the nearest station \
                     is used instead; check the chord positions.",
                    able.len() * weights.stations.len()
                ),
            );
        }
    }

    /// Left and right differ.
    pub(super) fn asymmetry(&mut self, asymmetry: Interval, threshold_deg: f64) {
        let (Some(value), Some(lower), Some(upper)) = (asymmetry.value, asymmetry.lower, asymmetry.upper) else {
            return;
        };
        if (lower > 0.0 || upper < 0.0) && value.abs() > threshold_deg {
            self.add(
                "asymmetry",
                format!("Left and right differ by {:.2}° of incidence: a turn tendency is possible.", value.abs()),
            );
        }
    }

    /// The small-angle slope is not enough.
    pub(super) fn rotation(&mut self, rotation: Option<RiserRotation>) {
        let Some(found) = rotation else { return };
        if (found.exact_deg - found.slope_deg).abs() > ROTATION_DIFFERENCE_DEG {
            self.add(
                "exact_rotation",
                format!(
                    "At the centre the exact rotation is {:.2}°, by small angles {:.2}°: read incidence with that \
                     difference in mind.",
                    found.exact_deg, found.slope_deg
                ),
            );
        }
    }

    /// What the bands for angle of attack and speed rest on.
    pub(super) fn bands(&mut self, own: Option<&FlightBands>, missing: Option<&[&str]>) {
        let range = |factor: Factor, digits: usize| format!("{:.digits$} to {:.digits$}", factor.lower, factor.upper);
        let wide = FlightBands::published();
        match (own, missing) {
            (Some(own), _) => self.add(
                "bands_wing",
                format!(
                    "Angle of attack and speed rest on this wing's own span, area, mass, trim speed and glide: {}° and {} % \
                     per degree of incidence (published wings: {} and {}).",
                    range(own.aoa_deg_per_deg, 2),
                    range(own.speed_pct_per_deg, 1),
                    range(wide.aoa_deg_per_deg, 2),
                    range(wide.speed_pct_per_deg, 1),
                ),
            ),
            (None, Some(missing)) => self.add(
                "bands_published",
                format!(
                    "Angle of attack and speed rest on the range over published wings; for this wing's own also give: {}.",
                    missing.join(", ")
                ),
            ),
            (None, None) => self.add(
                "bands_implausible",
                "Angle of attack and speed rest on the range over published wings: this wing's own span, area, mass, trim \
                 speed and glide do not go together; check them."
                    .to_owned(),
            ),
        }
    }

    /// Angle of attack and speed are refused.
    pub(super) fn past_range(&mut self, value_deg: f64, range_deg: f64) {
        self.add(
            "past_range",
            format!(
                "The incidence change of {value_deg:.2}° is past ±{range_deg:.1}°, where the bands for angle of attack and \
                 speed no longer hold: they are not stated."
            ),
        );
    }
}
