//! Where a search begins.

use serde::{Deserialize, Serialize};

use super::columns::{Independence, kept_effects, pick};
use super::curvature::{Curvature, MANY_BLOCKS};
use super::relative_covariance::for_each_copy;
use super::search::{evaluated_at, remembering};
use super::{Block, MixedSpec, Objective, Structure};
use crate::stats::minimise::{Precision, StopReason, minimise_from};

/// With many blocks the optimum of some of them is found first, namely of every so many-th.
const COARSE: usize = 7;

/// Where an optimisation starts; an empty one leaves it to the fit.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Start {
    /// θ over its scale.
    pub(crate) point: Vec<f64>,
    /// A guess of the inverse Hessian there, row-major.
    pub(crate) inverse: Option<Vec<f64>>,
}

impl Start {
    /// Where to start with many blocks: the optimum of every [`COARSE`]th of them, and its curvature. `None` with few.
    pub(super) fn coarse(spec: &MixedSpec, model: &Structure, blocks: &[Block], scale: &[f64]) -> Option<Start> {
        if blocks.len() < MANY_BLOCKS {
            return None;
        }
        let mut some: Vec<Block> = blocks.iter().step_by(COARSE).cloned().collect();
        let mut model = model.clone();
        let kept = Independence::of(&model, &some).kept;
        if kept.contains(&false) {
            model.fixed = pick(&model.fixed, &kept, true);
            let kept = kept_effects(&model, &kept);
            some = some.iter().map(|block| block.keeping(&kept)).collect();
        }
        let objective = Objective::new(&model, &some, spec.criterion);
        if objective.degrees() < 1.0 {
            return None;
        }
        // as often as there are many
        let from = Self::coarse(spec, &model, &some, scale)
            .unwrap_or_else(|| Start { point: start_point(&objective, scale), inverse: None });
        let mut last = None;
        let search = remembering(&objective, scale, &mut last);
        let minimum = minimise_from(&from.point, from.inverse, spec.evaluation_cap, Precision::Full, search)?.minimum;
        let at_end = evaluated_at(last, &minimum.end);
        let curvature = Curvature::new(&objective, &minimum.end, scale, at_end.as_ref())?;
        let all: Vec<usize> = (0..scale.len()).collect();
        let share = some.len() as f64 / blocks.len() as f64;
        (minimum.stop == StopReason::Converged && curvature.downhill().is_none())
            .then(|| Start { point: minimum.end, inverse: Some(curvature.inverse(&all, share, share)) })
    }
}

/// Scale of each θ: one over the root mean square of the effect's column, so that 1 means "as large as a reading's spread".
pub(super) fn start_scale(structure: &Structure, blocks: &[Block]) -> Vec<f64> {
    let observations: f64 = blocks.iter().map(|block| block.observations).sum();
    let mut squares: Vec<Vec<f64>> = structure.outer.iter().map(|term| vec![0.0; term.width]).collect();
    for block in blocks {
        for_each_copy(structure, block, |term, at| {
            for (effect, sum) in squares[term].iter_mut().enumerate() {
                *sum += block.scale[at + effect];
            }
        });
    }
    let per_root = |sum: f64| if sum > 0.0 { (observations / sum).sqrt() } else { 1.0 };
    let mut scale = Vec::with_capacity(structure.parameters());
    if structure.inner.is_some() {
        scale.push(1.0);
    }
    if structure.inner_slope.is_some() {
        scale.push(per_root(blocks.iter().flat_map(|block| &block.sloped).map(|unit| unit.square).sum()));
    }
    for (term, sums) in structure.outer.iter().zip(&squares) {
        scale.extend(term.places().map(|place| {
            let mean = sums[place / term.width] / observations;
            if mean > 0.0 { 1.0 / mean.sqrt() } else { 1.0 }
        }));
    }
    let mut first = 0;
    for term in &structure.shared {
        let columns = first..first + term.levels;
        first += term.levels;
        let of_block = |block: &Block| -> f64 {
            let mine = block.effects.iter().zip(&block.scale[block.outer..]);
            mine.filter(|(effect, _)| columns.contains(&(**effect as usize))).map(|(_, square)| square).sum()
        };
        scale.push(per_root(blocks.iter().map(of_block).sum()));
    }
    scale
}

/// Ones on the diagonals, zeros off them.
pub(super) fn start_point(objective: &Objective<'_>, scale: &[f64]) -> Vec<f64> {
    let structure = objective.structure();
    let mut start = Vec::with_capacity(scale.len());
    start.resize(structure.first_outer(), 1.0);
    for term in &structure.outer {
        start.extend(term.places().map(|place| if place % (term.width + 1) == 0 { 1.0 } else { 0.0 }));
    }
    start.resize(start.len() + structure.shared.len(), 1.0);
    start
}
