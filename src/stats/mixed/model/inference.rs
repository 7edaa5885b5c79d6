//! Contrasts, joint tests and likelihood ratios.

use nalgebra::{DMatrix, SymmetricEigen};
use serde::{Deserialize, Serialize};
use statrs::distribution::{ChiSquared, ContinuousCDF, FisherSnedecor};

use super::{MixedModelFit, ModelError};
use crate::stats::ContrastRow;
use crate::stats::contrast::adjust;
use crate::stats::mixed::Criterion;

/// A joint test that several combinations of coefficients are zero.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct JointTest {
    /// What is tested.
    pub tested: String,
    /// F statistic.
    pub statistic: f64,
    /// Degrees of freedom of the numerator.
    pub numerator: f64,
    /// Degrees of freedom of the denominator (Satterthwaite).
    pub denominator: f64,
    /// p-value.
    pub p: f64,
}

/// A likelihood-ratio test of a smaller model within a larger one, both by ML.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct ModelRatio {
    /// `2 (log L(larger) − log L(smaller))`.
    pub statistic: f64,
    /// Parameters more.
    pub freedom: usize,
    /// p against χ² with that many degrees of freedom.
    pub p_chi2: f64,
    /// p with the bound that a variance has: the even mixture of χ² with one degree fewer and with all, where the larger model has
    /// effects of one random term more; otherwise the same as `p_chi2`.
    ///
    /// Source: Self and Liang, J. Am. Stat. Assoc. 82, 1987; Stram and Lee, Biometrics 50, 1994 (memory).
    pub p: f64,
}

/// The share of an F distribution beyond a value.
fn f_tail(statistic: f64, numerator: f64, denominator: f64) -> f64 {
    if denominator >= 1e6 {
        return chi2_tail(statistic * numerator, numerator);
    }
    FisherSnedecor::new(numerator, denominator).map_or(1.0, |f| f.sf(statistic))
}

fn chi2_tail(statistic: f64, freedom: f64) -> f64 {
    if freedom <= 0.0 {
        return if statistic > 0.0 { 0.0 } else { 1.0 };
    }
    ChiSquared::new(freedom).map_or(1.0, |chi2| chi2.sf(statistic))
}

impl MixedModelFit {
    /// Weights by kept coefficient from names and weights.
    fn weights(&self, parts: &[(&str, f64)]) -> Result<Vec<f64>, ModelError> {
        let fixed = self.mixed.fixed();
        let mut weights = vec![0.0; fixed.len()];
        for (name, weight) in parts {
            let at = fixed.iter().position(|effect| effect.name == *name).ok_or_else(|| {
                let known: Vec<&str> = fixed.iter().map(|effect| effect.name.as_str()).collect();
                ModelError::NoCoefficient { name: (*name).to_owned(), known: known.join(", ") }
            })?;
            weights[at] += weight;
        }
        Ok(weights)
    }

    /// A linear combination of coefficients, given by name: estimate, standard error, Satterthwaite degrees of freedom, 95 % interval
    /// and p.
    ///
    /// # Errors
    /// [`ModelError::NoCoefficient`].
    pub fn contrast(&self, name: &str, parts: &[(&str, f64)]) -> Result<ContrastRow, ModelError> {
        let weights = self.weights(parts)?;
        Ok(self.contrast_of(name, &weights))
    }

    fn contrast_of(&self, name: &str, weights: &[f64]) -> ContrastRow {
        let estimate = weights.iter().zip(self.mixed.fixed()).map(|(w, effect)| w * effect.estimate).sum();
        let se = self.mixed.effects_covariance(weights, weights).max(0.0).sqrt();
        ContrastRow::new(name.to_owned(), estimate, se, self.mixed.freedom(weights), 0.95)
    }

    /// Several contrasts that are to hold together: each row has the simultaneous interval and p too.
    ///
    /// # Errors
    /// [`ModelError::NoCoefficient`].
    pub fn contrasts(&self, asked: &[(&str, &[(&str, f64)])]) -> Result<Vec<ContrastRow>, ModelError> {
        let weights = asked.iter().map(|(_, parts)| self.weights(parts)).collect::<Result<Vec<_>, _>>()?;
        Ok(self.together(asked.iter().map(|(name, _)| (*name).to_owned()), &weights))
    }

