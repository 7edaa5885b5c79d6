//! The state of a wing at its last check, from that check alone.

use std::borrow::Cow;

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal, StandardUniform};
use serde::{Deserialize, Serialize};

use crate::check::{Budget, Check, LineDeviation, Repeats, RiserDeviations, Weighted, deviations};
use crate::forecast::crossing::OverNow;
use crate::forecast::crossing::pass::CrossingPass;
use crate::forecast::{
    Cause, CauseShare, CrossingSpec, FirstCrossing, ForecastError, Reason, WatchedUnit, incidence_weights,
};
use crate::trim::{LineVerdict, Trim, TrimState};
use crate::wear::{LineKey, Shape};
use crate::wing::{LineSet, Row, Side};

/// Draws of a check's errors: a chance of 10 % is then known to a point.
const DRAWS: usize = 1000;
/// Share of lines that differ from their row by a fault of their own, not by how lines are built (our default; faults of
/// lines are one in a hundred to one in a thousand).
const FAULT_SHARE: f64 = 0.01;
/// Such a line is anywhere within so many millimetres, both ways together.
const FAULT_RANGE_MM: f64 = 100.0;
/// Lines beside their row's middle before a check says how its lines are built.
const FEWEST_LINES: usize = 8;
/// Standard deviation over median distance of a normal.
const MAD_TO_SD: f64 = 1.482_602_218_505_602;

/// A limit that a wing is over at its last check, by what was measured.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OverLimit {
    /// The kind of limit.
    pub reason: Reason,
    /// The quantity, such as `row A less row C`.
    pub name: String,
    /// What was measured, in `unit`.
    pub value: f64,
    /// The limit, in `unit`.
    pub limit: f64,
    /// Unit of both.
    pub unit: WatchedUnit,
}

/// The state of a wing at one check, from that check's readings and their uncertainty alone.
///
/// *Whether it is over* is what the judged check says: it calls for work. *What is over* is by value: the measured mean of each
/// line against each limit. *The chance* that some true length is over
/// draws the readings' errors from the uncertainty budget (repeatability from the check's own repeats where it has any), shared
/// as the budget says: `true = measured − check error − row error − line error`. A line is taken to be built as the check's
/// others are: about the middle (median) of its row and side with the spread `τ² = max(s² − u², 0)`, `s` from the median
/// distance of all lines from their middles, `u` the line's own uncertainty; or, one in a hundred, anywhere within 100 mm (a
/// fault, which is not drawn towards its row). The odds of the two follow from how far off the line is. With fewer than eight
/// lines, or two in a row, readings are taken as they are.
///
/// A doubted reading is not among them: it was left out before.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Present {
    /// Whether the judged check is in trim.
    pub(super) in_trim: bool,
    /// Chance that some limit is crossed.
    pub(super) chance: f64,
    /// What is over by value, the farthest over first.
    pub(super) over: Vec<OverLimit>,
    /// How often each kind of limit is the first over, among the draws that are over.
    pub(super) shares: Vec<CauseShare>,
    /// The single one most often.
    pub(super) most_often: Option<Cause>,
    /// The lines that a second reading is asked of, in words.
    pub(super) again: Option<String>,
    /// What the judged check calls for work on, as a sentence.
    pub(super) work: Option<String>,
}

impl Present {
    /// In trim, and nothing more is asked.
    pub(super) fn in_trim() -> Self {
        Self { in_trim: true, ..Self::default() }
    }

