//! What the intervals of the default fit hold in worlds that are not the plainest model, by an independent generator.
//!
//! Slow, and so by name only: `cargo test --release wear_worlds -- --ignored --nocapture`. `LINEDRIFT_FLEETS` says how many fleets
//! a world gets (200). The design (models, dates, which lines were read) is a simulated fleet's; every effect and every reading is
//! drawn here anew, by a formula of its own. `docs/reliability.md` has the table and the command.

use std::collections::BTreeMap;

use linedrift::check::{Check, Stage};
use linedrift::simulate::FleetSpec;
use linedrift::wear::Reduction;
use linedrift::wing::{LineSet, Row, Side};
use linedrift::{Fleet, History, WearSpec};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;

/// One way in which fleets may depart from the plainest model.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct World {
    pub(crate) name: &'static str,
    pub(crate) wings: usize,
    pub(crate) rows: f64,
    pub(crate) lines: f64,
    pub(crate) models: f64,
    /// UHMWPE saturates with 40 h.
    pub(crate) saturating: bool,
    /// Wings that drift fast are not seen after their second check.
    pub(crate) selection: bool,
    /// Rear rows that are far off are brought back.
    pub(crate) re_trims: bool,
    /// Heavy pilots' wings drift faster.
    pub(crate) covariate: f64,
    /// How far rows of a wing wander, mm/m in 100 h.
    pub(crate) walk: f64,
    /// Degrees of freedom, above 2, of Student's t by which readings err; 0 for normal errors.
    pub(crate) freedom: u32,
    /// The least share of intervals that must hold, with 200 fleets.
    pub(crate) wanted: f64,
}

pub(crate) const PLAIN: World = World {
    name: "plain",
    wings: 30,
    rows: 0.0,
    lines: 0.0,
    models: 0.0,
    saturating: false,
    selection: false,
    re_trims: false,
    covariate: 0.0,
    walk: 0.0,
    freedom: 0,
    wanted: 0.91,
};

const WORLDS: [World; 9] = {
    let plain = PLAIN;
    [
        plain,
        World { name: "rows of a wing 0.15", rows: 0.15, ..plain },
        World { name: "lines 0.2", lines: 0.2, ..plain },
        World { name: "one material saturating", saturating: true, ..plain },
        World { name: "models 0.1", models: 0.1, ..plain },
        World { name: "6 wings, rows 0.15", wings: 6, rows: 0.15, wanted: 0.88, ..plain },
        World { name: "selection, rows 0.15", selection: true, rows: 0.15, ..plain },
        World { name: "re-trims, rows 0.15", re_trims: true, rows: 0.15, ..plain },
        World { name: "covariate, rows 0.15", covariate: 0.02, rows: 0.15, ..plain },
    ]
};

fn rate(material: &str, row: Row) -> f64 {
    match (material, row) {
        ("uhmwpe", Row::A) => -0.3,
        ("uhmwpe", Row::B) => -0.55,
        ("uhmwpe", Row::C) => -0.8,
        ("uhmwpe", Row::Stabilo) => -0.6,
        ("uhmwpe", _) => -1.2,
        ("aramid", _) => 0.2,
        _ => 0.1,
    }
}

struct Draw(ChaCha8Rng);

impl Draw {
    fn normal(&mut self, sd: f64) -> f64 {
        let unit: f64 = StandardNormal.sample(&mut self.0);
        sd * unit
    }

    /// A reading's error, of the same variance whatever the degrees of freedom of its Student's t.
    fn error(&mut self, freedom: u32) -> f64 {
        let (nu, error) = (f64::from(freedom), self.normal(1.8));
        if freedom == 0 {
            return error;
        }
        let squares: f64 = (0..freedom).map(|_| self.normal(1.0).powi(2)).sum();
        error * ((nu - 2.0) / squares).sqrt()
    }
}

/// A fleet of the world, and what its models add to the rates.
pub(crate) struct Made {
    pub(crate) fleet: Fleet,
    models: BTreeMap<(String, String, Row), f64>,
}

