//! The trade-off between fewer actions and a better trim, as a table.

use std::fmt::Write as _;

use super::CurvePoint;
use super::sequence::words;
use crate::wing::shown;

/// Columns of the screen.
const COLUMNS: usize = 80;

/// The best plans with at most 0, 1, 2, … actions as a table within 80 columns, each with the actions that come new and those
/// that fall away against the row before. An action more that changes nothing has no row. Hidden characters become `?`.
#[must_use]
pub fn curve_table(curve: &[CurvePoint]) -> String {
    let mut out = format!("{:>7}{:>9}{:>10}{:>9}{:>8}\n", "actions", "outside", "worst mm", "misfit", "price");
    let mut before: Vec<String> = Vec::new();
    let changed = |at: &usize| *at == 0 || curve[*at].actions != curve[*at - 1].actions;
    for one in (0..curve.len()).filter(changed).map(|at| &curve[at]) {
        let _ = writeln!(
            out,
            "{:>7}{:>9}{:>+10.1}{:>9.1}{:>8.1}",
            one.most_actions, one.objective.outside, one.worst_mm, one.objective.misfit, one.objective.price
        );
        let now: Vec<String> = one
            .actions
            .iter()
            .map(|action| {
                let place = action.segment.as_deref().unwrap_or("(all)");
                format!("{} {place}: {} ({:+.1} mm)", action.side, words(action), action.change_mm)
            })
            .collect();
        let changes = before
            .iter()
            .filter(|known| !now.contains(known))
            .map(|gone| format!("- {gone}"))
            .chain(now.iter().filter(|action| !before.contains(action)).map(|new| format!("+ {new}")));
        for change in changes {
            let line: String = format!("        {change}").chars().take(COLUMNS).collect();
            let _ = writeln!(out, "{}", shown(&line));
        }
        before = now;
    }
    out
}
