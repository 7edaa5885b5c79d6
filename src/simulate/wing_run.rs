//! One wing's life: its true effects, its checks, its adjustments.

use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution, StandardNormal};

use super::misreading::spoil;
use super::truth::model_rate;
use super::usage::{Visit, is_new, visits, wing};
use super::workshop::{Job, Links};
use super::{CheckTruth, FleetSpec, LineTruth, Misreading, ModelRate, Restart, RowRate, SimulateError, WingTruth};
use crate::check::{Action, Check, History, Reading, Stage};
use crate::wing::{LineSet, Row, Side};

/// Datum of a check, mm: the instrument may stand up to so far behind the riser's end.
const DATUM_MM: [f64; 2] = [-700.0, 0.0];

/// How far the stream of numbers for rates of lines lies from that of their wing.
const OWN_RATES: u64 = 1 << 40;

/// One wing as recorded, and what made it.
pub(super) struct WingRun {
    pub(super) history: History,
    pub(super) truth: WingTruth,
    pub(super) misreadings: Vec<Misreading>,
}

/// Runs the wing of that number (from 0).
pub(super) fn wing_run(spec: &FleetSpec, sets: &[LineSet], index: usize) -> Result<WingRun, SimulateError> {
    let mut rng = ChaCha12Rng::seed_from_u64(spec.seed);
    rng.set_stream(index as u64 + 1);
    let at = index % sets.len();
    let set = &sets[at];
    let wing = wing(spec, &mut rng, index, set.model())?;
    let visits = if is_new(spec, index) { Vec::new() } else { visits(spec, &mut rng, &wing)? };
    let is_adjusted = rng.random::<f64>() < spec.adjusted_share;
    let mut life = Life::new(spec, set, &wing.id, rng);
    let mut history = History { wing, line_set: at, checks: Vec::new(), actions: Vec::new(), fittings: Vec::new() };
    for visit in &visits {
        life.visit(visit, if is_adjusted { Workshop::Adjusts } else { Workshop::OnlyMeasures }, &mut history);
    }
    history.fittings = life.links.fittings();
    Ok(WingRun { history, truth: life.truth, misreadings: life.misreadings })
}

/// What happens to a wing that is found out of trim.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Workshop {
    Adjusts,
    OnlyMeasures,
}

/// A wing while it lives.
pub(super) struct Life<'a> {
    spec: &'a FleetSpec,
    set: &'a LineSet,
    rng: ChaCha12Rng,
    links: Links,
    truth: WingTruth,
    misreadings: Vec<Misreading>,
    /// Present offset of each line, by side and line, mm.
    offsets_mm: [Vec<f64>; 2],
    /// Own rate of each line, by side and line, mm per metre.
    line_rates: [Vec<f64>; 2],
    model_rates: Vec<ModelRate>,
}

impl<'a> Life<'a> {
    pub(super) fn new(spec: &'a FleetSpec, set: &'a LineSet, wing: &str, mut rng: ChaCha12Rng) -> Self {
        let spreads = spec.spreads;
        let correlation = spreads.wing_correlation;
        let first = normal(&mut rng, 1.0);
        let second = normal(&mut rng, 1.0);
        let row_rates = Row::ALL
            .into_iter()
            .filter(|row| set.lines().iter().any(|line| line.row == *row))
            .map(|row| RowRate { row, mm_per_m: normal(&mut rng, spreads.wing_row_mm_per_m) })
            .collect();
        let offsets_mm = Side::BOTH
            .map(|_| set.lines().iter().map(|_| normal(&mut rng, spreads.line_offset_mm)).collect::<Vec<f64>>());
        // numbers of their own, so that all else stays as it is when lines are given rates
        let mut own = rng.clone();
        own.set_stream(rng.get_stream() + OWN_RATES);
        let line_rates =
            Side::BOTH.map(|_| set.lines().iter().map(|_| normal(&mut own, spreads.line_rate_mm_per_m)).collect());
        let mut lines = Vec::with_capacity(2 * set.lines().len());
        for ((side, offsets), rates) in Side::BOTH.into_iter().zip(&offsets_mm).zip(&line_rates) {
            let rates: &Vec<f64> = rates;
            for ((line, &offset_mm), &rate_mm_per_m) in set.lines().iter().zip(offsets).zip(rates) {
                lines.push(LineTruth { side, line: line.name.clone(), offset_mm, rate_mm_per_m });
            }
        }
        let truth = WingTruth {
            wing: wing.to_owned(),
            offset_mm: spreads.wing_offset_mm * first,
            rate_mm_per_m: spreads.wing_rate_mm_per_m
                * (correlation * first + (1.0 - correlation * correlation).sqrt() * second),
            row_rates,
            lines,
            checks: Vec::new(),
            restarts: Vec::new(),
        };
        Self {
            spec,
            set,
            rng,
            links: Links::new(set),
            truth,
            misreadings: Vec::new(),
            offsets_mm,
            line_rates,
            model_rates: spec.true_model_rates(),
        }
    }

