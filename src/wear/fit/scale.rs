//! The scale of a time shape by profile likelihood, and the comparison of shapes.

use serde::{Deserialize, Serialize};

use crate::stats::Precision;
use crate::stats::mixed::{Criterion, MixedError, Start};
use crate::wear::model::spec::ReducedModel;
use crate::wear::model::time_basis::TimeBasis;
use crate::wear::{Diagnostic, Shape};

/// Scales tried first, h; the first and last are the bounds.
pub(crate) const GRID_H: [f64; 8] = [2.0, 6.0, 18.0, 54.0, 160.0, 480.0, 1500.0, 5000.0];
/// 95 % point of χ² with one degree of freedom: half-width of a profile-likelihood interval.
const CHI2_95: f64 = 3.841_458_820_694_124;
/// Points that carry the uncertainty of the scale.
const POINTS: usize = 9;
/// Which time shape to fit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ShapeChoice {
    /// A shape with its scale given.
    Given(Shape),
    /// Logarithmic, its scale estimated.
    Log,
    /// Saturating, its scale estimated.
    Saturating,
    /// Linear, log and saturating, averaged by weight.
    Auto,
}

impl From<Shape> for ShapeChoice {
    fn from(shape: Shape) -> Self {
        ShapeChoice::Given(shape)
    }
}

/// An estimated scale with its 95 % profile-likelihood interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ScaleInterval {
    /// Estimate, h.
    pub scale_h: f64,
    /// Lower end, h (`None`: open down to the lowest scale tried, 2 h).
    pub lower_h: Option<f64>,
    /// Upper end, h (`None`: open up to the highest scale tried, 5,000 h, where the shape is all but linear).
    pub upper_h: Option<f64>,
}

/// How one time shape does against the others, by ML; where one material has its own, `kind` and `scale_h` are of that one.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ShapeComparison {
    /// `linear`, `log` or `saturating`; `saturating of uhmwpe` where only that material has it and all else is linear.
    pub kind: String,
    /// Scale, h.
    pub scale_h: Option<f64>,
    /// −2 log likelihood by ML.
    pub deviance: f64,
    /// Akaike's criterion; the scale counts as a parameter.
    pub aic: f64,
    /// Schwarz's criterion, with the number of wings as the sample size.
    pub bic: f64,
    /// Akaike weight: share of support among all.
    pub weight: f64,
}

/// One time shape and the weight it has.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct ShapeComponent {
    pub(crate) basis: TimeBasis,
    pub(crate) weight: f64,
}

/// What the search for a shape found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct ShapeSearch {
    /// The chosen shape first; then, where its scale was estimated, the points that carry its uncertainty (the first then
    /// has weight zero). Where shapes are averaged, the heaviest first.
    pub(crate) components: Vec<ShapeComponent>,
    pub(crate) interval: Option<ScaleInterval>,
    pub(crate) comparison: Vec<ShapeComparison>,
    pub(crate) diagnostics: Vec<Diagnostic>,
    /// Whether estimates are the mean over the components.
    pub(crate) averaged: bool,
    /// Why the model is what it is.
    pub(crate) why: String,
    /// Where the fits should start.
    pub(crate) start: Start,
}

/// A kind of shape that has a scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    Log,
    Saturating,
}

impl Kind {
    pub(crate) fn at(self, ln_scale: f64) -> Shape {
        let scale_h = ln_scale.exp();
        match self {
            Kind::Log => Shape::Log { scale_h },
            Kind::Saturating => Shape::Saturating { scale_h },
        }
    }
}

impl ShapeSearch {
    pub(crate) fn run(model: &ReducedModel<'_>, choice: ShapeChoice) -> Result<Self, MixedError> {
        match choice {
            ShapeChoice::Given(shape) => Ok(Self::known(shape)),
            ShapeChoice::Log => Ok(Profile::new(model, Kind::Log)?.search()),
            ShapeChoice::Saturating => Ok(Profile::new(model, Kind::Saturating)?.search()),
            ShapeChoice::Auto => Ok(Self::known(Shape::LINEAR)),
        }
    }

    /// One shape that is not searched.
    pub(crate) fn known(basis: impl Into<TimeBasis>) -> Self {
        Self {
            components: vec![ShapeComponent { basis: basis.into(), weight: 1.0 }],
            averaged: false,
            why: String::new(),
            interval: None,
            comparison: Vec::new(),
            diagnostics: Vec::new(),
            start: Start::default(),
        }
    }
}

/// ML deviance at one scale.
#[derive(Debug, Clone)]
struct Point {
    ln_scale: f64,
    deviance: f64,
    end: Start,
}

/// The profile of one kind's scale.
struct Profile<'a> {
    model: &'a ReducedModel<'a>,
    kind: Kind,
    best: Point,
}

