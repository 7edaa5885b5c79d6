//! The average over time shapes.

use crate::stats::mixed::{Block, Criterion, MixedFit};
use crate::wear::fit::scale::{GRID_H, Kind, ScaleInterval, ShapeComparison, ShapeComponent, ShapeSearch};
use crate::wear::model::spec::ReducedModel;
use crate::wear::model::time_basis::{MaterialShape, TimeBasis};
use crate::wear::{Diagnostic, Shape, WearError};

/// With more wings, scales are looked for on some of them first, about so many.
const SCREENED_WINGS: usize = 24;
/// Shapes whose AIC is further than this above the best carry no weight.
const WORTH_AIC: f64 = 9.0;
/// How much lower AIC must be before one material gets a shape of its own: several are tried, and the best of several gains by
/// chance.
const OWN_SHAPE_AIC: f64 = 4.0;
/// A scale is known to this, in its logarithm.
const CLOSE: f64 = 0.2;
/// The most that the logarithm of a scale is taken to be uncertain by.
const MOST_SD: f64 = 1.2;
/// A weight below this is left out.
const LEAST_WEIGHT: f64 = 0.01;
/// A weight above this is as good as decided.
const DECIDED: f64 = 0.9;

/// Time shapes with their weights.
pub(crate) struct Averaging {
    pub(crate) components: Vec<ShapeComponent>,
    pub(crate) start: Vec<f64>,
    interval: Option<ScaleInterval>,
    comparison: Vec<ShapeComparison>,
}

/// One kind of shape, for all materials or for one.
#[derive(Debug, Clone, PartialEq)]
struct Candidate {
    kind: Kind,
    material: Option<String>,
}

/// A candidate at its best scale.
struct Found {
    candidate: Candidate,
    ln_scale: f64,
    /// Standard deviation of the scale's logarithm.
    sd: f64,
    deviance: f64,
}

impl Candidate {
    fn at(&self, ln_scale: f64) -> TimeBasis {
        let shape = self.kind.at(ln_scale);
        match &self.material {
            None => shape.into(),
            Some(material) => {
                TimeBasis { shape: Shape::LINEAR, own: Some(MaterialShape { material: material.clone(), shape }) }
            }
        }
    }

    fn name(&self, shape: Shape) -> String {
        match &self.material {
            None => shape.name().to_owned(),
            Some(material) => format!("{} of {material}", shape.name()),
        }
    }
}

/// The ML deviance of a model at the ratios of spreads of one fit, under any time shape.
struct Screen<'a> {
    model: &'a ReducedModel<'a>,
    fit: &'a MixedFit,
    /// Every so many-th wing counts.
    stride: usize,
}

impl Screen<'_> {
    fn deviance(&self, basis: &TimeBasis) -> f64 {
        let blocks: Vec<Block> =
            self.model.reduction.blocks_of(&self.model.layout, basis, self.model.weights, self.stride);
        self.fit.deviance_of(&blocks, Criterion::Ml).unwrap_or(f64::INFINITY)
    }

    /// The best scale of a candidate: the grid, then a golden section between the neighbours.
    fn best(&self, candidate: &Candidate) -> Option<(f64, f64)> {
        let at = |ln_scale: f64| self.deviance(&candidate.at(ln_scale));
        let grid: Vec<(f64, f64)> = GRID_H.iter().map(|scale| (scale.ln(), at(scale.ln()))).collect();
        let lowest = (0..grid.len()).min_by(|a, b| grid[*a].1.total_cmp(&grid[*b].1))?;
        // at the upper bound the shape is the linear one
        if lowest + 1 == grid.len() {
            return None;
        }
        Some(self.close_in(candidate, grid[lowest.saturating_sub(1)].0, grid[lowest + 1].0))
    }

    fn close_in(&self, candidate: &Candidate, low: f64, high: f64) -> (f64, f64) {
        let ratio = (5f64.sqrt() - 1.0) / 2.0;
        let (mut low, mut high) = (low, high);
        let at = |ln_scale: f64| (ln_scale, self.deviance(&candidate.at(ln_scale)));
        let mut left = at(high - ratio * (high - low));
        let mut right = at(low + ratio * (high - low));
        while high - low > CLOSE {
            if left.1 <= right.1 {
                high = right.0;
                right = left;
                left = at(high - ratio * (high - low));
            } else {
                low = left.0;
                left = right;
                right = at(low + ratio * (high - low));
            }
        }
        if left.1 <= right.1 { left } else { right }
    }
}

