//! Prandtl's linear lifting line for any planform and twist.

use std::f64::consts::PI;

use nalgebra::{DMatrix, DVector, Dyn, LU};

use super::TrimError;
use super::finite_wing::{arch_factor, helmbold_slope_per_rad, lift_slope_per_rad};
use crate::wing::Planform;

/// How a lifting line is solved.
///
/// | setting | default | why |
/// |---|---|---|
/// | `terms` | 120 | a linear twist to 1e-4; factors of tapered wings to four digits |
/// | `section_slope_per_rad` | 2π | thin aerofoil |
///
/// ```
/// use linedrift::trim::LiftingLineSpec;
/// use linedrift::wing::Planform;
///
/// let line = LiftingLineSpec::default().run(&Planform::elliptic_of(11.0, 22.0)?)?;
/// // an ellipse has the least induced drag: nothing is lost to it
/// assert!(line.delta().abs() < 1e-6);
/// println!("lift slope {:.2} per radian", line.lift_slope_per_rad());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LiftingLineSpec {
    terms: usize,
    section_slope_per_rad: f64,
}

impl Default for LiftingLineSpec {
    fn default() -> Self {
        Self { terms: 120, section_slope_per_rad: 2.0 * PI }
    }
}

/// One span position with a weight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpanWeight {
    /// Position along the span, −1 right tip … 1 left tip.
    pub span: f64,
    /// Weight; all weights sum to 1.
    pub weight: f64,
}

/// The lifting line of one planform, ready for any twist.
#[derive(Debug, Clone)]
pub struct LiftingLine {
    matrix: LU<f64, Dyn, Dyn>,
    angles: Vec<f64>,
    scale: Vec<f64>,
    weights: Vec<SpanWeight>,
    aspect_ratio: f64,
    section_slope_per_rad: f64,
    uniform: Loading,
}

/// The load on a wing at given local angles.
#[derive(Debug, Clone, PartialEq)]
pub struct Loading {
    aspect_ratio: f64,
    coefficients: Vec<f64>,
}

impl LiftingLineSpec {
    setters! {
        /// Number of Fourier terms, odd and even, also the number of span stations; 4 to 1000.
        terms: usize;
        /// Lift slope of the section, per radian.
        section_slope_per_rad: f64;
    }

    /// Sets up and solves the lifting line of a planform.
    ///
    /// With `y = (b/2)cos φ`, circulation `Γ = 2bV Σ A_n sin nφ`, and `μ = a₀c/(4b)`:
    /// `Σ A_n sin nφ (nμ + sin φ) = μ α sin φ`, collocated at `φ_j = jπ/(N + 1)`. Source: Anderson, section 5.3.
    ///
    /// # Errors
    /// [`TrimError::Setting`] on terms or slope out of range; [`TrimError::Planform`] when span or area is not known or
    /// the equations have no solution.
    pub fn run(&self, planform: &Planform) -> Result<LiftingLine, TrimError> {
        let n = self.terms;
        let setting = |name: &str, value, expected| TrimError::Setting { name: name.to_owned(), value, expected };
        if !(4..=1000).contains(&n) {
            return Err(setting("terms", n as f64, "4 to 1000"));
        }
        let slope = self.section_slope_per_rad;
        if !(slope.is_finite() && slope > 0.0) {
            return Err(setting("section_slope_per_rad", slope, "a positive number"));
        }
        let unknown = |what| TrimError::Planform { what };
        let span_m = planform.span_m().ok_or(unknown("its span is not known"))?;
        let aspect_ratio = planform.aspect_ratio().ok_or(unknown("its area is not known"))?;
        let angles: Vec<f64> = (1..=n).map(|j| PI * j as f64 / (n as f64 + 1.0)).collect();
        let mu: Vec<f64> = angles.iter().map(|phi| slope * planform.chord_m(phi.cos()) / (4.0 * span_m)).collect();
        let equations = DMatrix::from_fn(n, n, |j, k| {
            let order = k as f64 + 1.0;
            (order * angles[j]).sin() * (order * mu[j] + angles[j].sin())
        });
        let scale: Vec<f64> = mu.iter().zip(&angles).map(|(mu, phi)| mu * phi.sin()).collect();
        let matrix = equations.clone().lu();
        let first = DVector::from_fn(n, |row, _| if row == 0 { 1.0 } else { 0.0 });
        let adjoint = equations.transpose().lu().solve(&first).ok_or(unknown("its equations have no solution"))?;
        let raw: Vec<f64> = adjoint.iter().zip(&scale).map(|(z, scale)| z * scale).collect();
        let sum: f64 = raw.iter().sum();
        let weights = angles
            .iter()
            .zip(&raw)
            .map(|(phi, weight)| SpanWeight { span: phi.cos(), weight: weight / sum })
            .collect();
        let uniform = Loading { aspect_ratio, coefficients: Vec::new() };
        let mut line =
            LiftingLine { matrix, angles, scale, weights, aspect_ratio, section_slope_per_rad: slope, uniform };
        line.uniform = line.at(|_| 1.0)?;
        Ok(line)
    }
}