pub(crate) fn make(world: &World, seed: u64) -> Made {
    let design = FleetSpec::default().wings(world.wings).seed(seed).years(4.0).run().unwrap().fleet;
    let mut draw = Draw(ChaCha8Rng::seed_from_u64(90_000 + seed));
    let mut models = BTreeMap::new();
    for set in design.line_sets() {
        for (index, line) in set.lines().iter().enumerate() {
            for exposure in set.exposure_m(index) {
                let key = (set.model().to_owned(), exposure.material.to_owned(), line.row);
                models.entry(key).or_insert_with(|| draw.normal(world.models));
            }
        }
    }
    let mut histories = Vec::new();
    for history in design.histories() {
        let mut own = history.clone();
        let mass = draw.normal(10.0);
        own.wing.covariates.insert("mass".to_owned(), 80.0 + mass);
        readings(world, design.line_set(history), &mut own, mass, &models, &mut draw);
        histories.push(own);
    }
    Made { fleet: Fleet::new(design.line_sets().to_vec(), histories).unwrap(), models }
}

fn g(world: &World, material: &str, hours_h: f64) -> f64 {
    if world.saturating && material == "uhmwpe" {
        (1.0 - (-hours_h / 40.0).exp()) / (1.0 - (-2.5_f64).exp())
    } else {
        hours_h / 100.0
    }
}

fn readings(
    world: &World,
    set: &LineSet,
    history: &mut History,
    mass: f64,
    models: &BTreeMap<(String, String, Row), f64>,
    draw: &mut Draw,
) {
    let (offset, own_rate) = (draw.normal(1.5), draw.normal(0.15) + world.covariate * mass);
    let by_row: Vec<f64> = Row::ALL.iter().map(|_| draw.normal(world.rows)).collect();
    let count = set.lines().len();
    let mut built: Vec<f64> = (0..2 * count).map(|_| draw.normal(2.0)).collect();
    let rates: Vec<f64> = (0..2 * count).map(|_| draw.normal(world.lines)).collect();
    let mut walked = vec![(0.0, [0.0; 6])];
    for check in history.checks.iter().filter(|_| world.walk > 0.0) {
        let (from_h, mut at): (f64, [f64; 6]) = walked[walked.len() - 1];
        let root = ((check.hours_h - from_h) / 100.0).sqrt();
        at.iter_mut().for_each(|value| *value += draw.normal(world.walk) * root);
        walked.push((check.hours_h, at));
    }
    let wear = |side: Side, index: usize, hours_h: f64| -> f64 {
        let row = set.lines()[index].row;
        let place = Row::ALL.iter().position(|other| *other == row).unwrap();
        let gone = walked.iter().rfind(|(at_h, _)| *at_h <= hours_h).map_or(0.0, |(_, at)| at[place]);
        let length: f64 = set.exposure_m(index).iter().map(|exposure| exposure.length_m).sum();
        let more = own_rate + by_row[place] + rates[side.index() * count + index];
        let exposures = set.exposure_m(index);
        let of = |material: &str| models[&(set.model().to_owned(), material.to_owned(), row)];
        let each = exposures.iter().map(|exposure| {
            let material = exposure.material;
            (rate(material, row) + of(material) + more) * exposure.length_m * g(world, material, hours_h)
        });
        each.sum::<f64>() + gone * length
    };
    if world.selection && own_rate < -0.1 {
        history.checks.truncate(2);
    }
    let mut checks: Vec<Check> = Vec::new();
    for check in &history.checks {
        let mut take = |mut check: Check, built: &[f64]| {
            let at = draw.normal(1.5);
            for reading in &mut check.readings {
                let key = reading.side.index() * count + reading.line;
                let true_mm = set.lines()[reading.line].nominal_mm
                    + check.datum_mm
                    + wear(reading.side, reading.line, check.hours_h);
                reading.reading_mm = (true_mm + offset + at + built[key] + draw.error(world.freedom)).round();
            }
            check
        };
        checks.push(take(check.clone(), &built));
        if world.re_trims {
            let rear = set.lines().iter().map(|line| line.row).filter(|row| row.is_trim()).max().unwrap();
            let mean = |row: Row| {
                let of: Vec<usize> = (0..count).filter(|index| set.lines()[*index].row == row).collect();
                let sum: f64 = of.iter().map(|index| wear(Side::Left, *index, check.hours_h) + built[*index]).sum();
                sum / of.len() as f64
            };
            if mean(rear) - mean(Row::A) < -7.0 {
                let mut left = check.clone();
                left.id = format!("{}L", check.id);
                left.stage = Stage::AsLeft;
                left.readings.retain(|reading| set.lines()[reading.line].row == rear);
                for key in (0..2 * count).filter(|key| set.lines()[key % count].row == rear) {
                    built[key] += 10.0 + draw.normal(0.5);
                }
                let left = {
                    let at = draw.normal(1.5);
                    for reading in &mut left.readings {
                        let key = reading.side.index() * count + reading.line;
                        let true_mm = set.lines()[reading.line].nominal_mm
                            + left.datum_mm
                            + wear(reading.side, reading.line, left.hours_h);
                        reading.reading_mm = (true_mm + offset + at + built[key] + draw.error(world.freedom)).round();
                    }
                    left
                };
                checks.push(left);
            }
        }
    }
    history.checks = checks;
}

