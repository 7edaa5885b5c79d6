//! Slips that spoil several lines at once: left and right in each other's place, a row shifted by one line.

use super::FindingKind;
use super::hypothesis::density;
use super::layout::Layout;
use super::level::Anchors;
use super::past::Past;
use super::spec::DoubtSpec;
use super::table::Cells;
use crate::stats::robust::median;
use crate::wing::{LineSet, Row, Side};

/// Prior probability that a whole check has its sides exchanged.
const PRIOR_CHECK: f64 = 1e-3;
/// Prior probability of one given run of lines being exchanged or shifted.
const PRIOR_RUN: f64 = 1e-4;
/// No line counts for more than this in a block's log odds, either way.
const MOST_GAIN: f64 = 6.0;
/// Fewest lines of a run.
const FEWEST_LINES: usize = 3;
/// Least share of explanation, in log odds, that a line at either end of a run must add.
const END_GAIN: f64 = 1.5;
/// Least spread of lines about their row's level, mm, in judging shifts.
const LEVEL_SD_MM: f64 = 5.0;
/// Earlier checks that must stand behind a finding of sides exchanged: of two checks that contradict each other either may
/// be the wrong one.
const FEWEST_CHECKS: f64 = 2.0;
/// Log odds by which a shifted row must explain better than one step of all its lines.
const STEP_ODDS: f64 = 3.0;
/// A step of more than this, mm, is no adjustment.
const MOST_MM: f64 = 60.0;
/// What one side may be off from the other as a whole, mm (standard deviation).
const SIDE_SD_MM: f64 = 4.0;

/// Where the value of a line is in truth.
#[derive(Debug, Clone, Copy)]
pub(super) struct Move {
    /// The line (side and line in one).
    pub(super) key: usize,
    /// The line beside which its own value was written, if anywhere.
    pub(super) from: Option<usize>,
    /// The line whose value was written beside it.
    pub(super) holds: usize,
}

/// One slip over several lines.
#[derive(Debug, Clone)]
pub(super) struct Block {
    pub(super) kind: FindingKind,
    pub(super) probability: f64,
    pub(super) moves: Vec<Move>,
}

fn probability(log_odds: f64) -> f64 {
    1.0 / (1.0 + (-log_odds).exp())
}

struct Run {
    first: usize,
    last: usize,
    gain: f64,
}

/// The run of largest sum (maximal subarray, Kadane), its weak ends cut off.
fn best_run(gains: &[f64]) -> Option<Run> {
    let (mut best, mut start, mut sum): (Option<Run>, usize, f64) = (None, 0, 0.0);
    for (at, gain) in gains.iter().enumerate() {
        if sum <= 0.0 {
            (start, sum) = (at, 0.0);
        }
        sum += gain;
        if best.as_ref().is_none_or(|known| sum > known.gain) {
            best = Some(Run { first: start, last: at, gain: sum });
        }
    }
    let mut run = best?;
    while run.first < run.last && gains[run.first] < END_GAIN {
        run.first += 1;
    }
    while run.last > run.first && gains[run.last] < END_GAIN {
        run.last -= 1;
    }
    run.gain = gains[run.first..=run.last].iter().sum();
    Some(run)
}

/// Rows shifted by one line.
pub(super) fn shifted_rows(spec: &DoubtSpec, layout: &Layout, cells: &Cells, anchors: &Anchors) -> Vec<Block> {
    let mut found = Vec::new();
    for side in Side::BOTH {
        for row in Row::ALL {
            let keys: Vec<usize> = layout.order[side.index() * Row::ALL.len() + row.index()]
                .iter()
                .map(|line| side.index() * layout.lines + line)
                .collect();
            let anchor = anchors.of(row);
            let sd = anchor.spread_mm.clamp(LEVEL_SD_MM, 2.0 * LEVEL_SD_MM);
            let best = [-1isize, 1]
                .into_iter()
                .filter_map(|shift| {
                    let gains = shift_gains(&keys, shift, cells, anchor.level_mm, sd);
                    let run = best_run(&gains)?;
                    let strong = gains[run.first..=run.last].iter().filter(|gain| **gain > 2.0 * END_GAIN).count();
                    let better = over_a_step(spec.least_sd_mm, &keys, shift, &run, cells, anchor.level_mm);
                    (strong >= FEWEST_LINES && better > STEP_ODDS).then_some((shift, run))
                })
                .max_by(|(_, a), (_, b)| a.gain.total_cmp(&b.gain));
            let Some((shift, run)) = best else { continue };
            let probability = probability(run.gain + PRIOR_RUN.ln());
            if probability < spec.block_probability {
                continue;
            }
            let range = run.first..=run.last;
            let moves = range
                .clone()
                .filter(|at| cells.deviation_mm[keys[*at]].is_finite())
                .filter_map(|at| {
                    let from =
                        at.checked_add_signed(-shift).filter(|from| range.contains(from)).map(|from| keys[from]);
                    let holds = *keys.get(at.checked_add_signed(shift)?)?;
                    Some(Move { key: keys[at], from, holds })
                })
                .collect();
            found.push(Block { kind: FindingKind::RowShifted, probability, moves });
        }
    }
    found
}

