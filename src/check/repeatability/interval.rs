//! Intervals of variances from mean squares.

use serde::{Deserialize, Serialize};
use statrs::distribution::{ChiSquared, ContinuousCDF, FisherSnedecor};

use super::anova::MeanSquare;

/// An interval of a variance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct VarianceInterval {
    /// Lower end, mm², 0 or more.
    pub lower_mm2: f64,
    /// Upper end, mm².
    pub upper_mm2: f64,
}

impl VarianceInterval {
    /// Lower end as a standard deviation, mm.
    #[must_use]
    pub fn lower_sd_mm(&self) -> f64 {
        self.lower_mm2.sqrt()
    }

    /// Upper end as a standard deviation, mm.
    #[must_use]
    pub fn upper_sd_mm(&self) -> f64 {
        self.upper_mm2.sqrt()
    }
}

/// One term `coefficient · mean square`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Term {
    pub(super) coefficient: f64,
    pub(super) square: MeanSquare,
}

/// Value of a sum of terms.
pub(super) fn value(terms: &[Term]) -> f64 {
    terms.iter().map(|term| term.coefficient * term.square.mean()).sum()
}

/// Interval of one variance from its mean square: `ν s²/χ²`. `None` without degrees of freedom.
pub(super) fn exact(square: MeanSquare, level: f64) -> Option<VarianceInterval> {
    let chi = ChiSquared::new(square.freedom).ok()?;
    let tail = 0.5 * (1.0 - level);
    Some(VarianceInterval {
        lower_mm2: square.sum / chi.inverse_cdf(1.0 - tail),
        upper_mm2: square.sum / chi.inverse_cdf(tail),
    })
}

/// Modified large-sample interval of `γ = Σ c_q S_q² − Σ d_r S_r²`:
/// `γ − √V_L … γ + √V_U`, `V_L = Σ (G_q c_q S_q²)² + Σ (H_r d_r S_r²)² + ΣΣ G_qr c_q d_r S_q² S_r²` with
/// `G = 1 − 1/F(∞ tail)`, `H = 1/F − 1` from the chi-squared quantiles and
/// `G_qr = [(F − 1)² − G_q² F² − H_r²]/F`; `V_U` the other way round. Ends below zero are cut to zero.
///
/// Source: Ting, Burdick, Graybill, Jeyaratnam and Lu, J. Stat. Comput. Simul. 35, 1990; Burdick, Borror and Montgomery, J.
/// Quality Technol. 35, 2003 (memory; coverage checked by simulation in the tests).
pub(super) fn modified_large_sample(terms: &[Term], level: f64) -> Option<VarianceInterval> {
    let tail = 0.5 * (1.0 - level);
    let terms: Vec<Term> = terms.iter().copied().filter(|term| term.coefficient != 0.0).collect();
    let mut lower = 0.0;
    let mut upper = 0.0;
    let mut ends = Vec::with_capacity(terms.len());
    for term in &terms {
        let freedom = term.square.freedom;
        let chi = ChiSquared::new(freedom).ok()?;
        let g = 1.0 - freedom / chi.inverse_cdf(1.0 - tail);
        let h = freedom / chi.inverse_cdf(tail) - 1.0;
        let size = term.coefficient * term.square.mean();
        let (down, up) = if size >= 0.0 { (g, h) } else { (h, g) };
        lower += (down * size).powi(2);
        upper += (up * size).powi(2);
        ends.push(Ends { size, g, h, freedom });
    }
    for plus in ends.iter().filter(|end| end.size > 0.0) {
        for minus in ends.iter().filter(|end| end.size < 0.0) {
            let f = FisherSnedecor::new(plus.freedom, minus.freedom).ok()?;
            let product = plus.size * minus.size.abs();
            let high = f.inverse_cdf(1.0 - tail);
            lower += ((high - 1.0).powi(2) - (plus.g * high).powi(2) - minus.h.powi(2)) / high * product;
            let low = f.inverse_cdf(tail);
            upper += ((1.0 - low).powi(2) - (plus.h * low).powi(2) - minus.g.powi(2)) / low * product;
        }
    }
    let centre = value(&terms);
    let interval = VarianceInterval {
        lower_mm2: (centre - lower.max(0.0).sqrt()).max(0.0),
        upper_mm2: (centre + upper.max(0.0).sqrt()).max(0.0),
    };
    (interval.lower_mm2.is_finite() && interval.upper_mm2.is_finite()).then_some(interval)
}

struct Ends {
    size: f64,
    g: f64,
    h: f64,
    freedom: f64,
}
