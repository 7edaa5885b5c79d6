//! What the readings show that the model has not: said, with a number and what to do.

use statrs::distribution::{DiscreteCDF, Poisson};

use crate::stats::mixed::{Block, MixedFit};
use crate::wear::inference::residuals::WingResiduals;
use crate::wear::model::spec::ReducedModel;
use crate::wear::model::time_basis::TimeBasis;
use crate::wear::{Diagnostic, Reduction, WearFit};

/// With more wings, about so many are looked at.
const WINGS: usize = 200;
/// A reading further from the model than this is far off, in standard deviations.
const FAR: f64 = 4.0;
/// Share of a normal's readings that are.
const FAR_SHARE: f64 = 6.334_248_366_623_996e-5;
/// So rarely would as many as were found be far off by chance.
const RARELY: f64 = 1e-3;
/// How much the deviance must fall for a walk to be said: 1 in 100 by chance, by the even mixture of zero and χ² with one degree
/// of freedom that a variance on its boundary has.
const WALK_GAIN: f64 = 5.412;

/// A walk takes columns by row and check: with a wing of more checks than this it is not looked for.
const WALK_CHECKS: usize = 30;

fn stride(wings: usize) -> usize {
    (wings / WINGS).max(1)
}

impl WearFit {
    /// Whether more readings are far from the model than normal errors leave there; `reduction` is the one that was fitted.
    pub(crate) fn heavy_tails(&self, reduction: &Reduction) -> Option<Diagnostic> {
        let component = &self.components[0];
        let sigma = component.mixed.sigma();
        let (mut far, mut looked_at) = (0_u32, 0_u32);
        for wing in reduction.wings.iter().step_by(stride(reduction.wings.len())) {
            let set = &reduction.line_sets[wing.line_set()];
            let residuals = WingResiduals::new(self, component, set, wing, None).ok()?.readings_mm;
            for (line_sum, residual) in wing.line_sums.iter().zip(residuals) {
                looked_at += 1;
                far += u32::from((residual * f64::from(line_sum.count).sqrt() / sigma).abs() > FAR);
            }
        }
        let expected = FAR_SHARE * f64::from(looked_at);
        let by_chance = |at_least: u32| {
            let of = Poisson::new(expected).ok()?;
            Some(at_least.checked_sub(1).map_or(1.0, |below| of.sf(u64::from(below))))
        };
        (by_chance(far)? < RARELY).then(|| Diagnostic {
            code: "heavy_tails".to_owned(),
            message: format!(
                "Of {looked_at} readings looked at {far} are further than {FAR} standard deviations from the model; normal errors \
                 put {expected:.1} there. Such readings widen spreads and may pull rates: vet them, or fit with bounds on them \
                 (`wear --robust`)."
            ),
        })
    }
}

/// Whether rows of a wing wander between checks, beyond drifting at rates: a random walk of each row of a wing, whose variance
/// grows with the hours between checks, beside all that the model has.
pub(crate) fn wandering(model: &ReducedModel<'_>, mixed: &MixedFit, basis: &TimeBasis) -> Option<Diagnostic> {
    let checks = model.reduction.wings.iter().map(|wing| wing.hours_h.len()).max()?;
    let layout = model.layout.walking().filter(|_| checks <= WALK_CHECKS)?;
    let some = stride(model.reduction.wings.len());
    let blocks: Vec<Block> = model.reduction.blocks_of(&layout, basis, model.means_mm, some);
    let structure = &layout.structure;
    let place = structure.parameters() - structure.shared.len() - 1;
    let trial = mixed.with_ratio(structure, &blocks, place);
    (trial.gain > WALK_GAIN).then(|| Diagnostic {
        code: "rows_wander".to_owned(),
        message: format!(
            "Rows of a wing wander between checks, by about {:.2} mm per metre of line in 100 h beyond their rates (this lowers the \
             deviance by {:.0}): forecasts far ahead and intervals of rates are too narrow. Check such wings sooner than the \
             forecast asks.",
            trial.ratio * mixed.sigma(),
            trial.gain
        ),
    })
}