impl<'a> Profile<'a> {
    fn new(model: &'a ReducedModel<'a>, kind: Kind) -> Result<Self, MixedError> {
        let mut points: Vec<Point> = Vec::with_capacity(GRID_H.len());
        for scale in GRID_H {
            let start = points.last().map_or_else(Start::default, |point| point.end.clone());
            points.push(evaluate(model, kind, scale.ln(), &start)?);
        }
        let lowest =
            (0..points.len()).min_by(|a, b| points[*a].deviance.total_cmp(&points[*b].deviance)).unwrap_or(0);
        let mut best = points[lowest].clone();
        // golden section between the neighbours
        let ratio = (5f64.sqrt() - 1.0) / 2.0;
        let mut low = points[lowest.saturating_sub(1)].ln_scale;
        let mut high = points[(lowest + 1).min(points.len() - 1)].ln_scale;
        let mut left = evaluate(model, kind, high - ratio * (high - low), &best.end)?;
        let mut right = evaluate(model, kind, low + ratio * (high - low), &best.end)?;
        while high - low > 2e-4 {
            if left.deviance <= right.deviance {
                high = right.ln_scale;
                right = left;
                left = evaluate(model, kind, high - ratio * (high - low), &right.end)?;
            } else {
                low = left.ln_scale;
                left = right;
                right = evaluate(model, kind, low + ratio * (high - low), &left.end)?;
            }
        }
        for point in [left, right] {
            if point.deviance < best.deviance {
                best = point;
            }
        }
        Ok(Self { model, kind, best })
    }

    /// Where the profile has risen by `rise` in one direction; `None` when it has not at the bound.
    fn crossing(&self, rise: f64, bound: f64) -> Option<f64> {
        let above = |ln_scale: f64| {
            evaluate(self.model, self.kind, ln_scale, &self.best.end)
                .is_ok_and(|point| point.deviance > self.best.deviance + rise)
        };
        if !above(bound) {
            return None;
        }
        let (mut inside, mut outside) = (self.best.ln_scale, bound);
        while (outside - inside).abs() > 1e-3 {
            let middle = f64::midpoint(inside, outside);
            if above(middle) {
                outside = middle;
            } else {
                inside = middle;
            }
        }
        Some(f64::midpoint(inside, outside))
    }

    fn search(&self) -> ShapeSearch {
        let (low, high) = (GRID_H[0].ln(), GRID_H[GRID_H.len() - 1].ln());
        let (lower, upper) = (self.crossing(CHI2_95, low), self.crossing(CHI2_95, high));
        let centre = self.best.ln_scale;
        // reach half as far again as the 95 % ends: about three standard errors
        let reach = |end: Option<f64>, bound: f64| {
            let far = centre + 1.5 * (end.unwrap_or(bound) - centre);
            far.clamp(low, high)
        };
        let (from, to) = (reach(lower, low), reach(upper, high));
        // the estimate itself stands first and carries no weight: the points after it do
        let mut components = vec![ShapeComponent { basis: self.kind.at(centre).into(), weight: 0.0 }];
        for k in 0..POINTS {
            let ln_scale = from + (to - from) * (k as f64 + 0.5) / POINTS as f64;
            if let Ok(point) = evaluate(self.model, self.kind, ln_scale, &self.best.end) {
                let weight = (-(point.deviance - self.best.deviance) / 2.0).exp();
                components.push(ShapeComponent { basis: self.kind.at(ln_scale).into(), weight });
            }
        }
        let total: f64 = components.iter().map(|component| component.weight).sum();
        if total > 0.0 {
            components.iter_mut().for_each(|component| component.weight /= total);
        } else {
            components[0].weight = 1.0;
        }
        let mut diagnostics = Vec::new();
        if upper.is_none() {
            diagnostics.push(Diagnostic {
                code: "scale_open".to_owned(),
                message:
                    "The interval of the time scale has no upper end: these readings fit a straight line as well."
                        .to_owned(),
            });
        }
        if lower.is_none() {
            diagnostics.push(Diagnostic {
                code: "scale_open".to_owned(),
                message: "The interval of the time scale has no lower end: checks at few hours would settle it."
                    .to_owned(),
            });
        }
        ShapeSearch {
            components,
            interval: Some(ScaleInterval {
                scale_h: centre.exp(),
                lower_h: lower.map(f64::exp),
                upper_h: upper.map(f64::exp),
            }),
            comparison: Vec::new(),
            diagnostics,
            averaged: false,
            why: String::new(),
            start: self.best.end.clone(),
        }
    }
}

fn evaluate(model: &ReducedModel<'_>, kind: Kind, ln_scale: f64, start: &Start) -> Result<Point, MixedError> {
    let fit = model.fit(&kind.at(ln_scale).into(), Criterion::Ml, start, Precision::OnTheWay)?;
    Ok(Point { ln_scale, deviance: fit.deviance(), end: fit.start() })
}