    fn together(&self, names: impl Iterator<Item = String>, weights: &[Vec<f64>]) -> Vec<ContrastRow> {
        let mut rows: Vec<ContrastRow> =
            names.zip(weights).map(|(name, weights)| self.contrast_of(&name, weights)).collect();
        let covariance: Vec<f64> =
            weights.iter().flat_map(|a| weights.iter().map(|b| self.mixed.effects_covariance(a, b))).collect();
        adjust(&mut rows, &covariance, 0.95);
        rows
    }

    /// All pairs of the levels of a categorical column that is a fixed term by itself, to hold together. Where the column is in a
    /// product too, the pairs are those at zero of the other columns.
    ///
    /// # Errors
    /// [`ModelError::NoCoefficient`] when it is no such term.
    pub fn pairs(&self, column: &str) -> Result<Vec<ContrastRow>, ModelError> {
        let prefix = format!("{column}=");
        let others: Vec<(usize, String)> = self
            .mixed
            .fixed()
            .iter()
            .enumerate()
            .filter(|(_, effect)| effect.name.starts_with(&prefix) && !effect.name.contains(':'))
            .map(|(place, effect)| (place, effect.name[prefix.len()..].to_owned()))
            .collect();
        if others.is_empty() {
            self.weights(&[(column, 1.0)])?;
        }
        let first = self.terms.iter().find(|term| term.name == column).and_then(super::coding::Term::baseline);
        let p = self.mixed.fixed().len();
        let mut levels = vec![(None, first.unwrap_or("baseline").to_owned())];
        levels.extend(others.into_iter().map(|(place, level)| (Some(place), level)));
        let (mut names, mut weights) = (Vec::new(), Vec::new());
        for (k, (a, name)) in levels.iter().enumerate() {
            for (b, other) in &levels[k + 1..] {
                let mut w = vec![0.0; p];
                if let Some(a) = a {
                    w[*a] += 1.0;
                }
                if let Some(b) = b {
                    w[*b] -= 1.0;
                }
                names.push(format!("{name} - {other}"));
                weights.push(w);
            }
        }
        Ok(self.together(names.into_iter(), &weights))
    }

    /// Tests that all coefficients of a fixed term are zero: F with Satterthwaite's denominator.
    ///
    /// With `L Cov Lᵀ = P D Pᵀ`, each rotated combination has its own degrees `ν_m`; `E = Σ ν_m/(ν_m − 2)` over those above 2 gives
    /// `2E/(E − q)`. Source: Fai and Cornelius, J. Stat. Comput. Simul. 54, 1996 (memory).
    ///
    /// # Errors
    /// [`ModelError::NoCoefficient`] when the term has no coefficient that was kept.
    pub fn term_test(&self, term: &str) -> Result<JointTest, ModelError> {
        let place = self.terms.iter().position(|known| known.name == term);
        let fixed = self.mixed.fixed();
        let rows: Vec<Vec<f64>> = fixed
            .iter()
            .enumerate()
            .filter(|(_, effect)| Some(self.design.term_of[effect.column]) == place)
            .map(|(at, _)| (0..fixed.len()).map(|k| f64::from(u8::from(k == at))).collect())
            .collect();
        if rows.is_empty() {
            self.weights(&[(term, 1.0)])?;
        }
        Ok(self.joint(term, &rows))
    }

    /// Tests of all fixed terms but the intercept, each given the others.
    #[must_use]
    pub fn term_tests(&self) -> Vec<JointTest> {
        self.terms.iter().filter(|term| term.name != "1").filter_map(|term| self.term_test(&term.name).ok()).collect()
    }

