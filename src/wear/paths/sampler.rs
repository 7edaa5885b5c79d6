//! Draws of the true line paths of one wing, all at once or in blocks that stay near the processor.

use std::ops::Range;

use ndarray::linalg::general_mat_mul;
use ndarray::{Array1, Array2, ArrayView2, ArrayViewMut2, Axis, Slice};

use crate::check::History;
use crate::wear::fit::wear_fit::Component;
use crate::wear::paths::wing_model::{LinePath, WingModel, line_keys};
use crate::wear::reduce::reduction::{WingReduction, covariate_values};
use crate::wear::{DrawNoise, LineKey, PathDraws, Shape, WearError, WearFit};
use crate::wing::LineSet;

/// Draws in a block: its noise and the paths of a wing fit the second-level cache of most processors.
const BLOCK_DRAWS: usize = 128;

/// Draws of the fixed effects of a fit, the same for all wings.
#[derive(Debug, Clone)]
pub(crate) struct FixedDraws {
    parts: Vec<FixedPart>,
}

/// Draws of the fixed effects of one component.
#[derive(Debug, Clone)]
struct FixedPart {
    component: usize,
    draws: Range<usize>,
    /// Draws × fixed effects.
    values: Array2<f64>,
}

/// The paths of one wing, ready to be drawn.
pub(crate) struct WingSampler<'a> {
    noise: &'a DrawNoise,
    lines: Vec<LineKey>,
    own_history: bool,
    parts: Vec<WingPart<'a>>,
}

/// Consecutive draws that share a time shape.
#[derive(Debug, Clone)]
pub(crate) struct BlockDraws {
    part: usize,
    draws: Range<usize>,
}

/// Room for the draws of a block, to be used again.
#[derive(Debug, Default)]
pub(crate) struct PathScratch {
    start: Array2<f64>,
    slope: Array2<f64>,
    values: Array2<f64>,
}

/// Some draws of one wing: draws × lines.
pub(crate) struct PathBlock<'b> {
    shape: Shape,
    start_mm: ArrayView2<'b, f64>,
    slope_mm: ArrayView2<'b, f64>,
}

/// One draw of the paths of a wing's lines.
pub(crate) struct PathDraw<'b> {
    /// Time shape.
    pub(crate) shape: Shape,
    /// Per line: deviation at `g = 0`, mm.
    pub(crate) start_mm: &'b [f64],
    /// Per line: change per unit of `g`, mm.
    pub(crate) slope_mm: &'b [f64],
}

impl PathBlock<'_> {
    /// Draw by draw.
    pub(crate) fn draws(&self) -> impl Iterator<Item = PathDraw<'_>> {
        let rows = self.start_mm.rows().into_iter().zip(self.slope_mm.rows());
        // rows of a block are contiguous
        rows.filter_map(|(start, slope)| {
            Some(PathDraw { shape: self.shape, start_mm: start.to_slice()?, slope_mm: slope.to_slice()? })
        })
    }
}

impl WearFit {
    /// Draws of the fixed effects for [`WearFit::wing_sampler`].
    pub(crate) fn fixed_draws(&self, noise: &DrawNoise) -> FixedDraws {
        let draws = noise.draws();
        let mut parts = Vec::with_capacity(self.components.len());
        let (mut weight, mut from) = (0.0, 0);
        let last = self.components.len().saturating_sub(1);
        for (index, component) in self.components.iter().enumerate() {
            weight += component.weight;
            // draws are independent, so each component takes the next ones, as many as its weight says; rounding of the
            // weights leaves none out
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
            let until =
                if index == last { draws } else { ((weight * draws as f64).round() as usize).clamp(from, draws) };
            if until > from {
                let columns = component.mixed.shared_effects().len() + component.mixed.fixed().len();
                let mut values = Array2::zeros((until - from, columns));
                let mut draw = Vec::new();
                let normals = noise.normals.slice_axis(Axis(0), Slice::from(from..until));
                for (mut row, normals) in values.rows_mut().into_iter().zip(normals.rows()) {
                    draw.clear();
                    component.mixed.draw_fixed(normals.to_slice().unwrap_or(&[]), &mut draw);
                    row.iter_mut().zip(&draw).for_each(|(value, drawn)| *value = *drawn);
                }
                parts.push(FixedPart { component: index, draws: from..until, values });
                from = until;
            }
        }
        FixedDraws { parts }
    }

