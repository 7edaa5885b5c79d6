//! Whether the statistics are true, under the model and away from it: one suite by name.
//! `cargo test --release --no-default-features --test linedrift -- --ignored --nocapture statistical_`
//! The other parts of it, coverage by design and calibration of forecasts, are named in `docs/reliability.md`.
#![allow(clippy::too_many_lines, clippy::items_after_statements)]

use linedrift::check::Fleet;
use linedrift::forecast::BacktestSpec;
use linedrift::simulate::{FleetSpec, Simulated, Spreads};
use linedrift::wear::{Reduction, Shape, WearSpec, WingEffects};
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution, StudentT};
use rayon::prelude::*;
use statrs::distribution::{Binomial, ChiSquared, ContinuousCDF, DiscreteCDF, FisherSnedecor};

/// Least and most of `n` that a share leaves by chance in one of 1,000.
fn by_chance(share: f64, n: u64) -> (u64, u64) {
    let binomial = Binomial::new(share, n).unwrap();
    let least = (0..=n).find(|count| binomial.cdf(*count) > 0.0005).unwrap();
    let most = (0..=n).find(|count| binomial.cdf(*count) >= 0.9995).unwrap();
    (least, most)
}

/// A covariate that has no effect, tested at 5 %: by likelihood ratio and by its interval.
#[test]
#[ignore = "slow: fits 800 models"]
fn statistical_size_of_tests() {
    let fleets = 400;
    let spec = FleetSpec::default().wings(40).models(2);
    let found: Vec<(bool, bool, bool)> = (0..fleets)
        .into_par_iter()
        .map(|seed| {
            let made = spec.clone().seed(5000 + seed).run().unwrap();
            let mut random = ChaCha12Rng::seed_from_u64(seed);
            let mut histories = made.fleet.histories().to_vec();
            for history in &mut histories {
                history.wing.covariates.insert("coast".to_owned(), f64::from(random.random_range(0..2_u8)));
            }
            let fleet = Fleet::new(made.fleet.line_sets().to_vec(), histories).unwrap();
            let names = ["coast".to_owned()];
            let reduction = Reduction::new(&fleet, &names).unwrap();
            let with = WearSpec::default().shape(Shape::LINEAR).covariates(names);
            let ratio = with.covariate_tests(&reduction).unwrap()[0].p_value;
            let fit = with.fit_reduced(&reduction).unwrap();
            let term = fit.terms().iter().find(|term| term.term.contains("coast")).unwrap();
            let none = Reduction::new(&fleet, &[]).unwrap();
            let rows = WearSpec::default().shape(Shape::LINEAR).wing_effects(WingEffects::RateRow);
            let variance = rows.likelihood_ratio(&WearSpec::default().shape(Shape::LINEAR), &none).unwrap().p_value;
            (ratio < 0.05, !(term.lower..=term.upper).contains(&0.0), variance < 0.05)
        })
        .collect();
    let count = |which: fn(&(bool, bool, bool)) -> bool| found.iter().filter(|one| which(one)).count() as u64;
    let [ratio, wald, variance] = [count(|one| one.0), count(|one| one.1), count(|one| one.2)];
    let (least, most) = by_chance(0.05, fleets);
    let share = |count: u64| 100.0 * count as f64 / fleets as f64;
    eprintln!(
        "rejected at 5 % where nothing is: covariate by likelihood ratio {:.1} %, by interval {:.1} %; a variance by \
         likelihood ratio {:.1} % (by chance {:.1} to {:.1} %)",
        share(ratio),
        share(wald),
        share(variance),
        share(least),
        share(most)
    );
    assert!((least..=most).contains(&wald), "{wald} of {fleets}");
    // a between-wing covariate is told from 40 wings less a mean: the ratio, taken for χ²₁, is truly an F with 1 and 38
    // degrees, so that it rejects P(F > 3.84) of the time
    let size = 1.0 - FisherSnedecor::new(1.0, 38.0).unwrap().cdf(ChiSquared::new(1.0).unwrap().inverse_cdf(0.95));
    let (least, most) = by_chance(size, fleets);
    assert!((least..=most).contains(&ratio), "{ratio} of {fleets}, expected {size}");
    // a variance on its boundary: with many wings half its estimates are 0, with 40 some more, so that no more than the
    // nominal share is rejected; with three quarters at 0 it would be half of that
    let (least, most) = (by_chance(0.025, fleets).0, by_chance(0.05, fleets).1);
    assert!((least..=most).contains(&variance), "{variance} of {fleets}, expected {least} to {most}");
}