    /// The state at a check of a wing, `trim` being what is said of it.
    pub(super) fn of(
        spec: &CrossingSpec,
        set: &LineSet,
        check: &Check,
        trim: &Trim,
        seed: u64,
    ) -> Result<Self, ForecastError> {
        let read = read(set, check);
        let crossing = draw(spec, set, check, &read, seed)?;
        let mut over = Vec::new();
        let mut chance = crossing.risk_now();
        let outside = || trim.lines.iter().filter(|line| line.is_outside());
        let work = trim.summary.strip_prefix("Adjust: ").filter(|_| trim.state == TrimState::Adjust);
        if work.is_some() {
            let by_value = pass(spec, set, check, &read)?.over_now(&values(&read));
            over.extend(by_value.into_iter().map(|OverNow { cause, value, limit }| OverLimit {
                reason: cause.reason(),
                name: cause.name(set),
                value,
                limit,
                unit: cause.unit(),
            }));
            // no forecast is made of single brake lines
            over.extend(outside().filter(|line| line.row == Row::Brake).map(over_of));
            over.sort_by(|a, b| (b.value.abs() / b.limit).total_cmp(&(a.value.abs() / a.limit)));
            chance = outside().map(|line| line.chance_outside).fold(chance, f64::max);
        }
        let reads = |line: &LineVerdict| {
            let OverLimit { name, value, limit, .. } = over_of(line);
            format!("{name} reads {value:+.1} mm of {limit:.0} allowed")
        };
        let near = outside().filter(|line| trim.again.iter().any(|on| on.side == line.side && on.line == line.line));
        let again: Vec<String> = near.map(reads).collect();
        Ok(Self {
            in_trim: trim.state == TrimState::InTrim,
            chance,
            shares: crossing.first_limits(check.hours_h),
            most_often: crossing.most_often(check.hours_h),
            over,
            again: (!again.is_empty() && work.is_none()).then(|| again.join(", ")),
            work: work.map(str::to_owned),
        })
    }
}

fn over_of(line: &LineVerdict) -> OverLimit {
    OverLimit {
        reason: Reason::Line,
        name: format!("line {} {}", line.line, line.side),
        value: line.relative_mm,
        limit: line.tolerance_mm,
        unit: WatchedUnit::Mm,
    }
}

/// The deviations of the lines read, those of their risers with them.
fn read(set: &LineSet, check: &Check) -> Vec<LineDeviation> {
    let risers = RiserDeviations::of(set, check);
    let mut read = deviations(set, check);
    for one in &mut read {
        one.deviation_mm += set.lines().get(one.line).map_or(0.0, |line| risers.of_row_mm(one.side, line.row));
    }
    read
}

fn values(read: &[LineDeviation]) -> Vec<f64> {
    read.iter().map(|one| one.deviation_mm).collect()
}

fn pass<'a>(
    spec: &CrossingSpec,
    set: &'a LineSet,
    check: &Check,
    read: &[LineDeviation],
) -> Result<CrossingPass<'a>, ForecastError> {
    let lines: Vec<LineKey> = read.iter().map(|one| LineKey { side: one.side, line: one.line }).collect();
    let weights = incidence_weights(set, &lines).map(Cow::Owned);
    spec.pass(Cow::Owned(lines), set, check.hours_h, weights)
}

/// Uncertainties of one deviation by whom they are shared with, mm.
#[allow(clippy::struct_field_names, reason = "the unit")]
struct Errors {
    check_mm: f64,
    row_mm: f64,
    line_mm: f64,
}

impl Errors {
    fn of(budget: &Budget, repeats: u32) -> Self {
        let one = |coefficient| Weighted { coefficient, side: Side::Left, row: Row::A, repeats };
        let line = budget.relative([one(1.0), one(-1.0)]).standard.powi(2) / 2.0;
        let relative = budget.relative([one(1.0)]).standard.powi(2);
        let all = budget.combination([one(1.0)]).standard.powi(2);
        Self {
            check_mm: (all - relative).max(0.0).sqrt(),
            row_mm: (relative - line).max(0.0).sqrt(),
            line_mm: line.sqrt(),
        }
    }
}

/// What is believed of a line before its own error is drawn.
struct Belief {
    group: usize,
    /// Where it is built as others are, and where it has a fault; mm.
    built_mm: f64,
    built_sd_mm: f64,
    fault_mm: f64,
    fault_sd_mm: f64,
    fault_chance: f64,
}

