//! Vetting one check of 220 lines, alone and with six earlier checks.
#![allow(missing_docs)]

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use linedrift::Date;
use linedrift::check::doubt::DoubtSpec;
use linedrift::check::{Check, History, Reading};
use linedrift::wing::{Line, LineSet, Row, Segment, Side, Wing};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;

const CHECKS: usize = 7;

fn push(segments: &mut Vec<Segment>, name: String, parent: Option<usize>, length_mm: f64) -> usize {
    segments.push(Segment {
        name,
        parent,
        material: "uhmwpe".to_owned(),
        length_mm,
        diameter_mm: None,
        can_loop: None,
    });
    segments.len() - 1
}

/// 110 lines a side: four rows of 24, a brake of 12, two at the tip.
fn line_set() -> LineSet {
    let rows = [(Row::A, 24), (Row::B, 24), (Row::C, 24), (Row::D, 24), (Row::Stabilo, 2), (Row::Brake, 12)];
    let (mut lines, mut segments) = (Vec::new(), Vec::new());
    for (row, count) in rows {
        let (mut main, mut middle) = (0, 0);
        for rank in 1..=count {
            let span = (f64::from(rank) - 0.5) / f64::from(count);
            let nominal_mm = (7400.0 - 40.0 * row.index() as f64 - 1900.0 * span * span).round();
            let name = format!("{row}{rank}");
            // a main for six lines, a middle for two
            if rank % 6 == 1 {
                main = push(&mut segments, format!("{row}M{rank}"), None, 0.6 * nominal_mm);
            }
            if rank % 2 == 1 {
                middle = push(&mut segments, format!("{row}m{rank}"), Some(main), 0.25 * nominal_mm);
            }
            let segment = push(&mut segments, name.clone(), Some(middle), 0.15 * nominal_mm);
            lines.push(Line {
                name,
                row,
                rank,
                nominal_mm,
                span,
                span_assumed: false,
                chord: None,
                main: Some(format!("{row}M{}", (rank - 1) / 6)),
                tolerance_mm: None,
                side: None,
                segment,
            });
        }
    }
    LineSet::new("bench", None, lines, segments).unwrap_or_else(|fault| panic!("{fault}"))
}

fn history(set: &LineSet) -> History {
    let mut rng = ChaCha12Rng::seed_from_u64(5);
    let mut noise = |sd: f64| sd * 3.464 * (rng.random::<f64>() - 0.5);
    let own: Vec<f64> = (0..2 * set.lines().len()).map(|_| noise(2.0)).collect();
    let checks = (0..CHECKS)
        .map(|number| {
            let mut check = Check::new(&number.to_string(), Date::constant(2024, 1, 1), 60.0 * number as f64);
            for side in Side::BOTH {
                for (line, place) in set.lines().iter().enumerate() {
                    let off = own[side.index() * set.lines().len() + line];
                    let reading_mm = (place.nominal_mm + off + noise(1.9)).round();
                    check.readings.push(Reading { side, line, reading_mm, repeat: 1, operator: None });
                }
            }
            // one slip in each check
            check.readings[17 * (number + 1)].reading_mm += 100.0;
            check
        })
        .collect();
    History { wing: Wing::new("1", "bench"), line_set: 0, checks, actions: Vec::new(), fittings: Vec::new() }
}

fn vet(criterion: &mut Criterion) {
    let set = line_set();
    let with_history = history(&set);
    let alone = History { checks: vec![with_history.checks[CHECKS - 1].clone()], ..with_history.clone() };
    let spec = DoubtSpec::default();
    for (id, history, check) in
        [("check/vet/220-lines-alone", &alone, 0), ("check/vet/220-lines-6-earlier", &with_history, CHECKS - 1)]
    {
        criterion
            .bench_function(id, |bench| bench.iter(|| black_box(spec.run(&set, black_box(history), check, None))));
    }
}

criterion_group!(benches, vet);
criterion_main!(benches);
