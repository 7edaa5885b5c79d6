//! Figures that show whether a model fits: what it leaves of the readings, and its random effects.

use statrs::distribution::{ContinuousCDF, Normal};

use super::figure::{Figure, Role};
use super::plot::{Anchor, Frame, Plot, round_ticks};
use crate::report::ReportError;
use crate::report::words::{count, number, signed};

/// Most points drawn of one cloud; of more, every so many-th.
const POINTS: usize = 500;
/// Parts of a scale whose means are drawn.
const BINS: usize = 10;
/// Most bars that get their names.
const NAMED: usize = 26;

/// A value with its 95 % interval.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::report) struct Bar {
    pub(in crate::report) name: String,
    pub(in crate::report) value: f64,
    pub(in crate::report) reach: f64,
}

impl Bar {
    /// The mean of values of their own spread.
    pub(in crate::report) fn of(name: &str, values: &[f64]) -> Self {
        let n = values.len().max(1) as f64;
        let value = values.iter().sum::<f64>() / n;
        let squares: f64 = values.iter().map(|one| (one - value).powi(2)).sum();
        Self { name: name.to_owned(), value, reach: 1.96 * (squares / (n - 1.0).max(1.0) / n).sqrt() }
    }
}

fn thinned<T: Copy>(values: &[T]) -> Vec<T> {
    values.iter().step_by(values.len().div_ceil(POINTS).max(1)).copied().collect()
}

/// Sorted values against those that a normal distribution would give.
pub(in crate::report) fn quantile_figure(in_sd: &[f64]) -> Result<Option<Figure>, ReportError> {
    let mut sorted: Vec<f64> = in_sd.iter().copied().filter(|value| value.is_finite()).collect();
    sorted.sort_by(f64::total_cmp);
    let normal = Normal::standard();
    let n = sorted.len() as f64;
    let all: Vec<[f64; 2]> =
        sorted.iter().enumerate().map(|(at, value)| [normal.inverse_cdf((at as f64 + 0.5) / n), *value]).collect();
    let (Some(first), Some(last)) = (all.first(), all.last()) else { return Ok(None) };
    // the ends tell most: they stay, whatever is left out between them
    let mut points = thinned(&all);
    points.extend(all.iter().take(12).chain(all.iter().rev().take(12)));
    let reach = 1.08 * [first, last].into_iter().flatten().fold(1.0, |most: f64, end| most.max(end.abs()));
    let frame = frame([-reach, reach], reach);
    let description = format!(
        "Residuals of {} in standard deviations against those of a normal distribution: from {} to {}, where a normal one would \
         give {} to {}.",
        count(all.len(), "mean", "means"),
        signed(first[1], 1),
        signed(last[1], 1),
        signed(first[0], 1),
        signed(last[0], 1)
    );
    Plot::figure("Residuals against a normal distribution", &description, &frame, |plot| {
        plot.columns(&round_ticks(frame.x, 6));
        plot.levels(&round_ticks(frame.y, 6));
        plot.path(&[[-reach, -reach], [reach, reach]], Role::Edge);
        for point in &points {
            plot.ring(*point, 4, Role::Point);
        }
        plot.text("residual, in sd", [-reach, reach], Anchor::AboveRight, Role::Ink);
        plot.text("against normal", [reach, reach], Anchor::AboveLeft, Role::Muted);
    })
    .map(Some)
}

fn frame(x: [f64; 2], reach: f64) -> Frame {
    Frame { width: 680, height: 420, left: 76, right: 26, top: 42, bottom: 44, x, y: [-reach, reach] }
}

