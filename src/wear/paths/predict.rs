//! What a fit expects of lines at given hours.

use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Normal};

use crate::check::History;
use crate::wear::{LineKey, PathFunctional, WearError, WearFit};
use crate::wing::{LineSet, Row, Side};

/// What to do with what the fit has never seen: a wing without a check of its own, or a material in a row that no wing of
/// the fit had.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum UnseenPolicy {
    /// An error that names it.
    Refuse,
    /// A row without figures.
    LeaveOut,
    /// A wing is taken as any wing of the fleet, with all of the spread between wings in its intervals. A material in a row
    /// never measured has no fleet to be taken from: a row without figures.
    #[default]
    Fleet,
}

/// How to predict.
///
/// | setter | default | reason |
/// |---|---|---|
/// | `level` | 0.95 | the level of all intervals |
/// | `unseen` | as the fleet | a new wing is any wing of its fleet |
///
/// ```
/// use linedrift::Side;
/// use linedrift::WearSpec;
/// use linedrift::simulate::FleetSpec;
/// use linedrift::wear::{LineAt, PredictSpec};
///
/// let fleet = FleetSpec::default().wings(8).seed(7).run()?.fleet;
/// let history = fleet.history("W05").ok_or("no such wing")?;
/// let fit = WearSpec::default().fit(&fleet)?;
/// let lines = [LineAt { side: Side::Left, line: 0, hours_h: 200.0 }];
/// let rows = PredictSpec::default().run(&fit, fleet.line_set(history), history, &lines)?;
/// println!("{:?}", rows[0]);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PredictSpec {
    level: f64,
    unseen: UnseenPolicy,
}

impl Default for PredictSpec {
    fn default() -> Self {
        Self { level: 0.95, unseen: UnseenPolicy::default() }
    }
}

/// One line at some hours.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LineAt {
    /// Side of the wing.
    pub side: Side,
    /// Index of the line in its line set.
    pub line: usize,
    /// Hours flown, h.
    pub hours_h: f64,
}

/// What is expected of one line at some hours. Figures are `None` where the policy leaves the row out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PredictionRow {
    /// The wing.
    pub wing: String,
    /// Side.
    pub side: Side,
    /// Line.
    pub line: String,
    /// Row.
    pub row: Row,
    /// Hours flown, h.
    pub hours_h: f64,
    /// Expected deviation of the line's true length, mm.
    pub mean_mm: Option<f64>,
    /// Lower end of the interval of the true deviation, mm.
    pub lower_mm: Option<f64>,
    /// Upper end of the same, mm.
    pub upper_mm: Option<f64>,
    /// Lower end of the interval of one reading at a new check, mm: the check's offset and the reading's error are in it.
    pub reading_lower_mm: Option<f64>,
    /// Upper end of the same, mm.
    pub reading_upper_mm: Option<f64>,
    /// Whether the wing's own checks are in it.
    pub own_history: bool,
}

impl PredictSpec {
    /// Level of the intervals, above 0 and below 1.
    #[must_use]
    pub const fn level(mut self, level: f64) -> Self {
        self.level = level;
        self
    }

    /// What to do with what the fit has never seen.
    #[must_use]
    pub const fn unseen(mut self, unseen: UnseenPolicy) -> Self {
        self.unseen = unseen;
        self
    }

    /// What a fit expects of lines of a wing (with or without checks of its own), at any hours. Intervals are normal about
    /// the mean, with the variance of the estimates, of the wing's own effects given its checks and, where it was estimated,
    /// of the time shape's scale; spreads are taken as fitted.
    ///
    /// # Errors
    /// [`WearError::Level`] when the level is not within 0 and 1, [`WearError::Unseen`] under [`UnseenPolicy::Refuse`] and for
    /// a line that the set does not have on that side or hours that are negative or not finite, otherwise as
    /// [`WearFit::path_posterior`].
    pub fn run(
        &self,
        fit: &WearFit,
        set: &LineSet,
        history: &History,
        lines: &[LineAt],
    ) -> Result<Vec<PredictionRow>, WearError> {
        if !(self.level > 0.0 && self.level < 1.0) {
            return Err(WearError::Level { got: self.level });
        }
        if set.model() != history.wing.model {
            let what =
                format!("line set `{}` for wing `{}` of `{}`", set.model(), history.wing.id, history.wing.model);
            return Err(WearError::Unseen { what });
        }
        let z = Normal::standard().inverse_cdf(0.5 + self.level / 2.0);
        let fit = &*fit.parted();
        let posterior = fit.path_posterior(set, history)?;
        let wing = &history.wing.id;
        let refuse = self.unseen == UnseenPolicy::Refuse;
        if refuse && !posterior.own_history() {
            return Err(WearError::Unseen { what: format!("wing `{wing}` has no check") });
        }
        let noise = fit.check_sd_mm().powi(2) + fit.reading_sd_mm().powi(2);
        let place =
            |at: &LineAt| posterior.lines().iter().position(|key| *key == LineKey { side: at.side, line: at.line });
        lines
            .iter()
            .map(|at| {
                let (Some(place), Some(line)) = (place(at), set.lines().get(at.line)) else {
                    return Err(WearError::Unseen { what: format!("line {} on the {} side", at.line, at.side) });
                };
                if !(at.hours_h >= 0.0 && at.hours_h.is_finite()) {
                    return Err(WearError::Unseen { what: format!("line `{}` at {} h", line.name, at.hours_h) });
                }
                let unknown = set
                    .exposure_m(at.line)
                    .into_iter()
                    .find(|exposure| exposure.length_m > 0.0 && !fit.has_rate(exposure.material, line.row));
                if let (true, Some(exposure)) = (refuse, &unknown) {
                    let what = format!("material `{}` in row {}", exposure.material, line.row);
                    return Err(WearError::Unseen { what });
                }
                let mut row = PredictionRow {
                    wing: wing.clone(),
                    side: at.side,
                    line: line.name.clone(),
                    row: line.row,
                    hours_h: at.hours_h,
                    mean_mm: None,
                    lower_mm: None,
                    upper_mm: None,
                    reading_lower_mm: None,
                    reading_upper_mm: None,
                    own_history: posterior.own_history(),
                };
                if unknown.is_some() || (self.unseen == UnseenPolicy::LeaveOut && !posterior.own_history()) {
                    return Ok(row);
                }
                let mut weights = vec![0.0; posterior.lines().len()];
                weights[place] = 1.0;
                let moments = posterior.moments(&[PathFunctional { hours_h: at.hours_h, weights }]);
                let (mean, sd) = (moments.mean_mm[0], moments.sd_mm(0));
                let reading = sd.hypot(noise.sqrt());
                row.mean_mm = Some(mean);
                row.lower_mm = Some(mean - z * sd);
                row.upper_mm = Some(mean + z * sd);
                row.reading_lower_mm = Some(mean - z * reading);
                row.reading_upper_mm = Some(mean + z * reading);
                Ok(row)
            })
            .collect()
    }
}
