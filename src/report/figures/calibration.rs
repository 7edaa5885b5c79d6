//! Whether forecasts were true: coverage against level, and the histogram of PIT values.

use super::figure::{Figure, Role};
use super::plot::{Anchor, Frame, Plot, round_ticks};
use crate::forecast::Backtest;
use crate::report::ReportError;
use crate::report::words::number;

/// Steps of the level.
const STEPS: usize = 40;

/// Two panels: the share of forecasts whose central interval held what was measured against the interval's level, with the
/// band in which the share of true forecasts lies with 95 % chance (binomial, with as many trials as checks), and the
/// histogram of PIT values, even for true forecasts.
///
/// ```
/// use linedrift::{forecast::BacktestSpec, report::calibration_figures, simulate::FleetSpec};
///
/// let fleet = FleetSpec::default().wings(12).seed(7).run()?.fleet;
/// let test = BacktestSpec::default().draws(200).most_fits(2).run(&fleet)?;
/// let [coverage, histogram] = calibration_figures(&test)?;
/// println!("{}", coverage.description());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`ReportError::Drawing`] when a scale of the figure is empty or not finite.
pub fn calibration_figures(test: &Backtest) -> Result<[Figure; 2], ReportError> {
    Ok([coverage(test)?, histogram(test)?])
}

fn frame(y: [f64; 2]) -> Frame {
    Frame { width: 560, height: 520, left: 76, right: 24, top: 20, bottom: 84, x: [0.0, 100.0], y }
}

fn coverage(test: &Backtest) -> Result<Figure, ReportError> {
    let rows = test.calibration(STEPS);
    let told: Vec<String> = test
        .coverage()
        .iter()
        .map(|row| format!("{} % held {} %", number(100.0 * row.level, 0), number(100.0 * row.observed, 1)))
        .collect();
    let description = format!(
        "Share of {} forecasts at {} checks whose interval held what was measured, against its level: {}. The diagonal is \
         what true intervals would give, the band around it what chance leaves.",
        test.scores().len(),
        test.checks(),
        told.join("; ")
    );
    let pct = |share: f64| 100.0 * share;
    Plot::figure("Observed against nominal coverage", &description, &frame([0.0, 100.0]), |plot| {
        let up = rows.iter().map(|row| [pct(row.level), pct(row.band.upper)]);
        let down = rows.iter().rev().map(|row| [pct(row.level), pct(row.band.lower)]);
        plot.polygon(&up.chain(down).collect::<Vec<_>>(), Role::Band);
        plot.levels(&round_ticks([0.0, 100.0], 5));
        plot.columns(&round_ticks([0.0, 100.0], 5));
        plot.path(&[[0.0, 0.0], [100.0, 100.0]], Role::Edge);
        let points: Vec<[f64; 2]> = rows.iter().map(|row| [pct(row.level), pct(row.observed)]).collect();
        plot.path(&points, Role::Left);
        for row in test.coverage() {
            plot.dot([pct(row.level), pct(row.observed)], Role::Left);
        }
        plot.text("level of the interval, %", [100.0, -9.0], Anchor::BelowLeft, Role::Muted);
    })
}

fn histogram(test: &Backtest) -> Result<Figure, ReportError> {
    let bins = test.pit();
    let even = 100.0 / bins.len().max(1) as f64;
    let shares: Vec<f64> = bins.iter().map(|bin| 100.0 * bin.share).collect();
    let most = shares.iter().copied().fold(2.0 * even, f64::max) * 1.05;
    let told: Vec<String> = shares.iter().map(|share| number(*share, 0)).collect();
    let description = format!(
        "Share of forecasts by where in the forecast the measured value lay, in tenths from low to high: {} %. True forecasts \
         give an even {} %.",
        told.join(", "),
        number(even, 0)
    );
    let band = test.pit_band();
    Plot::figure("Where in the forecast the measured value lay", &description, &frame([0.0, most]), |plot| {
        plot.rectangle([0.0, 100.0 * band.lower], [100.0, (100.0 * band.upper).min(most)], Role::Band);
        plot.levels(&round_ticks([0.0, most], 5));
        for (bin, share) in bins.iter().zip(&shares) {
            let (from, to) = (100.0 * bin.lower + 1.0, 100.0 * bin.upper - 1.0);
            plot.path(&[[from, 0.0], [from, *share], [to, *share], [to, 0.0]], Role::Left);
        }
        plot.path(&[[0.0, even], [100.0, even]], Role::Edge);
        for tick in round_ticks([0.0, 100.0], 5) {
            plot.text(&tick.label, [tick.at, 0.0], Anchor::Below, Role::Muted);
        }
        plot.text("share of the forecast below it, %", [100.0, -0.09 * most], Anchor::BelowLeft, Role::Muted);
    })
}