    /// Draws of the true line paths of a wing: from the fleet's estimates and the wing's own checks, or from the fleet's
    /// alone when it has none. Lines adjusted start from what was left: their readings, drawn towards the mean of the lines
    /// that were moved by the same adjustment, as far as lines differ as built (taken each at its reading, the worst of many
    /// would look worse than it is). A line that was adjusted and not read since has
    /// its last offset with the intended change; what the step may differ from it is shared by all lines that it moved. A
    /// segment replaced brings the uncertainty of a line never read.
    ///
    /// # Errors
    /// [`WearError::Covariate`] when the wing lacks a covariate of the model, [`WearError::Noise`] when the noise is too
    /// narrow for it, [`WearError::Fit`] when its cross products break down.
    pub fn path_draws(&self, set: &LineSet, history: &History, noise: &DrawNoise) -> Result<PathDraws, WearError> {
        let fit = self.parted();
        let fixed = fit.fixed_draws(noise);
        Ok(fit.wing_sampler(set, history, noise, &fixed)?.path_draws())
    }

    /// The paths of one wing, as in [`WearFit::path_draws`], to be drawn block by block, from a fit that is parted. `fixed` are the draws that
    /// [`WearFit::fixed_draws`] made from the same noise.
    pub(crate) fn wing_sampler<'a>(
        &self,
        set: &LineSet,
        history: &History,
        noise: &'a DrawNoise,
        fixed: &'a FixedDraws,
    ) -> Result<WingSampler<'a>, WearError> {
        let covariates = covariate_values(history, &self.spec.covariates)?;
        let wing = WingReduction::new(set, history, covariates).thinned();
        let lines = line_keys(&wing);
        let mut parts = Vec::with_capacity(fixed.parts.len());
        for part in &fixed.parts {
            let component = &self.components[part.component];
            let model = WingModel::new(self, component, set, &wing)?;
            let needed = model.posterior.fixed() + model.posterior.outer();
            if noise.shared < needed || noise.lines < lines.len() {
                return Err(WearError::Noise { wing: wing.wing().to_owned(), shared: needed, lines: lines.len() });
            }
            parts.push(WingPart::new(part, component, &model));
        }
        Ok(WingSampler { noise, lines, own_history: !wing.line_sums.is_empty(), parts })
    }
}

impl WingSampler<'_> {
    /// Side and index of each column.
    pub(crate) fn lines(&self) -> &[LineKey] {
        &self.lines
    }

    /// Whether the wing's own checks are in the draws.
    pub(crate) fn own_history(&self) -> bool {
        self.own_history
    }

    /// All draws at once.
    pub(crate) fn path_draws(&self) -> PathDraws {
        let size = (self.noise.draws(), self.lines.len());
        let (mut start_mm, mut slope_mm) = (Array2::zeros(size), Array2::zeros(size));
        let mut shapes = Vec::with_capacity(size.0);
        let mut values = Array2::default((0, 0));
        for part in &self.parts {
            let rows = Slice::from(part.fixed.draws.clone());
            let (start, slope) = (start_mm.slice_axis_mut(Axis(0), rows), slope_mm.slice_axis_mut(Axis(0), rows));
            part.fill(self.noise, part.fixed.draws.clone(), start, slope, &mut values);
            shapes.resize(part.fixed.draws.end, part.shape);
        }
        PathDraws { lines: self.lines.clone(), start_mm, slope_mm, shapes, own_history: self.own_history }
    }

    /// The draws of one block (of [`FixedDraws::blocks`] of the same draws), made in `scratch`.
    pub(crate) fn block<'b>(&self, block: &BlockDraws, scratch: &'b mut PathScratch) -> PathBlock<'b> {
        let (part, columns) = (&self.parts[block.part], self.lines.len());
        let size = (block.draws.len(), columns);
        let PathScratch { start, slope, values } = scratch;
        part.fill(self.noise, block.draws.clone(), room(start, size), room(slope, size), values);
        let corner = |cells: &'b Array2<f64>| {
            cells.slice_axis(Axis(0), Slice::from(..size.0)).slice_axis_move(Axis(1), Slice::from(..size.1))
        };
        PathBlock { shape: part.shape, start_mm: corner(start), slope_mm: corner(slope) }
    }
}

impl FixedDraws {
    /// All draws, in blocks, in an order in which the first few stand for all: each time shape's share of them grows with the
    /// others'.
    pub(crate) fn blocks(&self) -> Vec<BlockDraws> {
        let mut blocks = Vec::new();
        for (part, fixed) in self.parts.iter().enumerate() {
            let Range { start, end } = fixed.draws;
            let block = |from: usize| BlockDraws { part, draws: from..(from + BLOCK_DRAWS).min(end) };
            blocks.extend(fixed.draws.clone().step_by(BLOCK_DRAWS).map(|from| {
                let share = (from - start) as f64 / (end - start) as f64;
                (share, block(from))
            }));
        }
        blocks.sort_by(|(one, _), (other, _)| one.total_cmp(other));
        blocks.into_iter().map(|(_, block)| block).collect()
    }
}