#[derive(Debug, Clone, Copy)]
enum Departure {
    None,
    /// Readings with Student's t of 3 degrees of freedom, same spread.
    HeavyReadings,
    /// Rates of wings with Student's t of 3 degrees of freedom, same spread.
    HeavyWings,
    /// Wear that saturates with a scale of 60 h, fitted as linear.
    WrongShape,
    /// Wings that drift fast come to every check, the others to one in three.
    BadCheckedMore,
    /// Only the faster half of the wings ever comes.
    OnlyBadCome,
}

fn t3(random: &mut impl Rng) -> f64 {
    StudentT::new(3.0).unwrap().sample(random) / 3_f64.sqrt()
}

fn spread(base: &FleetSpec) -> Spreads {
    base.true_spreads()
}

fn made(departure: Departure, seed: u64) -> Simulated {
    let base = FleetSpec::default().wings(40).models(2).rounding_mm(0.0).checks_per_year(1.4).seed(seed);
    let spreads = spread(&base);
    let mut random = ChaCha12Rng::seed_from_u64(seed);
    let spec = match departure {
        Departure::HeavyReadings => base.spreads(Spreads { reading_mm: 0.0, ..spreads }),
        Departure::HeavyWings => base.spreads(Spreads { wing_rate_mm_per_m: 0.0, wing_correlation: 0.0, ..spreads }),
        Departure::WrongShape => base.shape(Shape::Saturating { scale_h: 60.0 }),
        _ => base,
    };
    let mut made = spec.run().unwrap();
    let rates: Vec<(String, f64)> =
        made.truth.wings.iter().map(|wing| (wing.wing.clone(), wing.rate_mm_per_m)).collect();
    let mut sorted: Vec<f64> = rates.iter().map(|(_, rate)| *rate).collect();
    sorted.sort_by(f64::total_cmp);
    let median = sorted[sorted.len() / 2];
    let mut histories = made.fleet.histories().to_vec();
    for history in &mut histories {
        let set = made.fleet.line_set(history);
        let rate = rates.iter().find(|(wing, _)| *wing == history.wing.id).unwrap().1;
        let own = spreads.wing_rate_mm_per_m * t3(&mut random);
        for check in &mut history.checks {
            for reading in &mut check.readings {
                reading.reading_mm += match departure {
                    Departure::HeavyReadings => spreads.reading_mm * t3(&mut random),
                    Departure::HeavyWings => {
                        let metres: f64 = set.path(reading.line).map(|segment| segment.length_mm / 1000.0).sum();
                        own * metres * check.hours_h / 100.0
                    }
                    _ => 0.0,
                };
            }
        }
        // shrinking more is worse
        let good = rate > median;
        match departure {
            Departure::BadCheckedMore if good => {
                let mut at = 0;
                history.checks.retain(|_| {
                    at += 1;
                    at == 1 || random.random_range(0..3) == 0
                });
            }
            Departure::OnlyBadCome if good => history.checks.clear(),
            _ => {}
        }
    }
    made.fleet = Fleet::new(made.fleet.line_sets().to_vec(), histories).unwrap();
    made
}

/// What one fleet gives.
struct One {
    covered: u64,
    intervals: u64,
    /// Mean of (estimate − truth) over all rates, mm/m in the first 100 h.
    bias: f64,
    /// Forecasts of row trim: how many, and how many within 50, 80, 95 %.
    forecasts: u64,
    within: [u64; 3],
}

/// A share in per cent with its standard error over fleets: what one fleet gives shares its wings.
#[derive(Debug, Clone, Copy)]
struct Share {
    pct: f64,
    se: f64,
}

impl Share {
    /// Of (counted, of how many) of each fleet: a ratio of sums, its error from the residuals.
    fn of(each: &[(u64, u64)]) -> Self {
        let sum = |which: fn(&(u64, u64)) -> u64| each.iter().map(which).sum::<u64>() as f64;
        let (counted, all, fleets) = (sum(|one| one.0), sum(|one| one.1), each.len() as f64);
        let share = counted / all;
        let squares: f64 = each.iter().map(|one| (one.0 as f64 - share * one.1 as f64).powi(2)).sum();
        Self { pct: 100.0 * share, se: 100.0 * (squares * fleets / (fleets - 1.0)).sqrt() / all }
    }
}

#[derive(Debug)]
struct Found {
    intervals: u64,
    covered: Share,
    bias: f64,
    bias_se: f64,
    forecasts: u64,
    /// At 50, 80, 95 %.
    within: [Share; 3],
    /// Fleets without a fit or forecasts.
    refused: usize,
}

