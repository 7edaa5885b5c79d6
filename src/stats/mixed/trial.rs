//! Models looked at beside a fit, at its ratios of spreads: no search.

use super::columns::{kept_blocks, pick};
use super::start::{Start, start_scale};
use super::{Block, Criterion, MixedFit, Objective, Structure};

/// Ratios tried for a new term, over its scale.
const RATIOS: [f64; 4] = [0.03, 0.1, 0.3, 1.0];

/// A model with one ratio more than a fit.
pub(crate) struct Trial {
    /// How much lower the criterion is than without; never below zero.
    pub(crate) gain: f64,
    /// The ratio there, as in θ.
    pub(crate) ratio: f64,
    /// Where a fit of it should start.
    pub(crate) start: Start,
}

impl MixedFit {
    /// A criterion of other data of the model, at the fit's θ; `None` where it is not defined.
    pub(crate) fn deviance_of(&self, blocks: &[Block], criterion: Criterion) -> Option<f64> {
        let blocks = kept_blocks(&self.structure, &self.kept, blocks);
        Some(Objective::new(&self.structure, &blocks, criterion).profile(&self.theta).ok()?.deviance)
    }

    /// The best of a few ratios for a term that a larger model has at `place` of θ, all else as in this fit: what it gains is the
    /// least that the term gains. `blocks` are those of the larger model, of all that was fitted or of some.
    pub(crate) fn with_ratio(&self, larger: &Structure, blocks: &[Block], place: usize) -> Trial {
        let mut model = larger.clone();
        model.fixed = pick(&larger.fixed, &self.kept, true);
        let blocks = kept_blocks(larger, &self.kept, blocks);
        let scale = start_scale(&model, &blocks);
        let objective = Objective::new(&model, &blocks, self.criterion());
        let point = |ratio: f64| {
            let mut point = self.minimum().end.clone();
            point.insert(place.min(point.len()), ratio);
            point
        };
        let deviance = |ratio: f64| {
            // the scale of the others is that of the fit, whichever blocks these are
            let mut theta = self.theta.clone();
            theta.insert(place.min(theta.len()), ratio * scale.get(place).copied().unwrap_or(1.0));
            objective.profile(&theta).map_or(f64::INFINITY, |profile| profile.deviance)
        };
        let without = deviance(0.0);
        let gain = |ratio: f64| Some(without - deviance(ratio)).filter(|gain| gain.is_finite()).unwrap_or(0.0);
        let best = RATIOS.iter().map(|ratio| (gain(*ratio), *ratio)).max_by(|a, b| a.0.total_cmp(&b.0));
        let (gain, ratio) = best.unwrap_or((0.0, RATIOS[0]));
        let theta = ratio * scale.get(place).copied().unwrap_or(1.0);
        Trial {
            gain: gain.max(0.0),
            ratio: theta,
            start: Start { point: point(ratio), inverse: self.inverse_with(place, ratio) },
        }
    }

    /// The inverse Hessian with one parameter more, which is as uncertain as a third of its value.
    fn inverse_with(&self, place: usize, ratio: f64) -> Option<Vec<f64>> {
        let Start { point, inverse } = self.start();
        let (inverse, n) = (inverse?, point.len());
        let place = place.min(n);
        let of = |k: usize| if k < place { k } else { k - 1 };
        let mut out = Vec::with_capacity((n + 1) * (n + 1));
        for i in 0..=n {
            for j in 0..=n {
                out.push(match (i == place, j == place) {
                    (true, true) => ratio * ratio / 18.0,
                    (false, false) => inverse[of(i) * n + of(j)],
                    _ => 0.0,
                });
            }
        }
        Some(out)
    }
}