/// Lift slope of a wing per radian from its planform: the lifting line, Helmbold's formula below an aspect ratio of 4, times
/// the factor of the arch where its radius is known.
///
/// # Errors
/// [`TrimError`] as [`LiftingLineSpec::run`].
pub fn planform_lift_slope_per_rad(planform: &Planform, section_slope_per_rad: f64) -> Result<f64, TrimError> {
    let line = LiftingLineSpec::default().section_slope_per_rad(section_slope_per_rad).run(planform)?;
    let flat = if line.aspect_ratio < 4.0 {
        helmbold_slope_per_rad(section_slope_per_rad, line.aspect_ratio)
    } else {
        line.lift_slope_per_rad()
    };
    let arch = planform.span_m().zip(planform.arch_radius_m());
    Ok(flat * arch.map_or(1.0, |(span_m, radius_m)| arch_factor(span_m, radius_m)))
}

impl LiftingLine {
    /// Load with local angle of attack (from zero lift, twist included) as a function of the position along the span,
    /// −1 right tip … 1 left tip, in radians.
    ///
    /// # Errors
    /// [`TrimError::Planform`] when the angles are not finite numbers.
    pub fn at(&self, angle_rad: impl Fn(f64) -> f64) -> Result<Loading, TrimError> {
        let right = DVector::from_iterator(
            self.angles.len(),
            self.angles.iter().zip(&self.scale).map(|(phi, scale)| scale * angle_rad(phi.cos())),
        );
        let solved = self.matrix.solve(&right).filter(|found| found.iter().all(|a| a.is_finite()));
        let found = solved.ok_or(TrimError::Planform { what: "its load is not finite" })?;
        Ok(Loading { aspect_ratio: self.aspect_ratio, coefficients: found.iter().copied().collect() })
    }

    /// Lift slope of the wing, per radian.
    #[must_use]
    pub fn lift_slope_per_rad(&self) -> f64 {
        self.uniform.lift_coefficient()
    }

    /// Induced drag factor `δ` of the untwisted wing.
    #[must_use]
    pub fn delta(&self) -> f64 {
        self.uniform.delta()
    }

    /// Lift slope factor `τ` of the planform, see [`lift_slope_per_rad`].
    #[must_use]
    pub fn tau(&self) -> f64 {
        let ratio = self.section_slope_per_rad / (PI * self.aspect_ratio);
        (self.section_slope_per_rad / self.lift_slope_per_rad() - 1.0) / ratio - 1.0
    }

    /// How far the lift slope differs from that of an ellipse of the same aspect ratio, as a part of it.
    #[must_use]
    pub fn loss_to_ellipse(&self) -> f64 {
        1.0 - self.lift_slope_per_rad() / lift_slope_per_rad(self.section_slope_per_rad, self.aspect_ratio, 0.0)
    }

    /// Weight of the local incidence at each station in the total lift; the weights sum to 1. By the adjoint equations:
    /// the effective incidence of any twist is the weighted mean of the local ones.
    #[must_use]
    pub fn weights(&self) -> &[SpanWeight] {
        &self.weights
    }

    /// Uniform incidence of the same total lift as the local ones given (any unit).
    #[must_use]
    pub fn effective(&self, incidence: impl Fn(f64) -> f64) -> f64 {
        self.weights.iter().map(|station| station.weight * incidence(station.span)).sum()
    }

    /// Load of the untwisted wing at one radian.
    #[must_use]
    pub fn uniform(&self) -> &Loading {
        &self.uniform
    }
}

impl Loading {
    /// Lift coefficient `πA·A₁`.
    #[must_use]
    pub fn lift_coefficient(&self) -> f64 {
        PI * self.aspect_ratio * self.coefficients.first().copied().unwrap_or(0.0)
    }

    /// Induced drag coefficient `πA Σ n A_n²`.
    #[must_use]
    pub fn induced_drag_coefficient(&self) -> f64 {
        let sum: f64 = self.coefficients.iter().enumerate().map(|(k, a)| (k as f64 + 1.0) * a * a).sum();
        PI * self.aspect_ratio * sum
    }

    /// Induced drag factor `δ = Σ_{n≥2} n (A_n/A₁)²`; 0 without lift.
    #[must_use]
    pub fn delta(&self) -> f64 {
        let Some((first, rest)) = self.coefficients.split_first().filter(|(first, _)| **first != 0.0) else {
            return 0.0;
        };
        rest.iter().enumerate().map(|(k, a)| (k as f64 + 2.0) * (a / first).powi(2)).sum()
    }

    /// Circulation at a position along the span (−1 … 1), as a part of `2bV`.
    #[must_use]
    pub fn circulation(&self, span: f64) -> f64 {
        let phi = span.clamp(-1.0, 1.0).acos();
        self.coefficients.iter().enumerate().map(|(k, a)| a * ((k as f64 + 1.0) * phi).sin()).sum()
    }
}
