//! What the fit owes to each wing.

use serde::{Deserialize, Serialize};

use crate::wear::{Reduction, WearError, WearFit};

/// What the fit owes to one wing, by subtracting it at the fit's ratios of spreads.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WingInfluence {
    /// The wing.
    pub wing: String,
    /// Its readings.
    pub readings: usize,
    /// Cook's distance of the fixed terms (`None`: without the wing some term could not be told).
    pub distance: Option<f64>,
    /// The term that the wing moves most.
    pub term: Option<String>,
    /// How far that term would go without the wing, in its standard errors.
    pub shift_se: Option<f64>,
    /// −2 log predictive density of the wing's readings given all other wings.
    pub deviance: Option<f64>,
}

/// What the fit owes to each wing, the most influential first.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FleetInfluence {
    /// By Cook's distance, largest first; wings that carry a term alone before all others.
    pub wings: Vec<WingInfluence>,
    /// Sum of the wings' `deviance`: the score for comparing models, lower is better (`None`: a wing carries a term alone).
    pub deviance: Option<f64>,
}

impl WearFit {
    /// The influence of each wing, by subtraction: nothing is fitted again. `reduction` is the one that was fitted; every
    /// reading counts in full here, also after a robust fit.
    ///
    /// # Errors
    /// [`WearError`] when the reduction does not belong to the fit, or its cross products break down.
    pub fn influence(&self, reduction: &Reduction) -> Result<FleetInfluence, WearError> {
        let reduction = reduction.selecting(&self.spec.covariates)?;
        self.validate(&reduction)?;
        let blocks = reduction.blocks(&self.layout, &self.components[0].basis, &[]);
        let found = self.mixed().influence(&blocks)?;
        let deviance = found.deviance();
        let mut wings: Vec<WingInfluence> = found
            .blocks
            .into_iter()
            .zip(&reduction.wings)
            .map(|(block, wing)| {
                let most = (0..block.shifts.len())
                    .max_by(|a, b| block.shifts[*a].abs().total_cmp(&block.shifts[*b].abs()))
                    .filter(|_| block.distance.is_some());
                WingInfluence {
                    wing: wing.wing().to_owned(),
                    readings: wing.line_sums.readings(),
                    distance: block.distance,
                    term: most.and_then(|k| self.mixed().fixed().get(k)).map(|effect| effect.name.clone()),
                    shift_se: most.map(|k| block.shifts[k]),
                    deviance: block.deviance,
                }
            })
            .collect();
        wings.sort_by(|a, b| {
            let size = |wing: &WingInfluence| wing.distance.unwrap_or(f64::INFINITY);
            size(b).total_cmp(&size(a)).then_with(|| a.wing.cmp(&b.wing))
        });
        Ok(FleetInfluence { wings, deviance })
    }

    /// The same model fitted to all wings but one, the spreads too; the time shape is held as fitted.
    ///
    /// # Errors
    /// [`WearError::NoWing`] when the wing is not among those fitted, or as [`crate::wear::WearSpec::fit`].
    pub fn without(&self, reduction: &Reduction, wing: &str) -> Result<WearFit, WearError> {
        let mut rest = reduction.selecting(&self.spec.covariates)?.into_owned();
        self.validate(&rest)?;
        let before = rest.wings.len();
        rest.wings.retain(|one| one.wing() != wing);
        if rest.wings.len() == before {
            return Err(WearError::NoWing { wing: wing.to_owned() });
        }
        self.spec.fit_as(&rest, self.random, &self.components[0].basis)
    }
}
