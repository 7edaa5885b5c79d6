//! Incidence change along the span, left and right.

use super::figure::{Figure, Role};
use super::plot::{Anchor, Frame, Plot, Tick, round_ticks};
use crate::report::ReportError;
use crate::report::words::{interval, signed};
use crate::trim::{Trim, TwistStation};
use crate::wing::Side;

/// Least half height of the scale, degrees.
const LEAST_REACH_DEG: f64 = 0.3;

/// Incidence change (degrees, nose-up positive) against position along the span, the left tip at the left, with its 95 %
/// interval shaded. Left: dots on a solid line. Right: open rings on a dashed line. `None` where no incidence is stated.
///
/// ```
/// use linedrift::{TrimSpec, report::incidence_figure, simulate::FleetSpec};
///
/// let fleet = FleetSpec::default().wings(8).seed(7).run()?.fleet;
/// let history = &fleet.histories()[0];
/// let check = history.checks.last().ok_or("no check")?;
/// let trim = TrimSpec::default().run(fleet.line_set(history), &history.wing, check)?;
/// let svg = incidence_figure(&trim)?.ok_or("no incidence")?.standalone();
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`ReportError::Drawing`] when a scale of the figure is empty or not finite.
pub fn incidence_figure(trim: &Trim) -> Result<Option<Figure>, ReportError> {
    let stations: Vec<&TwistStation> = trim
        .twist
        .iter()
        .filter(|station| [station.span, station.incidence_deg, station.reach_deg].iter().all(|v| v.is_finite()))
        .collect();
    if stations.is_empty() {
        return Ok(None);
    }
    let reach = stations
        .iter()
        .map(|station| station.incidence_deg.abs() + station.reach_deg)
        .fold(LEAST_REACH_DEG, f64::max)
        * 1.15;
    let frame = Frame {
        width: 1100,
        height: 340,
        left: 78,
        right: 30,
        top: 40,
        bottom: 44,
        x: [-1.0, 1.0],
        y: [-reach, reach],
    };
    let title = format!("Wing {}, check {}: incidence change along the span", trim.wing, trim.check);
    let figure = Plot::figure(&title, &description(trim, &stations), &frame, |plot| {
        for side in Side::BOTH {
            plot.polygon(&ribbon(&stations, side), Role::Spread);
        }
        plot.levels(&round_ticks(frame.y, 4));
        plot.columns(&[-0.5, 0.0, 0.5].map(|at| Tick { at, label: String::new() }));
        let ends = [
            (-1.0, "left tip", Anchor::BelowRight),
            (0.0, "centre", Anchor::Below),
            (1.0, "right tip", Anchor::BelowLeft),
        ];
        for (at, label, anchor) in ends {
            plot.text(label, [at, -reach], anchor, Role::Muted);
        }
        plot.text("degrees, nose-up above", [-1.0, reach], Anchor::AboveRight, Role::Muted);
        for side in Side::BOTH {
            let points: Vec<[f64; 2]> =
                of(&stations, side).map(|station| [along(station), station.incidence_deg]).collect();
            if points.len() > 1 {
                plot.path(&points, if side == Side::Left { Role::Left } else { Role::Right });
            }
            for point in points {
                match side {
                    Side::Left => plot.dot(point, Role::Left),
                    Side::Right => plot.ring(point, 6, Role::RightMark),
                }
            }
        }
    })?;
    Ok(Some(figure.wide()))
}

fn of<'a>(stations: &'a [&TwistStation], side: Side) -> impl DoubleEndedIterator<Item = &'a TwistStation> {
    stations.iter().copied().filter(move |station| station.side == side)
}

/// Place in the picture: −1 at the left tip, 1 at the right.
fn along(station: &TwistStation) -> f64 {
    if station.side == Side::Left { -station.span } else { station.span }
}

/// The outline of the interval of one side.
fn ribbon(stations: &[&TwistStation], side: Side) -> Vec<[f64; 2]> {
    let edge =
        |sign: f64| move |station: &TwistStation| [along(station), station.incidence_deg + sign * station.reach_deg];
    of(stations, side).map(edge(1.0)).chain(of(stations, side).rev().map(edge(-1.0))).collect()
}

fn description(trim: &Trim, stations: &[&TwistStation]) -> String {
    let side = |side: Side| {
        let at = |wanted: f64| {
            of(stations, side).min_by(|a, b| (a.span - wanted).abs().total_cmp(&(b.span - wanted).abs()))
        };
        let (centre, tip) = (at(0.0)?, at(1.0)?);
        Some(format!(
            "{side}: {} at {} of the half span, {} at {}",
            signed(centre.incidence_deg, 2),
            centre.span,
            signed(tip.incidence_deg, 2),
            tip.span
        ))
    };
    let sides: Vec<String> = Side::BOTH.into_iter().filter_map(side).collect();
    format!(
        "Change of incidence in degrees, nose-up positive, with its 95 % interval. {}. Whole wing: {}.",
        sides.join("; "),
        interval(&trim.incidence_change_deg, 2)
    )
}
