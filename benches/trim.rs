//! Judging checks.
#![allow(missing_docs, clippy::unwrap_used)]

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use linedrift::Date;
use linedrift::check::{Check, Reading};
use linedrift::simulate::FleetSpec;
use linedrift::trim::{Trim, TrimSpec};
use linedrift::wing::{Line, LineSet, ModelData, Row, Segment, Side, Wing};
use rayon::prelude::*;

/// Checks of the batch.
const BATCH: usize = 10_000;

/// A wing of 110 lines a side: four rows, stabilo and brakes, all that the bands ask for known.
fn wing_of_220() -> LineSet {
    let rows = [
        (Row::A, 0.10, 24),
        (Row::B, 0.32, 24),
        (Row::C, 0.55, 22),
        (Row::D, 0.76, 18),
        (Row::Stabilo, 0.40, 4),
        (Row::Brake, 1.0, 18),
    ];
    let (mut lines, mut segments) = (Vec::new(), Vec::new());
    for (row, chord, count) in rows {
        for rank in 1..=count {
            let name = format!("{row}{rank}");
            lines.push(Line {
                name: name.clone(),
                row,
                rank,
                nominal_mm: 7000.0 - 20.0 * f64::from(rank),
                span: (f64::from(rank) - 0.5) / f64::from(count),
                span_assumed: false,
                chord: Some(chord),
                main: None,
                tolerance_mm: None,
                side: None,
                segment: segments.len(),
            });
            let (material, length_mm) = ("uhmwpe".to_owned(), 7000.0 - 20.0 * f64::from(rank));
            let (diameter_mm, can_loop) = (None, None);
            segments.push(Segment { name, parent: None, material, length_mm, diameter_mm, can_loop });
        }
    }
    let data = ModelData {
        span_m: Some(11.6),
        area_m2: Some(25.4),
        trim_speed_kmh: Some(38.0),
        glide: Some(9.0),
        ..ModelData::default()
    };
    LineSet::new("Heron 9", None, lines, segments).unwrap().with_data(data)
}

/// Off by waves from no other source than the line's place and the check's number.
fn worn(set: &LineSet, number: usize) -> Check {
    let mut check = Check::new(&format!("c{number}"), Date::constant(2024, 6, 1), 80.0);
    for side in Side::BOTH {
        for (line, drawn) in set.lines().iter().enumerate() {
            let phase = 0.37 * line as f64 + side.index() as f64 + 0.01 * number as f64;
            let off = 6.0 * (0.11 * phase).sin() + 4.0 * (1.7 * phase).sin();
            let reading_mm = (drawn.nominal_mm + off).round();
            check.readings.push(Reading { side, line, reading_mm, repeat: 1, operator: None });
        }
    }
    check
}

fn trim(criterion: &mut Criterion) {
    let fleet = FleetSpec::default().wings(8).seed(3).run().unwrap().fleet;
    let history = fleet
        .histories()
        .iter()
        .max_by_key(|history| history.checks.last().map_or(0, |check| check.readings.len()))
        .unwrap();
    let check = history.checks.last().unwrap();
    let model = TrimSpec::default().prepare(fleet.line_set(history)).unwrap();
    let mut group = criterion.benchmark_group("trim");
    group.bench_function(BenchmarkId::new("check", check.readings.len()), |bencher| {
        bencher.iter(|| model.run(&history.wing, check).unwrap());
    });
    group.bench_function("prepare", |bencher| {
        bencher.iter(|| TrimSpec::default().prepare(fleet.line_set(history)).unwrap());
    });
    let set = wing_of_220();
    let wing = Wing { mass_kg: Some(95.0), ..Wing::new("w1", "Heron 9") };
    let model = TrimSpec::default().prepare(&set).unwrap();
    let checks: Vec<Check> = (0..BATCH).map(|number| worn(&set, number)).collect();
    group.bench_function(BenchmarkId::new("check", checks[0].readings.len()), |bencher| {
        bencher.iter(|| model.run(&wing, &checks[0]).unwrap());
    });
    group.sample_size(10).throughput(Throughput::Elements(BATCH as u64));
    group.bench_function(BenchmarkId::new("batch", BATCH), |bencher| {
        bencher.iter(|| {
            let judged: Vec<Trim> = checks.par_iter().map(|check| model.run(&wing, check).unwrap()).collect();
            judged
        });
    });
    group.finish();
}

criterion_group!(benches, trim);
criterion_main!(benches);
