//! Robust statistics against published and computed values (sources in data/robust/ORIGIN.md).

use linedrift::stats::robust::{
    IQR_CONSISTENCY, MAD_CONSISTENCY, OutlierError, QN_CONSISTENCY, Tail, generalised_esd, grubbs_critical,
    grubbs_statistic, huber, huber_proposal2, mad, median, qn, shortest_half_midpoint,
};

use crate::support::json;

fn numbers(value: &serde_json::Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|one| one.as_f64().unwrap()).collect()
}

/// Known: derived (quadrature), 1e-8.
#[test]
fn constants() {
    let known = json("robust/constants.json");
    for (name, ours) in [
        ("mad_consistency", MAD_CONSISTENCY),
        ("iqr_consistency", IQR_CONSISTENCY),
        ("Qn_consistency", QN_CONSISTENCY),
    ] {
        let theirs: f64 = known[name].as_str().unwrap().parse().unwrap();
        approx::assert_abs_diff_eq!(ours, theirs, epsilon = 1e-8);
    }
}

/// Copper in wholemeal flour, fits by R's MASS and robustbase: known: computed elsewhere, 1e-5.
#[test]
fn location_and_scale_of_the_flour_data() {
    let known = json("robust/robust_fits.json");
    let data = numbers(&known["chem_huber_proposal2"]["data"]);
    let number = |name: &str| known[name].as_f64().unwrap();
    approx::assert_relative_eq!(mad(&data).unwrap(), number("chem_mad"), max_relative = 1e-5);
    approx::assert_relative_eq!(qn(&data).unwrap(), number("chem_Qn"), max_relative = 1e-5);
    let fixed = huber(&data, 1.5).unwrap();
    approx::assert_relative_eq!(fixed.location, known["chem_huber_MAD"]["mu"].as_f64().unwrap(), max_relative = 1e-5);
    approx::assert_relative_eq!(fixed.scale, known["chem_huber_MAD"]["s"].as_f64().unwrap(), max_relative = 1e-5);
    let both = huber_proposal2(&data, 1.5).unwrap();
    let theirs = &known["chem_huber_proposal2"];
    approx::assert_relative_eq!(both.location, theirs["mu"].as_f64().unwrap(), max_relative = 1e-5);
    approx::assert_relative_eq!(both.scale, theirs["s"].as_f64().unwrap(), max_relative = 1e-5);
}

/// Grubbs's table, one and both ends: known: derived, as printed.
#[test]
fn grubbs_table() {
    let known = json("robust/outliers.json");
    let mut seen = 0;
    for (name, tail) in [("grubbs_one_sided", Tail::One), ("grubbs_two_sided", Tail::Both)] {
        for (level, row) in known[name].as_object().unwrap() {
            for (count, theirs) in row.as_object().unwrap() {
                let ours = grubbs_critical(count.parse().unwrap(), level.parse().unwrap(), tail).unwrap();
                approx::assert_relative_eq!(ours, theirs.as_f64().unwrap(), max_relative = 1e-6);
                seen += 1;
            }
        }
    }
    assert!(seen > 100, "{seen}");
    let uranium = &known["uranium"];
    let statistic = grubbs_statistic(&numbers(&uranium["data"])).unwrap();
    approx::assert_relative_eq!(statistic, uranium["G"].as_f64().unwrap(), max_relative = 1e-9);
    assert!(statistic > grubbs_critical(8, 0.05, Tail::One).unwrap());
}

/// Rosner's 54 observations, known: second-hand data, statistics derived.
#[test]
fn generalised_esd_finds_rosners_three() {
    let known = &json("robust/outliers.json")["rosner_gesd"];
    let test = generalised_esd(&numbers(&known["data"]), 10, 0.05).unwrap();
    assert_eq!(test.outliers as u64, known["n_outliers"].as_u64().unwrap());
    for (at, step) in test.steps.iter().enumerate() {
        approx::assert_relative_eq!(step.statistic, known["R"][at].as_f64().unwrap(), max_relative = 1e-9);
        approx::assert_relative_eq!(step.critical, known["lambda_05"][at].as_f64().unwrap(), max_relative = 1e-6);
        assert_eq!(step.value, known["removed"][at].as_f64().unwrap());
    }
    assert_eq!(test.steps.len(), 10);
}

#[test]
fn senseless_input_is_refused_and_wild_values_do_no_harm() {
    assert_eq!(median(&[]), None);
    assert_eq!(median(&[f64::NAN, 2.0, f64::INFINITY]), Some(2.0));
    assert_eq!(mad(&[1.0, 1.0, 1.0, 50.0]), Some(0.0));
    assert_eq!(qn(&[1.0]), None);
    assert_eq!(huber(&[1.0, 2.0], 0.0), None);
    assert_eq!(huber_proposal2(&[1.0, 1.0, 1.0, 9.0], 1.5), None);
    assert_eq!(grubbs_critical(2, 0.05, Tail::Both), Err(OutlierError::TooFew { got: 2, needed: 3 }));
    assert_eq!(grubbs_critical(9, 1.0, Tail::Both), Err(OutlierError::Level { got: 1.0 }));
    assert_eq!(generalised_esd(&[4.0; 9], 2, 0.05), Err(OutlierError::NoSpread));
    // four of nine are wild, and all on one side
    let half = [0.0, 1.0, 2.0, 3.0, 4.0, 90.0, 300.0, 500.0, 900.0];
    assert_eq!(shortest_half_midpoint(&half), Some(2.0));
    assert_eq!(shortest_half_midpoint(&[7.0]), Some(7.0));
    assert_eq!(shortest_half_midpoint(&[]), None);
}
