//! What a mixed model consists of.

use serde::{Deserialize, Serialize};
use thiserror::Error;

/// Covariance between the effects of one outer term.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Covariance {
    /// All variances and correlations free.
    Full,
    /// Variances free, correlations zero.
    Diagonal,
}

/// Which likelihood is maximised.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Criterion {
    /// Restricted maximum likelihood: spreads without the bias of estimated fixed effects.
    #[default]
    Reml,
    /// Maximum likelihood: for comparing models that differ in fixed effects.
    Ml,
}

/// One outer term: `width` effects that share a covariance, in any number of copies per block.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct OuterTerm {
    /// Name, for messages and rows.
    pub name: String,
    /// Effects per copy (1 for an offset, 2 for offset and rate).
    pub width: usize,
    /// Covariance between the effects of a copy.
    pub covariance: Covariance,
}

impl OuterTerm {
    /// How many parameters its relative covariance factor has.
    #[must_use]
    pub fn parameters(&self) -> usize {
        match self.covariance {
            Covariance::Full => self.width * (self.width + 1) / 2,
            Covariance::Diagonal => self.width,
        }
    }

    /// The relative covariance factor Λ of one copy, row-major `width × width`, from its parameters: the lower triangle
    /// column by column, or the diagonal.
    #[must_use]
    pub fn factor(&self, theta: &[f64]) -> Vec<f64> {
        let w = self.width;
        let mut factor = vec![0.0; w * w];
        for (place, value) in self.places().zip(theta) {
            factor[place] = *value;
        }
        factor
    }

    /// Row-major places in Λ of its parameters, in order.
    pub(crate) fn places(&self) -> impl Iterator<Item = usize> + use<> {
        let w = self.width;
        let full = self.covariance == Covariance::Full;
        (0..w).flat_map(move |column| {
            let last = if full { w } else { column + 1 };
            (column..last).map(move |row| row * w + column)
        })
    }
}

/// One shared term: effects that all blocks have in common, each with a column of its own, independent, of one variance.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SharedTerm {
    /// Name, for messages and rows.
    pub name: String,
    /// Effects.
    pub levels: usize,
}

/// The parts of a model: inner effects or not, outer terms, names of the fixed columns, and where there are any, slopes of the
/// inner effects and effects that blocks share.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Structure {
    /// Name of the inner effects, if the model has any.
    pub inner: Option<String>,
    /// The outer terms.
    pub outer: Vec<OuterTerm>,
    /// Names of the fixed columns.
    pub fixed: Vec<String>,
    /// Name of the inner slopes, if the model has any: each unit of inner levels has a slope of its own on a given variable.
    #[serde(default)]
    pub inner_slope: Option<String>,
    /// Effects that blocks share. Their columns stand before the fixed ones.
    #[serde(default)]
    pub shared: Vec<SharedTerm>,
}

impl Structure {
    /// How many parameters θ has: the inner ratio, that of the inner slopes, each outer term's factor, each shared term's ratio.
    #[must_use]
    pub fn parameters(&self) -> usize {
        self.first_outer() + self.outer.iter().map(OuterTerm::parameters).sum::<usize>() + self.shared.len()
    }

    /// Place in θ of the first outer term's factor.
    pub(crate) fn first_outer(&self) -> usize {
        usize::from(self.inner.is_some()) + usize::from(self.inner_slope.is_some())
    }

    /// Place in θ of the inner slopes' ratio.
    pub(crate) fn slope_place(&self) -> Option<usize> {
        self.inner_slope.as_ref().map(|_| usize::from(self.inner.is_some()))
    }

    /// Columns of the shared effects.
    #[must_use]
    pub(crate) fn shared_columns(&self) -> usize {
        self.shared.iter().map(|term| term.levels).sum()
    }

    /// Columns of the shared and the fixed effects.
    pub(crate) fn effects(&self) -> usize {
        self.shared_columns() + self.fixed.len()
    }

    /// Makes the ratios and the diagonals of the factors non-negative; the criterion does not change.
    pub(super) fn fix_signs(&self, theta: &mut [f64]) {
        let mut at = self.first_outer();
        theta[..at].iter_mut().for_each(|ratio| *ratio = ratio.abs());
        for term in &self.outer {
            let places: Vec<usize> = term.places().collect();
            let w = term.width;
            for column in 0..w {
                let diagonal = places.iter().position(|place| *place == column * (w + 1));
                if diagonal.is_some_and(|k| theta[at + k] < 0.0) {
                    for (k, _) in places.iter().enumerate().filter(|(_, place)| *place % w == column) {
                        theta[at + k] = -theta[at + k];
                    }
                }
            }
            at += places.len();
        }
        theta[at..].iter_mut().for_each(|ratio| *ratio = ratio.abs());
    }
}

/// Why a mixed model could not be fitted.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum MixedError {
    /// More fixed effects and free offsets than readings leave room for.
    #[error(
        "{observations} readings cannot carry {fixed} fixed effects and {unpenalised} free offsets: bring more checks"
    )]
    TooFew {
        /// Readings.
        observations: usize,
        /// Fixed effects kept.
        fixed: usize,
        /// Unpenalised inner levels.
        unpenalised: usize,
    },
    /// Nothing varies about the fixed effects, so that there is no spread to estimate.
    #[error("the fixed effects reproduce all {observations} readings exactly: there is no spread to estimate")]
    NoVariation {
        /// Readings.
        observations: usize,
    },
    /// θ has the wrong length.
    #[error("θ has {got} values, the model needs {expected}")]
    Theta {
        /// Values given.
        got: usize,
        /// Values needed.
        expected: usize,
    },
    /// A block was built for another structure: its columns are not the model's.
    #[error("block {block} has {columns} columns of another model: build it with this model's structure")]
    Foreign {
        /// Place of the first such block.
        block: usize,
        /// Its columns, the response among them.
        columns: usize,
    },
    /// A parameter was asked for that the model does not have.
    #[error("the model has no such parameter")]
    Parameter,
    /// The criterion is not defined at a point: not finite, or a factor that breaks down.
    #[error("the criterion cannot be evaluated at θ = {theta:?}: look for values many orders of magnitude apart")]
    Undefined {
        /// The point.
        theta: Vec<f64>,
    },
}
