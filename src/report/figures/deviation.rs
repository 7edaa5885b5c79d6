//! Deviation along the span, one panel per row.

use super::figure::{Figure, Role};
use super::plot::{Anchor, Frame, Plot, Tick, round_ticks};
use crate::report::ReportError;
use crate::report::words::{between, count, signed};
use crate::trim::{LineVerdict, Trim, Verdict};
use crate::wing::{Row, Side};

/// Most lines named in one panel; more would cover each other.
const NAMED: usize = 3;
/// Named lines are further apart than this along the span, or
const APART_SPAN: f64 = 0.2;
/// than this share of the scale.
const APART_REACH: f64 = 0.4;

/// Panels of relative deviation (mm) against position along the half span for one judged check, one panel per row that
/// was read. Left: dots on a solid line. Right: open rings on a dashed line. A stroke through each is its 95 % interval, the
/// shaded band the narrowest tolerance of the row. A cross and its name mark a line outside its tolerance, a ring around it
/// one that is undecided. All panels share one scale, but for the brakes, which have their own; a doubtful reading beyond it is drawn at its edge.
///
/// ```
/// use linedrift::{TrimSpec, report::deviation_figures, simulate::FleetSpec};
///
/// let fleet = FleetSpec::default().wings(8).seed(7).run()?.fleet;
/// let history = &fleet.histories()[0];
/// let check = history.checks.last().ok_or("no check")?;
/// let trim = TrimSpec::default().run(fleet.line_set(history), &history.wing, check)?;
/// for panel in deviation_figures(&trim)? {
///     println!("{}", panel.standalone());
/// }
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`ReportError::Drawing`] when a scale of the figure is empty or not finite.
pub fn deviation_figures(trim: &Trim) -> Result<Vec<Figure>, ReportError> {
    let reach = |brake: bool| reach_mm(trim.lines.iter().filter(|line| (line.row == Row::Brake) == brake));
    let (reach_mm, brake_reach_mm) = (reach(false), reach(true));
    Row::ALL
        .into_iter()
        .filter_map(|row| {
            let lines: Vec<&LineVerdict> =
                trim.lines.iter().filter(|line| line.row == row && line.relative_mm.is_finite()).collect();
            let reach_mm = if row == Row::Brake { brake_reach_mm } else { reach_mm };
            (!lines.is_empty()).then(|| panel(trim, row, &lines, reach_mm))
        })
        .collect()
}

/// Half height of a scale that holds the lines with their tolerances, mm. A doubtful reading has no say in it.
fn reach_mm<'a>(lines: impl Iterator<Item = &'a LineVerdict>) -> f64 {
    lines
        .filter(|line| !line.doubted)
        .map(|line| (line.relative_mm.abs() + line.uncertainty_mm).max(line.tolerance_mm))
        .filter(|value| value.is_finite())
        .fold(5.0, f64::max)
        * 1.3
}

fn panel(trim: &Trim, row: Row, lines: &[&LineVerdict], reach: f64) -> Result<Figure, ReportError> {
    let tolerance_mm = lines.iter().map(|line| line.tolerance_mm).fold(f64::INFINITY, f64::min);
    let frame = Frame {
        width: 680,
        height: 300,
        left: 76,
        right: 26,
        top: 40,
        bottom: 40,
        x: [0.0, 1.0],
        y: [-reach, reach],
    };
    let title = format!("Wing {}, check {}: row {row}", trim.wing, trim.check);
    Plot::figure(&title, &description(row, lines), &frame, |plot| {
        if tolerance_mm.is_finite() {
            plot.rectangle([0.0, -tolerance_mm], [1.0, tolerance_mm], Role::Band);
            plot.path(&[[0.0, tolerance_mm], [1.0, tolerance_mm]], Role::Edge);
            plot.path(&[[0.0, -tolerance_mm], [1.0, -tolerance_mm]], Role::Edge);
        }
        plot.levels(&round_ticks(frame.y, 4));
        plot.text("centre", [0.0, -reach], Anchor::Below, Role::Muted);
        plot.text("tip", [1.0, -reach], Anchor::Below, Role::Muted);
        plot.columns(&[Tick { at: 0.5, label: String::new() }]);
        plot.text(&format!("row {row}"), [0.0, reach], Anchor::AboveRight, Role::Ink);
        plot.text("mm", [1.0, reach], Anchor::AboveLeft, Role::Muted);
        let inside = |mm: f64| mm.clamp(-0.97 * reach, 0.97 * reach);
        for line in lines {
            let ends = [-1.0, 1.0].map(|sign| inside(line.relative_mm + sign * line.uncertainty_mm));
            plot.path(&ends.map(|mm| [line.span, mm]), Role::Muted);
        }
        for side in Side::BOTH {
            let mut own: Vec<&LineVerdict> = lines.iter().filter(|line| line.side == side).copied().collect();
            own.sort_by(|a, b| a.span.total_cmp(&b.span));
            let at = |line: &&LineVerdict| [line.span, inside(line.relative_mm)];
            let trusted: Vec<[f64; 2]> = own.iter().filter(|line| !line.doubted).map(at).collect();
            if trusted.len() > 1 {
                plot.path(&trusted, if side == Side::Left { Role::Left } else { Role::Right });
            }
            for point in own.iter().map(at) {
                match side {
                    Side::Left => plot.dot(point, Role::Left),
                    Side::Right => plot.ring(point, 6, Role::RightMark),
                }
            }
        }
        for line in lines.iter().filter(|line| line.verdict.is_none_or(|verdict| verdict == Verdict::Undecided)) {
            plot.ring([line.span, inside(line.relative_mm)], 11, Role::Ink);
        }
        mark_outside(plot, lines, reach);
    })
}

