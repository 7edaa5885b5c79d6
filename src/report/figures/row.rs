//! The trim of the rows: their means with intervals.

use super::figure::{Figure, Role};
use super::plot::{Anchor, Frame, Plot, round_ticks};
use crate::report::ReportError;
use crate::report::words::{row_interval, signed};
use crate::trim::{RowTrim, Trim};
use crate::wing::Row;

/// Mean of each row less the common offset (mm), left and right, each with its 95 % interval: left a dot, right a ring. At
/// the right edge stands the mean of both sides. `None` when no row was read.
///
/// ```
/// use linedrift::{TrimSpec, report::row_figure, simulate::FleetSpec};
///
/// let fleet = FleetSpec::default().wings(8).seed(7).run()?.fleet;
/// let history = &fleet.histories()[0];
/// let check = history.checks.last().ok_or("no check")?;
/// let trim = TrimSpec::default().run(fleet.line_set(history), &history.wing, check)?;
/// println!("{}", row_figure(&trim)?.ok_or("no row")?.description());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`ReportError::Drawing`] when a scale of the figure is empty or not finite.
pub fn row_figure(trim: &Trim) -> Result<Option<Figure>, ReportError> {
    let common_mm = trim.common_mm.unwrap_or(0.0);
    let find = |row: Row, side: &str| trim.rows.iter().find(|one| one.row == row && one.side == side);
    let rows: Vec<Row> = Row::ALL.into_iter().filter(|row| trim.rows.iter().any(|one| one.row == *row)).collect();
    let ends = trim.rows.iter().flat_map(|row| {
        let mean = row.mean_interval_mm(common_mm);
        [mean.lower, mean.upper]
    });
    let (low, high) = ends
        .flatten()
        .filter(|end| end.is_finite())
        .fold((-1.0, 1.0), |(low, high): (f64, f64), end| (low.min(end), high.max(end)));
    let pad = 0.06 * (high - low);
    let Ok(places) = u32::try_from(rows.len()) else { return Ok(None) };
    if places == 0 {
        return Ok(None);
    }
    let frame = Frame {
        width: 680,
        height: places.saturating_mul(54).saturating_add(98),
        left: 104,
        right: 96,
        top: 44,
        bottom: 54,
        x: [low - pad, high + pad],
        y: [f64::from(places) - 0.5, -0.5],
    };
    let told: Vec<String> = rows
        .iter()
        .map(|row| {
            let sides = ["left", "right", "both"];
            let told = |side| Some(format!("{side} {}", row_interval(find(*row, side)?, common_mm)));
            format!("{row} {}", sides.into_iter().filter_map(told).collect::<Vec<_>>().join(", "))
        })
        .collect();
    let description = format!("Mean of each row less the common offset, mm with 95 % interval: {}.", told.join("; "));
    let title = format!("Wing {}, check {}: trim of the rows", trim.wing, trim.check);
    Plot::figure(&title, &description, &frame, |plot| {
        plot.columns(&round_ticks(frame.x, 5));
        plot.path(&[[0.0, frame.y[0]], [0.0, frame.y[1]]], Role::Zero);
        plot.text("mm, longer to the right", [frame.x[0], frame.y[1]], Anchor::AboveRight, Role::Muted);
        plot.text("both", [frame.x[1], frame.y[1]], Anchor::AboveRight, Role::Muted);
        for (place, row) in rows.iter().enumerate() {
            let y = place as f64;
            plot.text(row.name(), [frame.x[0], y], Anchor::Left, Role::Ink);
            let mut side = |name: &str, y: f64, bar: Role| {
                let one: &RowTrim = find(*row, name)?;
                let mean = one.mean_interval_mm(common_mm);
                let at = mean.value?;
                plot.path(&[[mean.lower?, y], [mean.upper?, y]], bar);
                if name == "left" {
                    plot.dot([at, y], Role::Left);
                } else {
                    plot.ring([at, y], 7, Role::RightMark);
                }
                Some(())
            };
            let _ = side("left", y - 0.17, Role::Left);
            let _ = side("right", y + 0.17, Role::RightMark);
            if let Some(both) = find(*row, "both") {
                plot.text(&signed(both.mean_mm - common_mm, 1), [frame.x[1], y], Anchor::Right, Role::Ink);
            }
        }
    })
    .map(Some)
}
