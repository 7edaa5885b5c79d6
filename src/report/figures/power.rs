//! Power against the number of wings.

use super::figure::{Figure, Role};
use super::plot::{Anchor, Frame, Plot, round_ticks};
use crate::report::ReportError;
use crate::report::words::number;
use crate::simulate::{Power, PowerRow};

/// Power that studies commonly aim at (practice).
const COMMON_AIM: f64 = 0.8;

/// Share of invented fleets in which the question is answered, against wings: one line per number of checks and repeats.
///
/// ```
/// use linedrift::{report::power_figure, simulate::PowerSpec};
///
/// let power = PowerSpec::new("uhmwpe:C - uhmwpe:A").wings([6, 12]).replicates(4).run()?;
/// println!("{}", power_figure(&power)?.description());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`ReportError::Drawing`] when a scale of the figure is empty or not finite.
pub fn power_figure(power: &Power) -> Result<Figure, ReportError> {
    let rows = power.rows();
    let said: Vec<String> = rows
        .iter()
        .map(|row| {
            format!(
                "{} wings, {} checks, {} readings a line: power {}",
                row.wings,
                row.checks,
                row.repeats,
                number(row.power, 2)
            )
        })
        .collect();
    let description = format!("Power for {}. {}.", power.contrast(), said.join("; "));
    let most = 1.1 * rows.iter().map(|row| row.wings as f64).fold(1.0, f64::max);
    let frame =
        Frame { width: 900, height: 520, left: 76, right: 24, top: 48, bottom: 84, x: [0.0, most], y: [0.0, 1.05] };
    Plot::figure("Power against the number of wings", &description, &frame, |plot| {
        plot.levels(&round_ticks([0.0, 1.0], 5));
        plot.columns(&round_ticks([0.0, most], 6));
        plot.path(&[[0.0, COMMON_AIM], [most, COMMON_AIM]], Role::Muted);
        let mut designs: Vec<(usize, u32)> = rows.iter().map(|row| (row.checks, row.repeats)).collect();
        designs.dedup();
        for (checks, repeats) in designs {
            let of: Vec<&PowerRow> =
                rows.iter().filter(|row| row.checks == checks && row.repeats == repeats).collect();
            let points: Vec<[f64; 2]> = of.iter().map(|row| [row.wings as f64, row.power]).collect();
            plot.path(&points, Role::Left);
            for row in &of {
                let x = row.wings as f64;
                plot.path(&[[x, row.power_lower], [x, row.power_upper]], Role::Left);
                plot.dot([x, row.power], Role::Left);
            }
            if let Some(last) = points.last() {
                plot.text(&format!("{checks} checks × {repeats}"), *last, Anchor::BelowLeft, Role::Left);
            }
        }
        plot.text("wings", [most, -0.09], Anchor::BelowLeft, Role::Muted);
        let key = "share of fleets that answer the question; bar: 95 % interval by the number of fleets";
        plot.text(key, [most, 1.05], Anchor::AboveLeft, Role::Muted);
    })
}
