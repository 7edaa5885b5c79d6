//! The wear model behind forecasts.

use linedrift::check::Fleet;
use linedrift::wear::{Reduction, WearError, WearFit, WearSpec, WingEffects};

/// How much lower the deviance must be for one variance more (Akaike's criterion; both fits have the same fixed terms, so
/// that their REML deviances may be compared).
const PRICE_OF_A_VARIANCE: f64 = 2.0;

/// The default wear model, with rates that differ by row of a wing where the data prefer it: without them a wing's own
/// history hardly moves the forecast of its trim.
pub(super) fn fit(fleet: &Fleet) -> Result<WearFit, WearError> {
    let reduction = Reduction::new(fleet, &[])?;
    let plain = WearSpec::default().fit_reduced(&reduction)?;
    let by_row = WearSpec::default().wing_effects(WingEffects::RateRow).fit_reduced(&reduction)?;
    Ok(if by_row.deviance() + PRICE_OF_A_VARIANCE < plain.deviance() { by_row } else { plain })
}