    fn joint(&self, tested: &str, rows: &[Vec<f64>]) -> JointTest {
        let q = rows.len();
        let covariance = DMatrix::from_fn(q, q, |i, j| self.mixed.effects_covariance(&rows[i], &rows[j]));
        let eigen = SymmetricEigen::new(covariance);
        let largest = eigen.eigenvalues.iter().fold(0.0, |a: f64, b| a.max(*b));
        let (mut sum, mut used, mut freedoms) = (0.0, 0.0, Vec::new());
        for (m, value) in eigen.eigenvalues.iter().enumerate().filter(|(_, value)| **value > 1e-12 * largest) {
            let p = self.mixed.fixed().len();
            let weights: Vec<f64> =
                (0..p).map(|k| (0..q).map(|i| eigen.eigenvectors[(i, m)] * rows[i][k]).sum()).collect();
            let estimate: f64 = weights.iter().zip(self.mixed.fixed()).map(|(w, effect)| w * effect.estimate).sum();
            sum += estimate * estimate / value;
            used += 1.0;
            freedoms.push(self.mixed.freedom(&weights));
        }
        let statistic = if used > 0.0 { sum / used } else { 0.0 };
        let denominator = pooled(&freedoms);
        JointTest {
            tested: tested.to_owned(),
            statistic,
            numerator: used,
            denominator,
            p: f_tail(statistic, used, denominator),
        }
    }

    /// Tests a smaller model within this one by likelihood; both are fitted by ML.
    ///
    /// # Errors
    /// [`ModelError::NotNested`] when the other has rows, coefficients or random effects that this one does not have.
    pub fn likelihood_ratio(&self, smaller: &MixedModelFit) -> Result<ModelRatio, ModelError> {
        let refuse = |what: String| Err(ModelError::NotNested { what });
        if self.response != smaller.response {
            return refuse("they are not of the same response".to_owned());
        }
        let names = |fit: &MixedModelFit| -> Vec<String> {
            fit.mixed.fixed().iter().map(|effect| effect.name.clone()).collect()
        };
        let (large, small) = (names(self), names(smaller));
        if let Some(name) = small.iter().find(|name| !large.contains(name)) {
            return refuse(format!("`{name}` is in the smaller one only"));
        }
        for term in &smaller.spec.random {
            let within = self.spec.random.iter().any(|known| {
                known.group == term.group
                    && term.effects.iter().all(|effect| known.effects.contains(effect))
                    && (known.covariance == term.covariance
                        || term.covariance == crate::stats::mixed::Covariance::Diagonal
                        || term.effects.len() == 1)
            });
            if !within {
                return refuse(format!("the random effects of `{}` are in the smaller one only", term.group));
            }
        }
        let freedom = self.mixed.parameters().saturating_sub(smaller.mixed.parameters());
        let (large_fit, small_fit) = (self.refit_by(Criterion::Ml)?, smaller.refit_by(Criterion::Ml)?);
        let statistic = (small_fit.mixed.deviance() - large_fit.mixed.deviance()).max(0.0);
        let p_chi2 = chi2_tail(statistic, freedom as f64);
        let effects = |fit: &MixedModelFit| fit.spec.random.iter().map(|term| term.effects.len()).sum::<usize>();
        let one_more = effects(self) == effects(smaller) + 1;
        let p = if one_more && freedom > 0 {
            f64::midpoint(chi2_tail(statistic, freedom as f64 - 1.0), p_chi2)
        } else {
            p_chi2
        };
        Ok(ModelRatio { statistic, freedom, p_chi2, p })
    }
}

/// Denominator degrees of freedom of several rotated combinations.
fn pooled(freedoms: &[f64]) -> f64 {
    let q = freedoms.len() as f64;
    match freedoms {
        [] => return 1e6,
        [one] => return *one,
        _ => {}
    }
    let (least, most) = freedoms.iter().fold((f64::INFINITY, 0.0_f64), |(a, b), v| (a.min(*v), b.max(*v)));
    if most - least < 1e-8 * most {
        return least;
    }
    let e: f64 = freedoms.iter().filter(|v| **v > 2.0).map(|v| v / (v - 2.0)).sum();
    if e > q { (2.0 * e / (e - q)).min(1e6) } else { 2.0 }
}
