//! The forecast of one wing: watched quantities fanning out towards their limits, and the chance of a crossing.

use super::figure::{Figure, Role};
use super::plot::{Anchor, Frame, Plot, round_ticks};
use crate::check::Stage;
use crate::forecast::{FanStation, ForecastFan, WatchedPath, WatchedUnit};
use crate::report::ReportError;
use crate::report::words::{chance, count, number, signed};

/// Panels of one forecast, all against the same hours: one for each watched quantity (what was measured with its 95 %
/// interval, then the median and the ranges that hold the true value with 50, 80 and 95 % chance, and the limits), and one
/// for the chance that any limit has been crossed, with the accepted risk and the hours at which the next check is due.
///
/// See [`DueSpec::fan`](crate::forecast::DueSpec::fan) for an example.
///
/// # Errors
/// [`ReportError::Drawing`] when a scale of the figure is empty or not finite.
pub fn forecast_figures(fan: &ForecastFan) -> Result<Vec<Figure>, ReportError> {
    let until_h = fan.risk.last().map_or(fan.due_h, |station| station.hours_h);
    let measured = fan.paths.iter().flat_map(|path| path.measured.iter().map(|point| point.hours_h));
    let from_h = measured.fold(fan.hours_now_h, f64::min);
    let x = [from_h - 0.02 * (until_h - from_h), until_h + 0.02 * (until_h - from_h)];
    let mut figures = Vec::with_capacity(fan.paths.len() + 1);
    for path in &fan.paths {
        figures.push(quantity(fan, path, x)?);
    }
    figures.push(risk(fan, x)?);
    Ok(figures)
}

fn frame(x: [f64; 2], y: [f64; 2]) -> Frame {
    Frame { width: 680, height: 420, left: 76, right: 26, top: 42, bottom: 44, x, y }
}

/// Nothing of a due date that lies outside the panel is drawn in it.
fn due_line(plot: &mut Plot<'_>, fan: &ForecastFan, x: [f64; 2], y: [f64; 2]) {
    if fan.due_h < x[0] || fan.due_h > x[1] {
        return;
    }
    plot.path(&[[fan.due_h, y[0]], [fan.due_h, y[1]]], Role::Due);
    let right = fan.due_h > f64::midpoint(x[0], x[1]);
    let at = [fan.due_h, y[0] + 0.025 * (y[1] - y[0])];
    // a space that stays keeps the words off the line
    let label = format!("\u{a0}due {} h\u{a0}", number(fan.due_h, 0));
    plot.text(&label, at, if right { Anchor::AboveLeft } else { Anchor::AboveRight }, Role::Due);
}

fn quantity(fan: &ForecastFan, path: &WatchedPath, x: [f64; 2]) -> Result<Figure, ReportError> {
    let limits = [path.lower_limit, path.upper_limit].into_iter().flatten();
    let reached = path.stations.iter().flat_map(|station| [station.lower95, station.upper95]);
    let measured = path.measured.iter().flat_map(|point| {
        let reach = point.reach.unwrap_or(0.0);
        [point.value - reach, point.value + reach]
    });
    let (low, high) = limits
        .chain(reached)
        .chain(measured)
        .filter(|value| value.is_finite())
        .fold((0.0, 0.0), |(low, high): (f64, f64), value| (low.min(value), high.max(value)));
    let pad = 0.09 * (high - low).max(0.1);
    let y = [low - pad, high + pad];
    let decimals = if path.unit == WatchedUnit::Deg { 2 } else { 0 };
    let title = format!("Wing {}: forecast of the {}", fan.wing, path.name);
    Plot::figure(&title, &description(path, decimals), &frame(x, y), |plot| {
        let hours = fan.risk.last().map_or(x[1], |station| station.hours_h);
        for (role, ends) in [
            (Role::Fan95, (|one| [one.lower95, one.upper95]) as fn(&FanStation) -> [f64; 2]),
            (Role::Fan80, |one| [one.lower80, one.upper80]),
            (Role::Fan50, |one| [one.lower50, one.upper50]),
        ] {
            let lower = path.stations.iter().map(|one| [one.hours_h, ends(one)[0]]);
            let upper = path.stations.iter().rev().map(|one| [one.hours_h, ends(one)[1]]);
            plot.polygon(&lower.chain(upper).collect::<Vec<_>>(), role);
        }
        plot.columns(&round_ticks(x, 5));
        plot.levels(&round_ticks(y, 5));
        let middle: Vec<[f64; 2]> = path.stations.iter().map(|one| [one.hours_h, one.median]).collect();
        plot.path(&middle, Role::Left);
        for limit in [path.lower_limit, path.upper_limit].into_iter().flatten() {
            plot.path(&[[x[0], limit], [x[1], limit]], Role::Limit);
            let label = format!("limit {}", signed(limit, usize::from(decimals != 0)));
            plot.text(&label, [x[0], limit], Anchor::AboveRight, Role::Outside);
        }
        due_line(plot, fan, x, y);
        for point in &path.measured {
            if let Some(reach) = point.reach {
                let [low, high] = [point.value - reach, point.value + reach];
                plot.path(&[[point.hours_h, low], [point.hours_h, high]], Role::Ink);
            }
        }
        for point in &path.measured {
            let at = [point.hours_h, point.value];
            match point.stage {
                Stage::AsFound => plot.dot(at, Role::Ink),
                Stage::AsLeft => plot.ring(at, 6, Role::InkRing),
            }
        }
        plot.text(&path.name, [x[0], y[1]], Anchor::AboveRight, Role::Ink);
        let unit = if path.unit == WatchedUnit::Deg { "degrees against hours" } else { "mm against hours" };
        plot.text(unit, [hours, y[1]], Anchor::AboveLeft, Role::Muted);
    })
}