impl Averaging {
    /// Looks at every kind of shape for all materials, and for each material alone with all else linear. Scales are found at the
    /// ratios of spreads of the linear fit; what comes near the best is then fitted by ML.
    pub(crate) fn run(model: &ReducedModel<'_>, linear: &MixedFit) -> Result<Self, WearError> {
        let wings = model.reduction.wings.len();
        let materials: Vec<String> = model.layout.materials().map(str::to_owned).collect();
        let mut candidates = Vec::new();
        for kind in [Kind::Log, Kind::Saturating] {
            candidates.push(Candidate { kind, material: None });
            if materials.len() > 1 {
                candidates
                    .extend(materials.iter().map(|material| Candidate { kind, material: Some(material.clone()) }));
            }
        }
        let some = Screen { model, fit: linear, stride: (wings / SCREENED_WINGS).max(1) };
        let plain = some.deviance(&Shape::LINEAR.into());
        let mut screened: Vec<(Candidate, f64, f64)> = candidates
            .into_iter()
            .filter_map(|candidate| some.best(&candidate).map(|(ln, deviance)| (candidate, ln, deviance - plain)))
            .filter(|(candidate, _, gain)| candidate.material.is_none() || *gain < -OWN_SHAPE_AIC)
            .collect();
        let best = screened.iter().map(|(_, _, gain)| *gain).fold(0.0, f64::min);
        screened.retain(|(_, _, gain)| *gain < best + WORTH_AIC + 6.0);
        let whole = Screen { model, fit: linear, stride: 1 };
        let ml = model.fit(&Shape::LINEAR.into(), Criterion::Ml, &linear.minimum().end)?;
        let mut found = Vec::new();
        for (candidate, ln_scale, _) in screened {
            let ln_scale =
                if some.stride > 1 { whole.close_in(&candidate, ln_scale - 0.4, ln_scale + 0.4).0 } else { ln_scale };
            let Ok(fit) = model.fit(&candidate.at(ln_scale), Criterion::Ml, &ml.minimum().end) else { continue };
            // the curvature of the profile, at the ratios of its own fit
            let own = Screen { model, fit: &fit, stride: 1 };
            let step = 0.3;
            let centre = own.deviance(&candidate.at(ln_scale));
            let (down, up) =
                (own.deviance(&candidate.at(ln_scale - step)), own.deviance(&candidate.at(ln_scale + step)));
            let bend = (down + up - 2.0 * centre) / (step * step);
            let sd = if bend > 0.0 { (2.0 / bend).sqrt().min(MOST_SD) } else { MOST_SD };
            found.push(Found { candidate, ln_scale, sd, deviance: fit.deviance() });
        }
        let common = found.iter().filter(|one| one.candidate.material.is_none()).map(|one| one.deviance + 2.0);
        let common = common.fold(ml.deviance(), f64::min);
        found.retain(|one| one.candidate.material.is_none() || one.deviance + 2.0 + OWN_SHAPE_AIC < common);
        Ok(Self::of(model, &ml, &found))
    }

