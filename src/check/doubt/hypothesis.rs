//! The slips that hands make, and how likely each would have written what was read.

use super::FindingKind;

/// One way a reading may have come about.
#[derive(Debug, Clone, Copy)]
pub(super) struct Hypothesis {
    /// `None`: the reading is right.
    pub(super) kind: Option<FindingKind>,
    pub(super) suggested_mm: Option<f64>,
    /// Line (side and line in one) whose value it is.
    pub(super) other: Option<usize>,
    pub(super) weight: f64,
}

/// Prior probability of each slip per reading. Order of size of hand-written tables (practice); what matters is their
/// ratio, and that no slip is ruled out.
const PRIOR_DIGITS: f64 = 1.2e-3;
const PRIOR_HUNDRED: f64 = 1.0e-3;
const PRIOR_THOUSAND: f64 = 1.0e-3;
pub(super) const PRIOR_OTHER: f64 = 1.0e-3;
const PRIOR_UNIT: f64 = 3.0e-4;
const PRIOR_DECIMAL: f64 = 3.0e-4;
pub(super) const PRIOR_ODD: f64 = 1.0e-3;
/// Any of them.
pub(super) const PRIOR_SLIP: f64 =
    PRIOR_DIGITS + PRIOR_HUNDRED + PRIOR_THOUSAND + PRIOR_OTHER + PRIOR_UNIT + PRIOR_DECIMAL + PRIOR_ODD;

/// Half-width at half height of what an unexplained slip adds, mm.
const ODD_MM: f64 = 40.0;
/// Degrees of freedom of a right reading about its expectation: heavier tails than the normal.
const FREEDOM: f64 = 12.0;

/// Density of Student's t with twelve degrees of freedom, scaled by `sd`.
pub(super) fn density(away: f64, sd: f64) -> f64 {
    let unit = away / sd;
    // Γ(13/2)/(√(12π) Γ(6))
    0.390_727 / sd * (1.0 + unit * unit / FREEDOM).powf(-0.5 * (FREEDOM + 1.0))
}

/// Everything a slip of the pen may have made of a value.
pub(super) fn slips(reading_mm: f64, expected_mm: f64, sd_mm: f64) -> Vec<Hypothesis> {
    let mut all = Vec::with_capacity(16);
    all.push(Hypothesis {
        kind: None,
        suggested_mm: None,
        other: None,
        weight: (1.0 - PRIOR_SLIP) * density(reading_mm - expected_mm, sd_mm),
    });
    each_slip(reading_mm, |kind, prior, candidate| {
        let weight = prior * density(candidate - expected_mm, sd_mm);
        all.push(Hypothesis { kind: Some(kind), suggested_mm: Some(candidate), other: None, weight });
    });
    all.push(Hypothesis {
        kind: Some(FindingKind::Odd),
        suggested_mm: None,
        other: None,
        weight: PRIOR_ODD * odd_density(reading_mm - expected_mm),
    });
    all
}

/// Probability density of what was read by a slip of the pen, whatever the slip.
pub(super) fn slip_weight(reading_mm: f64, expected_mm: f64, sd_mm: f64) -> f64 {
    let mut sum = PRIOR_ODD * odd_density(reading_mm - expected_mm);
    each_slip(reading_mm, |_, prior, candidate| sum += prior * density(candidate - expected_mm, sd_mm));
    sum
}

/// Density of an unexplained slip.
pub(super) fn odd_density(away_mm: f64) -> f64 {
    let unit = away_mm / ODD_MM;
    1.0 / (std::f64::consts::PI * ODD_MM * (1.0 + unit * unit))
}

fn each_slip(reading_mm: f64, mut push: impl FnMut(FindingKind, f64, f64)) {
    for candidate in digit_swaps(reading_mm) {
        push(FindingKind::DigitsSwapped, PRIOR_DIGITS / 3.0, candidate);
    }
    for step in [-1.0, 1.0] {
        push(FindingKind::HundredOff, PRIOR_HUNDRED / 2.0, reading_mm + 100.0 * step);
        push(FindingKind::ThousandOff, PRIOR_THOUSAND / 2.0, reading_mm + 1000.0 * step);
    }
    for factor in super::table::UNITS {
        push(FindingKind::Unit, PRIOR_UNIT / 3.0, reading_mm * factor);
    }
    for factor in [0.1, 0.01, 100.0] {
        push(FindingKind::Decimal, PRIOR_DECIMAL / 3.0, reading_mm * factor);
    }
}

/// The values that differ from this one by an exchange of two neighbouring digits before the decimal point.
fn digit_swaps(value: f64) -> Vec<f64> {
    let mut found = Vec::new();
    let mut place = 1.0;
    while place * 10.0 <= value && place < 1e6 {
        let digit = |place: f64| (value / place).floor().rem_euclid(10.0);
        let change = 9.0 * place * (digit(place) - digit(10.0 * place));
        if change != 0.0 {
            found.push(value + change);
        }
        place *= 10.0;
    }
    found
}

#[cfg(test)]
mod tests {
    use super::{density, digit_swaps};

    #[test]
    fn swaps() {
        assert_eq!(digit_swaps(6473.0), vec![6437.0, 6743.0, 4673.0]);
        assert_eq!(digit_swaps(6655.5), vec![6565.5]);
        assert!(digit_swaps(7.0).is_empty());
        assert!(digit_swaps(-700.0).is_empty());
    }

    #[test]
    fn density_has_unit_mass() {
        let mass: f64 = (-400_000..400_000).map(|at| density(f64::from(at) * 0.01, 3.0) * 0.01).sum();
        assert!((mass - 1.0).abs() < 1e-5, "{mass}");
    }
}
