//! Models of a table against R: lme4, lmerTest, emmeans, pbkrtest, mvtnorm (`tests/data/contrasts`, read).
//!
//! Tolerances, relative unless said: likelihoods 1e-8; estimates, standard errors, fitted values and effects 2e-5 of their scale, as
//! that is how far the other optimiser's stop leaves θ; degrees of freedom 1e-3, as the other side differentiates numerically;
//! adjusted p 1 % and 5e-4 absolute, as both sides draw at random.

use linedrift::stats::ContrastRow;
use linedrift::stats::mixed::{Covariance, Criterion, DataTable, MixedModelFit, MixedModelSpec, ModelError};
use serde_json::Value;

use crate::support::{Table, json};

fn table(name: &str, numbers: &[&str], texts: &[&str]) -> DataTable {
    let read = Table::read(&format!("lmm/{name}.csv"));
    let rows = 0..read.rows();
    let mut table = DataTable::default();
    for column in numbers {
        table = table.number(column, rows.clone().map(|row| read.number(row, column))).unwrap();
    }
    for column in texts {
        table = table.text(column, rows.clone().map(|row| read.text(row, column))).unwrap();
    }
    table
}

fn sleepstudy() -> DataTable {
    table("sleepstudy", &["Reaction", "Days"], &["Subject"])
}

fn sleep_model() -> MixedModelSpec {
    MixedModelSpec::new("Reaction").fixed("Days").random("Subject", ["1", "Days"])
}

fn cake() -> MixedModelFit {
    let table = table("cake", &["angle", "temp"], &["recipe", "replicate"]);
    let spec = MixedModelSpec::new("angle").fixed("recipe").fixed("temp").categorical("temp");
    spec.random("recipe:replicate", ["1"]).fit(&table).unwrap()
}

fn orthodont() -> MixedModelFit {
    let table = table("orthodont", &["distance", "age"], &["Subject", "Sex"]);
    let spec = MixedModelSpec::new("distance").fixed("age").fixed("Sex").fixed("age:Sex");
    spec.random("Subject", ["1", "age"]).fit(&table).unwrap()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value}"))
}

fn close(ours: f64, theirs: f64, scale: f64, share: f64, what: &str) {
    assert!((ours - theirs).abs() <= share * scale.abs().max(1e-12), "{what}: {ours} against {theirs}");
}

fn column(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(number).collect()
}

/// R's names in ours.
fn renamed(name: &str) -> String {
    let name = name.replace("(Intercept)", "(intercept)").replace("tempf", "temp=");
    ["recipe", "Sex"].iter().fold(name, |name, factor| match name.rfind(factor) {
        Some(at) if at + factor.len() < name.len() => name.replace(factor, &format!("{factor}=")),
        _ => name,
    })
}