    /// One visit: a check, and where it finds the wing out of trim and the workshop adjusts, the jobs and a check as left.
    pub(super) fn visit(&mut self, visit: &Visit, workshop: Workshop, history: &mut History) {
        let number = history.checks.iter().filter(|check| check.stage == Stage::AsFound).count() + 1;
        let id = format!("{}-{number}", history.wing.id);
        let datum_mm = self.rng.random_range(DATUM_MM[0]..DATUM_MM[1]).round();
        let found = self.measure(&id, visit, Stage::AsFound, datum_mm);
        let jobs = match workshop {
            Workshop::Adjusts => self.links.judge(self.set, &found, self.spec.adjust_past_mm),
            Workshop::OnlyMeasures => Vec::new(),
        };
        history.checks.push(found);
        if jobs.is_empty() {
            return;
        }
        let left = format!("{id}L");
        for job in &jobs {
            self.adjust(job, &left, visit.hours_h);
            history.actions.push(Action {
                date: visit.date,
                hours_h: visit.hours_h,
                side: job.side,
                segment: Some(job.segment),
                kind: job.kind,
                change_mm: job.change_mm,
                turns: job.turns,
                check: Some(left.clone()),
            });
        }
        let left = self.measure(&left, visit, Stage::AsLeft, datum_mm);
        history.checks.push(left);
    }

    /// Takes a check: true deviations, the check's offset, an error for each reading, rounding.
    fn measure(&mut self, id: &str, visit: &Visit, stage: Stage, datum_mm: f64) -> Check {
        let check_offset_mm = normal(&mut self.rng, self.spec.spreads.check_offset_mm);
        self.truth.checks.push(CheckTruth { check: id.to_owned(), offset_mm: check_offset_mm });
        let mut check = Check::new(id, visit.date, visit.hours_h);
        check.stage = stage;
        check.datum_mm = datum_mm;
        for side in Side::BOTH {
            let shown_mm: Vec<f64> = (0..self.set.lines().len())
                .map(|line| self.true_length_mm(side, line, visit.hours_h) + datum_mm + check_offset_mm)
                .collect();
            for (line, &shown) in shown_mm.iter().enumerate() {
                let neighbour_mm = self.neighbour(line).and_then(|next| shown_mm.get(next)).copied();
                for repeat in 1..=self.spec.repeats {
                    let right_mm = self.spec.round(shown + normal(&mut self.rng, self.spec.spreads.reading_mm));
                    if self.rng.random::<f64>() < self.spec.missing_share {
                        continue;
                    }
                    let reading_mm = if self.rng.random::<f64>() < self.spec.misreading_share {
                        let spoilt = spoil(&mut self.rng, right_mm, neighbour_mm.map(|value| self.spec.round(value)));
                        self.misreadings.push(Misreading {
                            check: id.to_owned(),
                            side,
                            line: self.set.lines()[line].name.clone(),
                            repeat,
                            kind: spoilt.kind,
                            right_mm,
                            reading_mm: spoilt.reading_mm,
                        });
                        spoilt.reading_mm
                    } else {
                        right_mm
                    };
                    check.readings.push(Reading { side, line, reading_mm, repeat, operator: None });
                }
            }
        }
        check
    }

    /// Length of a line from the riser to the canopy, as it truly is, mm.
    pub(super) fn true_length_mm(&self, side: Side, line: usize, hours_h: f64) -> f64 {
        let place = &self.set.lines()[line];
        let own_rate =
            self.truth.row_rates.iter().find(|known| known.row == place.row).map_or(0.0, |own| own.mm_per_m);
        let rate = self.truth.rate_mm_per_m + own_rate + self.line_rates[side.index()][line];
        let own = |material: &str| rate + model_rate(&self.model_rates, self.set.model(), material, place.row);
        let own_mm = self.spec.worn_mm(self.set, line, hours_h, own);
        place.nominal_mm
            + self.spec.offset_mm
            + self.spec.fleet_drift_mm(self.set, line, hours_h).unwrap_or(0.0)
            + self.truth.offset_mm
            + own_mm
            + self.offsets_mm[side.index()][line]
    }

    /// The next line outwards of the same row, at the end the one before.
    fn neighbour(&self, line: usize) -> Option<usize> {
        let lines = self.set.lines();
        let same = |other: &usize| lines.get(*other).is_some_and(|next| next.row == lines[line].row);
        Some(line + 1).filter(same).or_else(|| line.checked_sub(1).filter(same))
    }

    /// Does a job: every line above the main moves by what was truly done, which is not quite what was aimed at.
    fn adjust(&mut self, job: &Job, left: &str, hours_h: f64) {
        let done_mm = job.change_mm + normal(&mut self.rng, self.spec.adjust_spread_mm);
        for line in 0..self.set.lines().len() {
            if !self.set.path_indices(line).any(|at| at == job.segment) {
                continue;
            }
            let offset_mm = &mut self.offsets_mm[job.side.index()][line];
            *offset_mm += done_mm;
            self.truth.restarts.push(Restart {
                check: left.to_owned(),
                hours_h,
                side: job.side,
                line: self.set.lines()[line].name.clone(),
                offset_mm: *offset_mm,
            });
        }
    }
}

impl FleetSpec {
    fn round(&self, value_mm: f64) -> f64 {
        if self.rounding_mm > 0.0 { (value_mm / self.rounding_mm).round() * self.rounding_mm } else { value_mm }
    }
}

pub(super) fn normal(rng: &mut impl Rng, sd: f64) -> f64 {
    let unit: f64 = StandardNormal.sample(rng);
    sd * unit
}
