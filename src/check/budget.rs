//! How far one deviation can be trusted: a stated uncertainty budget.

use std::collections::HashMap;

use serde::{Deserialize, Serialize};

use super::{Check, reading_deviation_mm};
use crate::stats::student_quantile;
use crate::wing::{LineSet, Row, Side};

/// Coverage factor for 95 % when the degrees of freedom are many (GUM practice).
const COVERAGE: f64 = 2.0;
/// Degrees of freedom beyond which they are many: Student's quantile is the normal's to a millionth.
const MOST_FREEDOM: f64 = 1e6;
/// Name of the part that repeats replace.
const REPEATABILITY: &str = "repeatability";
/// Smallest repeatability that repeats can show, mm: the rounding to whole millimetres, `1/√12`.
const ROUNDING_MM: f64 = 0.288_675_134_594_812_9;

/// How the value of a budget part is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Distribution {
    /// The value is a standard deviation.
    Normal,
    /// The value is the half width of a rectangular distribution; its standard deviation is `value/√3`.
    Rectangular,
}

/// Which readings have the same error from a budget part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum SharedBy {
    /// Every line of the check: cancels in relative deviations, differences and incidence.
    Check,
    /// The lines of one row on one side: stays in a row mean whatever the number of lines.
    RiserRow,
    /// One line alone: averages out.
    Line,
}

/// One part of the budget.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BudgetPart {
    /// Name, unique in the budget.
    pub name: String,
    /// Half width or standard deviation, in the part's own unit (mm, N, K).
    pub value: f64,
    /// How `value` is meant.
    pub distribution: Distribution,
    /// Millimetres of deviation per unit of `value`.
    pub sensitivity: f64,
    /// Which readings have this error in common.
    pub shared: SharedBy,
}

impl BudgetPart {
    /// A part in millimetres (sensitivity 1).
    #[must_use]
    pub fn new(name: &str, value: f64, distribution: Distribution, shared: SharedBy) -> Self {
        Self { name: name.to_owned(), value, distribution, sensitivity: 1.0, shared }
    }

    setters! {
        /// The same part with another sensitivity, mm per unit.
        sensitivity: f64;
    }

    /// Standard uncertainty from this part, mm.
    #[must_use]
    pub fn standard_mm(&self) -> f64 {
        let value = match self.distribution {
            Distribution::Normal => self.value,
            Distribution::Rectangular => self.value / 3f64.sqrt(),
        };
        (value * self.sensitivity).abs()
    }
}

/// Repeatability seen in a check's own repeats, pooled over its lines.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Repeats {
    /// Standard deviation of one reading, mm (not below the rounding to whole millimetres, 0.29 mm).
    pub sd_mm: f64,
    /// Its degrees of freedom.
    pub degrees_of_freedom: f64,
}

impl Repeats {
    /// Pools the repeats of a check: `s² = Σ_l Σ_r (d_lr − d̄_l)² / Σ_l (n_l − 1)`. `None` without repeats.
    #[must_use]
    pub fn of(set: &LineSet, check: &Check) -> Option<Self> {
        let mut groups: HashMap<(Side, usize), Vec<f64>> = HashMap::new();
        let lines = set.lines().len();
        let mut counts = vec![0u32; 2 * lines];
        for reading in &check.readings {
            if let Some(count) = counts.get_mut(reading.side.index() * lines + reading.line) {
                *count += 1;
            }
        }
        if counts.iter().all(|&count| count < 2) {
            return None;
        }
        for reading in &check.readings {
            if let Some(deviation) = reading_deviation_mm(set, check, reading) {
                groups.entry((reading.side, reading.line)).or_default().push(deviation);
            }
        }
        let mut keys: Vec<(Side, usize)> = groups.keys().copied().collect();
        keys.sort_by_key(|&(side, line)| (side.index(), line));
        let (mut squares, mut freedom) = (0.0, 0.0);
        for key in keys {
            let Some(values) = groups.get_mut(&key).filter(|values| values.len() > 1) else { continue };
            // summed in order of size, so that the order of the readings does not show
            values.sort_by(f64::total_cmp);
            let mean = values.iter().sum::<f64>() / values.len() as f64;
            squares += values.iter().map(|value| (value - mean).powi(2)).sum::<f64>();
            freedom += values.len() as f64 - 1.0;
        }
        let sd_mm = (squares / freedom).sqrt().max(ROUNDING_MM);
        (freedom > 0.0 && sd_mm.is_finite()).then_some(Self { sd_mm, degrees_of_freedom: freedom })
    }
}

/// One deviation with its coefficient in a linear combination.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weighted {
    /// Coefficient.
    pub coefficient: f64,
    /// Side of the line.
    pub side: Side,
    /// Row of the line.
    pub row: Row,
    /// Readings that the deviation is the mean of.
    pub repeats: u32,
}

/// Uncertainty of a value, in the value's unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Uncertainty {
    /// Standard uncertainty.
    pub standard: f64,
    /// Effective degrees of freedom by Welch and Satterthwaite (`None`: many).
    pub degrees_of_freedom: Option<f64>,
}

impl Uncertainty {
    /// Coverage factor for 95 %: 2, or the 97.5 % quantile of Student's t where that is larger.
    #[must_use]
    pub fn coverage(&self) -> f64 {
        let quantile = self.degrees_of_freedom.and_then(|freedom| student_quantile(0.975, freedom.max(1.0)));
        quantile.map_or(COVERAGE, |quantile| quantile.max(COVERAGE))
    }

    /// Expanded uncertainty (95 %).
    #[must_use]
    pub fn expanded(&self) -> f64 {
        self.coverage() * self.standard
    }
}