fn facts(fit: &MixedModelFit, expected: &Value, label: &str) {
    let same = |ours: f64, key: &str| close(ours, number(&expected[key]), number(&expected[key]), 1e-8, key);
    same(fit.log_likelihood(), "logLik");
    same(fit.aic(), "AIC");
    same(fit.bic(), "BIC");
    let ml = fit.refit_by(Criterion::Ml).unwrap();
    same(ml.log_likelihood(), "ml_logLik");
    same(ml.aic(), "ml_AIC");
    same(ml.bic(), "ml_BIC");
    close(fit.sigma(), number(&expected["sigma"]), fit.sigma(), 1e-5, "sigma");
    let covariance = fit.covariance();
    for (i, row) in expected["vcov"].as_array().unwrap().iter().enumerate() {
        for (j, theirs) in column(row).into_iter().enumerate() {
            let scale = (covariance[[i, i]] * covariance[[j, j]]).sqrt();
            close(covariance[[i, j]], theirs, scale, 2e-5, &format!("{label} vcov {i} {j}"));
        }
    }
    let rows = [
        ("fitted", fit.fitted().to_vec()),
        ("population", fit.population().to_vec()),
        ("residuals", fit.residuals()),
    ];
    for (key, ours) in rows {
        let theirs = column(&expected[key]);
        assert_eq!(ours.len(), theirs.len());
        for (ours, theirs) in ours.iter().zip(theirs) {
            close(*ours, theirs, fit.sigma(), 5e-5, &format!("{label} {key}"));
        }
    }
    let theirs = expected["effects"].as_array().unwrap();
    assert_eq!(fit.effects().len(), theirs.len(), "{label}");
    for row in theirs {
        let text = |key: &str| row[key].as_str().unwrap().to_owned();
        let effect = if text("term") == "(Intercept)" { "1".to_owned() } else { text("term") };
        // R joins nested levels with a dot
        let ours = fit
            .effects()
            .iter()
            .find(|ours| {
                ours.effect == effect
                    && ours.level.replace(':', ".") == text("group")
                    && (ours.group == text("level_of") || ours.group.contains(':'))
            })
            .unwrap_or_else(|| panic!("{label}: no {row}"));
        close(ours.value, number(&row["value"]), ours.sd.max(0.1), 2e-4, &format!("{label} {row}"));
        close(ours.sd, number(&row["sd"]), ours.sd, 2e-4, &format!("{label} sd of {row}"));
    }
    for test in expected["anova"].as_array().into_iter().flatten() {
        let term = renamed(test["term"].as_str().unwrap()).replace("temp=", "temp");
        let ours =
            fit.term_test(&term.replace("age:Sex=", "age:Sex")).unwrap_or_else(|e| panic!("{label} {test}: {e}"));
        // marginal tests of a term that is in a product too depend on the coding: only those that do not are compared
        if label == "orthodont" && term != "age:Sex" {
            continue;
        }
        close(ours.statistic, number(&test["F"]), ours.statistic, 1e-4, &format!("{label} F {test}"));
        close(ours.numerator, number(&test["num"]), 1.0, 1e-9, "numerator");
        close(ours.denominator, number(&test["den"]), ours.denominator, 1e-3, &format!("{label} den {test}"));
        close(ours.p, number(&test["p"]), ours.p, 5e-3, &format!("{label} p {test}"));
    }
}

fn agree(ours: &ContrastRow, theirs: &Value, label: &str) {
    let se = number(&theirs["se"]);
    close(ours.estimate, number(&theirs["estimate"]), se, 5e-5, &format!("{label} estimate {theirs}"));
    close(ours.se, se, se, 2e-5, &format!("{label} se {theirs}"));
    close(ours.df, number(&theirs["df"]), ours.df, 1e-3, &format!("{label} df {theirs}"));
    close(ours.lower, number(&theirs["lower"]), se, 2e-3, &format!("{label} lower {theirs}"));
    close(ours.upper, number(&theirs["upper"]), se, 2e-3, &format!("{label} upper {theirs}"));
    let p = ours.p.unwrap();
    close(p, number(&theirs["p"]), p, 5e-3, &format!("{label} p {theirs}"));
    if let Some(together) = theirs["p_together"].as_f64() {
        let all = ours.simultaneous.unwrap().p.unwrap();
        assert!((all - together).abs() < 5e-4 + 0.01 * together, "{label}: {all} against {theirs}");
    }
}

/// Asks for R's contrasts by their weights.
fn asked(fit: &MixedModelFit, expected: &Value, label: &str) {
    let expected = expected.as_array().unwrap();
    let parts: Vec<(String, Vec<(String, f64)>)> = expected
        .iter()
        .map(|contrast| {
            let weights = contrast["weights"].as_object().unwrap().iter();
            let parts = weights.map(|(name, weight)| (renamed(name), number(weight))).filter(|(_, w)| *w != 0.0);
            (contrast["contrast"].as_str().unwrap().to_owned(), parts.collect())
        })
        .collect();
    let borrowed: Vec<(&str, Vec<(&str, f64)>)> = parts
        .iter()
        .map(|(name, parts)| (name.as_str(), parts.iter().map(|(name, w)| (name.as_str(), *w)).collect()))
        .collect();
    let slices: Vec<(&str, &[(&str, f64)])> =
        borrowed.iter().map(|(name, parts)| (*name, parts.as_slice())).collect();
    let rows = fit.contrasts(&slices).unwrap();
    for (ours, theirs) in rows.iter().zip(expected) {
        agree(ours, theirs, label);
    }
}