fn description(path: &WatchedPath, decimals: usize) -> String {
    let unit = if path.unit == WatchedUnit::Deg { "\u{b0}" } else { " mm" };
    let measured = match path.measured.last() {
        Some(last) => format!(
            "Measured at {}, last {}{unit} at {} h. ",
            count(path.measured.len(), "check", "checks"),
            signed(last.value, decimals.max(1)),
            number(last.hours_h, 0)
        ),
        None => String::new(),
    };
    let ahead = path.stations.last().map_or_else(String::new, |end| {
        format!(
            "At {} h expected {}{unit}, with 95 % chance between {} and {}{unit}. ",
            number(end.hours_h, 0),
            signed(end.median, decimals.max(1)),
            signed(end.lower95, decimals.max(1)),
            signed(end.upper95, decimals.max(1))
        )
    });
    let limits: Vec<String> = [path.lower_limit, path.upper_limit]
        .into_iter()
        .flatten()
        .map(|limit| format!("{}{unit}", signed(limit, decimals.max(1))))
        .collect();
    format!(
        "{measured}{ahead}Limit: {}. It is the first limit crossed in {} of the draws that cross one.",
        limits.join(" and "),
        chance(path.first_share)
    )
}

fn risk(fan: &ForecastFan, x: [f64; 2]) -> Result<Figure, ReportError> {
    let most = fan.risk.iter().map(|station| 100.0 * station.risk).fold(200.0 * fan.accepted_risk, f64::max);
    let y = [0.0, (1.15 * most).min(108.0)];
    let accepted = 100.0 * fan.accepted_risk;
    let crossing = match (fan.crossing_hours.p10, fan.crossing_hours.p50, fan.crossing_hours.p90) {
        (Some(early), Some(middle), Some(late)) => {
            format!(" 10 % by {early:.0} h, 50 % by {middle:.0} h, 90 % by {late:.0} h.")
        }
        (Some(early), Some(middle), None) => format!(" 10 % by {early:.0} h, 50 % by {middle:.0} h."),
        (Some(early), ..) => format!(" 10 % by {early:.0} h."),
        _ => String::new(),
    };
    let description = format!(
        "Chance that any limit has been crossed, against hours flown: {} at the last check at {} h.{crossing} The accepted risk is {} %; \
         the interval ends at {} h; the next check is due at {} h.",
        fan.risk.first().map_or_else(|| "0 %".to_owned(), |station| chance(station.risk)),
        number(fan.hours_now_h, 0),
        number(accepted, 0),
        number(fan.interval_h, 0),
        number(fan.due_h, 0)
    );
    let title = format!("Wing {}: chance that a limit is crossed", fan.wing);
    Plot::figure(&title, &description, &frame(x, y), |plot| {
        plot.columns(&round_ticks(x, 5));
        plot.levels(&round_ticks(y, 4));
        if fan.interval_h <= x[1] {
            plot.path(&[[fan.interval_h, y[0]], [fan.interval_h, y[1]]], Role::Edge);
            // between the figures at 50 and at 90 %
            let height = if y[1] > 60.0 { 70.0 } else { 0.6 * y[1] };
            plot.text("interval", [fan.interval_h, height], Anchor::Left, Role::Muted);
        }
        plot.path(&[[x[0], accepted], [x[1], accepted]], Role::Limit);
        plot.text(
            &format!("accepted risk {} %", number(accepted, 0)),
            [x[0], accepted],
            Anchor::AboveRight,
            Role::Outside,
        );
        let points: Vec<[f64; 2]> = fan.risk.iter().map(|station| [station.hours_h, 100.0 * station.risk]).collect();
        plot.path(&points, Role::Model);
        for (hours, pct) in [(fan.crossing_hours.p50, 50.0), (fan.crossing_hours.p90, 90.0)] {
            if let Some(hours_h) = hours.filter(|hours_h| *hours_h > fan.hours_now_h && *hours_h <= x[1]) {
                plot.dot([hours_h, pct], Role::Model);
                let label = format!("{pct:.0} % by {} h", number(hours_h, 0));
                plot.text(&label, [hours_h, pct], Anchor::Left, Role::Model);
            }
        }
        due_line(plot, fan, x, y);
        plot.text("any limit", [x[0], y[1]], Anchor::AboveRight, Role::Ink);
        plot.text("% chance against hours", [x[1], y[1]], Anchor::AboveLeft, Role::Muted);
    })
}
