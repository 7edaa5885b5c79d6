//! First crossing of any limit, draw by draw.

use std::borrow::Cow;

use ndarray::CowArray;

use super::pass::CrossingPass;
use crate::forecast::error::positive;
use crate::forecast::{FirstCrossing, ForecastError, Limits};
use crate::wear::{LineKey, PathDraws};
use crate::wing::LineSet;

/// Finds the first crossing of any limit in each draw of a wing's line paths.
///
/// | setting | default | why |
/// |---|---|---|
/// | `limits` | [`Limits::default`] | see there |
/// | `horizon_h` | 1,000 h ahead | a wing seldom flies longer |
///
/// Every watched quantity is linear in the line deviations, and each deviation is `a + b·g`, so a quantity is
/// `A + B·g` in each draw and its first crossing of `|A + B·g| ≥ T` from `g₀ = g(now)` on is, with `x = A + B·g₀`,
/// now where `|x| ≥ T`, else at `g₀ + (T − sign(B)·x)/|B|`, never where `B = 0`. The draw's shape turns `g` into hours.
///
/// *Common offset.* At a check it is the median deviation of the lines in rows A–D. A median of lines is not linear in
/// `g`; on a path it is the straight line in `g` through the draw's own median now and 100 h later, so that it is exact at
/// both. (The mean over the lines, tied to the median of the mean path, is cheaper but biased: a mean path has no scatter
/// of lines, its median sits inside one row, and the other rows look further off than they are.) A wing without lines in
/// A–D has the common offset 0.
///
/// Where several limits are crossed at the same hours (all those already crossed now), the one named is the first in the
/// order row difference (A–B, A–C, …), incidence, left less right (rows, then incidence), twist, offset, brake, line.
///
/// ```
/// use linedrift::WearSpec;
/// use linedrift::forecast::{CrossingSpec, incidence_weights};
/// use linedrift::simulate::FleetSpec;
///
/// let fleet = FleetSpec::default().wings(8).seed(7).run()?.fleet;
/// let history = fleet.history("W05").ok_or("no such wing")?;
/// let check = history.checks.last().ok_or("no check")?;
/// let (set, fit) = (fleet.line_set(history), WearSpec::default().fit(&fleet)?);
/// let draws = fit.path_draws(set, history, &fit.draw_noise(&fleet, 1, 500))?;
/// let weights = incidence_weights(set, &draws.lines);
/// let crossing = CrossingSpec::default().run(&draws, set, check.hours_h, weights.as_deref())?;
/// println!("chance that a limit is crossed in 50 h: {:.2}", crossing.risk_at(check.hours_h + 50.0));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CrossingSpec {
    limits: Limits,
    horizon_h: f64,
}

impl Default for CrossingSpec {
    fn default() -> Self {
        Self { limits: Limits::default(), horizon_h: 1000.0 }
    }
}

impl CrossingSpec {
    /// Sets the limits.
    #[must_use]
    pub const fn limits(mut self, limits: Limits) -> Self {
        self.limits = limits;
        self
    }

    /// Sets how many hours ahead to look, h.
    #[must_use]
    pub const fn horizon_h(mut self, horizon_h: f64) -> Self {
        self.horizon_h = horizon_h;
        self
    }

    /// Checks that every limit and the horizon are finite and above zero.
    ///
    /// # Errors
    /// [`ForecastError::NotPositive`] with the first that is not.
    pub fn validate(&self) -> Result<(), ForecastError> {
        self.limits.validate()?;
        positive("horizon_h", self.horizon_h)?;
        Ok(())
    }

    /// First crossings of the paths of one wing from `hours_now_h` (flown since new) on.
    ///
    /// `incidence_deg_per_mm` holds, for each column of the draws, how many degrees the incidence changes for one
    /// millimetre of that line ([`crate::forecast::incidence_weights`]); `None` leaves the incidence unwatched.
    ///
    /// # Errors
    /// [`ForecastError`] when a limit, the horizon or the hours are out of range, when the draws are empty, do not fit
    /// together or the line set, or hold a number that is not finite.
    pub fn run(
        &self,
        paths: &PathDraws,
        set: &LineSet,
        hours_now_h: f64,
        incidence_deg_per_mm: Option<&[f64]>,
    ) -> Result<FirstCrossing, ForecastError> {
        let draws = paths.shapes.len();
        if draws == 0 {
            return Err(ForecastError::Draws { what: "draws", got: 0, expected: 1 });
        }
        for array in [&paths.start_mm, &paths.slope_mm] {
            if array.nrows() != draws {
                return Err(ForecastError::Draws { what: "rows of draws", got: array.nrows(), expected: draws });
            }
            if array.ncols() != paths.lines.len() {
                return Err(ForecastError::Draws {
                    what: "columns of lines",
                    got: array.ncols(),
                    expected: paths.lines.len(),
                });
            }
        }
        let start = CowArray::from(&paths.start_mm);
        let start = start.as_standard_layout();
        let slope = CowArray::from(&paths.slope_mm);
        let slope = slope.as_standard_layout();
        let mut pass =
            self.pass(Cow::Borrowed(&paths.lines), set, hours_now_h, incidence_deg_per_mm.map(Cow::Borrowed))?;
        for ((start, slope), shape) in start.rows().into_iter().zip(slope.rows()).zip(&paths.shapes) {
            let (Some(start), Some(slope)) = (start.to_slice(), slope.to_slice()) else {
                return Err(ForecastError::Draws { what: "contiguous arrays", got: 0, expected: 2 });
            };
            pass.judge(start, slope, *shape)?;
        }
        Ok(pass.finish())
    }

    /// A pass over draws that come one after the other.
    pub(in crate::forecast) fn pass<'a>(
        &self,
        lines: Cow<'a, [LineKey]>,
        set: &'a LineSet,
        hours_now_h: f64,
        incidence_deg_per_mm: Option<Cow<'a, [f64]>>,
    ) -> Result<CrossingPass<'a>, ForecastError> {
        self.validate()?;
        if !(hours_now_h.is_finite() && hours_now_h >= 0.0) {
            return Err(ForecastError::Hours { what: "hours_now_h", value: hours_now_h });
        }
        CrossingPass::new(lines, set, self.limits, incidence_deg_per_mm, hours_now_h, self.horizon_h)
    }
}