    fn of(model: &ReducedModel<'_>, linear: &MixedFit, found: &[Found]) -> Self {
        let parameters = (linear.fixed().len() + linear.theta().len() + 1) as f64;
        let wings = model.reduction.wings.len() as f64;
        let row = |kind: String, scale_h: Option<f64>, deviance: f64| {
            let count = parameters + if scale_h.is_some() { 1.0 } else { 0.0 };
            let (aic, bic) = (deviance + 2.0 * count, deviance + wings.ln() * count);
            ShapeComparison { kind, scale_h, deviance, aic, bic, weight: 0.0 }
        };
        let mut comparison = vec![row(Shape::LINEAR.name().to_owned(), None, linear.deviance())];
        comparison.extend(found.iter().map(|one| {
            let shape = one.candidate.kind.at(one.ln_scale);
            row(one.candidate.name(shape), Some(one.ln_scale.exp()), one.deviance)
        }));
        let lowest = comparison.iter().map(|row| row.aic).fold(f64::INFINITY, f64::min);
        let support = |aic: f64| if aic - lowest < WORTH_AIC { (-(aic - lowest) / 2.0).exp() } else { 0.0 };
        let total: f64 = comparison.iter().map(|row| support(row.aic)).sum();
        for row in &mut comparison {
            row.weight = support(row.aic) / total;
        }
        let mut components = vec![ShapeComponent { basis: Shape::LINEAR.into(), weight: comparison[0].weight }];
        for (one, row) in found.iter().zip(&comparison[1..]) {
            // three points carry the scale's uncertainty: a normal's mean, variance and fourth moment
            let away = 3f64.sqrt() * one.sd;
            let (low, high) = (GRID_H[0].ln(), GRID_H[GRID_H.len() - 1].ln());
            for (step, share) in [(0.0, 2.0 / 3.0), (-away, 1.0 / 6.0), (away, 1.0 / 6.0)] {
                let basis = one.candidate.at((one.ln_scale + step).clamp(low, high));
                components.push(ShapeComponent { basis, weight: share * row.weight });
            }
        }
        components.retain(|component| component.weight >= LEAST_WEIGHT);
        components.sort_by(|a, b| b.weight.total_cmp(&a.weight));
        let total: f64 = components.iter().map(|component| component.weight).sum();
        components.iter_mut().for_each(|component| component.weight /= total);
        let heaviest = found.iter().zip(&comparison[1..]).find(|(_, row)| row.aic <= lowest);
        let interval = heaviest.map(|(one, _)| {
            let end = |side: f64| (one.ln_scale + side * 1.96 * one.sd).exp();
            let within = |end: f64| (GRID_H[0]..=GRID_H[GRID_H.len() - 1]).contains(&end).then_some(end);
            ScaleInterval { scale_h: one.ln_scale.exp(), lower_h: within(end(-1.0)), upper_h: within(end(1.0)) }
        });
        Self { components, start: linear.minimum().end.clone(), interval, comparison }
    }

    pub(crate) fn search(self) -> ShapeSearch {
        let mut diagnostics = Vec::new();
        let heaviest = self.comparison.iter().map(|row| row.weight).fold(0.0, f64::max);
        if heaviest < DECIDED {
            let said: Vec<String> = self
                .comparison
                .iter()
                .filter(|row| row.weight >= LEAST_WEIGHT)
                .map(|row| format!("{} {:.0} %", row.kind, 100.0 * row.weight))
                .collect();
            diagnostics.push(Diagnostic {
                code: "shape_undecided".to_owned(),
                message: format!(
                    "These readings do not decide the time shape ({}): all figures are averages over them by weight. Longer \
                     histories would decide it.",
                    said.join(", ")
                ),
            });
        }
        if let Some(own) = self.components.first().and_then(|component| component.basis.own.as_ref()) {
            diagnostics.push(Diagnostic {
                code: "own_shape".to_owned(),
                message: format!(
                    "`{}` wears by another time shape ({}) than the rest, which is taken as linear.",
                    own.material,
                    own.shape.name()
                ),
            });
        }
        ShapeSearch {
            averaged: self.components.len() > 1,
            components: self.components,
            interval: self.interval,
            comparison: self.comparison,
            diagnostics,
            why: String::new(),
            start: self.start,
        }
    }
}