/// How many intervals there were, and how many held the truth.
#[derive(Debug, Clone, Copy, Default)]
struct Held {
    rates: [usize; 2],
    front_less_rear: [usize; 2],
    spans: [usize; 2],
}

fn count(counts: &mut [usize; 2], held: bool) {
    counts[0] += 1;
    counts[1] += usize::from(held);
}

fn judge(world: &World, seed: u64) -> Held {
    let made = make(world, seed);
    let covariates: &[String] = if world.covariate > 0.0 { &["mass".to_owned()] } else { &[] };
    let reduction = Reduction::new(&made.fleet, covariates).unwrap();
    let fit = WearSpec::default().covariates(covariates).fit_reduced(&reduction).unwrap();
    let mut held = Held::default();
    for term in fit.terms() {
        if let Some(name) = term.term.strip_prefix("rate:") {
            let (material, row) = name.split_once(':').unwrap();
            let row = Row::ALL.into_iter().find(|known| known.name() == row).unwrap();
            // a covariate is taken about the mean pilot
            let truth = rate(material, row);
            count(&mut held.rates, (term.lower..=term.upper).contains(&truth));
        } else if term.term.starts_with("span:") {
            count(&mut held.spans, (term.lower..=term.upper).contains(&0.0));
        }
    }
    for drift in fit.drift(made.fleet.line_sets()).iter().filter(|drift| drift.row.contains('\u{2212}')) {
        let set = made.fleet.line_sets().iter().find(|set| set.model() == drift.model).unwrap();
        let rear = set.lines().iter().map(|line| line.row).filter(|row| row.is_trim()).max().unwrap();
        let mean = |row: Row| {
            let of: Vec<usize> = (0..set.lines().len()).filter(|index| set.lines()[*index].row == row).collect();
            let each = of.iter().flat_map(|index| set.exposure_m(*index)).map(|exposure| {
                let model = made.models[&(set.model().to_owned(), exposure.material.to_owned(), row)];
                (rate(exposure.material, row) + model) * exposure.length_m
            });
            each.sum::<f64>() / of.len() as f64
        };
        let truth = mean(Row::A) - mean(rear);
        count(&mut held.front_less_rear, (drift.lower_mm..=drift.upper_mm).contains(&truth));
    }
    held
}

pub(crate) fn fleets() -> u64 {
    std::env::var("LINEDRIFT_FLEETS").ok().and_then(|text| text.parse().ok()).unwrap_or(200)
}

#[test]
#[ignore = "slow: run by name"]
fn intervals_hold_in_every_world() {
    let only = std::env::var("LINEDRIFT_WORLD").ok();
    let mut failed = Vec::new();
    println!("| world | fleets | rates | front less rear | span terms |");
    for world in WORLDS.iter().filter(|world| only.as_ref().is_none_or(|only| world.name.contains(only.as_str()))) {
        let all: Vec<Held> = (0..fleets()).into_par_iter().map(|seed| judge(world, seed)).collect();
        let share = |of: fn(&Held) -> [usize; 2]| {
            let sum = all.iter().map(of).fold([0, 0], |sum, one| [sum[0] + one[0], sum[1] + one[1]]);
            sum[1] as f64 / sum[0].max(1) as f64
        };
        let (rates, front, spans) = (share(|h| h.rates), share(|h| h.front_less_rear), share(|h| h.spans));
        println!(
            "| {} | {} | {:.1} % | {:.1} % | {:.1} % |",
            world.name,
            fleets(),
            100.0 * rates,
            100.0 * front,
            100.0 * spans
        );
        // intervals of one fleet are not independent: a fleet counts as one
        let slack = 2.0 * (world.wanted * (1.0 - world.wanted) / fleets() as f64).sqrt();
        if rates.min(front) < world.wanted - slack {
            failed.push(world.name);
        }
    }
    assert!(failed.is_empty(), "{failed:?}");
}
