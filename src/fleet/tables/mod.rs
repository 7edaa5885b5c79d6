//! Result tables: one row per line, row, check, action, term, spread, wing or forecast, each column with its unit in its name.
//! Each is declared once, with what its columns mean, for [`dictionary`](crate::fleet::dictionary) too.

pub(super) mod forecast;
pub(super) mod holdings;
pub(super) mod listing;
pub(super) mod plan;
pub(super) mod trim;
pub(super) mod vet;
pub(super) mod wear;
pub(super) mod wear_export;

pub use forecast::{backtest, backtest_coverage, backtest_crps, due, policies};
pub use holdings::{summary_models, summary_rows};
pub(super) use listing::listing;
pub use plan::{plan_actions, plan_lines, plans};
pub use trim::{TRIM, TrimTable, checks, diagnosis, lines, rows, twist};
pub use vet::{vet_checks, vet_findings};
pub use wear::{drift, predictions, spread, terms};
pub use wear_export::{
    compared, contrasts, covariance, design, draws, effects, frame, influence, power, profiles, residuals,
};

// What many columns say.
const CHECK: &str = "check id";
const WING: &str = "wing id";
const MODEL: &str = "model name";
const LINE: &str = "line name";
const SIDES: &str = "`left`, `right`";
const SIDE: &str = "side of the wing, as the pilot sees it";
const ROWS: &str = "`A` … `brake`";
const ROW: &str = "row name";
const TRUTH: &str = "`true`, `false`";
const HOURS: &str = "hours flown since new";

/// The name that a value has in JSON, so that tables and documents use one word.
fn named<T: serde::Serialize>(value: T) -> Option<String> {
    serde_json::to_value(value).ok()?.as_str().map(str::to_owned)
}

/// Items, each with what it is a part of.
fn within<'a, T, U: 'a>(
    all: &'a [T],
    parts: impl Fn(&'a T) -> &'a [U] + Copy,
) -> impl Iterator<Item = (&'a T, &'a U)> {
    all.iter().flat_map(move |one| parts(one).iter().map(move |part| (one, part)))
}