#[test]
fn classic_models_say_what_lme4_says() {
    let reference = json("contrasts/contrasts.json");
    facts(&sleep_model().fit(&sleepstudy()).unwrap(), &reference["sleepstudy"]["facts"], "sleepstudy");
    facts(&cake(), &reference["cake"]["facts"], "cake");
    facts(&orthodont(), &reference["orthodont"]["facts"], "orthodont");
    let penicillin = table("penicillin", &["diameter"], &["plate", "sample"]);
    let spec = MixedModelSpec::new("diameter").random("plate", ["1"]).random("sample", ["1"]);
    facts(&spec.fit(&penicillin).unwrap(), &reference["penicillin"]["facts"], "penicillin");
    let pastes = table("pastes", &["strength"], &["batch", "cask"]);
    let spec = MixedModelSpec::new("strength").random("batch", ["1"]).random("batch:cask", ["1"]);
    facts(&spec.fit(&pastes).unwrap(), &reference["pastes"]["facts"], "pastes");
}

#[test]
fn contrasts_have_the_degrees_of_freedom_and_adjusted_p_of_others() {
    let reference = json("contrasts/contrasts.json");
    asked(&cake(), &reference["cake"]["recipes"], "cake recipes");
    asked(&cake(), &reference["cake"]["temperatures"], "cake temperatures");
    asked(&orthodont(), &reference["orthodont"]["contrasts"], "orthodont");
    asked(&sleep_model().fit(&sleepstudy()).unwrap(), &reference["sleepstudy"]["contrasts"], "sleepstudy");
}

#[test]
fn all_pairs_agree_with_tukeys_adjustment_on_a_balanced_design() {
    let reference = json("contrasts/contrasts.json");
    for (column, key) in [("recipe", "emmeans_recipes"), ("temp", "emmeans_temperatures")] {
        let pairs = cake().pairs(column).unwrap();
        let expected = reference["cake"][key].as_array().unwrap();
        assert_eq!(pairs.len(), expected.len());
        for (ours, theirs) in pairs.iter().zip(expected) {
            close(ours.estimate, number(&theirs["estimate"]), ours.se, 5e-5, &format!("{column} {theirs}"));
            close(ours.se, number(&theirs["SE"]), ours.se, 2e-5, "se");
            // both degrees of freedom are exact in a balanced design
            close(ours.df, number(&theirs["df"]), ours.df, 1e-3, "df");
            let (all, tukey) = (ours.simultaneous.unwrap().p.unwrap(), number(&theirs["p.value"]));
            assert!((all - tukey).abs() < 5e-4 + 0.01 * tukey, "{column}: {all} against {theirs}");
        }
    }
}

#[test]
fn a_likelihood_ratio_has_both_reference_distributions() {
    let reference = json("contrasts/contrasts.json");
    let large = sleep_model().fit(&sleepstudy()).unwrap();
    let small = MixedModelSpec::new("Reaction").fixed("Days").random("Subject", ["1"]).fit(&sleepstudy()).unwrap();
    let test = large.likelihood_ratio(&small).unwrap();
    let expected = &reference["sleepstudy"]["lrt"];
    close(test.statistic, number(&expected["statistic"]), test.statistic, 1e-6, "statistic");
    assert_eq!(test.freedom as f64, number(&expected["df"]));
    close(test.p_chi2, number(&expected["p"]), test.p_chi2, 1e-5, "p");
    // half of χ² with one degree is less than χ² with two
    assert!(test.p < test.p_chi2 && test.p > test.p_chi2 / 2.0);
    assert!(matches!(small.likelihood_ratio(&large), Err(ModelError::NotNested { .. })));
}

