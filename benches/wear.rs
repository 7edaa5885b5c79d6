//! The wear model: reduction, fit, and the cost of one evaluation as readings are repeated.
#![allow(missing_docs, clippy::unwrap_used)]

use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use linedrift::simulate::FleetSpec;
use linedrift::wear::{Reduction, TermsOption, WearSpec};

fn fit(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("wear");
    group.sample_size(10);
    for wings in [45, 441, 4530] {
        let fleet = FleetSpec::default().wings(wings).seed(3).run().unwrap().fleet;
        let reduction = Reduction::new(&fleet, &[]).unwrap();
        let readings = reduction.readings();
        group.bench_function(BenchmarkId::new("reduce", readings), |bencher| {
            bencher.iter(|| Reduction::new(&fleet, &[]).unwrap());
        });
        group.bench_function(BenchmarkId::new("fit", readings), |bencher| {
            bencher.iter(|| WearSpec::default().fit_reduced(&reduction).unwrap());
        });
        // the model that general libraries are compared on
        group.bench_function(BenchmarkId::new("fit-rate-terms", readings), |bencher| {
            bencher.iter(|| WearSpec::default().terms(TermsOption::Rate).fit_reduced(&reduction).unwrap());
        });
    }
    // the same fleet with every reading taken once, 4 and 16 times: a fit from the reduction should cost the same
    for repeats in [1, 4, 16] {
        let fleet = FleetSpec::default().wings(60).seed(3).repeats(repeats).run().unwrap().fleet;
        let reduction = Reduction::new(&fleet, &[]).unwrap();
        let evaluations = WearSpec::default().fit_reduced(&reduction).unwrap().evaluations();
        group.bench_function(
            BenchmarkId::new(format!("fit-repeats-{repeats}-evaluations"), evaluations),
            |bencher| {
                bencher.iter(|| WearSpec::default().fit_reduced(&reduction).unwrap());
            },
        );
    }
    group.finish();
}

criterion_group!(benches, fit);
criterion_main!(benches);