/// Log odds of a shifted run against lines that all moved by one step, as an adjusted main does: by the squares that either
/// leaves, `n/2 · ln(S_step / S_shifted)`, whatever the spread of the lines, with the least of a reading in both.
fn over_a_step(least_sd_mm: f64, keys: &[usize], shift: isize, run: &Run, cells: &Cells, level_mm: f64) -> f64 {
    let off: Vec<f64> = keys[run.first..=run.last].iter().map(|key| cells.deviation_mm[*key] - level_mm).collect();
    let step_mm = median(&off).unwrap_or(0.0);
    if step_mm.abs() > MOST_MM {
        return f64::INFINITY;
    }
    let pairs: Vec<[f64; 2]> = (run.first..=run.last)
        .filter_map(|at| {
            let next = keys.get(at.checked_add_signed(shift)?)?;
            let as_step = cells.deviation_mm[keys[at]] - level_mm - step_mm;
            let as_next = cells.shown_mm(keys[at]) - cells.zero_mm[*next] - level_mm;
            (as_step.is_finite() && as_next.is_finite()).then_some([as_step, as_next])
        })
        .collect();
    // a line further off than this tells no more
    let most = (3.0 * LEVEL_SD_MM).powi(2);
    let n = pairs.len() as f64;
    let squares =
        |which: usize| n * least_sd_mm.powi(2) + pairs.iter().map(|pair| pair[which].powi(2).min(most)).sum::<f64>();
    0.5 * n * (squares(0) / squares(1)).ln()
}

/// Log odds per line that it holds its neighbour's value rather than its own.
fn shift_gains(keys: &[usize], shift: isize, cells: &Cells, level_mm: f64, sd: f64) -> Vec<f64> {
    (0..keys.len())
        .map(|at| {
            let key = keys[at];
            let Some(next) = at.checked_add_signed(shift).and_then(|next| keys.get(next)) else { return -MOST_GAIN };
            let as_read = cells.deviation_mm[key] - level_mm;
            let as_next = cells.shown_mm(key) - cells.zero_mm[*next] - level_mm;
            if as_read.is_finite() && as_next.is_finite() {
                (density(as_next, sd).ln() - density(as_read, sd).ln()).clamp(-MOST_GAIN, MOST_GAIN)
            } else {
                0.0
            }
        })
        .collect()
}

/// One line on both sides.
struct Pair {
    left: usize,
    right: usize,
    row: Row,
}

fn pairs(set: &LineSet, layout: &Layout) -> Vec<Pair> {
    let mut all = Vec::new();
    for (at, line) in set.lines().iter().enumerate().filter(|(at, _)| set.has(*at, Side::Left)) {
        let right = if set.has(at, Side::Right) {
            Some(at)
        } else {
            (0..layout.lines).find(|other| {
                let next = &set.lines()[*other];
                set.has(*other, Side::Right) && next.row == line.row && next.rank == line.rank
            })
        };
        if let Some(right) = right {
            all.push(Pair { left: at, right: layout.lines + right, row: line.row });
        }
    }
    all.sort_by_key(|pair| (pair.row, set.lines()[pair.left].rank));
    all
}

/// How a pair of lines differs from what is expected of it, as it stands and exchanged.
#[expect(clippy::struct_field_names, reason = "physical fields carry their unit")]
struct View {
    off_mm: f64,
    exchanged_mm: f64,
    sd_mm: f64,
}

