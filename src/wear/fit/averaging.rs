//! The average over time shapes.

use crate::stats::Precision;
use crate::stats::mixed::{Block, Criterion, MixedFit, Start};
use crate::wear::fit::scale::{GRID_H, Kind, ScaleInterval, ShapeComparison, ShapeComponent, ShapeSearch};
use crate::wear::model::spec::ReducedModel;
use crate::wear::model::time_basis::{MaterialShape, TimeBasis};
use crate::wear::{Diagnostic, Shape, WearError};

/// With more wings, time shapes are looked for on some of them first, about so many.
const SCREENED_WINGS: usize = 200;
/// Shapes whose AIC is further than this above the best carry no weight.
const WORTH_AIC: f64 = 9.0;
/// How much further above the best a shape may be at the ratios of spreads of the linear fit to be fitted at all.
const SCREENING_AIC: f64 = 4.0;
/// How much lower AIC must be before one material gets a shape of its own: several are tried, and the best of several gains by
/// chance.
const OWN_SHAPE_AIC: f64 = 4.0;
/// The longest and the shortest step, in the logarithm of a scale, over which a profile's curvature is taken.
const STEP: (f64, f64) = (0.3, 0.02);
/// A scale is close enough to its best when it is off by less than this share of its standard deviation.
const CLOSE: f64 = 0.25;
/// The most fits of a shape on the way to its best scale.
const MOST_ROUNDS: usize = 6;
/// The most that the logarithm of a scale is taken to be uncertain by.
const MOST_SD: f64 = 1.2;
/// A weight below this is left out.
const LEAST_WEIGHT: f64 = 0.01;
/// A weight above this is as good as decided.
const DECIDED: f64 = 0.9;

/// Time shapes with their weights.
pub(crate) struct Averaging {
    components: Vec<(ShapeComponent, MixedFit)>,
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
    /// By ML, at the ratios of spreads of `fit`.
    deviance: f64,
    fit: MixedFit,
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
            self.model.reduction.blocks_of(&self.model.layout, basis, self.model.means_mm, self.stride);
        self.fit.deviance_of(&blocks, Criterion::Ml).unwrap_or(f64::INFINITY)
    }

    /// The best scale of a candidate by the grid and the parabola through its lowest three, and the deviance there. The grid is
    /// walked from the linear end, until the deviance is further above its lowest than any weight reaches.
    fn best(&self, candidate: &Candidate, plain: f64) -> Option<(f64, f64)> {
        let (last, scales) = GRID_H.split_last()?;
        // at the upper bound the shape is the linear one
        let mut grid = vec![(last.ln(), plain)];
        let mut least = plain;
        for scale in scales.iter().rev() {
            let deviance = self.deviance(&candidate.at(scale.ln()));
            grid.push((scale.ln(), deviance));
            least = least.min(deviance);
            if deviance > least + WORTH_AIC + SCREENING_AIC {
                break;
            }
        }
        grid.reverse();
        let lowest = (0..grid.len()).min_by(|a, b| grid[*a].1.total_cmp(&grid[*b].1))?;
        if lowest + 1 == grid.len() {
            return None;
        }
        let middle = grid[lowest];
        let Some(before) = lowest.checked_sub(1) else { return Some(middle) };
        let (low, high) = (grid[before], grid[lowest + 1]);
        let slope = |a: (f64, f64), b: (f64, f64)| (b.1 - a.1) / (b.0 - a.0);
        let bend = (slope(middle, high) - slope(low, middle)) / (high.0 - low.0);
        if !(bend > 0.0) {
            return Some(middle);
        }
        let at = f64::midpoint(low.0, middle.0) - slope(low, middle) / (2.0 * bend);
        let value = low.1 + slope(low, middle) * (at - low.0) + bend * (at - low.0) * (at - middle.0);
        Some((at.clamp(low.0, high.0), value.min(middle.1)))
    }
}

