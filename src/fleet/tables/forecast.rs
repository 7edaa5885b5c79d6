//! Next checks, backtests, policies.

use super::{count, named};
use crate::fleet::table::Table;
use crate::forecast::{Backtest, DueRow, ForecastScore, Method};
use crate::simulate::PolicyRow;

/// One row per wing: when its next check is due, hours and day, and why.
#[must_use]
pub fn due(due: &[DueRow]) -> Table {
    Table::new("due")
        .text("wing", due.iter().map(|row| Some(row.wing.as_str())))
        .text("model", due.iter().map(|row| Some(row.model.as_str())))
        .text("basis", due.iter().map(|row| named(row.basis)))
        .number("now_h", due.iter().map(|row| Some(row.hours_now)))
        .number("due_h", due.iter().map(|row| Some(row.due_hours)))
        .text("due_date", due.iter().map(|row| row.due_date.map(|day| day.to_string())))
        .text("reason", due.iter().map(|row| named(row.reason)))
        .number("crossing_p10_h", due.iter().map(|row| row.crossing_hours.p10))
        .number("crossing_p50_h", due.iter().map(|row| row.crossing_hours.p50))
        .number("crossing_p90_h", due.iter().map(|row| row.crossing_hours.p90))
        .number("risk_now", due.iter().map(|row| row.risk_now))
}

/// One row per forecast of a backtest: what was measured, the forecast's median and intervals, and the scores, mm.
#[must_use]
pub fn backtest(scores: &[ForecastScore]) -> Table {
    let number = |of: fn(&ForecastScore) -> f64| scores.iter().map(move |score| Some(of(score)));
    Table::new("backtest")
        .text("wing", scores.iter().map(|score| Some(score.wing.as_str())))
        .text("model", scores.iter().map(|score| Some(score.model.as_str())))
        .text("check", scores.iter().map(|score| Some(score.check.as_str())))
        .text("date", scores.iter().map(|score| Some(score.date.to_string())))
        .text("row", scores.iter().map(|score| Some(score.row.name())))
        .text("material", scores.iter().map(|score| Some(score.material.as_str())))
        .text("basis", scores.iter().map(|score| named(score.basis)))
        .number("ahead_h", number(|score| score.hours_ahead_h))
        .number("measured_mm", number(|score| score.measured_mm))
        .number("median_mm", number(|score| score.median_mm))
        .number("lower50_mm", number(|score| score.lower50_mm))
        .number("upper50_mm", number(|score| score.upper50_mm))
        .number("lower80_mm", number(|score| score.lower80_mm))
        .number("upper80_mm", number(|score| score.upper80_mm))
        .number("lower95_mm", number(|score| score.lower95_mm))
        .number("upper95_mm", number(|score| score.upper95_mm))
        .number("pit", number(|score| score.pit))
        .number("crps_linedrift_mm", number(|score| score.crps_mm.linedrift))
        .number("crps_last_value_mm", number(|score| score.crps_mm.last_value))
        .number("crps_own_points_mm", number(|score| score.crps_mm.own_points))
        .number("crps_fleet_mean_mm", number(|score| score.crps_mm.fleet_mean))
}

/// One row per level of a backtest: the share of its intervals that held what was measured, and the range of that share by
/// chance if the intervals were right (0 … 1).
#[must_use]
pub fn backtest_coverage(test: &Backtest) -> Table {
    let rows = test.coverage();
    Table::new("backtest_coverage")
        .number("level", rows.iter().map(|row| Some(row.level)))
        .number("observed", rows.iter().map(|row| Some(row.observed)))
        .number("chance_lower", rows.iter().map(|row| Some(row.band.lower)))
        .number("chance_upper", rows.iter().map(|row| Some(row.band.upper)))
        .count("forecasts", rows.iter().map(|_| count(test.scores().len())))
}

/// One row per method of a backtest: its mean score (CRPS, mm; lower is better), and how much more that is than the wear
/// model's, with a standard error.
#[must_use]
pub fn backtest_crps(test: &Backtest) -> Table {
    let crps = test.crps();
    let against = |method: Method| (method != Method::Linedrift).then_some(method);
    Table::new("backtest_crps")
        .text("method", Method::ALL.into_iter().map(|method| Some(method.name())))
        .number("crps_mm", Method::ALL.into_iter().map(|method| Some(crps.of(method))))
        .number("more_mm", Method::ALL.into_iter().map(|one| against(one).map(|one| crps.of(one) - crps.linedrift)))
        .number(
            "more_se_mm",
            Method::ALL.into_iter().map(|one| against(one).map(|one| test.crps_difference_se_mm(one))),
        )
}

/// One row per policy: checks made, hours flown out of trim, and how many checks found the wing out.
#[must_use]
pub fn policies(rows: &[PolicyRow]) -> Table {
    Table::new("policies")
        .text("policy", rows.iter().map(|row| Some(row.policy.name())))
        .number("checks_per_100_h", rows.iter().map(|row| Some(row.checks_per_100_h)))
        .number("out_of_trim_pct", rows.iter().map(|row| Some(row.out_of_trim_pct)))
        .number("out_of_trim_se_pct", rows.iter().map(|row| Some(row.out_of_trim_se_pct)))
        .number("found_out_pct", rows.iter().map(|row| Some(row.found_out_pct)))
}
