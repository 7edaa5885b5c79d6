//! What to fit to a table.

use serde::{Deserialize, Serialize};

use super::coding::Term;
use super::design::Design;
use super::{DataTable, MixedModelFit, ModelError};
use crate::stats::mixed::{Covariance, Criterion, MixedSpec};

/// One random term.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct RandomTerm {
    pub(super) group: String,
    pub(super) effects: Vec<String>,
    pub(super) covariance: Covariance,
}

/// A mixed model of a table.
///
/// | setter | default | reason |
/// |---|---|---|
/// | `fixed` | the intercept | each is a column or a product such as `age:Sex` |
/// | `without_intercept` | with it | a line through the origin is rarely meant |
/// | `categorical` | text columns | numbers that are labels must be named |
/// | `random` | none | effects of a grouping column, correlated |
/// | `random_uncorrelated` | none | the same without correlations |
/// | `weights` | all alike | a column `w` with variance `σ²/w` |
/// | `criterion` | REML | spreads without bias |
///
/// ```
/// use linedrift::stats::mixed::{DataTable, MixedModelSpec};
///
/// let bench = ["a", "a", "a", "b", "b", "b", "c", "c", "c", "d", "d", "d"];
/// let read = [10.1, 10.3, 9.9, 12.0, 12.2, 11.9, 8.8, 9.1, 9.0, 11.2, 11.0, 11.3];
/// let table = DataTable::default().number("read_mm", read)?.text("bench", bench)?;
/// let fit = MixedModelSpec::new("read_mm").random("bench", ["1"]).fit(&table)?;
/// println!("{fit}");
/// assert!((fit.coefficients()[0].estimate - 10.567).abs() < 0.01);
/// # Ok::<(), linedrift::stats::mixed::ModelError>(())
/// ```
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MixedModelSpec {
    pub(super) response: String,
    fixed: Vec<String>,
    categorical: Vec<String>,
    pub(super) random: Vec<RandomTerm>,
    pub(super) weights: Option<String>,
    pub(super) criterion: Criterion,
}

impl MixedModelSpec {
    /// The intercept of a response column, and nothing else yet.
    #[must_use]
    pub fn new(response: impl Into<String>) -> Self {
        Self {
            response: response.into(),
            fixed: vec!["1".to_owned()],
            categorical: Vec::new(),
            random: Vec::new(),
            weights: None,
            criterion: Criterion::default(),
        }
    }

    /// One more fixed term: a column, or a product of columns with colons between.
    #[must_use]
    pub fn fixed(mut self, term: impl Into<String>) -> Self {
        self.fixed.push(term.into());
        self
    }

    /// No intercept.
    #[must_use]
    pub fn without_intercept(mut self) -> Self {
        self.fixed.retain(|term| term != "1");
        self
    }

    /// A column of numbers that are labels.
    #[must_use]
    pub fn categorical(mut self, column: impl Into<String>) -> Self {
        self.categorical.push(column.into());
        self
    }

    /// One more random term: a grouping column (or a product, `batch:cask`), and what differs between its levels: `1` for an
    /// offset, columns for slopes. All are correlated.
    #[must_use]
    pub fn random(self, group: impl Into<String>, effects: impl IntoIterator<Item = impl Into<String>>) -> Self {
        self.with(group.into(), effects, Covariance::Full)
    }

    /// The same with no correlations.
    #[must_use]
    pub fn random_uncorrelated(
        self,
        group: impl Into<String>,
        effects: impl IntoIterator<Item = impl Into<String>>,
    ) -> Self {
        self.with(group.into(), effects, Covariance::Diagonal)
    }

    fn with(
        mut self,
        group: String,
        effects: impl IntoIterator<Item = impl Into<String>>,
        covariance: Covariance,
    ) -> Self {
        let effects = effects.into_iter().map(Into::into).collect();
        self.random.push(RandomTerm { group, effects, covariance });
        self
    }

    /// A column of weights: a reading of weight `w` has the variance `σ²/w`.
    #[must_use]
    pub fn weights(mut self, column: impl Into<String>) -> Self {
        self.weights = Some(column.into());
        self
    }

    setters! {
        /// Likelihood to maximise.
        criterion: Criterion;
    }

    /// Fits the model.
    ///
    /// # Errors
    /// [`ModelError`]: a column that is not there or of the wrong kind, or what [`MixedSpec::fit`] refuses.
    pub fn fit(&self, table: &DataTable) -> Result<MixedModelFit, ModelError> {
        let terms = self
            .fixed
            .iter()
            .map(|name| Term::new(name, table, &self.categorical))
            .collect::<Result<Vec<Term>, _>>()?;
        let design = Design::new(self, &terms, table)?;
        let response = table.numbers(&self.response)?.to_vec();
        let blocks = design.blocks(&response);
        let mixed = MixedSpec::default().criterion(self.criterion).fit(&design.structure, &blocks)?;
        MixedModelFit::new(self.clone(), terms, design, response, mixed)
    }
}
