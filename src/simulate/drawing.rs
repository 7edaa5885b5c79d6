//! Four invented models, drawn from a plain arc.

use super::SimulateError;
use crate::wing::{Line, LineSet, ModelData, Row, RowData, Segment};

/// Names of the invented models: number of rows, then size.
pub const MODELS: [&str; 4] = ["HF2-S", "HF2-L", "HF3-S", "HF3-L"];

/// Length of every riser, mm.
const RISER_MM: f64 = 520.0;
/// Half the distance between the two risers, m.
const RISER_HALF_GAP_M: f64 = 0.21;
/// Radius of the canopy's arc over its flat span.
const ARC_RADIUS_PER_SPAN: f64 = 0.42;
/// Canopy above the riser's lower end at the centre, over the flat span.
const HEIGHT_PER_SPAN: f64 = 0.66;
/// Chord position straight above the riser.
const HANG_CHORD: f64 = 0.30;

/// One row of a drawing: its lines, its mains, and what each level is made of.
struct RowDrawing {
    row: Row,
    chord: f64,
    uppers: u32,
    mains: u32,
    main_material: &'static str,
    /// Material of a level between mains and uppers, where there is one.
    middle_material: Option<&'static str>,
    upper_material: &'static str,
}

const fn row(
    row: Row,
    chord: f64,
    uppers: u32,
    mains: u32,
    materials: [&'static str; 2],
    middle: Option<&'static str>,
) -> RowDrawing {
    let [main_material, upper_material] = materials;
    RowDrawing { row, chord, uppers, mains, main_material, middle_material: middle, upper_material }
}

/// The first so many of the models.
pub(super) fn line_sets(models: usize) -> Result<Vec<LineSet>, SimulateError> {
    MODELS.iter().take(models).map(|model| line_set(model)).collect()
}

fn line_set(model: &str) -> Result<LineSet, SimulateError> {
    let (aramid, lcp, uhmwpe) = ("aramid", "lcp", "uhmwpe");
    let (span_m, area_m2, rows) = match model {
        "HF2-S" => (
            11.4,
            21.8,
            vec![
                row(Row::A, 0.12, 14, 3, [aramid, lcp], None),
                row(Row::B, 0.62, 14, 3, [aramid, uhmwpe], None),
                row(Row::Stabilo, 0.40, 2, 1, [uhmwpe, uhmwpe], None),
                row(Row::Brake, 1.0, 12, 3, [uhmwpe, uhmwpe], Some(uhmwpe)),
            ],
        ),
        "HF2-L" => (
            12.3,
            25.2,
            vec![
                row(Row::A, 0.12, 16, 4, [aramid, uhmwpe], Some(uhmwpe)),
                row(Row::B, 0.62, 16, 4, [uhmwpe, lcp], None),
                row(Row::Stabilo, 0.40, 2, 1, [uhmwpe, uhmwpe], None),
                row(Row::Brake, 1.0, 12, 3, [uhmwpe, uhmwpe], Some(uhmwpe)),
            ],
        ),
        "HF3-S" => (
            10.6,
            22.6,
            vec![
                row(Row::A, 0.10, 13, 3, [aramid, lcp], Some(uhmwpe)),
                row(Row::B, 0.36, 13, 3, [aramid, uhmwpe], Some(uhmwpe)),
                row(Row::C, 0.66, 13, 3, [uhmwpe, uhmwpe], Some(uhmwpe)),
                row(Row::Stabilo, 0.40, 2, 1, [uhmwpe, uhmwpe], None),
                row(Row::Brake, 1.0, 12, 3, [uhmwpe, uhmwpe], Some(uhmwpe)),
            ],
        ),
        _ => (
            11.5,
            26.4,
            vec![
                row(Row::A, 0.10, 15, 4, [uhmwpe, lcp], Some(lcp)),
                row(Row::B, 0.36, 15, 4, [uhmwpe, uhmwpe], Some(lcp)),
                row(Row::C, 0.66, 15, 4, [uhmwpe, uhmwpe], Some(uhmwpe)),
                row(Row::Stabilo, 0.40, 3, 1, [uhmwpe, uhmwpe], None),
                row(Row::Brake, 1.0, 12, 3, [uhmwpe, uhmwpe], Some(uhmwpe)),
            ],
        ),
    };
    // an elliptic planform of that span and area
    let root_chord_m = round(4.0 * area_m2 / (std::f64::consts::PI * span_m), 0.001);
    let mut lines = Vec::new();
    let mut segments = Vec::new();
    for drawing in &rows {
        hang(drawing, span_m, root_chord_m, &mut lines, &mut segments);
    }
    let table = rows
        .iter()
        .map(|drawing| RowData { row: drawing.row, chord: Some(drawing.chord), riser_mm: riser_mm(drawing.row) })
        .collect();
    let two_rows = model.starts_with("HF2");
    Ok(LineSet::new(model, None, lines, segments)?.with_rows(table).with_data(ModelData {
        span_m: Some(span_m),
        area_m2: Some(area_m2),
        root_chord_m: Some(root_chord_m),
        trim_speed_kmh: Some(if two_rows { 39.0 } else { 37.5 }),
        glide: Some(if two_rows { 10.2 } else { 8.8 }),
        interval_h: Some(if two_rows { 100.0 } else { 150.0 }),
        interval_months: Some(24.0),
        ..ModelData::default()
    }))
}

fn riser_mm(row: Row) -> Option<f64> {
    row.is_trim().then_some(RISER_MM)
}

/// Adds one row's mains, middles and uppers.
fn hang(drawing: &RowDrawing, span_m: f64, root_chord_m: f64, lines: &mut Vec<Line>, segments: &mut Vec<Segment>) {
    let prefix = match drawing.row {
        Row::Stabilo => "S",
        Row::Brake => "K",
        trim => trim.name(),
    };
    let spans: Vec<f64> = (0..drawing.uppers).map(|rank| span_of(drawing, rank)).collect();
    let lengths: Vec<f64> = spans.iter().map(|span| length_mm(drawing, *span, span_m, root_chord_m)).collect();
    let mut push = |segment: Segment| {
        segments.push(segment);
        segments.len() - 1
    };
    let mut at = 0;
    for main in 0..drawing.mains {
        // uppers shared out as evenly as they go, the inner mains taking what is left over
        let count = drawing.uppers / drawing.mains + u32::from(main < drawing.uppers % drawing.mains);
        let members: Vec<usize> = (at..at + count as usize).collect();
        at += count as usize;
        let shortest_mm = members.iter().filter_map(|&k| lengths.get(k)).copied().fold(f64::INFINITY, f64::min);
        let main_name = format!("{prefix}M{}", main + 1);
        let main_mm = round(shortest_mm * 0.58, 1.0);
        let main_at = push(Segment {
            name: main_name.clone(),
            parent: None,
            material: drawing.main_material.to_owned(),
            length_mm: main_mm,
            diameter_mm: Some(1.9),
            can_loop: Some(true),
        });
        for (pair, uppers) in members.chunks(2).enumerate() {
            let mut below_mm = main_mm;
            let mut parent = main_at;
            if let Some(material) = drawing.middle_material {
                let middle_mm = round(shortest_mm * 0.26, 1.0);
                below_mm += middle_mm;
                parent = push(Segment {
                    name: format!("{prefix}m{}{}", main + 1, char::from(b'a' + u8::try_from(pair).unwrap_or(25))),
                    parent: Some(main_at),
                    material: material.to_owned(),
                    length_mm: middle_mm,
                    diameter_mm: Some(1.3),
                    can_loop: Some(false),
                });
            }
            for &upper in uppers {
                let (Some(&span), Some(&nominal_mm)) = (spans.get(upper), lengths.get(upper)) else { continue };
                let name = format!("{prefix}{}", upper + 1);
                let segment = push(Segment {
                    name: name.clone(),
                    parent: Some(parent),
                    material: drawing.upper_material.to_owned(),
                    length_mm: nominal_mm - below_mm,
                    diameter_mm: Some(0.9),
                    can_loop: Some(false),
                });
                lines.push(Line {
                    name,
                    row: drawing.row,
                    rank: u32::try_from(upper).unwrap_or(u32::MAX - 1) + 1,
                    nominal_mm,
                    span,
                    span_assumed: false,
                    chord: None,
                    main: Some(main_name.clone()),
                    tolerance_mm: None,
                    side: None,
                    segment,
                });
            }
        }
    }
}

/// Place along the half span: rows A–D from the centre to 0.9, the stabilo past it, the brake from 0.1 to 0.96.
fn span_of(drawing: &RowDrawing, rank: u32) -> f64 {
    let fraction = (f64::from(rank) + 0.5) / f64::from(drawing.uppers);
    let span = match drawing.row {
        Row::Stabilo => 0.92 + 0.06 * fraction,
        Row::Brake => 0.10 + 0.86 * fraction,
        _ => 0.90 * fraction,
    };
    round(span, 0.001)
}

/// Straight distance from the riser's top to the attachment point on the arc, whole mm.
fn length_mm(drawing: &RowDrawing, span: f64, span_m: f64, root_chord_m: f64) -> f64 {
    let radius_m = ARC_RADIUS_PER_SPAN * span_m;
    let angle = span * 0.5 * span_m / radius_m;
    let across_m = radius_m * angle.sin() - RISER_HALF_GAP_M;
    let up_m = HEIGHT_PER_SPAN * span_m - radius_m * (1.0 - angle.cos()) - RISER_MM / 1000.0;
    let local_chord_m = root_chord_m * (1.0 - span * span).max(0.04).sqrt();
    let along_m = (drawing.chord - HANG_CHORD) * local_chord_m;
    // the outer rows hang lower on the profile's underside than its highest rib
    let thickness_m = 0.08 * local_chord_m * (1.0 - drawing.chord);
    let length_m = across_m.hypot(up_m - thickness_m).hypot(along_m);
    round(1000.0 * length_m, 1.0)
}

fn round(value: f64, step: f64) -> f64 {
    let per_unit = (1.0 / step).round();
    (value * per_unit).round() / per_unit
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wing::Side;

    #[test]
    fn drawings_are_plausible_and_add_up() {
        for set in line_sets(4).unwrap() {
            let lines = set.lines();
            assert!((35..=60).contains(&lines.len()), "{} {}", set.model(), lines.len());
            for (index, line) in lines.iter().enumerate() {
                let path_mm: f64 = set.path(index).map(|segment| segment.length_mm).sum();
                assert!((path_mm / line.nominal_mm - 1.0).abs() < 0.01);
                assert!(
                    (3500.0..9000.0).contains(&line.nominal_mm),
                    "{} {} {}",
                    set.model(),
                    line.name,
                    line.nominal_mm
                );
                assert!(set.path(index).all(|segment| segment.length_mm > 100.0), "{} {}", set.model(), line.name);
                assert!(set.chord(index).is_some());
                assert_eq!(set.find(&line.name, Side::Left), Some(index));
                assert_eq!(set.segments()[line.segment].name, line.name);
            }
            let mut names: Vec<&str> = set.segments().iter().map(|segment| segment.name.as_str()).collect();
            names.sort_unstable();
            names.dedup();
            assert_eq!(names.len(), set.segments().len());
        }
    }
}
