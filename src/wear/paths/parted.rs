//! What the readings could not tell apart, told apart by what is known of readings elsewhere.

use std::borrow::Cow;

use statrs::distribution::{ContinuousCDF, Normal};

use crate::stats::mixed::{OuterTerm, Structure};
use crate::wear::WearFit;
use crate::wear::fit::wear_fit::Component;

/// Standard uncertainty of a reading, mm: the uncertainty budget of a line check ([`crate::check::Budget`]).
const READING_MM: f64 = 1.5;
/// How far that may be off, as a standard deviation of its logarithm (our default: budgets are known to about a third).
const READING_DOUBT: f64 = 0.3;
/// Uncertainty that all lines of a check share, mm: instrument and temperature in the same budget.
const CHECK_MM: f64 = 1.0;
/// Values of the reading error that the draws are spread over, equally likely.
const VALUES: usize = 5;
/// The most of what is left of a variance that may go to a check or a reading.
const MOST: f64 = 0.95;

impl WearFit {
    /// The fit as draws and predictions need it. Where every line was read once, the fit has one figure for the spread of lines
    /// and of readings; where every wing was checked once, one for the offset of a wing and of its check. Neither is then known
    /// to be nothing: the error of a reading is taken from the uncertainty budget, 1.5 mm, itself doubtful by 30 %, as five
    /// equally likely values; the rest of the variance is how lines were built. Likewise 1 mm of a check. The fixed effects and
    /// their covariance stay, since the readings are as likely either way.
    pub(crate) fn parted(&self) -> Cow<'_, Self> {
        if !(self.layout.line_not_separable || self.layout.check_not_separable) {
            return Cow::Borrowed(self);
        }
        let layout = self.layout.parted();
        let mut out = self.clone();
        out.components = self
            .components
            .iter()
            .flat_map(|component| {
                let readings = if self.layout.line_not_separable { reading_errors_mm() } else { Vec::new() };
                let values = if readings.is_empty() { vec![None] } else { readings.into_iter().map(Some).collect() };
                let weight = component.weight / values.len() as f64;
                let parted = |reading_mm: &Option<f64>| Component {
                    weight,
                    ..self.part(component, &layout.structure, *reading_mm)
                };
                values.iter().map(parted).collect::<Vec<_>>()
            })
            .collect();
        out.layout = layout;
        Cow::Owned(out)
    }

    /// One component with its random part told apart, readings erring by so much (`None`: as fitted).
    fn part(&self, component: &Component, structure: &Structure, reading_mm: Option<f64>) -> Component {
        let mixed = &component.mixed;
        let total_mm = mixed.sigma();
        // the reading never has all of it, so that the line is not known exactly
        let reading_mm = reading_mm.map_or(total_mm, |reading_mm| reading_mm.min(MOST * total_mm));
        let mut theta = Vec::with_capacity(structure.parameters());
        let first = mixed.structure.first_outer();
        theta.extend(mixed.theta()[..first].iter().map(|ratio| ratio * total_mm / reading_mm));
        if mixed.structure.inner.is_none() && structure.inner.is_some() {
            theta.push(((total_mm * total_mm - reading_mm * reading_mm).max(0.0)).sqrt() / reading_mm);
        }
        // ratios are to the reading's error
        let mut outer: Vec<f64> = mixed.theta()[first..].iter().map(|ratio| ratio * total_mm / reading_mm).collect();
        if structure.outer.len() > mixed.outer().len()
            && let Some(at) = self.layout.wing
        {
            let from: usize = mixed.structure.outer[..at].iter().map(OuterTerm::parameters).sum();
            let check = take_check(&mut outer[from..], CHECK_MM / reading_mm);
            outer.insert(0, check);
        }
        theta.extend(outer);
        let structure =
            Structure { inner: structure.inner.clone(), outer: structure.outer.clone(), ..mixed.structure.clone() };
        Component { mixed: mixed.recast(structure, theta, reading_mm), ..component.clone() }
    }
}

/// Takes a check's variance from that of a wing's offset, whose factor `[a, b, c]` (offset, pull on the rate, rest of the rate)
/// is at the head of `wing`; gives the check's ratio. The covariance of offset and rate stays.
fn take_check(wing: &mut [f64], check: f64) -> f64 {
    let [a, b, c, ..] = wing else { return 0.0 };
    let (offset, across, rate) = (*a * *a, *a * *b, *b * *b + *c * *c);
    let explained = if rate > 0.0 { across * across / rate } else { 0.0 };
    let taken = (check * check).min(MOST * (offset - explained).max(0.0));
    let left = (offset - taken).max(0.0).sqrt();
    *a = left;
    *b = if left > 0.0 { across / left } else { 0.0 };
    *c = (rate - *b * *b).max(0.0).sqrt();
    taken.sqrt()
}

/// Equally likely errors of a reading, the middle one first, mm.
fn reading_errors_mm() -> Vec<f64> {
    let normal = Normal::standard();
    let middle = |k: usize| normal.inverse_cdf((k as f64 + 0.5) / VALUES as f64);
    let order = (0..VALUES).map(|k| (k + VALUES / 2) % VALUES);
    order.map(|k| READING_MM * (READING_DOUBT * middle(k)).exp()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_checks_variance_comes_out_of_the_wings_offset_and_nothing_else_changes() {
        let before = [2.0, -0.5, 0.7];
        let mut wing = before;
        let check = take_check(&mut wing, 1.2);
        let square = |f: &[f64; 3]| [f[0] * f[0], f[0] * f[1], f[1] * f[1] + f[2] * f[2]];
        let ([offset, across, rate], [was, across_was, rate_was]) = (square(&wing), square(&before));
        assert!((check - 1.2).abs() < 1e-12 && (offset + 1.44 - was).abs() < 1e-12);
        assert!((across - across_was).abs() < 1e-12 && (rate - rate_was).abs() < 1e-12);
        // never more than there is
        let mut small = [0.5, 0.4, 0.1];
        let check = take_check(&mut small, 3.0);
        assert!(check > 0.0 && check * check < 0.25 && small.iter().all(|value| value.is_finite()));
        assert_eq!(take_check(&mut [0.0, 0.0, 1.0], 1.0), 0.0);
    }

    #[test]
    fn the_values_of_a_readings_error_have_the_budgets_middle() {
        let values = reading_errors_mm();
        assert_eq!(values.len(), 5);
        assert!((values[0] - 1.5).abs() < 1e-12, "{values:?}");
        assert!(values.iter().all(|value| (0.9..2.5).contains(value)), "{values:?}");
        let product: f64 = values.iter().product();
        assert!((product.powf(0.2) - 1.5).abs() < 1e-12, "{values:?}");
    }
}
