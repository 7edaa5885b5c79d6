//! The incidence change of a section that bends with its rows.

use std::f64::consts::PI;

/// Coefficients `c_r` of the uniform slope, per unit of chord position, that changes the lift as much as a mean line bent
/// through the rows: `slope = Σ c_r d_r`. The mean line is straight from row to row, and on past the first and the last.
/// By thin-aerofoil theory its zero-lift angle is `−(1/π)∫ (dz/dx)(cos θ − 1) dθ`, `x = (1 − cos θ)/2`, so a part of slope
/// `m` from `θ_a` to `θ_b` counts `m [(θ_b − sin θ_b) − (θ_a − sin θ_a)]/π`. With two rows it is the slope of the line
/// through them. `None` where two rows are nearer than 2 % of the chord.
///
/// Source of the integral: Anderson, section 4.8.
pub(super) fn flexible_coefficients(positions: &[f64]) -> Option<Vec<f64>> {
    const NEAREST: f64 = 0.02;
    let mut order: Vec<usize> = (0..positions.len()).collect();
    order.sort_by(|a, b| positions[*a].total_cmp(&positions[*b]));
    let part = |x: f64| {
        let theta = (1.0 - 2.0 * x.clamp(0.0, 1.0)).acos();
        (theta - theta.sin()) / PI
    };
    let mut coefficients = vec![0.0; positions.len()];
    for (at, pair) in order.windows(2).enumerate() {
        let [a, b] = *pair else { return None };
        let apart = positions[b] - positions[a];
        if !(apart > NEAREST) {
            return None;
        }
        let from = if at == 0 { 0.0 } else { part(positions[a]) };
        let to = if at + 2 == order.len() { 1.0 } else { part(positions[b]) };
        coefficients[b] += (to - from) / apart;
        coefficients[a] -= (to - from) / apart;
    }
    (positions.len() > 1).then_some(coefficients)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trim::thin_aerofoil;

    fn slope(positions: &[f64], deviations: &[f64]) -> f64 {
        flexible_coefficients(positions).unwrap().iter().zip(deviations).map(|(c, d)| c * d).sum()
    }

    #[test]
    fn a_straight_line_keeps_its_slope() {
        for rows in [&[0.1, 0.6][..], &[0.1, 0.35, 0.65], &[0.7, 0.1, 0.3, 0.5]] {
            let line: Vec<f64> = rows.iter().map(|x| 3.0 + 0.02 * x).collect();
            approx::assert_abs_diff_eq!(slope(rows, &line), 0.02, epsilon = 1e-12);
        }
    }

    /// A plain flap hinged at a row: zero-lift angle `−(δ/π)(π − θ_h + sin θ_h)`, the closed form of thin-aerofoil theory
    /// (from memory, derived again from the integral).
    #[test]
    fn a_flap_at_the_middle_row_has_its_closed_form() {
        for hinge in [0.2_f64, 0.35, 0.5, 0.7] {
            let theta = (1.0 - 2.0 * hinge).acos();
            let down = 0.01;
            let expected = -down / PI * (PI - theta + theta.sin());
            let found = slope(&[0.05, hinge, 0.9], &[0.0, 0.0, -down * (0.9 - hinge)]);
            approx::assert_abs_diff_eq!(found, expected, epsilon = 1e-12);
        }
    }

    /// The numeric integral over the same bent line.
    #[test]
    fn four_rows_agree_with_the_integral() {
        let (rows, z) = ([0.1, 0.3, 0.55, 0.75], [-0.006, -0.002, 0.0, 0.004]);
        let along = |x: f64| {
            let at = rows[1..3].iter().filter(|row| x > **row).count();
            (z[at + 1] - z[at]) / (rows[at + 1] - rows[at])
        };
        approx::assert_abs_diff_eq!(
            slope(&rows, &z).to_degrees(),
            thin_aerofoil(along).zero_lift_deg,
            epsilon = 1e-4
        );
        assert!(flexible_coefficients(&[0.3, 0.31]).is_none());
    }
}