/// A stated uncertainty budget for one deviation.
///
/// | part | default | shared by | why |
/// |---|---|---|---|
/// | `instrument` | ±1.5 mm, rectangular | the check | a hand-held laser's stated accuracy |
/// | `repeatability` | 1.0 mm, one standard deviation | one line | practice; replaced by the check's own repeats |
/// | `datum` | ±1 mm, rectangular | a riser's row | where the plate or hook meets the riser |
/// | `load` | ±1 N, rectangular, 0.224 mm/N | one line | stretch of a 6.3 m UHMWPE branch |
/// | `temperature` | ±10 K, rectangular, 0.0758 mm/K | the check | expansion of the same branch |
///
/// Together `u = √Σu² = 1.51 mm`, `U = 2u = 3.0 mm` (law of propagation, JCGM 100:2008). A combination `Σ a_i d_i` has the
/// variance `Σ a_i² u_line² + Σ_g (Σ_{i∈g} a_i)² u_row² + (Σ a_i)² u_check²`, `g` running over the rows of each side:
/// what is shared cancels in differences and does not average out in means.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Budget {
    parts: Vec<BudgetPart>,
    repeats: Option<Repeats>,
}

impl Default for Budget {
    fn default() -> Self {
        use Distribution::{Normal, Rectangular};
        Self {
            parts: vec![
                BudgetPart::new("instrument", 1.5, Rectangular, SharedBy::Check),
                BudgetPart::new(REPEATABILITY, 1.0, Normal, SharedBy::Line),
                BudgetPart::new("datum", 1.0, Rectangular, SharedBy::RiserRow),
                BudgetPart::new("load", 1.0, Rectangular, SharedBy::Line).sensitivity(0.224),
                BudgetPart::new("temperature", 10.0, Rectangular, SharedBy::Check).sensitivity(0.0758),
            ],
            repeats: None,
        }
    }
}

/// Variances of one deviation by whom they are shared with, mm².
#[derive(Debug, Clone, Copy, Default)]
struct Shares {
    check: f64,
    row: f64,
    line: f64,
    repeatability: f64,
}

impl Budget {
    /// A budget with no parts: every reading exact.
    #[must_use]
    pub fn empty() -> Self {
        Self { parts: Vec::new(), repeats: None }
    }

    /// The same budget with a part added, or put in place of the part of its name.
    #[must_use]
    pub fn part(mut self, part: BudgetPart) -> Self {
        match self.parts.iter_mut().find(|known| known.name == part.name) {
            Some(known) => *known = part,
            None => self.parts.push(part),
        }
        self
    }

    /// The same budget with the part of that name shared otherwise; an unknown name changes nothing.
    #[must_use]
    pub fn share(mut self, name: &str, shared: SharedBy) -> Self {
        if let Some(part) = self.parts.iter_mut().find(|part| part.name == name) {
            part.shared = shared;
        }
        self
    }

    setters! {
        /// The same budget with the repeatability that a check's repeats show. Every other part stays.
        repeats: Option<Repeats>;
    }

    /// The parts.
    #[must_use]
    pub fn parts(&self) -> &[BudgetPart] {
        &self.parts
    }

    /// First part whose standard uncertainty is not a finite number.
    #[must_use]
    pub fn not_finite(&self) -> Option<&BudgetPart> {
        self.parts.iter().find(|part| !part.standard_mm().is_finite())
    }

    /// Uncertainty of the deviation of one line that is the mean of `repeats` readings, mm, all parts included.
    #[must_use]
    pub fn one(&self, repeats: u32) -> Uncertainty {
        let line = Weighted { coefficient: 1.0, side: Side::Left, row: Row::A, repeats };
        self.combination([line])
    }

    /// Uncertainty of `Σ a_i d_i`, in mm times the unit of `a`.
    #[must_use]
    pub fn combination(&self, terms: impl IntoIterator<Item = Weighted>) -> Uncertainty {
        self.combine(terms, self.shares())
    }

    /// Uncertainty of `Σ a_i d_i` with what the whole check shares left out.
    #[must_use]
    pub fn relative(&self, terms: impl IntoIterator<Item = Weighted>) -> Uncertainty {
        self.combine(terms, Shares { check: 0.0, ..self.shares() })
    }

    fn shares(&self) -> Shares {
        let mut shares = Shares::default();
        for part in &self.parts {
            let variance = part.standard_mm().powi(2);
            match part.shared {
                _ if part.name == REPEATABILITY => shares.repeatability += variance,
                SharedBy::Check => shares.check += variance,
                SharedBy::RiserRow => shares.row += variance,
                SharedBy::Line => shares.line += variance,
            }
        }
        if let Some(repeats) = self.repeats {
            shares.repeatability = repeats.sd_mm.powi(2);
        }
        shares
    }

    fn combine(&self, terms: impl IntoIterator<Item = Weighted>, shares: Shares) -> Uncertainty {
        let (mut sum, mut line, mut repeatability) = (0.0, 0.0, 0.0);
        let mut groups = [[0.0; Row::ALL.len()]; 2];
        for term in terms {
            let a = term.coefficient;
            sum += a;
            groups[term.side.index()][term.row.index()] += a;
            line += a * a * shares.line;
            repeatability += a * a * shares.repeatability / f64::from(term.repeats.max(1));
        }
        let rows: f64 = groups.iter().flatten().map(|a| a * a).sum();
        let variance = line + repeatability + rows * shares.row + sum * sum * shares.check;
        let degrees_of_freedom = self
            .repeats
            .filter(|_| repeatability > 0.0)
            .map(|repeats| repeats.degrees_of_freedom * (variance / repeatability).powi(2))
            .filter(|freedom| *freedom <= MOST_FREEDOM);
        Uncertainty { standard: variance.sqrt(), degrees_of_freedom }
    }
}