fn mark_outside(plot: &mut Plot<'_>, lines: &[&LineVerdict], reach: f64) {
    let mut outside: Vec<&LineVerdict> = lines.iter().filter(|line| line.is_outside()).copied().collect();
    outside.sort_by(|a, b| b.relative_mm.abs().total_cmp(&a.relative_mm.abs()));
    let mut named: Vec<&LineVerdict> = Vec::new();
    for line in &outside {
        plot.cross([line.span, line.relative_mm], Role::Outside);
    }
    for line in outside {
        let at = [line.span, line.relative_mm];
        // the worst lines get their names, as long as these do not cover each other
        let clear = |known: &&LineVerdict| {
            (known.span - line.span).abs() > APART_SPAN
                || (known.relative_mm - line.relative_mm).abs() > APART_REACH * reach
        };
        if named.len() < NAMED && named.iter().all(clear) {
            let name = format!("{} {}", line.line, if line.side == Side::Left { "L" } else { "R" });
            // at the ends it stays off the figures of the scale and inside the panel
            let anchor = match (line.relative_mm < 0.0, line.span) {
                (true, ..0.15) => Anchor::BelowRight,
                (true, 0.85..) => Anchor::BelowLeft,
                (true, _) => Anchor::Below,
                (false, ..0.15) => Anchor::AboveRight,
                (false, 0.85..) => Anchor::AboveLeft,
                (false, _) => Anchor::Above,
            };
            plot.text(&name, at, anchor, Role::Outside);
            named.push(line);
        }
    }
}

fn description(row: Row, lines: &[&LineVerdict]) -> String {
    let low = lines.iter().map(|line| line.relative_mm).fold(f64::INFINITY, f64::min);
    let high = lines.iter().map(|line| line.relative_mm).fold(f64::NEG_INFINITY, f64::max);
    let told = |verdict| -> Vec<String> {
        let with = lines.iter().filter(|line| line.verdict == verdict);
        with.map(|line| format!("{} {} at {} mm", line.line, line.side, signed(line.relative_mm, 1))).collect()
    };
    let outside = told(Some(Verdict::Outside));
    let verdict = if outside.is_empty() {
        "None is outside its tolerance.".to_owned()
    } else {
        format!("Outside tolerance: {}.", outside.join(", "))
    };
    let open = [(None, "Doubtful"), (Some(Verdict::Undecided), "Undecided")].map(|(verdict, word)| {
        let lines = told(verdict);
        if lines.is_empty() { String::new() } else { format!(" {word}: {}.", lines.join(", ")) }
    });
    let open = open.concat();
    format!(
        "Deviation less the common offset from the centre to the tip, row {row}, {}: from {} to {} mm, each \u{b1} {} mm (95 %), \
         tolerance \u{b1} {} mm. {verdict}{open}",
        count(lines.len(), "line", "lines"),
        signed(low, 1),
        signed(high, 1),
        between(lines.iter().map(|line| line.uncertainty_mm)),
        between(lines.iter().map(|line| line.tolerance_mm))
    )
}