#[test]
fn predictions_agree_with_fitted_values_and_know_what_they_have_not_seen() {
    let fit = sleep_model().fit(&sleepstudy()).unwrap();
    let rows = fit.predict(&sleepstudy(), 0.95).unwrap();
    for ((row, fitted), population) in rows.iter().zip(fit.fitted()).zip(fit.population()) {
        close(row.mean, *fitted, 1.0, 1e-8, "mean");
        close(row.population, *population, 1.0, 1e-8, "population");
        assert!(row.unseen_levels == 0 && row.reading_lower < row.lower && row.upper < row.reading_upper);
    }
    let new = DataTable::default().number("Days", [4.0]).unwrap().text("Subject", ["nobody"]).unwrap();
    let row = fit.predict(&new, 0.95).unwrap()[0];
    assert_eq!(row.unseen_levels, 1);
    close(row.mean, row.population, 1.0, 1e-9, "population");
    // by hand: coefficients' variance at (1, 4), and that of a subject's (offset, slope)
    let (v, spread) = (fit.covariance(), &fit.mixed().outer()[0]);
    let fixed = v[[0, 0]] + 8.0 * v[[0, 1]] + 16.0 * v[[1, 1]];
    let (a, b) = (spread.sd[0], spread.sd[1]);
    let subject = a * a + 8.0 * spread.correlation[2] * a * b + 16.0 * b * b;
    close((row.upper - row.lower) / 2.0 / 1.959_964, (fixed + subject).sqrt(), 1.0, 1e-5, "width");
    // nested groups: an offset that is eliminated first, known and not
    let pastes = table("pastes", &["strength"], &["batch", "cask"]);
    let nested =
        MixedModelSpec::new("strength").random("batch", ["1"]).random("batch:cask", ["1"]).fit(&pastes).unwrap();
    let again = nested.predict(&pastes, 0.9).unwrap();
    for (row, fitted) in again.iter().zip(nested.fitted()) {
        close(row.mean, *fitted, 1.0, 1e-8, "nested mean");
    }
    let other = DataTable::default().text("batch", ["A", "Z"]).unwrap().text("cask", ["z", "z"]).unwrap();
    let other = nested.predict(&other, 0.9).unwrap();
    assert_eq!((other[0].unseen_levels, other[1].unseen_levels), (1, 2));
    assert!(other[1].upper - other[1].lower > other[0].upper - other[0].lower);
}

#[test]
fn a_bootstrap_gives_back_the_standard_errors_of_a_balanced_design() {
    let fit = sleep_model().fit(&sleepstudy()).unwrap();
    let bootstrap = fit.bootstrap(400, 1).unwrap();
    assert_eq!(bootstrap.replicates() + bootstrap.failed(), 400);
    for (row, coefficient) in bootstrap.rows().iter().zip(fit.coefficients()) {
        // exact there; a standard deviation of 400 draws is known to 3.5 %, so four of those
        close(row.sd, coefficient.se, coefficient.se, 0.14, &row.parameter);
        assert!(row.bias.abs() < 4.0 * coefficient.se / 20.0, "{row:?}");
    }
    assert_eq!(bootstrap, fit.bootstrap(400, 1).unwrap());
}

#[test]
fn a_summary_prints_what_a_statistician_looks_for() {
    let text = cake().to_string();
    for part in ["REML", "log likelihood", "AIC", "recipe:replicate", "(intercept)", "temp=185", "42.0", "residual"] {
        assert!(text.contains(part), "{part} is not in\n{text}");
    }
}

#[test]
fn what_cannot_be_fitted_says_why() {
    let table = sleepstudy();
    let err = |spec: MixedModelSpec| spec.fit(&table).unwrap_err();
    assert!(matches!(err(MixedModelSpec::new("nothing")), ModelError::NoColumn { .. }));
    assert!(matches!(err(MixedModelSpec::new("Subject")), ModelError::NotNumber { .. }));
    assert!(matches!(err(sleep_model().fixed("x")), ModelError::NoColumn { .. }));
    assert!(matches!(err(sleep_model().random("Subject", ["Subject"])), ModelError::NotNumber { .. }));
    assert!(DataTable::default().number("a", [1.0, f64::NAN]).is_err());
    assert!(DataTable::default().number("a", [1.0]).unwrap().number("b", [1.0, 2.0]).is_err());
    assert!(DataTable::default().number("a", [1.0]).unwrap().text("a", ["x"]).is_err());
    let fit = sleep_model().fit(&table).unwrap();
    assert!(matches!(fit.contrast("x", &[("Day", 1.0)]), Err(ModelError::NoCoefficient { .. })));
    assert!(fit.predict(&table, 1.0).is_err() && fit.bootstrap(1, 1).is_err() && fit.refit(&[1.0]).is_err());
    let saved: MixedModelFit = serde_json::from_str(&serde_json::to_string(&fit).unwrap()).unwrap();
    assert_eq!(saved.coefficients(), fit.coefficients());
    let _ = Covariance::Full;
}
