//! A fit with its random part told apart otherwise.

use super::fit::spread_of;
use super::{MixedFit, Structure};

impl MixedFit {
    /// The same fit with other random terms, for data whose likelihood is the same under both: `θ` is relative to the new
    /// `sigma`. Estimates of the fixed effects and their covariance stay as they are; what the search found stays with the fit
    /// that was searched.
    pub(crate) fn recast(&self, structure: Structure, theta: Vec<f64>, sigma: f64) -> Self {
        let mut out = self.clone();
        let ratio = sigma / self.sigma;
        // a shared effect is in the factor over its ratio to sigma, which changes with it
        let (shared, effects) = (self.structure.shared_columns(), self.structure.effects());
        out.factor.iter_mut().skip(shared * effects).for_each(|value| *value *= ratio);
        out.unscaled.iter_mut().for_each(|value| *value /= ratio * ratio);
        out.outer.clear();
        let mut at = structure.first_outer();
        for term in &structure.outer {
            let until = at + term.parameters();
            let factor = term.factor(theta.get(at..until).unwrap_or(&[]));
            out.outer.push(spread_of(&term.name, &factor, term.width, sigma));
            at = until;
        }
        out.structure = structure;
        out.theta = theta;
        out.sigma = sigma;
        out
    }
}
