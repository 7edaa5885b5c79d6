//! Recovery and coverage of the wear model's intervals on simulated fleets, by design. Slow: run by name, in release:
//! `cargo test --release --no-default-features --test linedrift slow_intervals -- --ignored --nocapture`.

use std::collections::BTreeMap;

use linedrift::simulate::{FleetSpec, Spreads};
use linedrift::wear::{Reduction, Shape, ShapeChoice, WearFit, WearSpec, WingEffects};
use rayon::prelude::*;

const FLEETS: u64 = 200;

/// What is simulated, and what is fitted to it.
struct Design {
    name: &'static str,
    fleet: FleetSpec,
    spec: WearSpec,
    /// Whether spreads are judged too, by profile likelihood.
    spreads: Spread,
}

#[derive(Clone, Copy, PartialEq)]
enum Spread {
    Left,
    Judged,
}

fn designs() -> Vec<Design> {
    let design = |name, fleet, spec| Design { name, fleet, spec, spreads: Spread::Left };
    let spreads = Spreads { wing_row_mm_per_m: 0.1, ..FleetSpec::demo().true_spreads() };
    let plain = FleetSpec::demo().adjusted_share(0.0);
    vec![
        Design {
            spreads: Spread::Judged,
            ..design("16 wings, none adjusted", plain.clone().wings(16), WearSpec::default())
        },
        design("48 wings, none adjusted", plain.clone(), WearSpec::default()),
        design("48 wings, six in ten adjusted", FleetSpec::demo(), WearSpec::default()),
        design(
            "48 wings, adjusted, rows of a wing differ",
            FleetSpec::demo().spreads(spreads),
            WearSpec::default().wing_effects(WingEffects::RateRow),
        ),
        design(
            "48 wings, adjusted, saturating, scale estimated",
            FleetSpec::demo().shape(Shape::Saturating { scale_h: 120.0 }),
            WearSpec::default().shape(ShapeChoice::Saturating),
        ),
    ]
}

/// Limits that a binomial count of `n` at 95 % leaves with a chance of about 1 in 1,000 on either side (normal
/// approximation with continuity, good enough at n = 200 for a limit in whole counts).
fn binomial_limits(n: f64) -> (f64, f64) {
    let half = 3.1 * (n * 0.95 * 0.05).sqrt() + 0.5;
    (n * 0.95 - half, (n * 0.95 + half).min(n))
}

/// One parameter in one fleet.
struct Shot {
    parameter: String,
    error: f64,
    se: f64,
    hit: bool,
}

fn true_term(spec: &FleetSpec, term: &str) -> f64 {
    match term.split(':').collect::<Vec<_>>()[..] {
        ["offset"] => spec.common_offset_mm(),
        ["rate", material, row] => {
            let rates = spec.true_rates();
            rates.iter().find(|rate| rate.material == material && rate.row.name() == row).unwrap().mm_per_m
        }
        ["span", row] => {
            let spans = spec.true_span_rates();
            spans.iter().find(|rate| rate.row.name() == row).map_or(0.0, |rate| rate.mm_per_m)
        }
        _ => panic!("{term}"),
    }
}

fn shots(design: &Design, seed: u64) -> Vec<Shot> {
    let made = design.fleet.clone().seed(1_000 + seed).run().unwrap();
    let reduction = Reduction::new(&made.fleet, &[]).unwrap();
    let fit: WearFit = design.spec.fit_reduced(&reduction).unwrap();
    assert!(fit.converged());
    let mut out: Vec<Shot> = fit
        .terms()
        .iter()
        .map(|term| {
            let truth = true_term(&made.truth.spec, &term.term);
            let hit = term.lower <= truth && truth <= term.upper;
            Shot { parameter: term.term.clone(), error: term.estimate - truth, se: term.se, hit }
        })
        .collect();
    if design.spreads == Spread::Judged {
        let spreads = made.truth.spec.true_spreads();
        // whole millimetres are shown: their rounding is part of a reading's spread
        let reading = spreads.reading_mm.hypot(1.0 / 12f64.sqrt());
        for row in fit.profile_intervals(&reduction).unwrap() {
            let truth = match row.parameter.as_str() {
                "sd:wing:offset" => spreads.wing_offset_mm,
                "sd:wing:rate" => spreads.wing_rate_mm_per_m,
                "sd:check:offset" => spreads.check_offset_mm,
                "sd:line:offset" => spreads.line_offset_mm,
                "sd:reading:offset" => reading,
                _ => continue,
            };
            let hit = row.lower.is_none_or(|lower| lower <= truth) && row.upper.is_none_or(|upper| truth <= upper);
            out.push(Shot { parameter: row.parameter, error: row.estimate - truth, se: f64::NAN, hit });
        }
    }
    out
}

#[test]
#[ignore = "slow"]
fn slow_intervals_cover_the_truth_in_every_design() {
    let mut wrong = Vec::new();
    for design in designs() {
        let all: Vec<Vec<Shot>> = (0..FLEETS).into_par_iter().map(|seed| shots(&design, seed)).collect();
        let mut by_parameter: BTreeMap<String, Vec<Shot>> = BTreeMap::new();
        for shot in all.into_iter().flatten() {
            by_parameter.entry(shot.parameter.clone()).or_default().push(shot);
        }
        eprintln!("\n{} ({FLEETS} fleets)", design.name);
        eprintln!("{:<24} {:>6} {:>9} {:>9} {:>9}", "parameter", "of", "covered", "bias", "sd/se");
        for (parameter, shots) in &by_parameter {
            let n = shots.len() as f64;
            let hits = shots.iter().filter(|shot| shot.hit).count() as f64;
            let bias = shots.iter().map(|shot| shot.error).sum::<f64>() / n;
            let sd = (shots.iter().map(|shot| (shot.error - bias).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
            let se = shots.iter().map(|shot| shot.se).sum::<f64>() / n;
            let ratio = if se.is_nan() { String::new() } else { format!("{:.3}", sd / se) };
            eprintln!("{parameter:<24} {n:>6} {:>8.1} % {bias:>+9.4} {ratio:>9}", 100.0 * hits / n);
            let (low, high) = binomial_limits(n);
            if hits < low || hits > high {
                wrong.push(format!("{}: {parameter} covered in {hits} of {n}", design.name));
            }
            // estimates are unbiased, rates and offsets that is: four standard errors of the mean error
            if !parameter.starts_with("sd:") && bias.abs() > 4.0 * sd / n.sqrt() {
                wrong.push(format!("{}: {parameter} is off by {bias}", design.name));
            }
        }
        assert!(by_parameter.keys().any(|parameter| parameter.starts_with("rate:")));
    }
    assert!(wrong.is_empty(), "outside their limits: {wrong:#?}");
}