impl View {
    /// Log odds of an exchange against a right reading of lines that moved by a step; 0 where a side was not read.
    fn gain(&self, step_mm: f64) -> f64 {
        if !(self.off_mm.is_finite() && self.exchanged_mm.is_finite()) {
            return 0.0;
        }
        density(self.exchanged_mm, self.sd_mm).ln() - density(self.off_mm - step_mm, self.sd_mm).ln()
    }
}

/// Left and right exchanged: in the whole check, or in a run of a row, by what at least two earlier checks or the drawing
/// itself tell of their difference.
pub(super) fn swapped_sides(
    spec: &DoubtSpec,
    layout: &Layout,
    set: &LineSet,
    cells: &Cells,
    past: &Past,
) -> Vec<Block> {
    exchanged(spec, layout, set, cells, past, FEWEST_CHECKS)
}

/// Whether one earlier check and this one contradict each other on which side is which.
pub(super) fn contradicts_one_check(
    spec: &DoubtSpec,
    layout: &Layout,
    set: &LineSet,
    cells: &Cells,
    past: &Past,
) -> bool {
    !exchanged(spec, layout, set, cells, past, 1.0).is_empty()
}

fn exchanged(
    spec: &DoubtSpec,
    layout: &Layout,
    set: &LineSet,
    cells: &Cells,
    past: &Past,
    fewest_checks: f64,
) -> Vec<Block> {
    let pairs = pairs(set, layout);
    let error = past.error_sd_mm.unwrap_or(spec.line_sd_mm * spec.error_share.sqrt()).max(spec.least_sd_mm);
    let own = 2.0 * (spec.line_sd_mm.powi(2) * (1.0 - spec.error_share)) + SIDE_SD_MM.powi(2);
    let views: Vec<View> = pairs
        .iter()
        .map(|pair| {
            let now = cells.deviation_mm[pair.left] - cells.deviation_mm[pair.right];
            let count = Some(past.pairs[pair.left]).filter(|count| *count >= fewest_checks).unwrap_or(0.0);
            let share = count * own / (count * own + 2.0 * error * error);
            let expected = share * past.asymmetry_mm[pair.left];
            View {
                off_mm: now - expected,
                // exchanged, left would be off by this much less than right
                exchanged_mm: -now + 2.0 * (cells.zero_mm[pair.right] - cells.zero_mm[pair.left]) - expected,
                sd_mm: (2.0 * error * error + own * (1.0 - share)).sqrt(),
            }
        })
        .collect();
    let gains: Vec<f64> = views.iter().map(|view| view.gain(0.0).clamp(-MOST_GAIN, MOST_GAIN)).collect();
    let block = |which: &[Pair], probability: f64| Block {
        kind: FindingKind::SidesSwapped,
        probability,
        moves: which
            .iter()
            .filter(|pair| (cells.shown_mm(pair.left) - cells.shown_mm(pair.right)).abs() >= 0.5)
            .flat_map(|pair| {
                [
                    Move { key: pair.left, from: Some(pair.right), holds: pair.right },
                    Move { key: pair.right, from: Some(pair.left), holds: pair.left },
                ]
            })
            .collect(),
    };
    let whole: f64 = gains.iter().sum();
    let mut runs = Vec::new();
    let mut in_runs = 0.0;
    let mut first = 0;
    for row in pairs.chunk_by(|a, b| a.row == b.row) {
        let of_row = &gains[first..first + row.len()];
        let seen = &views[first..first + row.len()];
        first += row.len();
        let Some(run) = best_run(of_row) else { continue };
        // lines of one main that moved by one step differ in the same way
        let seen = &seen[run.first..=run.last];
        let step_mm = median(&seen.iter().map(|view| view.off_mm).collect::<Vec<f64>>()).unwrap_or(0.0);
        if seen.iter().map(|view| view.gain(step_mm)).sum::<f64>() <= STEP_ODDS {
            continue;
        }
        let probability = probability(run.gain + PRIOR_RUN.ln());
        if probability >= spec.block_probability && run.last - run.first + 1 >= FEWEST_LINES {
            in_runs += run.gain + PRIOR_RUN.ln();
            runs.push(block(&row[run.first..=run.last], probability));
        }
    }
    let of_whole = whole + PRIOR_CHECK.ln();
    if probability(of_whole) >= spec.block_probability && of_whole > in_runs {
        return vec![block(&pairs, probability(of_whole))];
    }
    runs
}
