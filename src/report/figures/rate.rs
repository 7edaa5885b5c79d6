//! Rates of the wear model by material and row.

use super::figure::{Figure, Role};
use super::plot::{Anchor, Frame, Plot, Tick, round_ticks};
use crate::report::ReportError;
use crate::report::words::signed;
use crate::wear::TermRow;

/// Points with 95 % intervals of the rates by material and row (mm per metre of line in the first 100 h; negative shrinks),
/// `None` when there is no rate among the terms.
///
/// ```
/// use linedrift::{WearSpec, report::rate_figure, simulate::FleetSpec};
///
/// let fleet = FleetSpec::default().wings(8).seed(7).run()?.fleet;
/// let fit = WearSpec::default().fit(&fleet)?;
/// let svg = rate_figure(fit.terms())?.ok_or("no rate")?.standalone();
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`ReportError::Drawing`] when a scale of the figure is empty or not finite.
pub fn rate_figure(terms: &[TermRow]) -> Result<Option<Figure>, ReportError> {
    let rates: Vec<(String, &TermRow)> = terms
        .iter()
        .filter(|term| [term.estimate, term.lower, term.upper].into_iter().all(f64::is_finite))
        .filter_map(|term| {
            let mut parts = term.term.strip_prefix("rate:")?.rsplitn(2, ':');
            let row = parts.next()?;
            Some((format!("{} {row}", parts.next()?), term))
        })
        .collect();
    if rates.is_empty() {
        return Ok(None);
    }
    let low = rates.iter().map(|(_, term)| term.lower).fold(0.0, f64::min);
    let high = rates.iter().map(|(_, term)| term.upper).fold(0.0, f64::max);
    let pad = 0.04 * (high - low).max(0.1);
    let rows = u32::try_from(rates.len()).unwrap_or(u32::MAX);
    let longest = rates.iter().map(|(name, _)| name.chars().count()).max().unwrap_or(0);
    let frame = Frame {
        width: 680,
        height: rows.saturating_mul(36).saturating_add(90),
        left: u32::try_from(longest * 14 + 28).unwrap_or(290).min(290),
        right: 90,
        top: 16,
        bottom: 74,
        x: [low - pad, high + pad],
        y: [f64::from(rows) - 0.5, -0.5],
    };
    let described: Vec<String> = rates
        .iter()
        .map(|(name, term)| {
            format!("{name} {} ({} to {})", signed(term.estimate, 2), signed(term.lower, 2), signed(term.upper, 2))
        })
        .collect();
    let description = format!(
        "Drift in mm per metre of line in the first 100 h with 95 % interval, negative is shrinking: {}.",
        described.join("; ")
    );
    Plot::figure("Drift by material and row", &description, &frame, |plot| {
        plot.columns(&round_ticks(frame.x, 5));
        plot.path(&[[0.0, frame.y[0]], [0.0, frame.y[1]]], Role::Zero);
        for (place, (name, term)) in rates.iter().enumerate() {
            let y = place as f64;
            let shown: String = name.chars().take(18).collect();
            plot.text(&shown, [frame.x[0], y], Anchor::Left, Role::Ink);
            plot.path(&[[term.lower, y], [term.upper, y]], Role::Interval);
            plot.dot([term.estimate, y], Role::Interval);
            plot.text(&signed(term.estimate, 2), [frame.x[1], y], Anchor::Right, Role::Ink);
        }
        let middle = f64::midpoint(frame.x[0], frame.x[1]);
        let under = Tick { at: middle, label: "mm per metre in the first 100 h".to_owned() };
        plot.text(&under.label, [under.at, frame.y[0] + 0.85], Anchor::Below, Role::Muted);
    })
    .map(Some)
}
