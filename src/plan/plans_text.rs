//! Many plans, and what became of work, as text.

use std::fmt::{self, Write as _};

use super::{Achieved, LearntFleet, Plan};
use crate::wing::{Row, shown};

/// The text cut to a width; hidden characters become `?`.
fn cut(text: &str, width: usize) -> String {
    shown(text).chars().take(width).collect()
}

/// One line per plan within 80 columns: lines outside, the worst line and the incidence change, before and after, with the
/// number of actions and of lines to measure again first.
#[must_use]
pub fn plans_table(plans: &[Plan]) -> String {
    let mut out = format!(
        "{:<8}{:<10}{:>12}{:>18}{:>18}{:>8}{:>6}\n",
        "wing", "check", "outside", "worst mm", "incidence deg", "actions", "again"
    );
    let incidence = |value: Option<f64>| value.map_or_else(|| "-".to_owned(), |deg| format!("{deg:+.2}"));
    for plan in plans {
        let (before, after) = (&plan.before, &plan.after);
        let _ = writeln!(
            out,
            "{:<8}{:<10}{:>5} -> {:>3}{:>8.1} -> {:>6.1}{:>8} -> {:>6}{:>8}{:>6}",
            cut(&plan.wing, 7),
            cut(&plan.check, 9),
            before.outside,
            after.outside,
            before.worst_mm,
            after.worst_mm,
            incidence(before.incidence_change_deg.value),
            incidence(after.incidence_change_deg.value),
            plan.actions.len(),
            plan.remeasure.len()
        );
    }
    let brake = |line: &&super::PlannedLine| line.row == Row::Brake && line.after_mm.abs() > line.tolerance_mm;
    let brakes: usize = plans.iter().map(|plan| plan.lines.iter().filter(brake).count()).sum();
    let sum = |of: fn(&Plan) -> usize| plans.iter().map(of).sum::<usize>();
    let _ = writeln!(
        out,
        "Plans: {}. Lines outside: {} before, {} after. Actions: {}.\nLines to measure again first: {}.",
        plans.len(),
        sum(|plan| plan.before.outside),
        sum(|plan| plan.after.outside),
        sum(|plan| plan.actions.len()),
        sum(|plan| plan.remeasure.len())
    );
    if brakes > 0 {
        let _ = writeln!(out, "{brakes} of those left outside are brake lines: look at the brake setting first.");
    }
    out
}

impl fmt::Display for Achieved {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "Wing {}: work after check {}, against check {}",
            cut(&self.wing, 20),
            cut(&self.planned_check, 16),
            cut(&self.check, 16)
        )?;
        writeln!(
            f,
            "  {:<6}{:<10}{:<13}{:>6}{:>12}{:>13}",
            "side", "segment", "action", "turns", "planned mm", "achieved mm"
        )?;
        for action in &self.actions {
            let achieved = action.achieved_mm.map_or_else(|| "not known".to_owned(), |mm| format!("{mm:+.1}"));
            writeln!(
                f,
                "  {:<6}{:<10}{:<13}{:>6}{:>+12.1}{achieved:>13}",
                action.side,
                cut(action.segment.as_deref().unwrap_or("(all)"), 9),
                action.kind,
                action.turns,
                action.planned_mm
            )?;
        }
        writeln!(f, "  the later check as a whole differs by {:+.1} mm", self.shift_mm)?;
        writeln!(f, "  lines off what was to be expected, root mean square: {:.1} mm", self.rms_mm)?;
        writeln!(f, "  {} of {} lines outside tolerance of the target", self.outside, self.lines.len())?;
        let mut worst: Vec<_> = self.lines.iter().filter(|line| !line.within).collect();
        worst.sort_by(|a, b| b.off_mm.abs().total_cmp(&a.off_mm.abs()));
        for line in worst.iter().take(8) {
            writeln!(f, "    {:<6}{:<10}{:+.1} mm", line.side, cut(&line.line, 9), line.off_mm)?;
        }
        if worst.len() > 8 {
            writeln!(f, "    and {} more", worst.len() - 8)?;
        }
        Ok(())
    }
}

impl fmt::Display for LearntFleet {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let wings = self.steps.wings.len();
        writeln!(f, "Step sizes as carried out (recorded actions: {}, wings: {wings})", self.pairs.len())?;
        writeln!(f, "  {:<13}{:>18}{:>8}", "action", "achieved/formula", "se")?;
        for kind in &self.steps.kinds {
            writeln!(f, "  {:<13}{:>18.3}{:>8.3}", kind.kind, kind.scale, kind.se)?;
        }
        writeln!(
            f,
            "  wings differ by {:.3} (standard deviation), one action by {:.1} mm",
            self.steps.wing_sd, self.steps.residual_mm
        )
    }
}
