//! Invented wings with a fault planted in them: lines of 6 to 8 m that differ by 2 mm as built and are read to 1 mm, whole
//! millimetres.

use linedrift::check::doubt::{DoubtSpec, Doubts};
use linedrift::check::{Check, History, Reading};
use linedrift::plan::{Finding, Plan, PlanError, PlanSpec};
use linedrift::trim::{Trim, TrimSpec};
use linedrift::wing::{Line, LineSet, ModelData, Row, Segment, Side, Wing};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// How the invented wing is built.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Build {
    pub rows: usize,
    /// Lines of a row, on one side.
    pub lines: u32,
    /// Lines on one main.
    pub on_main: u32,
    pub cascade: bool,
}

pub const FOUR: Build = Build { rows: 4, lines: 12, on_main: 4, cascade: true };
pub const THREE: Build = Build { rows: 3, lines: 12, on_main: 4, cascade: true };
pub const TWO: Build = Build { rows: 2, lines: 16, on_main: 4, cascade: true };
pub const FLAT: Build = Build { rows: 3, lines: 12, on_main: 4, cascade: false };

/// Two mains of two lines each in every row.
pub const FEW: Build = Build { rows: 3, lines: 4, on_main: 2, cascade: true };

pub const ROWS: [(Row, &str, f64); 4] =
    [(Row::A, "A", 0.08), (Row::B, "B", 0.30), (Row::C, "C", 0.55), (Row::D, "D", 0.78)];

/// Rows of `lines` lines on mains, every two on a middle line; two stabilo lines, eight brake lines.
pub fn wing(build: Build) -> LineSet {
    let mut lines = Vec::new();
    let mut segments: Vec<Segment> = Vec::new();
    let mut rows: Vec<(Row, &str, Option<f64>, u32)> =
        ROWS[..build.rows].iter().map(|(row, name, chord)| (*row, *name, Some(*chord), build.lines)).collect();
    rows.push((Row::Stabilo, "S", None, 2));
    rows.push((Row::Brake, "K", None, 8));
    let mut add = |name: String, parent: Option<usize>, length_mm: f64| {
        if let Some(at) = segments.iter().position(|known| known.name == name) {
            return at;
        }
        let material = "uhmwpe".to_owned();
        segments.push(Segment { name, parent, material, length_mm, diameter_mm: Some(1.2), can_loop: Some(true) });
        segments.len() - 1
    };
    for (row, letter, chord, count) in rows {
        for rank in 1..=count {
            let span = (f64::from(rank) - 0.5) / f64::from(count);
            // longest at the centre, shorter towards the tip, each row a little longer than the one before
            let nominal_mm =
                (7200.0 - 1500.0 * span * span + 37.0 * row.index() as f64 + 11.0 * f64::from(rank % 3)).round();
            let name = format!("{letter}{rank}");
            let main = format!("{letter}M{}", (rank - 1) / build.on_main + 1);
            let segment = if build.cascade {
                let main = add(main.clone(), None, 4000.0);
                let below = if build.on_main > 2 {
                    add(format!("{letter}m{}", (rank - 1) / 2 + 1), Some(main), 1500.0)
                } else {
                    main
                };
                let length_mm = nominal_mm - if build.on_main > 2 { 5500.0 } else { 4000.0 };
                add(name.clone(), Some(below), length_mm)
            } else {
                add(name.clone(), None, nominal_mm)
            };
            lines.push(Line {
                name,
                row,
                rank,
                nominal_mm,
                span,
                span_assumed: false,
                chord,
                main: Some(main),
                tolerance_mm: None,
                side: None,
                segment,
            });
        }
    }
    let data = ModelData { root_chord_m: Some(2.7), span_m: Some(11.0), ..ModelData::default() };
    LineSet::new("Petrel 4", None, lines, segments).unwrap().with_data(data)
}

pub struct Planted {
    pub set: LineSet,
    pub history: History,
    pub at: usize,
}

