//! Joint draws of the true line paths of one wing.

use ndarray::Array2;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use crate::wear::Shape;
use crate::wing::Side;

/// Draws of the true deviation paths of one wing's lines. In each draw the true deviation of line `k` at `h` hours is
/// `start_mm[[draw, k]] + slope_mm[[draw, k]] · g(h)` with `g` the draw's time shape; check offsets and reading errors are
/// not in it. The parameters behind a draw are drawn jointly, so functions of several lines may be formed draw by draw.
#[derive(Debug, Clone)]
pub struct PathDraws {
    /// Side and index (in the line set) of each column.
    pub lines: Vec<LineKey>,
    /// Draws × lines: deviation at `g = 0`, mm.
    pub start_mm: Array2<f64>,
    /// Draws × lines: change per unit of `g` (that is, over the first 100 h), mm.
    pub slope_mm: Array2<f64>,
    /// Time shape of each draw (its scale differs from draw to draw where it was estimated).
    pub shapes: Vec<Shape>,
    /// Whether the wing's own checks are in the draws (otherwise they are the fleet's).
    pub own_history: bool,
}

/// One line on one side.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct LineKey {
    /// Side of the wing.
    pub side: Side,
    /// Index of the line in its line set.
    pub line: usize,
}

/// Standard normal numbers behind draws, shared by all wings: differences between wings are then differences of wings, not
/// of chance (common random numbers).
#[derive(Debug, Clone)]
pub struct DrawNoise {
    pub(crate) shared: usize,
    pub(crate) lines: usize,
    /// Draws × (shared, then one per group of lines adjusted together, then one per line).
    pub(crate) normals: Array2<f64>,
    /// Draws × lines, for rates of single lines.
    pub(crate) rates: Array2<f64>,
}

impl DrawNoise {
    /// `draws` rows of noise for fits with up to `shared` parameters and effects, and wings of up to `lines` lines (both
    /// sides counted), from a seed. [`crate::wear::WearFit::draw_noise`] knows the sizes.
    #[must_use]
    pub fn new(seed: u64, draws: usize, shared: usize, lines: usize) -> Self {
        let mut generator = ChaCha8Rng::seed_from_u64(seed);
        let columns = shared + 2 * lines;
        let normals = Array2::from_shape_simple_fn((draws, columns), || StandardNormal.sample(&mut generator));
        // a stream of its own, so that the other numbers are the same with and without rates of lines
        generator.set_stream(1);
        let rates = Array2::from_shape_simple_fn((draws, lines), || StandardNormal.sample(&mut generator));
        Self { shared, lines, normals, rates }
    }

    /// How many draws.
    #[must_use]
    pub fn draws(&self) -> usize {
        self.normals.nrows()
    }
}
