//! Policies side by side: how often wings are checked, how long they fly out of trim.

use super::figure::{Figure, Role};
use super::plot::{Anchor, Frame, Plot, round_ticks};
use crate::report::ReportError;
use crate::report::words::number;
use crate::simulate::{Policy, PolicyComparison};

/// Share of hours flown out of trim against checks per 100 h: rings for fixed intervals, dots for forecasts.
///
/// ```
/// use linedrift::{report::policy_figure, simulate::{FleetSpec, PolicySpec}};
///
/// let comparison = PolicySpec::default().fleet(FleetSpec::default().wings(6)).until_h(120.0).every_h(&[60.0]).risks(&[0.1]).draws(50).run()?;
/// println!("{}", policy_figure(&comparison)?.description());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`ReportError::Drawing`] when a scale of the figure is empty or not finite.
pub fn policy_figure(comparison: &PolicyComparison) -> Result<Figure, ReportError> {
    let rows = &comparison.rows;
    let told: Vec<String> = rows
        .iter()
        .map(|row| {
            format!(
                "{}: {} checks per 100 h, {} % of the hours out of trim",
                row.policy.name(),
                number(row.checks_per_100_h, 2),
                number(row.out_of_trim_pct, 1)
            )
        })
        .collect();
    let description = format!(
        "{} invented wings under each policy, each for {} h. {}.",
        comparison.wings,
        number(comparison.until_h, 0),
        told.join("; ")
    );
    let most =
        |of: fn(&crate::simulate::PolicyRow) -> f64, least: f64| 1.1 * rows.iter().map(of).fold(least, f64::max);
    let (x, y) =
        (most(|row| row.checks_per_100_h, 0.5), most(|row| row.out_of_trim_pct + row.out_of_trim_se_pct, 1.0));
    let frame = Frame { width: 900, height: 560, left: 76, right: 24, top: 48, bottom: 84, x: [0.0, x], y: [0.0, y] };
    Plot::figure("Checks made and hours flown out of trim", &description, &frame, |plot| {
        plot.levels(&round_ticks([0.0, y], 5));
        plot.columns(&round_ticks([0.0, x], 6));
        for row in rows {
            let at = [row.checks_per_100_h, row.out_of_trim_pct];
            let role = if matches!(row.policy, Policy::Every { .. }) { Role::Right } else { Role::Left };
            plot.path(&[[at[0], at[1] - row.out_of_trim_se_pct], [at[0], at[1] + row.out_of_trim_se_pct]], role);
            match row.policy {
                Policy::Every { hours_h } => {
                    plot.ring(at, 9, Role::RightMark);
                    plot.text(&format!("{hours_h:.0} h"), at, Anchor::AboveRight, Role::Right);
                }
                Policy::AtRisk { risk } => {
                    plot.dot(at, Role::Left);
                    plot.text(&format!("{:.0} %", 100.0 * risk), at, Anchor::BelowLeft, Role::Left);
                }
            }
        }
        plot.text("checks per 100 h flown", [x, -0.09 * y], Anchor::BelowLeft, Role::Muted);
        let key = "% of hours out of trim; ring: fixed interval, dot: accepted risk; bar: one standard error";
        plot.text(key, [x, y], Anchor::AboveLeft, Role::Muted);
    })
}
