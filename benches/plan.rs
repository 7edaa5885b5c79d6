//! Plans for a large wing: 300 lines on each side, three levels, five choices at every segment.
#![allow(missing_docs, clippy::unwrap_used)]

use criterion::{Criterion, criterion_group, criterion_main};
use linedrift::Date;
use linedrift::check::{Check, History, Reading};
use linedrift::plan::{PlanSpec, Target};
use linedrift::wing::{Line, LineSet, ModelData, Row, RowData, Segment, Side, Wing};
use std::hint::black_box;

fn segment(name: String, parent: Option<usize>) -> Segment {
    let material = "uhmwpe".to_owned();
    Segment { name, parent, material, length_mm: 2000.0, diameter_mm: Some(1.1), can_loop: Some(true) }
}

/// Four rows, mains of five middles of five uppers each; `lines` on each side.
fn large_wing(lines: usize) -> LineSet {
    let rows = [(Row::A, 0.1), (Row::B, 0.3), (Row::C, 0.55), (Row::D, 0.75)];
    let mut segments = Vec::new();
    let mut drawn = Vec::new();
    let per_row = lines / rows.len();
    for (row, chord) in rows {
        for rank in 0..per_row {
            if rank % 25 == 0 {
                segments.push(segment(format!("{row}m{rank}"), None));
            }
            let main = segments.len() - 1 - if rank % 25 == 0 { 0 } else { rank % 25 + (rank % 25).div_ceil(5) };
            if rank % 5 == 0 {
                segments.push(segment(format!("{row}n{rank}"), Some(main)));
            }
            let middle = segments.len() - 1 - rank % 5;
            segments.push(segment(format!("{row}{}", rank + 1), Some(middle)));
            drawn.push(Line {
                name: format!("{row}{}", rank + 1),
                row,
                rank: u32::try_from(rank).unwrap() + 1,
                nominal_mm: 6000.0,
                span: 0.95 * (rank as f64 + 0.5) / per_row as f64,
                span_assumed: false,
                chord: Some(chord),
                main: None,
                tolerance_mm: None,
                side: None,
                segment: segments.len() - 1,
            });
        }
    }
    let row_data = rows.map(|(row, chord)| RowData { row, chord: Some(chord), riser_mm: None }).to_vec();
    let data = ModelData { root_chord_m: Some(2.7), ..ModelData::default() };
    LineSet::new("Heron 9", None, drawn, segments).unwrap().with_rows(row_data).with_data(data)
}

/// Off by smooth waves and a saw tooth, from no other source than the line's place.
fn worn(set: &LineSet) -> Check {
    let mut check = Check::new("bench", Date::constant(2024, 6, 1), 120.0);
    for side in Side::BOTH {
        for (line, drawn) in set.lines().iter().enumerate() {
            let phase = line as f64 * 0.37 + side.index() as f64;
            let off = 12.0 * (0.11 * phase).sin() + 7.0 * (1.7 * phase).sin() + 4.0 * drawn.row.index() as f64;
            let reading_mm = (drawn.nominal_mm + off).round();
            check.readings.push(Reading { side, line, reading_mm, repeat: 1, operator: None });
        }
    }
    check
}

fn plans(c: &mut Criterion) {
    // none, one, two or three turns, a lark's head (and a small link at the riser)
    let spec = PlanSpec::default();
    for lines in [150, 300] {
        let set = large_wing(lines);
        let check = worn(&set);
        let wing = Wing::new("w1", "Heron 9");
        let history = History { wing, line_set: 0, checks: vec![], actions: vec![], fittings: vec![] };
        let size = 2 * lines;
        c.bench_function(&format!("plan/run/{size}"), |b| {
            b.iter(|| spec.run(black_box(&set), &history, &check, &[]).unwrap());
        });
        let mut group = c.benchmark_group("plan/alternatives");
        group.sample_size(10);
        group.bench_function(format!("{size}"), |b| {
            b.iter(|| spec.curve(black_box(&set), &history, &check, &[]).unwrap());
        });
        group.finish();
        let mut group = c.benchmark_group("plan/free");
        group.sample_size(10);
        let free = spec.clone().target(Target::Free);
        group.bench_function(format!("{size}"), |b| {
            b.iter(|| free.run(black_box(&set), &history, &check, &[]).unwrap());
        });
        group.finish();
    }
}

criterion_group!(benches, plans);
criterion_main!(benches);
