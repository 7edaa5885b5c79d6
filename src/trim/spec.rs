//! How a check is to be judged.

use serde::{Deserialize, Serialize};

use super::{Limits, Trim, TrimError, TrimModel};
use crate::check::{Budget, Check, DecisionRule, History};
use crate::wing::{LineSet, Planform, Row, Wing};

/// Which deviation a tolerance judges.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ToleranceOn {
    /// The deviation less the check's common offset.
    #[default]
    Relative,
    /// The raw deviation.
    Absolute,
}

/// How a check is judged.
///
/// | setting | default | why |
/// |---|---|---|
/// | `brake_tolerance_mm` | 20 mm | practice; a line's own tolerance wins |
/// | `tolerance_on` | relative | a set uniformly long or short is not out of trim |
/// | `rule` | by value | the rule of makers and workshops; guarded for laboratories |
/// | `budget` | [`Budget::default`] | u = 1.5 mm, U = 3.0 mm for one deviation |
/// | `incidence_range_deg` | 1° | past it the linear bands no longer hold |
/// | `asymmetry_threshold_deg` | 0.1° | smaller differences are not flagged, however certain |
/// | `limits` | [`Limits::default`] | see there |
/// | `planform` | from the `models` table | elliptic from span, area or root chord |
/// | `arch_radius_m` | unknown | only the bands for angle of attack and speed ask for it |
///
/// ```
/// use linedrift::check::{Check, Reading};
/// use linedrift::trim::TrimSpec;
/// use linedrift::wing::{Line, LineSet, ModelData, Row, Segment, Side, Wing};
///
/// let mut lines = Vec::new();
/// let mut segments = Vec::new();
/// for (name, row, chord) in [("A1", Row::A, 0.12), ("B1", Row::B, 0.62)] {
///     lines.push(Line {
///         name: name.to_owned(), row, rank: 1, nominal_mm: 6000.0, span: 0.5, span_assumed: false,
///         chord: Some(chord), main: None, tolerance_mm: None, side: None, segment: segments.len(),
///     });
///     segments.push(Segment {
///         name: name.to_owned(), parent: None, material: "uhmwpe".to_owned(), length_mm: 6000.0,
///         diameter_mm: None, can_loop: None,
///     });
/// }
/// let data = ModelData { root_chord_m: Some(2.5), ..ModelData::default() };
/// let set = LineSet::new("Rook 2", None, lines, segments)?.with_data(data);
/// let mut check = Check::new("c1", linedrift::Date::constant(2024, 5, 1), 80.0);
/// for side in Side::BOTH {
///     for (line, reading_mm) in [(0, 5995.0), (1, 6000.0)] {
///         check.readings.push(Reading { side, line, reading_mm, repeat: 1, operator: None });
///     }
/// }
/// let trim = TrimSpec::default().run(&set, &Wing::new("w7", "Rook 2"), &check)?;
/// // front short: nose-down, faster
/// assert!(trim.incidence_change_deg.value.is_some_and(|deg| deg < 0.0));
/// assert!(trim.speed_change_pct.value.is_some_and(|pct| pct > 0.0));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// The interval of the incidence change is that of the measurement alone: chord, chord positions and the planform are
/// taken as exact.
///
/// A line's chance of being outside uses the uncertainty of one deviation with all parts of the budget, also those that the
/// whole check shares: a cautious choice for relative deviations.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TrimSpec {
    #[serde(default)]
    pub(crate) limits: Limits,
    pub(super) brake_tolerance_mm: f64,
    pub(super) tolerance_on: ToleranceOn,
    #[serde(default)]
    pub(super) rule: DecisionRule,
    pub(super) budget: Budget,
    pub(super) incidence_range_deg: f64,
    pub(super) asymmetry_threshold_deg: f64,
    pub(super) planform: Option<Planform>,
    #[serde(default)]
    pub(super) arch_radius_m: Option<f64>,
}

