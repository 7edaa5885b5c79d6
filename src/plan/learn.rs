//! A wing's own step sizes, learnt from planned and achieved changes.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::PlanError;
use crate::check::ActionKind;
use crate::stats::mixed::{Block, BlockBuilder, BlockPosterior, Covariance, MixedSpec, OuterTerm, Structure};

/// One action: what was planned and what was reached.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StepPair {
    /// Wing id.
    pub wing: String,
    /// Kind.
    pub kind: ActionKind,
    /// Planned change, mm.
    pub planned_mm: f64,
    /// Achieved change, mm.
    pub achieved_mm: f64,
}

/// How step sizes are learnt.
///
/// `achieved = (scale[kind] + u[wing]) · planned + e`: each kind of step has a scale (1: as planned), each wing its own
/// departure from it, shrunk towards none by how much wings differ; both spreads by REML. At least `fewest_wings` wings
/// (default 3) are needed to tell wings apart.
///
/// ```
/// use linedrift::check::ActionKind;
/// use linedrift::plan::{LearnSpec, StepPair};
///
/// // turns planned as -10 mm gave about -9 mm on three wings
/// let pair = |wing: &str, achieved_mm: f64| StepPair {
///     wing: wing.to_owned(),
///     kind: ActionKind::Turn,
///     planned_mm: -10.0,
///     achieved_mm,
/// };
/// let pairs = [("7", -9.1), ("7", -8.8), ("8", -9.3), ("8", -9.0), ("9", -8.7), ("9", -9.1)];
/// let pairs: Vec<StepPair> = pairs.map(|(wing, achieved_mm)| pair(wing, achieved_mm)).to_vec();
/// let learnt = LearnSpec::default().fit(&pairs)?;
/// println!("{:?} mm", learnt.step_mm("7", ActionKind::Turn, -10.0));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct LearnSpec {
    fewest_wings: usize,
}

impl Default for LearnSpec {
    fn default() -> Self {
        Self { fewest_wings: 3 }
    }
}

/// Scale of one kind of step over all wings.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StepScale {
    /// Kind.
    pub kind: ActionKind,
    /// Achieved over planned.
    pub scale: f64,
    /// Its standard error.
    pub se: f64,
}

/// One wing's own departure.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WingScale {
    /// Wing id.
    pub wing: String,
    /// Added to the scale of every kind of step on this wing.
    pub departure: f64,
}

/// Step sizes learnt.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LearntSteps {
    /// One scale per kind.
    pub kinds: Vec<StepScale>,
    /// One departure per wing, by wing id.
    pub wings: Vec<WingScale>,
    /// Standard deviation of the wings' departures.
    pub wing_sd: f64,
    /// Standard deviation of one achieved change, mm.
    pub residual_mm: f64,
}

impl LearntSteps {
    /// Step to expect on a wing where `planned_mm` is planned, mm: to be kept as the fitting's `step_mm`. A wing that was
    /// not among the pairs has the scale of the kind; `None` for a kind that was not among them.
    #[must_use]
    pub fn step_mm(&self, wing: &str, kind: ActionKind, planned_mm: f64) -> Option<f64> {
        let kind = self.kinds.iter().find(|known| known.kind == kind)?;
        let own = self.wings.iter().find(|known| known.wing == wing).map_or(0.0, |known| known.departure);
        Some((kind.scale + own) * planned_mm)
    }
}

impl LearnSpec {
    /// The fewest wings to learn from (at least 2).
    #[must_use]
    pub fn fewest_wings(mut self, wings: usize) -> Self {
        self.fewest_wings = wings.max(2);
        self
    }

    /// Learns step sizes.
    ///
    /// # Errors
    /// [`PlanError::Learning`] on a number that is not finite, too few wings, or pairs that the model cannot be fitted to.
    pub fn fit(&self, pairs: &[StepPair]) -> Result<LearntSteps, PlanError> {
        let refuse = |reason: String| PlanError::Learning { reason };
        let mut by_wing: BTreeMap<&str, Vec<&StepPair>> = BTreeMap::new();
        let mut kinds: Vec<ActionKind> = Vec::new();
        for pair in pairs {
            if !(pair.planned_mm.is_finite() && pair.achieved_mm.is_finite() && pair.planned_mm != 0.0) {
                let (planned, achieved) = (pair.planned_mm, pair.achieved_mm);
                return Err(refuse(format!("wing `{}`: planned {planned} mm, achieved {achieved} mm", pair.wing)));
            }
            by_wing.entry(&pair.wing).or_default().push(pair);
            kinds.push(pair.kind);
        }
        kinds.sort_unstable();
        kinds.dedup();
        if by_wing.len() < self.fewest_wings {
            return Err(refuse(format!(
                "wings with such steps: {}, expected at least {}",
                by_wing.len(),
                self.fewest_wings
            )));
        }
        let structure = Structure {
            inner: None,
            outer: vec![OuterTerm { name: "wing".to_owned(), width: 1, covariance: Covariance::Full }],
            fixed: kinds.iter().map(|kind| kind.name().to_owned()).collect(),
            ..Structure::default()
        };
        let blocks: Vec<Block> = by_wing.values().map(|own| block(&structure, &kinds, own)).collect();
        let fit = MixedSpec::default().fit(&structure, &blocks).map_err(|error| refuse(error.to_string()))?;
        let mut wings = Vec::with_capacity(blocks.len());
        for (wing, block) in by_wing.keys().zip(&blocks) {
            let posterior = BlockPosterior::new(&fit, block).map_err(|error| refuse(error.to_string()))?;
            let mut draw = Vec::new();
            posterior.draw(&[], &mut draw);
            let departure = draw.get(posterior.fixed()).copied().unwrap_or(0.0);
            wings.push(WingScale { wing: (*wing).to_owned(), departure });
        }
        let scale = |effect: &crate::stats::mixed::FixedEffect| {
            let kind = kinds.get(effect.column).copied()?;
            Some(StepScale { kind, scale: effect.estimate, se: effect.se })
        };
        Ok(LearntSteps {
            kinds: fit.fixed().iter().filter_map(scale).collect(),
            wings,
            wing_sd: fit.outer().first().and_then(|spread| spread.sd.first()).copied().unwrap_or(0.0),
            residual_mm: fit.sigma(),
        })
    }
}

fn block(structure: &Structure, kinds: &[ActionKind], pairs: &[&StepPair]) -> Block {
    let mut builder = BlockBuilder::new(structure, &[1]);
    let wing = builder.outer_column(structure, 0, 0, 0);
    for pair in pairs {
        let kind = kinds.iter().position(|kind| *kind == pair.kind).unwrap_or(0);
        let fixed = builder.fixed_column(kind);
        let row = [(wing, pair.planned_mm), (fixed, pair.planned_mm)];
        builder.add(None, &row, 1.0, pair.achieved_mm, pair.achieved_mm.powi(2));
    }
    builder.finish()
}
