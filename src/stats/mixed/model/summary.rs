//! A fit on one screen.

use std::fmt;

use super::MixedModelFit;
use crate::stats::StopReason;
use crate::stats::mixed::{Criterion, MixedDiagnostic};

impl fmt::Display for MixedModelFit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mixed = &self.mixed;
        let criterion = match mixed.criterion() {
            Criterion::Reml => "REML",
            Criterion::Ml => "ML",
        };
        writeln!(f, "Linear mixed model of {} by {criterion}, {} rows", self.spec.response, self.observations())?;
        writeln!(
            f,
            "log likelihood {:.3}, deviance {:.3}, AIC {:.2}, BIC {:.2}",
            self.log_likelihood(),
            mixed.deviance(),
            self.aic(),
            self.bic()
        )?;
        self.write_random(f)?;
        writeln!(f, "\nFixed effects (df after Satterthwaite)")?;
        writeln!(f, "{:<24} {:>11} {:>10} {:>8} {:>8} {:>8}", "", "estimate", "se", "df", "t", "p")?;
        for row in self.coefficients() {
            let df = if row.df < 1e5 { format!("{:.1}", row.df) } else { "normal".to_owned() };
            let t = if row.se > 0.0 { format!("{:.2}", row.estimate / row.se) } else { "-".to_owned() };
            writeln!(
                f,
                "{:<24} {:>11.5} {:>10.5} {df:>8} {t:>8} {:>8}",
                row.name,
                row.estimate,
                row.se,
                p_text(row.p)
            )?;
        }
        let tests = self.term_tests();
        if tests.iter().any(|test| test.numerator > 1.0) {
            writeln!(f, "\nTerms, each given the others")?;
            writeln!(f, "{:<24} {:>9} {:>5} {:>8} {:>8}", "", "F", "num", "den", "p")?;
            for test in tests {
                let den =
                    if test.denominator < 1e5 { format!("{:.1}", test.denominator) } else { "normal".to_owned() };
                writeln!(
                    f,
                    "{:<24} {:>9.3} {:>5} {den:>8} {:>8}",
                    test.tested,
                    test.statistic,
                    test.numerator,
                    p_text(Some(test.p))
                )?;
            }
        }
        if !mixed.dropped().is_empty() {
            writeln!(f, "\nLeft out, since earlier columns explain them: {}", mixed.dropped().join(", "))?;
        }
        for diagnostic in mixed.diagnostics() {
            match diagnostic {
                MixedDiagnostic::ZeroSpread { term, effect } => {
                    writeln!(f, "\nboundary: the spread of effect {} of {term} is estimated as zero", effect + 1)?;
                }
                MixedDiagnostic::FullCorrelation { term } => {
                    writeln!(f, "\nboundary: the effects of {term} are estimated as fully correlated")?;
                }
                MixedDiagnostic::Dropped { .. } => {}
                MixedDiagnostic::BadlyConditioned { column, digits } => writeln!(
                    f,
                    "\nbadly conditioned: earlier columns explain nearly all of {column}; its figures are good to {digits} digits at most"
                )?,
                MixedDiagnostic::NotConverged { stop } => {
                    writeln!(f, "\nnot converged ({stop:?}): do not use these figures")?;
                }
            }
        }
        Ok(())
    }
}

impl MixedModelFit {
    fn write_random(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mixed = &self.mixed;
        debug_assert!(mixed.minimum().stop == StopReason::Converged || !mixed.diagnostics().is_empty());
        writeln!(f, "\nRandom effects")?;
        writeln!(f, "{:<24} {:<14} {:>8} {:>11} {:>11}  correlation", "", "effect", "levels", "variance", "sd")?;
        let mut engine = 0;
        for (term, (spec, group)) in self.spec.random.iter().zip(&self.design.groups).enumerate() {
            if Some(term) == self.design.inner {
                let sd = mixed.inner_sd().unwrap_or(0.0);
                let levels = group.labels.len();
                writeln!(f, "{:<24} {:<14} {levels:>8} {:>11.5} {sd:>11.5}", spec.group, "1", sd * sd)?;
                continue;
            }
            let Some(spread) = mixed.outer().get(engine) else { continue };
            engine += 1;
            let w = spread.sd.len();
            for (place, (effect, sd)) in spec.effects.iter().zip(&spread.sd).enumerate() {
                let first = place == 0;
                let (name, levels) =
                    if first { (spec.group.as_str(), group.labels.len().to_string()) } else { ("", String::new()) };
                write!(f, "{name:<24} {effect:<14} {levels:>8} {:>11.5} {sd:>11.5} ", sd * sd)?;
                for other in 0..place {
                    write!(f, " {:>6.3}", spread.correlation[place * w + other])?;
                }
                writeln!(f)?;
            }
        }
        let sigma = mixed.sigma();
        writeln!(f, "{:<24} {:<14} {:>8} {:>11.5} {sigma:>11.5}", "residual", "", "", sigma * sigma)
    }
}

fn p_text(p: Option<f64>) -> String {
    match p {
        None => "-".to_owned(),
        Some(p) if p < 1e-4 => "<0.0001".to_owned(),
        Some(p) => format!("{p:.4}"),
    }
}
