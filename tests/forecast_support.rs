//! Invented wings and draws for the tests of the forecast.

use linedrift::Date;
use linedrift::check::{Check, History, Reading};
use linedrift::wear::{LineKey, PathDraws, Shape};
use linedrift::wing::{Line, LineSet, ModelData, Row, RowData, Segment, Side, Wing};
use ndarray::Array2;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// A line set with so many lines per row, chord positions and a chord.
pub fn set_of(rows: &[(Row, u32)]) -> LineSet {
    let mut lines = Vec::new();
    let mut segments = Vec::new();
    for (row, count) in rows {
        for rank in 1..=*count {
            let name = format!("{}{rank}", row.name());
            segments.push(Segment {
                name: name.clone(),
                parent: None,
                material: "uhmwpe".to_owned(),
                length_mm: 6000.0,
                diameter_mm: None,
                can_loop: None,
            });
            lines.push(Line {
                name,
                row: *row,
                rank,
                nominal_mm: 6000.0,
                span: (f64::from(rank) - 0.5) / f64::from(*count),
                span_assumed: false,
                chord: None,
                main: None,
                tolerance_mm: None,
                side: None,
                segment: segments.len() - 1,
            });
        }
    }
    LineSet::new("Heather 24", None, lines, segments)
        .unwrap()
        .with_rows(
            [(Row::A, 0.10), (Row::B, 0.30), (Row::C, 0.55), (Row::D, 0.75)]
                .map(|(row, chord)| RowData { row, chord: Some(chord), riser_mm: None })
                .to_vec(),
        )
        .with_data(ModelData { span_m: Some(11.0), area_m2: Some(25.0), ..ModelData::default() })
}

/// Columns of a set: left lines, then right lines.
pub fn columns(set: &LineSet) -> Vec<LineKey> {
    Side::BOTH.iter().flat_map(|side| (0..set.lines().len()).map(|line| LineKey { side: *side, line })).collect()
}

/// Mean and spread of one row's paths.
#[derive(Clone, Copy)]
pub struct RowPath {
    pub row: Row,
    pub start_mm: f64,
    pub slope_mm: f64,
}

/// Draws with a spread of lines (start), rows (slope) and of the whole wing (slope).
pub fn draws_of(set: &LineSet, rows: &[RowPath], shape: Shape, draws: usize, seed: u64) -> PathDraws {
    let lines = columns(set);
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut normal = move || -> f64 { StandardNormal.sample(&mut random) };
    let mut start_mm = Array2::zeros((draws, lines.len()));
    let mut slope_mm = Array2::zeros((draws, lines.len()));
    for draw in 0..draws {
        let whole = 2.0 * normal();
        let of_rows: Vec<f64> = Row::ALL.iter().map(|_| 1.5 * normal()).collect();
        for (column, key) in lines.iter().enumerate() {
            let row = set.lines()[key.line].row;
            let path = rows.iter().find(|path| path.row == row).copied();
            let path = path.unwrap_or(RowPath { row, start_mm: 0.0, slope_mm: 0.0 });
            start_mm[[draw, column]] = path.start_mm + normal();
            slope_mm[[draw, column]] = path.slope_mm + whole + of_rows[row.index()] + 0.3 * normal();
        }
    }
    PathDraws { lines, start_mm, slope_mm, shapes: vec![shape; draws], own_history: true }
}

pub fn date(text: &str) -> Date {
    text.parse().unwrap()
}

/// A check in which the first line of the left side was read.
pub fn check(id: &str, day: &str, hours_h: f64) -> Check {
    let mut check = Check::new(id, date(day), hours_h);
    check.readings.push(Reading { side: Side::Left, line: 0, reading_mm: 6000.0, repeat: 1, operator: None });
    check
}

pub fn history(id: &str, checks: Vec<Check>) -> History {
    History { wing: Wing::new(id, "Heather 24"), line_set: 0, checks, actions: Vec::new(), fittings: Vec::new() }
}
