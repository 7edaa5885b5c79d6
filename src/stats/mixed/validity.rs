//! Whether a fit that came from outside holds together.

use super::{MixedFit, Structure};

/// No figure of a fit is larger than this in any unit; past it sums of squares lose their meaning.
const LARGEST: f64 = 1e9;

impl MixedFit {
    /// What does not hold together in a fit that was not made here (a file): lengths that contradict each other, figures out
    /// of range. `None` when every method of the fit is safe to call and draws from it are finite. `whole` is the structure
    /// of the model with all its fixed columns, dropped ones too.
    pub(crate) fn fault(&self, whole: &Structure) -> Option<&'static str> {
        let p = self.structure.fixed.len();
        let columns = self.kept.iter().enumerate().filter(|(_, keep)| **keep).map(|(column, _)| column);
        let names = columns.clone().zip(&self.structure.fixed);
        let checks = [
            (self.kept.len() == whole.fixed.len(), "kept columns"),
            (columns.clone().count() == p && p > 0, "fixed columns"),
            (names.clone().all(|(column, name)| whole.fixed.get(column) == Some(name)), "names of fixed columns"),
            (self.structure.outer == whole.outer && self.structure.inner == whole.inner, "random terms"),
            (self.theta.len() == whole.parameters(), "length of theta"),
            (self.beta.len() == p && self.fixed().len() == p, "length of the estimates"),
            (self.unscaled.len() == p * p && self.factor.len() == p * p, "size of the covariance"),
            (self.freedom_fits(p), "degrees of freedom"),
            (self.outer().len() == whole.outer.len(), "spreads"),
        ];
        if let Some((_, what)) = checks.iter().find(|(right, _)| !right) {
            return Some(what);
        }
        let small = |values: &[f64]| values.iter().all(|value| value.abs() <= LARGEST);
        let spreads = self.outer().iter().zip(&whole.outer).all(|(spread, term)| {
            spread.name == term.name
                && spread.sd.len() == term.width
                && spread.correlation.len() == term.width * term.width
                && spread.sd.iter().all(|sd| (0.0..=LARGEST).contains(sd))
                && spread.correlation.iter().all(|r| r.abs() <= 1.0)
        });
        let effects = self.fixed().iter().zip(names).zip(&self.beta).all(|((effect, (column, name)), beta)| {
            effect.column == column
                && effect.name == *name
                && effect.estimate.to_bits() == beta.to_bits()
                && (0.0..=LARGEST).contains(&effect.se)
                && effect.freedom > 0.0
        });
        let diagonal = |square: &[f64]| (0..p).all(|k| square[k * p + k] > 0.0 && square[k * p + k] <= LARGEST);
        let checks = [
            (self.sigma() > 0.0 && self.sigma() <= LARGEST, "spread of readings"),
            (spreads, "spreads"),
            (small(&self.theta) && (whole.inner.is_none() || self.theta[0] >= 0.0), "theta"),
            (small(&self.beta) && effects, "estimates"),
            (small(&self.unscaled) && diagonal(&self.unscaled), "covariance"),
            (
                diagonal_factor(&self.factor, p) && factored(&self.factor, &self.unscaled, p),
                "factor of the covariance",
            ),
            (self.deviance().is_finite(), "deviance"),
        ];
        checks.iter().find(|(right, _)| !right).map(|(_, what)| *what)
    }
}

/// Whether a lower factor has a diagonal above zero.
fn diagonal_factor(factor: &[f64], p: usize) -> bool {
    (0..p).all(|k| factor[k * p + k] > 0.0 && factor[k * p + k].is_finite())
}

/// Whether `L Lᵀ` times the covariance is the identity to a rounding that no damage leaves.
fn factored(factor: &[f64], unscaled: &[f64], p: usize) -> bool {
    let precision =
        |i: usize, j: usize| -> f64 { (0..=i.min(j)).map(|k| factor[i * p + k] * factor[j * p + k]).sum() };
    let scale = |k: usize| unscaled[k * p + k].sqrt();
    (0..p).all(|i| {
        (0..p).all(|j| {
            let product: f64 = (0..p).map(|k| precision(i, k) * unscaled[k * p + j]).sum();
            let identity = if i == j { 1.0 } else { 0.0 };
            // in units of the standard errors, so that columns of any size count alike
            ((product - identity) * scale(i) / scale(j)).abs() < 1e-3
        })
    })
}