/// What is off: side, line, rank and row to millimetres.
pub type Off<'a> = &'a dyn Fn(Side, &Line) -> f64;

pub fn normal(rng: &mut ChaCha8Rng) -> f64 {
    let sum: f64 = (0..12).map(|_| rng.random::<f64>()).sum();
    sum - 6.0
}

impl Planted {
    /// A wing with so many checks; `off` is put on the last one, and on those before it from `since` on.
    pub fn new(build: Build, seed: u64, checks: usize, since: usize, sides: &[Side], off: Off<'_>) -> Self {
        let set = wing(build);
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let built: Vec<f64> = (0..2 * set.lines().len()).map(|_| 2.0 * normal(&mut rng)).collect();
        let all = (0..checks).map(|number| {
            let date = linedrift::Date::constant(2021 + i16::try_from(number).unwrap(), 5, 1);
            let mut check = Check::new(&format!("c{number}"), date, 40.0 + 60.0 * number as f64);
            for side in sides {
                for (line, known) in set.lines().iter().enumerate() {
                    let planted = if number >= since { off(*side, known) } else { 0.0 };
                    let built = built[side.index() * set.lines().len() + line];
                    let reading_mm = (known.nominal_mm + built + normal(&mut rng) + planted).round();
                    check.readings.push(Reading { side: *side, line, reading_mm, repeat: 1, operator: None });
                }
            }
            check
        });
        let checks: Vec<Check> = all.collect();
        let at = checks.len() - 1;
        let wing = Wing::new("17", "Petrel 4");
        Self { set, history: History { wing, line_set: 0, checks, actions: Vec::new(), fittings: Vec::new() }, at }
    }

    /// One check of lines read with this much more noise, mm.
    pub fn noisy(build: Build, seed: u64, noise_mm: f64, off: Off<'_>) -> Self {
        let mut planted = Self::one(build, seed, off);
        let mut rng = ChaCha8Rng::seed_from_u64(1000 + seed);
        for reading in &mut planted.check().readings {
            reading.reading_mm = (reading.reading_mm + noise_mm * normal(&mut rng)).round();
        }
        planted
    }

    pub fn one(build: Build, seed: u64, off: Off<'_>) -> Self {
        Self::new(build, seed, 1, 0, &Side::BOTH, off)
    }

    pub fn check(&mut self) -> &mut Check {
        &mut self.history.checks[self.at]
    }

    pub fn doubts(&self) -> Doubts {
        DoubtSpec::default().run(&self.set, &self.history, self.at, None).unwrap()
    }

    pub fn trim(&self) -> Trim {
        TrimSpec::default().judge(&self.set, &self.history, self.at).unwrap()
    }

    /// The plan, no doubted reading heard.
    pub fn try_plan(&self) -> Result<Plan, PlanError> {
        let doubts = self.doubts();
        let findings: Vec<Finding> = doubts.findings().iter().map(|one| Finding::new(one.side, &one.line)).collect();
        PlanSpec::default().run(&self.set, &self.history, &self.history.checks[self.at], &findings)
    }

    pub fn plan(&self) -> Plan {
        self.try_plan().unwrap()
    }

    /// Changes the lines of the set.
    pub fn change_lines(&mut self, mut change: impl FnMut(&mut Line)) {
        let mut lines = self.set.lines().to_vec();
        lines.iter_mut().for_each(&mut change);
        let set = LineSet::new(self.set.model(), None, lines, self.set.segments().to_vec()).unwrap();
        self.set = set.with_data(*self.set.data());
    }

    /// Adds millimetres to what was read of a line at the last check.
    pub fn slip(&mut self, side: Side, name: &str, off_mm: f64) {
        let line = self.set.find(name, side).unwrap();
        for reading in self.check().readings.iter_mut().filter(|one| one.side == side && one.line == line) {
            reading.reading_mm += off_mm;
        }
    }
}

pub fn named(line: &Line, names: &[&str]) -> bool {
    names.contains(&line.name.as_str())
}