/// Values against what they should not depend on: each a ring, and the mean of each tenth of them with its 95 % interval.
pub(in crate::report) fn against_figure(along: &str, points: &[[f64; 2]]) -> Result<Option<Figure>, ReportError> {
    let mut sorted: Vec<[f64; 2]> = points.iter().copied().filter(|[x, y]| x.is_finite() && y.is_finite()).collect();
    sorted.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let (Some(first), Some(last)) = (sorted.first(), sorted.last()) else { return Ok(None) };
    let pad = 0.02 * (last[0] - first[0]).max(1e-3);
    let reach = 1.1 * sorted.iter().fold(1.0, |most: f64, point| most.max(point[1].abs()));
    let frame = frame([first[0] - pad, last[0] + pad], reach);
    let bins: Vec<(f64, Bar)> = sorted
        .chunks(sorted.len().div_ceil(BINS).max(1))
        .map(|chunk| {
            let place = chunk.iter().map(|point| point[0]).sum::<f64>() / chunk.len() as f64;
            (place, Bar::of("", &chunk.iter().map(|point| point[1]).collect::<Vec<_>>()))
        })
        .collect();
    let off = bins.iter().filter(|(_, bin)| bin.value.abs() > bin.reach).count();
    let description = format!(
        "Residuals in standard deviations against {along}, {}. The mean of {off} of {} parts is off zero by more than its 95 % \
         interval.",
        count(sorted.len(), "mean", "means"),
        bins.len()
    );
    Plot::figure(&format!("Residuals against {along}"), &description, &frame, |plot| {
        plot.columns(&round_ticks(frame.x, 5));
        plot.levels(&round_ticks(frame.y, 6));
        for point in thinned(&sorted) {
            plot.ring(point, 4, Role::Point);
        }
        for (place, bin) in &bins {
            plot.path(&[[*place, bin.value - bin.reach], [*place, bin.value + bin.reach]], Role::Interval);
        }
        for (place, bin) in &bins {
            plot.dot([*place, bin.value], Role::Model);
        }
        plot.text("residual, in sd", [frame.x[0], reach], Anchor::AboveRight, Role::Ink);
        plot.text(&format!("against {along}"), [frame.x[1], reach], Anchor::AboveLeft, Role::Muted);
    })
    .map(Some)
}

/// Values with their intervals, one above the other; named where there are few enough.
pub(in crate::report) fn bars_figure(title: &str, unit: &str, bars: &[Bar]) -> Result<Option<Figure>, ReportError> {
    let Ok(rows) = u32::try_from(bars.len()) else { return Ok(None) };
    if bars.is_empty() {
        return Ok(None);
    }
    let named = bars.len() <= NAMED;
    let low = bars.iter().map(|bar| bar.value - bar.reach).fold(0.0, f64::min);
    let high = bars.iter().map(|bar| bar.value + bar.reach).fold(0.0, f64::max);
    let pad = 0.04 * (high - low).max(0.01);
    let longest = bars.iter().map(|bar| bar.name.chars().count().min(14)).max().unwrap_or(0);
    let frame = Frame {
        width: 680,
        height: if named { rows.saturating_mul(30).saturating_add(100) } else { 560 },
        left: if named { u32::try_from(longest * 15 + 24).unwrap_or(240) } else { 30 },
        right: 26,
        top: 42,
        bottom: 44,
        x: [low - pad, high + pad],
        y: [f64::from(rows) - 0.4, -0.6],
    };
    let off = bars.iter().filter(|bar| bar.value.abs() > bar.reach).count();
    let description = format!(
        "{title}: {}, from {} to {} {unit}; {off} off zero by more than the 95 % interval.",
        count(bars.len(), "value", "values"),
        signed(bars.iter().map(|bar| bar.value).fold(f64::INFINITY, f64::min), 2),
        signed(bars.iter().map(|bar| bar.value).fold(f64::NEG_INFINITY, f64::max), 2),
    );
    Plot::figure(title, &description, &frame, |plot| {
        plot.columns(&round_ticks(frame.x, 5));
        plot.path(&[[0.0, frame.y[0]], [0.0, frame.y[1]]], Role::Zero);
        for (place, bar) in bars.iter().enumerate() {
            let y = place as f64;
            plot.path(&[[bar.value - bar.reach, y], [bar.value + bar.reach, y]], Role::Left);
        }
        for (place, bar) in bars.iter().enumerate() {
            plot.dot([bar.value, place as f64], Role::Left);
        }
        for (place, bar) in bars.iter().enumerate().filter(|_| named) {
            let name: String = bar.name.chars().take(14).collect();
            plot.text(&name, [frame.x[0], place as f64], Anchor::Left, Role::Ink);
        }
        plot.text(unit, [frame.x[1], frame.y[1]], Anchor::AboveLeft, Role::Muted);
        if !named {
            let all = format!("{} in order of size", number(f64::from(rows), 0));
            plot.text(&all, [frame.x[0], frame.y[1]], Anchor::AboveRight, Role::Muted);
        }
    })
    .map(Some)
}
