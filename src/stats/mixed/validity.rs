//! Whether a fit that came from outside holds together.

use serde::{Deserialize, Deserializer, Serialize, Serializer, de};

use super::{MixedFit, Structure};

/// No figure of a wear model is larger than this in any unit; past it sums of squares lose their meaning.
const LARGEST: f64 = 1e9;

// what is derived for a type that is its own `remote` are plain functions of these names, which are called here

impl Serialize for MixedFit {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        Self::serialize(self, serializer)
    }
}

impl<'de> Deserialize<'de> for MixedFit {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let fit = Self::deserialize(deserializer)?;
        match fit.fault() {
            None => Ok(fit),
            Some(what) => Err(de::Error::custom(format!("a fit whose {what} cannot be"))),
        }
    }
}

impl MixedFit {
    /// What does not hold together in a fit that was not made here: lengths that contradict each other, figures out of range.
    /// `None` when every method of the fit is safe to call and draws from it are finite.
    fn fault(&self) -> Option<&'static str> {
        let structure = &self.structure;
        let small = structure.shared.iter().try_fold(structure.fixed.len(), |sum, term| sum.checked_add(term.levels));
        let Some(n) = small.filter(|n| *n <= self.beta.len()) else { return Some("shared effects") };
        let p = structure.fixed.len();
        let kept = self.kept.iter().filter(|keep| **keep).count();
        let columns = self.kept.iter().enumerate().filter(|(_, keep)| **keep).map(|(column, _)| column);
        // widths first, by the length of what is there: a structure's own numbers may be anything
        let widths = self.outer().len() == structure.outer.len()
            && self.outer().iter().zip(&structure.outer).all(|(spread, term)| {
                spread.name == term.name
                    && spread.sd.len() == term.width
                    && spread.correlation.len() == term.width * term.width
            });
        if !widths {
            return Some("spreads");
        }
        let checks = [
            (kept == p && self.kept.len() == p + self.dropped().len(), "kept columns"),
            (self.theta.len() == structure.parameters(), "length of theta"),
            (self.inverse_fits(), "curvature"),
            (self.beta.len() == n && self.fixed().len() == p, "length of the estimates"),
            (self.unscaled.len() == n * n && self.factor.len() == n * n, "size of the covariance"),
            (self.freedom_fits(n), "degrees of freedom"),
        ];
        if let Some((_, what)) = checks.iter().find(|(right, _)| !right) {
            return Some(what);
        }
        let finite = |values: &[f64]| values.iter().all(|value| value.is_finite());
        let spreads = self.outer().iter().all(|spread| {
            spread.sd.iter().all(|sd| (0.0..f64::INFINITY).contains(sd))
                && spread.correlation.iter().all(|r| r.abs() <= 1.0)
        });
        let effects = self.fixed().iter().zip(columns).zip(&structure.fixed).zip(&self.beta[n - p..]).all(
            |(((effect, column), name), beta)| {
                effect.column == column
                    && effect.name == *name
                    && effect.estimate.to_bits() == beta.to_bits()
                    && (0.0..f64::INFINITY).contains(&effect.se)
                    && effect.freedom > 0.0
                    && effect.freedom.is_finite()
            },
        );
        let checks = [
            (self.sigma() > 0.0 && self.sigma().is_finite(), "spread of readings"),
            (spreads, "spreads"),
            (finite(&self.theta) && self.theta[..structure.first_outer()].iter().all(|ratio| *ratio >= 0.0), "theta"),
            (finite(&self.beta) && effects, "estimates"),
            (finite(&self.unscaled) && positive_diagonal(&self.unscaled, n - p..n, n), "covariance"),
            (
                finite(&self.factor)
                    && positive_diagonal(&self.factor, 0..n, n)
                    && factored(&self.factor, &self.unscaled, &self.effect_ratios()),
                "factor of the covariance",
            ),
            (self.deviance().is_finite(), "deviance"),
        ];
        checks.iter().find(|(right, _)| !right).map(|(_, what)| *what)
    }

    /// What keeps a fit that came from outside from being one of the model whose structure, with all its fixed columns, is
    /// `whole`, in figures that lines can have.
    pub(crate) fn fault_in(&self, whole: &Structure) -> Option<&'static str> {
        let columns = self.kept.iter().enumerate().filter(|(_, keep)| **keep).map(|(column, _)| column);
        let mut names = columns.zip(&self.structure.fixed);
        let small = |values: &[f64]| values.iter().all(|value| value.abs() <= LARGEST);
        let checks = [
            (self.kept.len() == whole.fixed.len(), "kept columns"),
            (!self.structure.fixed.is_empty(), "fixed columns"),
            (names.all(|(column, name)| whole.fixed.get(column) == Some(name)), "names of fixed columns"),
            (
                self.structure.outer == whole.outer
                    && self.structure.inner == whole.inner
                    && self.structure.inner_slope == whole.inner_slope
                    && self.structure.shared == whole.shared,
                "random terms",
            ),
            (self.sigma() <= LARGEST, "spread of readings"),
            (self.outer().iter().all(|spread| small(&spread.sd)), "spreads"),
            (small(&self.theta), "theta"),
            (small(&self.beta) && self.fixed().iter().all(|effect| effect.se <= LARGEST), "estimates"),
            (small(&self.unscaled), "covariance"),
        ];
        checks.iter().find(|(right, _)| !right).map(|(_, what)| *what)
    }
}

/// Whether a part of the diagonal of a square of that side is above zero.
fn positive_diagonal(square: &[f64], part: std::ops::Range<usize>, side: usize) -> bool {
    part.into_iter().all(|k| square[k * side + k] > 0.0)
}

/// Whether `L Lᵀ` times the covariance, each effect taken over its ratio, is the identity to a rounding that no damage leaves.
fn factored(factor: &[f64], unscaled: &[f64], ratios: &[f64]) -> bool {
    let p = ratios.len();
    let there: Vec<usize> = (0..p).filter(|k| ratios[*k] != 0.0).collect();
    let precision =
        |i: usize, j: usize| -> f64 { (0..=i.min(j)).map(|k| factor[i * p + k] * factor[j * p + k]).sum() };
    let covariance = |i: usize, j: usize| unscaled[i * p + j] / (ratios[i] * ratios[j]);
    let scale = |k: usize| covariance(k, k).sqrt();
    there.iter().all(|&i| {
        there.iter().all(|&j| {
            let product: f64 = there.iter().map(|&k| precision(i, k) * covariance(k, j)).sum();
            let identity = if i == j { 1.0 } else { 0.0 };
            // in units of the standard errors, so that columns of any size count alike
            ((product - identity) * scale(i) / scale(j)).abs() < 1e-3
        })
    })
}