/// One wing under one component: paths as linear functions of the draws of the fixed and outer effects.
///
/// The effects that matter for the wing come in this order, so that those of the slopes are next to each other: outer
/// effects of starts alone, outer effects of slopes too, fixed effects of slopes too, fixed effects of starts alone.
struct WingPart<'a> {
    fixed: &'a FixedPart,
    shape: Shape,
    /// Places of the fixed effects used, in order.
    fixed_places: Vec<usize>,
    outer: usize,
    fixed_of_all: usize,
    outer_mean: Array1<f64>,
    /// Fixed effects used × outer effects.
    outer_by_fixed: Array2<f64>,
    /// Standard normal numbers × outer effects.
    outer_by_noise: Array2<f64>,
    /// Effects × lines.
    start: Array2<f64>,
    /// Effects of slopes × lines, and which effects these are.
    slope: Array2<f64>,
    slope_effects: Range<usize>,
    constant_mm: Vec<f64>,
    own_sd_mm: Vec<f64>,
    /// Empty where lines have no rates of their own; else of each the slope's constant part, and what the rate brings to start
    /// and slope per standard normal number.
    rates: Vec<OwnRate>,
    groups: Vec<GroupShare>,
}

/// What a line's own rate brings to its path.
struct OwnRate {
    slope_constant_mm: f64,
    sd_mm: [f64; 2],
}

/// What a line shares with those that were adjusted together with it.
struct GroupShare {
    column: usize,
    group: usize,
    sd_mm: f64,
}

impl<'a> WingPart<'a> {
    fn new(fixed: &'a FixedPart, component: &Component, model: &WingModel<'_>) -> Self {
        let posterior = &model.posterior;
        let paths = model.line_paths();
        let (p, q) = (posterior.fixed(), posterior.outer());
        let used = |part: fn(&LinePath) -> &Vec<(usize, f64)>| {
            let mut used = vec![false; p + q];
            for (place, weight) in paths.iter().flat_map(part) {
                used[*place] |= *weight != 0.0;
            }
            used
        };
        let (in_start, in_slope) = (used(|path| &path.start), used(|path| &path.slope));
        let pulls = |k: usize| (0..q).any(|i| posterior.outer_pull(i, k) != 0.0);
        // all outer effects stay, so that their noise keeps its columns
        let (outer_of_slopes, outer_of_starts): (Vec<usize>, Vec<usize>) = (0..q).partition(|i| in_slope[p + i]);
        let (fixed_of_slopes, rest): (Vec<usize>, Vec<usize>) = (0..p).partition(|&k| in_slope[k]);
        let fixed_of_starts: Vec<usize> = rest.into_iter().filter(|&k| in_start[k] || pulls(k)).collect();
        let slope_effects = outer_of_starts.len()..q + fixed_of_slopes.len();
        let outer_places: Vec<usize> = outer_of_starts.into_iter().chain(outer_of_slopes).collect();
        let fixed_places: Vec<usize> = fixed_of_slopes.into_iter().chain(fixed_of_starts).collect();
        let mut column = vec![0; p + q];
        outer_places.iter().enumerate().for_each(|(at, i)| column[p + i] = at);
        fixed_places.iter().enumerate().for_each(|(at, k)| column[*k] = q + at);
        let effects = q + fixed_places.len();
        let weights = |part: fn(&LinePath) -> &Vec<(usize, f64)>| {
            let mut weights = Array2::zeros((effects, paths.len()));
            for (k, path) in paths.iter().enumerate() {
                for &(place, weight) in part(path).iter().filter(|(_, weight)| *weight != 0.0) {
                    weights[[column[place], k]] += weight;
                }
            }
            weights
        };
        let groups = paths.iter().enumerate().filter(|(_, path)| path.group_sd_mm > 0.0);
        Self {
            fixed,
            shape: component.basis.shape,
            outer: q,
            fixed_of_all: p,
            outer_mean: outer_places.iter().map(|&i| posterior.outer_mean(i)).collect(),
            outer_by_fixed: of_outer(&fixed_places, &outer_places, |k, i| -posterior.outer_pull(i, k)),
            outer_by_noise: of_outer(&(0..q).collect::<Vec<_>>(), &outer_places, |k, i| posterior.outer_root(i, k)),
            start: weights(|path| &path.start),
            slope: weights(|path| &path.slope).slice_axis(Axis(0), Slice::from(slope_effects.clone())).to_owned(),
            slope_effects,
            fixed_places,
            constant_mm: paths.iter().map(|path| path.constant_mm).collect(),
            own_sd_mm: paths.iter().map(|path| path.own_sd_mm).collect(),
            rates: if paths.iter().any(|path| path.rate_sd_mm != [0.0, 0.0] || path.slope_constant_mm != 0.0) {
                let of =
                    |path: &LinePath| OwnRate { slope_constant_mm: path.slope_constant_mm, sd_mm: path.rate_sd_mm };
                paths.iter().map(of).collect()
            } else {
                Vec::new()
            },
            groups: groups
                .map(|(column, path)| GroupShare { column, group: path.group, sd_mm: path.group_sd_mm })
                .collect(),
        }
    }