fn beliefs(read: &[LineDeviation], groups: &[usize], errors: &[Errors]) -> Vec<Belief> {
    let mut by_group: Vec<Vec<f64>> = vec![Vec::new(); 12];
    for (one, &group) in read.iter().zip(groups) {
        by_group[group].push(one.deviation_mm);
    }
    let middles: Vec<Option<f64>> =
        by_group.iter_mut().map(|values| if values.len() < 3 { None } else { median(values) }).collect();
    let mut distances: Vec<f64> = read
        .iter()
        .zip(groups)
        .filter_map(|(one, &group)| Some((one.deviation_mm - middles[group]?).abs()))
        .collect();
    let spread = if distances.len() < FEWEST_LINES { None } else { median(&mut distances) };
    let spread2 = spread.map(|distance| (MAD_TO_SD * distance).powi(2));
    read.iter()
        .zip(groups)
        .zip(errors)
        .map(|((one, &group), errors)| {
            let (measured, u2) = (one.deviation_mm, errors.line_mm.powi(2));
            let as_read = Belief {
                group,
                built_mm: measured,
                built_sd_mm: errors.line_mm,
                fault_mm: measured,
                fault_sd_mm: errors.line_mm,
                fault_chance: 1.0,
            };
            let (Some(middle), Some(spread2)) = (middles[group], spread2) else { return as_read };
            let tau2 = (spread2 - u2).max(0.0);
            let (off, both) = (measured - middle, tau2 + u2);
            if !(both > 0.0) {
                return as_read;
            }
            let built = (-0.5 * off * off / both).exp() / (std::f64::consts::TAU * both).sqrt();
            let fault = FAULT_SHARE / FAULT_RANGE_MM;
            Belief {
                built_mm: middle + tau2 / both * off,
                built_sd_mm: (tau2 * u2 / both).sqrt(),
                fault_chance: fault / (fault + (1.0 - FAULT_SHARE) * built),
                ..as_read
            }
        })
        .collect()
}

fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let half = values.len() / 2;
    let upper = *values.get(half)?;
    Some(if values.len() % 2 == 1 { upper } else { 0.5 * (values[half - 1] + upper) })
}

fn draw(
    spec: &CrossingSpec,
    set: &LineSet,
    check: &Check,
    read: &[LineDeviation],
    seed: u64,
) -> Result<FirstCrossing, ForecastError> {
    let budget = Budget::default().repeats(Repeats::of(set, check));
    let errors: Vec<Errors> = read.iter().map(|one| Errors::of(&budget, one.repeats)).collect();
    let row = |one: &LineDeviation| set.lines().get(one.line).map_or(0, |line| line.row.index());
    let groups: Vec<usize> = read.iter().map(|one| 6 * one.side.index() + row(one)).collect();
    let beliefs = beliefs(read, &groups, &errors);
    let (check_mm, row_mm) = errors.first().map_or((0.0, 0.0), |errors| (errors.check_mm, errors.row_mm));
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut pass = pass(spec, set, check, read)?;
    let still = vec![0.0; read.len()];
    let mut lines = vec![0.0; read.len()];
    for _ in 0..DRAWS {
        if pass.agrees_on_now() {
            break;
        }
        let mut normal = || -> f64 { StandardNormal.sample(&mut random) };
        let whole = check_mm * normal();
        let rows: [f64; 12] = std::array::from_fn(|_| row_mm * normal());
        for (line, belief) in lines.iter_mut().zip(&beliefs) {
            let (uniform, normal): (f64, f64) =
                (StandardUniform.sample(&mut random), StandardNormal.sample(&mut random));
            let own = if uniform < belief.fault_chance {
                belief.fault_mm + belief.fault_sd_mm * normal
            } else {
                belief.built_mm + belief.built_sd_mm * normal
            };
            *line = own - whole - rows[belief.group];
        }
        pass.judge(&lines, &still, Shape::LINEAR)?;
    }
    Ok(pass.finish())
}

/// A seed for one wing from a seed for all: a wing's own numbers do not depend on which others there are (FNV-1a).
pub(super) fn seed_of(seed: u64, wing: &str) -> u64 {
    let eat = |hash: u64, byte: u8| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3);
    seed.to_le_bytes().into_iter().chain(wing.bytes()).fold(0xcbf2_9ce4_8422_2325, eat)
}
