//! Judging checks.
#![allow(missing_docs, clippy::unwrap_used)]

use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use linedrift::simulate::FleetSpec;
use linedrift::trim::TrimSpec;

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
    group.finish();
}

criterion_group!(benches, trim);
criterion_main!(benches);