    /// Draws `draws` (counted over the whole noise) into the rows of `start` and `slope`.
    fn fill(
        &self,
        noise: &DrawNoise,
        draws: Range<usize>,
        mut start: ArrayViewMut2<'_, f64>,
        mut slope: ArrayViewMut2<'_, f64>,
        values: &mut Array2<f64>,
    ) {
        let (rows, effects) = (draws.len(), self.outer + self.fixed_places.len());
        let mut values = room(values, (rows, effects));
        let normals = noise.normals.slice_axis(Axis(0), Slice::from(draws.clone()));
        let first = draws.start - self.fixed.draws.start;
        let drawn = self.fixed.values.slice_axis(Axis(0), Slice::from(first..first + rows));
        let (mut outer, mut fixed) = values.view_mut().split_at(Axis(1), self.outer);
        for (mut fixed, drawn) in fixed.rows_mut().into_iter().zip(drawn.rows()) {
            fixed.iter_mut().zip(&self.fixed_places).for_each(|(value, place)| *value = drawn[*place]);
        }
        outer.assign(&self.outer_mean);
        general_mat_mul(1.0, &fixed, &self.outer_by_fixed, 1.0, &mut outer);
        let of_outer = normals.slice_axis(Axis(1), Slice::from(self.fixed_of_all..self.fixed_of_all + self.outer));
        general_mat_mul(1.0, &of_outer, &self.outer_by_noise, 1.0, &mut outer);
        // along rows: what is a line's own, then what a group of lines shares
        for (mut starts, normals) in start.rows_mut().into_iter().zip(normals.rows()) {
            let (Some(starts), Some(normals)) = (starts.as_slice_mut(), normals.to_slice()) else {
                continue;
            };
            let own = &normals[noise.shared + noise.lines..];
            for (((start, constant), sd), z) in starts.iter_mut().zip(&self.constant_mm).zip(&self.own_sd_mm).zip(own)
            {
                *start = constant + sd * z;
            }
            for share in &self.groups {
                starts[share.column] += share.sd_mm * normals[noise.shared + share.group];
            }
        }
        if !self.rates.is_empty() {
            let normals = noise.rates.slice_axis(Axis(0), Slice::from(draws.clone()));
            let rows = start.rows_mut().into_iter().zip(slope.rows_mut()).zip(normals.rows());
            for ((starts, slopes), normals) in rows {
                for (((start, slope), rate), z) in starts.into_iter().zip(slopes).zip(&self.rates).zip(normals) {
                    *start += rate.sd_mm[0] * z;
                    *slope = rate.slope_constant_mm + rate.sd_mm[1] * z;
                }
            }
        }
        general_mat_mul(1.0, &values, &self.start, 1.0, &mut start);
        let of_slopes = values.slice_axis(Axis(1), Slice::from(self.slope_effects.clone()));
        let kept = if self.rates.is_empty() { 0.0 } else { 1.0 };
        general_mat_mul(1.0, &of_slopes, &self.slope, kept, &mut slope);
    }
}

/// The corner of an array that has so many rows and columns; the array grows where it is too small. Rows are contiguous.
fn room(cells: &mut Array2<f64>, (rows, columns): (usize, usize)) -> ArrayViewMut2<'_, f64> {
    if cells.nrows() < rows || cells.ncols() < columns {
        *cells = Array2::zeros((rows.max(cells.nrows()), columns.max(cells.ncols())));
    }
    cells.slice_axis_mut(Axis(0), Slice::from(..rows)).slice_axis_move(Axis(1), Slice::from(..columns))
}

fn of_outer(rows: &[usize], outer: &[usize], value: impl Fn(usize, usize) -> f64) -> Array2<f64> {
    Array2::from_shape_fn((rows.len(), outer.len()), |(row, column)| value(rows[row], outer[column]))
}
