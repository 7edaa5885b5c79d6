//! A plan before and after, and the trade-off between fewer actions and a better trim.

use super::figure::{Figure, Role};
use super::plot::{Anchor, Frame, Plot, Tick, round_ticks, whole_ticks};
use crate::plan::{CurvePoint, Plan, PlannedLine};
use crate::report::ReportError;
use crate::report::words::{between, count, signed};
use crate::wing::{Row, Side};

/// Half width of the ends of an interval, in half spans.
const END_WIDTH: f64 = 0.004;
/// More alternatives than this are not labelled one by one.
const LABELLED: usize = 14;
/// More than this, and their worst lines would cover each other.
const WORST_LABELLED: usize = 9;

/// Distance from the plan's target (mm) of every line of A–D and stabilo against its place along the span, the left tip at
/// the left: a ring as read, a dot as it should be after with its 95 % interval (measurement and steps) as a stroke with ends, a
/// line between the two where an action moves it, a cross where it ends outside its tolerance. The shaded band is the narrowest
/// tolerance. Brakes, which are set at the handle, are left out. `None` for a plan without such lines.
///
/// ```
/// use linedrift::{plan::PlanSpec, report::plan_figure, simulate::FleetSpec};
///
/// let fleet = FleetSpec::default().wings(8).seed(7).run()?.fleet;
/// let history = fleet.history("W05").ok_or("no such wing")?;
/// let check = history.checks.last().ok_or("no check")?;
/// let set = fleet.line_set(history);
/// let plan = PlanSpec::default().run(set, history, check, &[])?;
/// let svg = plan_figure(&plan)?.ok_or("no line")?.standalone();
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`ReportError::Drawing`] when a scale of the figure is empty or not finite.
pub fn plan_figure(plan: &Plan) -> Result<Option<Figure>, ReportError> {
    let lines: Vec<&PlannedLine> = plan.lines.iter().filter(|line| line.row != Row::Brake).collect();
    let Some(trim) = span_of(plan, &lines) else { return Ok(None) };
    let tolerance_mm = lines.iter().map(|line| line.tolerance_mm).fold(f64::INFINITY, f64::min);
    let reach = lines
        .iter()
        .map(|line| line.before_mm.abs().max(line.after_mm.abs() + line.uncertainty_after_mm).max(line.tolerance_mm))
        .filter(|value| value.is_finite())
        .fold(5.0, f64::max)
        * 1.2;
    let frame = Frame {
        width: 1100,
        height: 420,
        left: 78,
        right: 30,
        top: 40,
        bottom: 44,
        x: [-1.0, 1.0],
        y: [-reach, reach],
    };
    let title = format!("Wing {}, check {}: before and after the plan", plan.wing, plan.check);
    let figure = Plot::figure(&title, &words(plan, &lines), &frame, |plot| {
        if tolerance_mm.is_finite() {
            plot.rectangle([-1.0, -tolerance_mm], [1.0, tolerance_mm], Role::Band);
            for edge in [-tolerance_mm, tolerance_mm] {
                plot.path(&[[-1.0, edge], [1.0, edge]], Role::Edge);
            }
        }
        plot.levels(&round_ticks(frame.y, 4));
        plot.columns(&[Tick { at: 0.0, label: String::new() }]);
        let ends = [
            (-1.0, "left tip", Anchor::BelowRight),
            (0.0, "centre", Anchor::Below),
            (1.0, "right tip", Anchor::BelowLeft),
        ];
        for (at, label, anchor) in ends {
            plot.text(label, [at, -reach], anchor, Role::Muted);
        }
        plot.text("mm from the target", [-1.0, reach], Anchor::AboveRight, Role::Muted);
        for (line, at) in lines.iter().zip(&trim) {
            let [low, high] = [-1.0, 1.0].map(|sign| line.after_mm + sign * line.uncertainty_after_mm);
            let [from, to] = [at - END_WIDTH, at + END_WIDTH];
            plot.path(&[[from, low], [to, low], [*at, low], [*at, high], [from, high], [to, high]], Role::Muted);
        }
        let moved = |line: &PlannedLine| line.after_mm.total_cmp(&line.before_mm).is_ne();
        let placed = || lines.iter().zip(&trim);
        for (line, at) in placed().filter(|(line, _)| moved(line)) {
            plot.path(&[[*at, line.before_mm], [*at, line.after_mm]], Role::Zero);
        }
        for (line, at) in placed().filter(|(line, _)| moved(line)) {
            plot.ring([*at, line.before_mm], 6, Role::Point);
        }
        for one in [false, true] {
            for (line, at) in placed().filter(|(line, _)| moved(line) == one) {
                plot.dot([*at, line.after_mm], if one { Role::Model } else { Role::Point });
            }
        }
        for (line, at) in placed().filter(|(line, _)| line.after_mm.abs() > line.tolerance_mm) {
            plot.cross([*at, line.after_mm], Role::Outside);
        }
    })?;
    Ok(Some(figure.wide()))
}