fn study(departure: Departure, fleets: u64) -> Found {
    let judged: Vec<Option<One>> = (0..fleets)
        .into_par_iter()
        .map(|seed| {
            let made = made(departure, 7000 + seed);
            let fit = WearSpec::default().shape(Shape::LINEAR).fit(&made.fleet).ok()?;
            let truth = FleetSpec::default().models(2);
            let (mut covered, mut intervals, mut bias) = (0, 0, 0.0);
            for rate in truth.true_rates() {
                let name = format!("rate:{}:{}", rate.material, rate.row);
                if let Some(term) = fit.terms().iter().find(|term| term.term == name) {
                    intervals += 1;
                    covered += u64::from((term.lower..=term.upper).contains(&rate.mm_per_m));
                    bias += term.estimate - rate.mm_per_m;
                }
            }
            let test = BacktestSpec::default().draws(300).most_fits(4).seed(seed).run(&made.fleet).ok()?;
            let (mut forecasts, mut within) = (0, [0; 3]);
            for score in test.scores().iter().filter(|score| score.row.is_trim()) {
                forecasts += 1;
                for (count, level) in within.iter_mut().zip([0.5, 0.8, 0.95]) {
                    *count += u64::from(score.covered(level));
                }
            }
            (intervals > 0).then(|| One { covered, intervals, bias: bias / intervals as f64, forecasts, within })
        })
        .collect();
    let each: Vec<One> = judged.into_iter().flatten().collect();
    let n = each.len() as f64;
    let bias = each.iter().map(|one| one.bias).sum::<f64>() / n;
    let squares: f64 = each.iter().map(|one| (one.bias - bias).powi(2)).sum();
    let share = |count: &dyn Fn(&One) -> (u64, u64)| Share::of(&each.iter().map(count).collect::<Vec<_>>());
    Found {
        intervals: each.iter().map(|one| one.intervals).sum(),
        covered: share(&|one| (one.covered, one.intervals)),
        bias,
        bias_se: (squares / (n - 1.0) / n).sqrt(),
        forecasts: each.iter().map(|one| one.forecasts).sum(),
        within: [0, 1, 2].map(|level| share(&|one| (one.within[level], one.forecasts))),
        refused: usize::try_from(fleets).unwrap() - each.len(),
    }
}

/// What becomes of intervals and forecasts when the model is not so: the figures of `docs/limits.md`.
#[test]
#[ignore = "slow: fits and looks back over 360 fleets"]
fn statistical_departures() {
    let mut all = Vec::new();
    for departure in [
        Departure::None,
        Departure::HeavyReadings,
        Departure::HeavyWings,
        Departure::WrongShape,
        Departure::BadCheckedMore,
        Departure::OnlyBadCome,
    ] {
        let fleets = 60;
        let found = study(departure, fleets);
        let shown = |share: Share| format!("{:.1} (se {:.1})", share.pct, share.se);
        eprintln!(
            "{departure:?}: 95 % intervals of rates held {} % of {}, mean error {:+.3} (se {:.3}) mm/m; {} forecasts of row \
             trim: 50, 80, 95 % held {} %; {} fleets refused",
            shown(found.covered),
            found.intervals,
            found.bias,
            found.bias_se,
            found.forecasts,
            found.within.map(shown).join(", "),
            found.refused
        );
        assert!(10 * found.refused as u64 <= fleets, "{departure:?}: {found:?}");
        all.push(found);
    }
    let [none, readings, wings, shape, more, only] = all.as_slice() else { panic!() };
    // under the model: nominal but for chance, three standard errors over fleets
    assert!((none.covered.pct - 95.0).abs() < 3.0 * none.covered.se, "{none:?}");
    assert!(none.bias.abs() < 3.0 * none.bias_se, "{none:?}");
    // a forecast takes spreads as known: one point, and chance
    let true_to = |held: Share, level: f64| (held.pct - level).abs() < 1.0 + 3.0 * held.se;
    for (held, level) in none.within.iter().zip([50.0, 80.0, 95.0]) {
        assert!(true_to(*held, level), "{level} %: {none:?}");
    }
    // what docs/limits.md says does little harm: rates as under the model, forecasts of the wings' own departures too
    for (name, one) in [("readings", readings), ("wings", wings), ("checked more", more)] {
        assert!((one.covered.pct - 95.0).abs() < 4.0 * one.covered.se, "{name}: {one:?}");
    }
    for (name, one) in [("wings", wings), ("checked more", more), ("only bad wings", only)] {
        assert!(true_to(one.within[1], 80.0), "{name}: {one:?}");
    }
    // what it says breaks does, beyond all chance
    assert!(readings.within[1].pct < none.within[1].pct - 3.0, "heavy tails of readings: {readings:?}");
    for (name, one) in [("a wrong shape", shape), ("only bad wings come", only)] {
        assert!(one.covered.pct < 95.0 - 5.0 * one.covered.se, "{name}: {one:?}");
    }
    assert!(shape.within[1].pct < 80.0 - 10.0, "{shape:?}");
    assert!(only.bias < -5.0 * only.bias_se, "{only:?}");
}