impl Found {
    /// A candidate fitted at its best scale, from one near it.
    fn near(model: &ReducedModel<'_>, candidate: Candidate, ln_scale: f64, start: &Start) -> Result<Self, WearError> {
        let criterion = model.spec.criterion;
        let (low, high) = (GRID_H[0].ln(), GRID_H[GRID_H.len() - 1].ln());
        let fit = model.fit(&candidate.at(ln_scale), criterion, start, Precision::OnTheWay)?;
        let mut found = Self { candidate, ln_scale, sd: MOST_SD, deviance: f64::INFINITY, fit };
        let mut step = STEP.0;
        for round in 0..MOST_ROUNDS {
            let own = Screen { model, fit: &found.fit, stride: 1 };
            let at = |ln_scale: f64| own.deviance(&found.candidate.at(ln_scale));
            let (down, centre, up) = (at(found.ln_scale - step), at(found.ln_scale), at(found.ln_scale + step));
            found.deviance = centre;
            let bend = (down + up - 2.0 * centre) / (step * step);
            found.sd = if bend > 0.0 { (2.0 / bend).sqrt().min(MOST_SD) } else { MOST_SD };
            let away = if bend > 0.0 { (down - up) / (2.0 * step * bend) } else { 0.0 };
            let to = (found.ln_scale + away.clamp(-1.0, 1.0)).clamp(low, high);
            if (to - found.ln_scale).abs() < CLOSE * found.sd || round + 1 == MOST_ROUNDS {
                break;
            }
            step = found.sd.clamp(STEP.1, STEP.0);
            found.fit = model.fit(&found.candidate.at(to), criterion, &found.fit.start(), Precision::OnTheWay)?;
            found.ln_scale = to;
        }
        Ok(found)
    }
}

impl Averaging {
    /// Looks at every kind of shape for all materials, and for each material alone with all else linear: first at the ratios of
    /// spreads of the linear fit, then what comes near the best in fits of its own. Shapes are compared by the ML deviance at the
    /// ratios of spreads of their fits.
    pub(crate) fn run(model: &ReducedModel<'_>, linear: MixedFit) -> Result<Self, WearError> {
        let wings = model.reduction.wings.len();
        let materials: Vec<String> = model.layout.materials().map(str::to_owned).collect();
        let stride = (wings / SCREENED_WINGS).max(1);
        let some = Screen { model, fit: &linear, stride };
        let plain = some.deviance(&Shape::LINEAR.into());
        let screened = |material: Option<&String>, kind: Kind| {
            let candidate = Candidate { kind, material: material.cloned() };
            some.best(&candidate, plain).map(|(ln_scale, deviance)| (candidate, ln_scale, deviance - plain))
        };
        let kinds = [Kind::Log, Kind::Saturating];
        let mut promising: Vec<(Candidate, f64, f64)> =
            kinds.iter().filter_map(|kind| screened(None, *kind)).collect();
        if materials.len() > 1 {
            let own = materials.iter().flat_map(|material| kinds.map(|kind| (material, kind)));
            let own = own.filter_map(|(material, kind)| screened(Some(material), kind));
            promising.extend(own.min_by(|a, b| a.2.total_cmp(&b.2)));
        }
        // what some of the wings point to, all of them judge
        let plain = if stride == 1 {
            plain
        } else {
            let whole = Screen { model, fit: &linear, stride: 1 };
            let plain = whole.deviance(&Shape::LINEAR.into());
            for (candidate, ln_scale, gain) in &mut promising {
                *gain = whole.deviance(&candidate.at(*ln_scale)) - plain;
            }
            plain
        };
        promising.retain(|(candidate, _, gain)| candidate.material.is_none() || *gain < -OWN_SHAPE_AIC);
        let best = promising.iter().map(|(.., gain)| *gain).fold(0.0, f64::min);
        promising.retain(|(.., gain)| *gain < best + WORTH_AIC + SCREENING_AIC);
        let mut found: Vec<Found> = promising
            .into_iter()
            .filter_map(|(candidate, ln, _)| Found::near(model, candidate, ln, &linear.start()).ok())
            .collect();
        let common = found.iter().filter(|one| one.candidate.material.is_none()).map(|one| one.deviance + 2.0);
        let common = common.fold(plain, f64::min);
        found.retain(|one| one.candidate.material.is_none() || one.deviance + 2.0 + OWN_SHAPE_AIC < common);
        Self::of(model, (linear, plain), &found)
    }

