//! Drift of the rows against hours flown, one panel per row.

use super::figure::{Figure, Role};
use super::plot::{Anchor, Frame, Plot, round_ticks};
use crate::report::ReportError;
use crate::report::words::{count, number, signed};
use crate::wear::DriftSeries;

/// One panel per row of row mean (mm) against hours flown: a ring per check, what the wear model expects as a line, with
/// the range that holds 95 of 100 wings as a band. All panels of a call share one scale.
///
/// ```
/// use linedrift::report::drift_figures;
/// use linedrift::wear::{WearSpec, expected_drift, measured_drift};
/// use linedrift::simulate::FleetSpec;
///
/// let fleet = FleetSpec::default().wings(8).seed(7).run()?.fleet;
/// let fit = WearSpec::default().fit(&fleet)?;
/// let series = expected_drift(measured_drift(&fleet), &fleet, &fit, 1)?;
/// for panel in drift_figures(&series)? {
///     println!("{}", panel.description());
/// }
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`ReportError::Drawing`] when a scale of the figure is empty or not finite.
pub fn drift_figures(drifts: &[DriftSeries]) -> Result<Vec<Figure>, ReportError> {
    let hours = drifts.iter().flat_map(|drift| {
        drift.points.iter().map(|point| point.hours_h).chain(drift.path.iter().map(|station| station.hours_h))
    });
    let until_h = hours.filter(|value| value.is_finite()).fold(10.0, f64::max);
    let values = drifts.iter().flat_map(|drift| {
        let path = drift.path.iter().flat_map(|station| [station.lower_mm, station.upper_mm]);
        drift.points.iter().map(|point| point.mean_mm).chain(path)
    });
    let (low, high) = values
        .filter(|value| value.is_finite())
        .fold((-2.0, 2.0), |(low, high): (f64, f64), value| (low.min(value), high.max(value)));
    let pad = 0.08 * (high - low);
    drifts.iter().map(|drift| panel(drift, until_h * 1.03, [low - pad, high + pad])).collect()
}

fn panel(drift: &DriftSeries, until_h: f64, y: [f64; 2]) -> Result<Figure, ReportError> {
    let frame = Frame { width: 680, height: 380, left: 76, right: 26, top: 40, bottom: 44, x: [0.0, until_h], y };
    let title = format!("Model {}: drift of row {}", drift.model, drift.row);
    Plot::figure(&title, &description(drift), &frame, |plot| {
        let lower = drift.path.iter().map(|station| [station.hours_h, station.lower_mm]);
        let upper = drift.path.iter().rev().map(|station| [station.hours_h, station.upper_mm]);
        let band: Vec<[f64; 2]> = lower.chain(upper).collect();
        plot.columns(&round_ticks(frame.x, 5));
        plot.levels(&round_ticks(frame.y, 5));
        if band.len() > 2 {
            plot.polygon(&band, Role::ModelBand);
        }
        for point in &drift.points {
            plot.ring([point.hours_h, point.mean_mm], 5, Role::Point);
        }
        let line: Vec<[f64; 2]> = drift.path.iter().map(|station| [station.hours_h, station.mean_mm]).collect();
        if line.len() > 1 {
            plot.path(&line, Role::Model);
        }
        plot.text(&format!("row {}", drift.row), [0.0, y[1]], Anchor::AboveRight, Role::Ink);
        plot.text("mm against hours", [until_h, y[1]], Anchor::AboveLeft, Role::Muted);
    })
}

fn description(drift: &DriftSeries) -> String {
    let points = count(drift.points.len(), "check", "checks");
    let model = match drift.path.last() {
        Some(end) => format!(
            " The wear model expects {} mm at {} h (95 of 100 wings: {} to {} mm).",
            signed(end.mean_mm, 1),
            number(end.hours_h, 0),
            signed(end.lower_mm, 1),
            signed(end.upper_mm, 1)
        ),
        None => String::new(),
    };
    format!("Mean of row {} less the common offset against hours flown, {points}.{model}", drift.row)
}