/// Place of each line along the span, −1 … 1; `None` without lines.
fn span_of(plan: &Plan, lines: &[&PlannedLine]) -> Option<Vec<f64>> {
    let place = |line: &&PlannedLine| {
        let judged = plan.before.trim.lines.iter().find(|one| one.side == line.side && one.line == line.line);
        let span = judged.map_or(0.0, |one| one.span.clamp(0.0, 1.0));
        if line.side == Side::Left { -span } else { span }
    };
    (!lines.is_empty()).then(|| lines.iter().map(place).collect())
}

fn words(plan: &Plan, lines: &[&PlannedLine]) -> String {
    let moved = lines.iter().filter(|line| line.after_mm.total_cmp(&line.before_mm).is_ne()).count();
    let outside =
        |off: fn(&PlannedLine) -> f64| lines.iter().filter(|line| off(line).abs() > line.tolerance_mm).count();
    format!(
        "Distance from the target of {} without the brakes; {} moves {moved} of them. Outside tolerance: {} before, {} after; each distance \u{b1} {} mm (95 %) before and \u{b1} {} mm after, tolerance \u{b1} {} mm.",
        count(lines.len(), "line", "lines"),
        count(plan.actions.len(), "action", "actions"),
        outside(|line| line.before_mm),
        outside(|line| line.after_mm),
        between(lines.iter().map(|line| line.uncertainty_before_mm)),
        between(lines.iter().map(|line| line.uncertainty_after_mm)),
        between(lines.iter().map(|line| line.tolerance_mm))
    )
}

/// Lines left outside tolerance by the best plan with at most 0, 1, 2, … actions, each with its worst line in mm. `None`
/// without alternatives.
///
/// ```
/// use linedrift::{plan::PlanSpec, report::curve_figure, simulate::FleetSpec};
///
/// let fleet = FleetSpec::default().wings(8).seed(7).run()?.fleet;
/// let history = fleet.history("W05").ok_or("no such wing")?;
/// let check = history.checks.last().ok_or("no check")?;
/// let set = fleet.line_set(history);
/// let curve = PlanSpec::default().curve(set, history, check, &[])?;
/// let svg = curve_figure(&curve)?.ok_or("no alternative")?.standalone();
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`ReportError::Drawing`] when a scale of the figure is empty or not finite.
pub fn curve_figure(curve: &[CurvePoint]) -> Result<Option<Figure>, ReportError> {
    let (Some(first), Some(last)) = (curve.first(), curve.last()) else { return Ok(None) };
    let most = curve.iter().map(|one| one.objective.outside).max().unwrap_or(0).max(1) as f64;
    let actions = last.most_actions as f64;
    let frame = Frame {
        width: 680,
        height: 340,
        left: 62,
        right: 40,
        top: 44,
        bottom: 84,
        x: [-0.4, actions.max(1.0) + 0.4],
        y: [-0.08 * most, 1.25 * most],
    };
    let description = format!(
        "With no adjustment {} outside tolerance, worst {} mm; with {} {}, worst {} mm.",
        count(first.objective.outside, "line is", "lines are"),
        signed(first.worst_mm, 1),
        count(last.most_actions, "adjustment", "adjustments"),
        last.objective.outside,
        signed(last.worst_mm, 1)
    );
    let figure = Plot::figure("Fewer adjustments or a better trim", &description, &frame, |plot| {
        plot.levels(&whole_ticks([0.0, most], 4));
        plot.text(
            if curve.len() <= WORST_LABELLED { "lines outside, worst in mm" } else { "lines outside" },
            [frame.x[0], frame.y[1]],
            Anchor::AboveRight,
            Role::Muted,
        );
        plot.text("adjustments", [frame.x[1], frame.y[0] - 0.16 * most], Anchor::BelowLeft, Role::Muted);
        let points: Vec<[f64; 2]> =
            curve.iter().map(|one| [one.most_actions as f64, one.objective.outside as f64]).collect();
        if points.len() > 1 {
            plot.path(&points, Role::Left);
        }
        for (one, point) in curve.iter().zip(points) {
            plot.dot(point, Role::Left);
            if curve.len() <= LABELLED {
                if curve.len() <= WORST_LABELLED {
                    plot.text(&signed(one.worst_mm, 0), point, Anchor::Above, Role::Ink);
                }
                plot.text(&one.most_actions.to_string(), [point[0], frame.y[0]], Anchor::Below, Role::Muted);
            }
        }
    })?;
    Ok(Some(figure))
}
