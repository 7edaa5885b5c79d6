//! Next checks, backtests, policies.

use super::{CHECK, MODEL, ROW, ROWS, WING, listing, named};
use crate::forecast::{Backtest, DueRow, ForecastScore, Method};
use crate::simulate::PolicyRow;

const BASES: &str = "`history`, `fleet`, `own`, `interval`";

listing! {
    /// One row per wing: when its next check is due, hours and day, and why.
    DUE = "due", "wing with a next check";
    pub fn due[](due: &[DueRow]) for row in due;
    text "wing", "", WING => &row.wing;
    text "model", "", MODEL => &row.model;
    text "basis", BASES, "what the forecast rests on" => named(row.basis);
    number "now_h", "h", "hours flown at the last check" => row.hours_now;
    number "due_h", "h", "hours flown at which the next check is due" => row.due_hours;
    text "due_date", "date", "day that this is expected on" => row.due_date;
    text "reason", "`interval`, `line`, … `already-over`", "what decides it" => named(row.reason);
    number "crossing_p10_h", "h", "hours by which a limit is crossed with 10 % chance; empty: beyond 1,000 h" => row.crossing_hours.p10;
    number "crossing_p50_h", "h", "the same, 50 %" => row.crossing_hours.p50;
    number "crossing_p90_h", "h", "the same, 90 %" => row.crossing_hours.p90;
    number "risk_now", "0 … 1", "chance that a limit is crossed already" => row.risk_now;
}

listing! {
    /// One row per forecast of a backtest: what was measured, the forecast's median and intervals, and the scores, mm.
    BACKTEST = "backtest", "row of a hidden check that was forecast";
    pub fn backtest[](scores: &[ForecastScore]) for score in scores;
    text "wing", "", WING => &score.wing;
    text "model", "", MODEL => &score.model;
    text "check", "", CHECK => &score.check;
    text "date", "date", "day of the check" => score.date;
    text "row", ROWS, ROW => score.row;
    text "material", "", "materials of the row" => &score.material;
    text "basis", BASES, "what the forecast rested on" => named(score.basis);
    number "ahead_h", "h", "hours between the last check known and this one" => score.hours_ahead_h;
    number "measured_mm", "mm", "row mean less the common offset, as measured" => score.measured_mm;
    number "median_mm", "mm", "median of the forecast" => score.median_mm;
    number "lower50_mm", "mm", "lower end of its 50 % interval" => score.lower50_mm;
    number "upper50_mm", "mm", "upper end of its 50 % interval" => score.upper50_mm;
    number "lower80_mm", "mm", "lower end of its 80 % interval" => score.lower80_mm;
    number "upper80_mm", "mm", "upper end of its 80 % interval" => score.upper80_mm;
    number "lower95_mm", "mm", "lower end of its 95 % interval" => score.lower95_mm;
    number "upper95_mm", "mm", "upper end of its 95 % interval" => score.upper95_mm;
    number "pit", "0 … 1", "share of the forecast below what was measured" => score.pit;
    number "crps_linedrift_mm", "mm", "score of the forecast (CRPS); lower is better" => score.crps_mm.linedrift;
    number "crps_last_value_mm", "mm", "score of the last value" => score.crps_mm.last_value;
    number "crps_own_points_mm", "mm", "score of a line through the wing's own points" => score.crps_mm.own_points;
    number "crps_fleet_mean_mm", "mm", "score of the mean of the fleet" => score.crps_mm.fleet_mean;
}

listing! {
    /// One row per level of a backtest: the share of its intervals that held what was measured, and the range of that share by
    /// chance if the intervals were right (0 … 1).
    BACKTEST_COVERAGE = "backtest_coverage", "level of a backtest";
    pub fn backtest_coverage[](test: &Backtest) for row in test.coverage();
    number "level", "0 … 1", "level of the intervals" => row.level;
    number "observed", "0 … 1", "share of them that held what was measured" => row.observed;
    number "chance_lower", "0 … 1", "lower end of the range of that share by chance" => row.band.lower;
    number "chance_upper", "0 … 1", "upper end of that range" => row.band.upper;
    whole "forecasts", "", "forecasts scored" => test.scores().len();
}

listing! {
    /// One row per method of a backtest: its mean score (CRPS, mm; lower is better), and how much more that is than the wear
    /// model's, with a standard error.
    BACKTEST_CRPS = "backtest_crps", "method of a backtest";
    pub fn backtest_crps[](test: &Backtest) for (crps, method) in Method::ALL.map(|method| (test.crps(), method));
    text "method", "", "method" => method.name();
    number "crps_mm", "mm", "mean score (CRPS); lower is better" => crps.of(*method);
    number "more_mm", "mm", "how much more than the wear model's" => other(*method).map(|one| crps.of(one) - crps.linedrift);
    number "more_se_mm", "mm", "standard error of that" => other(*method).map(|one| test.crps_difference_se_mm(one));
}

/// A method that is not the wear model's own.
fn other(method: Method) -> Option<Method> {
    (method != Method::Linedrift).then_some(method)
}

listing! {
    /// One row per policy: checks made, hours flown out of trim, and how many checks found the wing out.
    POLICIES = "policies", "policy, of `simulate --policies`";
    pub fn policies[](rows: &[PolicyRow]) for row in rows;
    text "policy", "", "when the wing is checked: after fixed hours, or at an accepted risk" => row.policy.name();
    number "checks_per_100_h", "1/100 h", "checks per 100 h flown, the one when new left out" => row.checks_per_100_h;
    number "out_of_trim_pct", "%", "share of the hours flown out of trim" => row.out_of_trim_pct;
    number "out_of_trim_se_pct", "%", "standard error of that share over wings" => row.out_of_trim_se_pct;
    number "found_out_pct", "%", "share of the checks that found the wing out of trim" => row.found_out_pct;
}