    fn of(model: &ReducedModel<'_>, (linear, plain): (MixedFit, f64), found: &[Found]) -> Result<Self, WearError> {
        let parameters = (linear.fixed().len() + linear.theta().len() + 1) as f64;
        let wings = model.reduction.wings.len() as f64;
        let row = |kind: String, scale_h: Option<f64>, deviance: f64| {
            let count = parameters + if scale_h.is_some() { 1.0 } else { 0.0 };
            let (aic, bic) = (deviance + 2.0 * count, deviance + wings.ln() * count);
            ShapeComparison { kind, scale_h, deviance, aic, bic, weight: 0.0 }
        };
        let mut comparison = vec![row(Shape::LINEAR.name().to_owned(), None, plain)];
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
        let mut components = Vec::new();
        if comparison[0].weight >= LEAST_WEIGHT {
            let component = ShapeComponent { basis: Shape::LINEAR.into(), weight: comparison[0].weight };
            components.push((component, linear));
        }
        let (low, high) = (GRID_H[0].ln(), GRID_H[GRID_H.len() - 1].ln());
        for (one, row) in found.iter().zip(&comparison[1..]).filter(|(_, row)| row.weight >= LEAST_WEIGHT) {
            // three points carry the scale's uncertainty: a normal's mean, variance and fourth moment
            let away = 3f64.sqrt() * one.sd;
            components.push((
                ShapeComponent { basis: one.candidate.at(one.ln_scale), weight: row.weight * 2.0 / 3.0 },
                one.fit.clone(),
            ));
            for step in [-away, away] {
                let basis = one.candidate.at((one.ln_scale + step).clamp(low, high));
                let fit = model.fit(&basis, model.spec.criterion, &one.fit.start(), Precision::OnTheWay)?;
                components.push((ShapeComponent { basis, weight: row.weight / 6.0 }, fit));
            }
        }
        components.sort_by(|(a, _), (b, _)| b.weight.total_cmp(&a.weight));
        // the heaviest says the degrees of freedom
        if let Some((component, fit)) = components.first_mut() {
            *fit = model.fit(&component.basis, model.spec.criterion, &fit.start(), Precision::Full)?;
        }
        let total: f64 = components.iter().map(|(component, _)| component.weight).sum();
        components.iter_mut().for_each(|(component, _)| component.weight /= total);
        let heaviest = found.iter().zip(&comparison[1..]).find(|(_, row)| row.aic <= lowest);
        let interval = heaviest.map(|(one, _)| {
            let end = |side: f64| (one.ln_scale + side * 1.96 * one.sd).exp();
            let within = |end: f64| (GRID_H[0]..=GRID_H[GRID_H.len() - 1]).contains(&end).then_some(end);
            ScaleInterval { scale_h: one.ln_scale.exp(), lower_h: within(end(-1.0)), upper_h: within(end(1.0)) }
        });
        Ok(Self { components, interval, comparison })
    }

    /// The fits, and the search that led to them.
    pub(crate) fn search(self) -> (Vec<MixedFit>, ShapeSearch) {
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
        if let Some(own) = self.components.first().and_then(|(component, _)| component.basis.own.as_ref()) {
            diagnostics.push(Diagnostic {
                code: "own_shape".to_owned(),
                message: format!(
                    "`{}` wears by another time shape ({}) than the rest, which is taken as linear.",
                    own.material,
                    own.shape.name()
                ),
            });
        }
        let (components, fits): (Vec<ShapeComponent>, Vec<MixedFit>) = self.components.into_iter().unzip();
        let search = ShapeSearch {
            averaged: components.len() > 1,
            components,
            interval: self.interval,
            comparison: self.comparison,
            diagnostics,
            why: String::new(),
            start: Start::default(),
        };
        (fits, search)
    }
}