impl Default for TrimSpec {
    fn default() -> Self {
        Self {
            limits: Limits::default(),
            brake_tolerance_mm: 20.0,
            tolerance_on: ToleranceOn::Relative,
            rule: DecisionRule::Value,
            budget: Budget::default(),
            incidence_range_deg: 1.0,
            asymmetry_threshold_deg: 0.1,
            planform: None,
            arch_radius_m: None,
        }
    }
}

impl TrimSpec {
    setters! {
        /// What the wing is held to.
        limits: Limits;
        /// Tolerance of a brake line without its own, mm.
        brake_tolerance_mm: f64;
        /// Which deviation the tolerances judge.
        tolerance_on: ToleranceOn;
        /// How a deviation is held against its tolerance.
        rule: DecisionRule;
        /// Uncertainty budget of one deviation. Repeats in the check replace its repeatability part.
        budget: Budget;
        /// Incidence change past which angle of attack and speed are not stated, degrees.
        incidence_range_deg: f64;
        /// Asymmetry that is flagged when its interval excludes zero, degrees.
        asymmetry_threshold_deg: f64;
        /// The wing's planform, in place of what the `models` table gives.
        planform: Planform => Some;
        /// Radius of the arch seen from the front, as that of a circle, m (more than 0).
        arch_radius_m: f64 => Some;
    }

    /// Does once what depends on the line set alone; the result judges any number of checks of that model.
    ///
    /// # Errors
    /// [`TrimError`] on a setting out of its range or a figure of the line set that is not a finite number.
    pub fn prepare<'a>(&self, set: &'a LineSet) -> Result<TrimModel<'a>, TrimError> {
        TrimModel::new(self, set)
    }

    /// Judges one check of a wing (`at` its index in the history), its doubtful readings set apart.
    ///
    /// # Errors
    /// [`TrimError`] as [`TrimSpec::prepare`] and [`TrimModel::judge`].
    pub fn judge(&self, set: &LineSet, history: &History, at: usize) -> Result<Trim, TrimError> {
        self.prepare(set)?.judge(history, at)
    }

    /// Judges one check alone, every reading believed.
    ///
    /// # Errors
    /// [`TrimError`] as [`TrimSpec::prepare`] and [`TrimModel::run`].
    pub fn run(&self, set: &LineSet, wing: &Wing, check: &Check) -> Result<Trim, TrimError> {
        self.prepare(set)?.run(wing, check)
    }

    /// Tolerance of a line: its own, else its row's default, mm.
    pub(super) fn tolerance_of(&self, row: Row, own_mm: Option<f64>) -> f64 {
        own_mm.unwrap_or(if row == Row::Brake { self.brake_tolerance_mm } else { self.limits.line_limit_mm() })
    }

    pub(super) fn validate(&self) -> Result<(), TrimError> {
        let settings = [
            ("brake_tolerance_mm", self.brake_tolerance_mm),
            ("incidence_range_deg", self.incidence_range_deg),
            ("asymmetry_threshold_deg", self.asymmetry_threshold_deg),
        ];
        for (name, value) in settings {
            if !(value.is_finite() && value >= 0.0) {
                let expected = "a finite number, zero or more";
                return Err(TrimError::Setting { name: name.to_owned(), value, expected });
            }
        }
        if let Some(name) = self.limits.refused() {
            let value = self.limits.of(name).unwrap_or(f64::NAN);
            return Err(TrimError::Setting { name: name.to_owned(), value, expected: "a finite number above 0" });
        }
        if let Some(value) = self.arch_radius_m.filter(|radius| !(radius.is_finite() && *radius > 0.0)) {
            let expected = "a finite number, more than 0";
            return Err(TrimError::Setting { name: "arch_radius_m".to_owned(), value, expected });
        }
        self.budget.not_finite().map_or(Ok(()), |part| {
            let name = format!("budget part `{}`", part.name);
            Err(TrimError::Setting { name, value: part.value, expected: "a finite number" })
        })
    }
}
