//! What researchers ask of the command line: contrasts, comparisons, exported tables, power, settings.

use std::fs;

use linedrift::fleet::dictionary;
use linedrift::fleet::frames::of_table;
use linedrift::fleet::tables;
use linedrift::simulate::{FleetSpec, PowerSpec};
use linedrift::wear::{Alternative, ContrastSpec, Pairs, Reduction, Shape, WearSpec};

use crate::cli_run::{document, linedrift, loft, stderr, stdout};

#[test]
fn contrasts_come_with_the_keys_that_scripts_rely_on() {
    let folder = loft();
    let base = ["wear", "loft", "--shape", "linear", "--json", "--contrast", "uhmwpe:C - uhmwpe:A"];
    let answer = document(folder.path(), &base);
    let row = &answer["contrasts"][0];
    for key in ["estimate", "se", "df", "lower", "upper", "p"] {
        assert!(row[key].is_number(), "{key}: {row}");
    }
    assert_eq!(row["contrast"], "uhmwpe:C - uhmwpe:A");
    let term = |name: &str| {
        let terms = answer["terms"].as_array().unwrap();
        terms.iter().find(|term| term["term"] == name).unwrap()["estimate"].as_f64().unwrap()
    };
    let by_hand = term("rate:uhmwpe:C") - term("rate:uhmwpe:A");
    assert!((row["estimate"].as_f64().unwrap() - by_hand).abs() < 1e-12);
    assert!(answer["terms"][0]["df"].is_number() && answer["terms"][0]["p"].is_number());
    let wrong = linedrift(folder.path(), &["wear", "loft", "--contrast", "straw:C"]);
    assert_eq!(wrong.status.code(), Some(2), "{}", stderr(&wrong));
    assert!(stderr(&wrong).contains("rate:uhmwpe:C"), "the terms there are: {}", stderr(&wrong));
    let said = linedrift(
        folder.path(),
        &[
            "wear",
            "loft",
            "--shape",
            "linear",
            "--pairs",
            "rows",
            "--compare",
            "terms=rate",
            "--compare",
            "shape=log",
        ],
    );
    let text = stdout(&said);
    assert!(text.contains("hold for all of a family together") && text.contains("Models compared"), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
}

#[test]
fn everything_that_others_need_is_written_and_documented() {
    let folder = loft();
    let asked = [
        "wear",
        "loft",
        "--shape",
        "linear",
        "--out",
        "r",
        "--export",
        "--draws",
        "20",
        "--contrast",
        "uhmwpe:C",
        "--compare",
        "terms=rate",
        "--intervals",
        "profile",
    ];
    let output = linedrift(folder.path(), &asked);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    let power = [
        "power",
        "--settings",
        "s.toml",
        "--contrast",
        "uhmwpe:C",
        "--wings",
        "6",
        "--replicates",
        "3",
        "--out",
        "p",
    ];
    fs::write(folder.path().join("s.toml"), "[spreads]\nreading_mm = 1.0\n").unwrap();
    let output = linedrift(folder.path(), &power);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    for entry in dictionary::exports() {
        let out = if entry.name.starts_with("power") { "p" } else { "r" };
        let text = fs::read_to_string(folder.path().join(format!("{out}/{}.csv", entry.name))).unwrap();
        let header: Vec<&str> = text.lines().next().unwrap().split(',').collect();
        assert_eq!(header, entry.columns.iter().map(|column| column.name).collect::<Vec<_>>(), "{}", entry.name);
        assert!(text.lines().count() > 1, "{} is empty", entry.name);
        assert!(folder.path().join(format!("{out}/{}.parquet", entry.name)).is_file());
    }
    assert!(folder.path().join("p/power.svg").is_file());
    let wanted = fs::read_to_string("docs/frames.md").unwrap();
    let pages = dictionary::markdown(dictionary::exports());
    assert!(wanted.contains(pages.trim()), "docs/frames.md: write it again with `linedrift tables --dictionary`");
}

#[test]
fn power_needs_a_fleet_or_settings_and_a_question() {
    let folder = loft();
    fs::write(folder.path().join("s.toml"), "wigns = 3\n").unwrap();
    let code = |args: &[&str]| linedrift(folder.path(), args).status.code();
    assert_eq!(code(&["power", "--contrast", "uhmwpe:C"]), Some(2));
    assert_eq!(code(&["power", "loft"]), Some(2));
    assert_eq!(code(&["power", "--settings", "s.toml", "--contrast", "uhmwpe:C"]), Some(1));
    let asked = ["power", "loft", "--contrast", "uhmwpe:C - uhmwpe:A", "--wings", "6", "--replicates", "3", "--json"];
    let answer = document(folder.path(), &asked);
    assert_eq!(answer["schema"], "linedrift.power/1");
    assert_eq!(answer["rows"][0]["wings"], 6);
    assert!(answer["truth"].is_number());
}

#[test]
fn an_invented_fleet_takes_its_settings_from_a_file() {
    let folder = loft();
    fs::write(folder.path().join("s.toml"), "wings = 3\nrepeats = 2\n").unwrap();
    let made = linedrift(folder.path(), &["simulate", "--out", "three", "--settings", "s.toml"]);
    assert_eq!(made.status.code(), Some(0), "{}", stderr(&made));
    let wings = fs::read_to_string(folder.path().join("three/wings.csv")).unwrap();
    assert_eq!(wings.lines().count(), 4);
    let gauge = linedrift(folder.path(), &["gauge", "three"]);
    assert!(stdout(&gauge).contains("Repeatability"), "{}", stdout(&gauge));
}

/// The frame and its design are the model: fixed part and residuals come out of them, and frames hold what the tables say.
#[test]
fn the_model_frame_gives_back_the_fit() {
    let made = FleetSpec::default().wings(8).seed(2).adjusted_share(0.5).repeats(2).run().unwrap().fleet;
    let reduction = Reduction::new(&made, &[]).unwrap();
    let fit = WearSpec::default().shape(Shape::LINEAR).fit_reduced(&reduction).unwrap();
    let frame = fit.frame(&reduction).unwrap();
    let mut fixed = vec![0.0; frame.rows().len()];
    for entry in frame.design() {
        fixed[entry.frame_row] += entry.value * fit.terms()[entry.term].estimate;
    }
    let residuals = fit.residuals(&reduction).unwrap();
    let of_readings: Vec<f64> = residuals
        .iter()
        .filter(|row| row.level == linedrift::wear::ResidualLevel::Reading)
        .map(|row| row.value)
        .collect();
    assert_eq!(of_readings.len(), frame.rows().len());
    assert_eq!(frame.rows().iter().map(|row| row.readings).sum::<usize>(), fit.readings());
    for ((row, fixed), residual) in frame.rows().iter().zip(&fixed).zip(&of_readings) {
        assert!((row.fixed_mm - fixed).abs() < 1e-9, "{row:?}");
        assert!((row.deviation_mm - row.fitted_mm - residual).abs() < 1e-9, "{row:?} {residual}");
        assert!(row.sd_mm.is_none() == (row.readings == 1));
    }
    assert!(frame.rows().iter().any(|row| row.restart > 0));
    let wing_rate = frame.effects().iter().find(|row| row.group == "wing" && row.effect == "rate").unwrap();
    let same = residuals.iter().find(|row| row.level == linedrift::wear::ResidualLevel::WingRate).unwrap();
    assert!((wing_rate.value - same.value).abs() < 1e-12 && wing_rate.sd > 0.0);
    let covariance = fit.covariance();
    for (k, term) in fit.terms().iter().enumerate() {
        assert!((covariance[[k, k]].sqrt() / term.se - 1.0).abs() < 1e-9, "{term:?}");
    }
    let draws = fit.term_draws(4000, 1);
    for (k, term) in fit.terms().iter().enumerate() {
        let column = draws.values.column(k);
        let mean = column.mean().unwrap();
        assert!((mean - term.estimate).abs() < 5.0 * term.se / 4000_f64.sqrt(), "{term:?} {mean}");
        assert!((column.std(1.0) / term.se - 1.0).abs() < 0.06, "{term:?}");
    }
    let contrasts = ContrastSpec::default().pairs(Pairs::Rows).run(&fit, &[]).unwrap();
    let others = [Alternative::parse(&WearSpec::default(), "terms=rate").unwrap()];
    let compared = WearSpec::default().shape(Shape::LINEAR).compare(&others, &reduction).unwrap();
    let power = PowerSpec::new("uhmwpe:C").wings([6]).replicates(2).run().unwrap();
    for table in [tables::contrasts(&contrasts), tables::compared(&compared), tables::power(&power)] {
        let frame = of_table(&table).unwrap();
        assert!(frame.height() > 0);
    }
}
