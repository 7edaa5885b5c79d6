//! What `wear` answers beyond its fit.

use crate::cli_run::{assert_has, document, linedrift, loft, stderr, stdout};

#[test]
fn wear_gives_other_intervals_influence_and_drift_when_asked() {
    let folder = loft();
    let base = ["wear", "loft", "--json"];
    let plain = document(folder.path(), &base);
    assert_has(&plain, &["terms", "spread", "drift_per_100_h"]);
    assert!(plain.get("intervals").is_none() && plain.get("influence").is_none());
    let drift = plain["drift_per_100_h"].as_array().unwrap();
    assert!(drift.iter().any(|row| row["row"].as_str().unwrap().contains('\u{2212}')));
    assert!(drift.iter().all(|row| row["lower_mm"].as_f64() < row["mm"].as_f64()));
    let profile = document(folder.path(), &["wear", "loft", "--json", "--intervals", "profile", "--influence"]);
    assert_eq!(profile["terms"], plain["terms"], "the terms keep their own intervals");
    let rows = profile["intervals"].as_array().unwrap();
    assert!(rows.iter().all(|row| row["method"] == "profile"));
    assert!(rows.iter().any(|row| row["parameter"] == "sd:reading:offset"));
    assert_eq!(profile["influence"]["wings"].as_array().unwrap().len() as f64, plain["wings"].as_f64().unwrap());
    assert!(!profile["largest_residuals"].as_array().unwrap().is_empty());
    let bootstrap = ["wear", "loft", "--json", "--intervals", "bootstrap", "--replicates", "10", "--seed", "3"];
    let first = document(folder.path(), &bootstrap);
    assert_eq!(first, document(folder.path(), &bootstrap), "a seed reproduces");
    assert!(first["intervals"].as_array().unwrap().iter().all(|row| row["method"] == "bootstrap"));
    let offsets = document(folder.path(), &["wear", "loft", "--json", "--offsets", "model+row"]);
    assert!(offsets["terms"].as_array().unwrap()[0]["term"].as_str().unwrap().starts_with("offset:"));
}

#[test]
fn a_robust_fit_names_the_reading_that_was_written_wrongly() {
    let folder = loft();
    let path = folder.path().join("loft/readings.csv");
    let text = std::fs::read_to_string(&path).unwrap();
    let header: Vec<&str> = text.lines().next().unwrap().split(',').collect();
    let column = |name: &str| header.iter().position(|known| *known == name).unwrap();
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    let mut cells: Vec<String> = lines[40].split(',').map(str::to_owned).collect();
    let reading: f64 = cells[column("reading_mm")].parse().unwrap();
    cells[column("reading_mm")] = (reading + 100.0).to_string();
    lines[40] = cells.join(",");
    std::fs::write(&path, lines.join("\n") + "\n").unwrap();
    let answer = document(folder.path(), &["wear", "loft", "--json", "--robust"]);
    let worst = &answer["down_weighted"][0];
    assert_eq!(worst["line"], cells[column("line")].as_str());
    assert_eq!(worst["check"], cells[column("check")].as_str());
    assert!(worst["weight"].as_f64().unwrap() < 0.2);
    let said = linedrift(folder.path(), &["wear", "loft", "--robust"]);
    assert!(stdout(&said).contains("Readings that counted less"), "{}", stdout(&said));
    // and it can be kept for wings elsewhere
    let saved = linedrift(folder.path(), &["wear", "loft", "--robust", "--save", "fit.json"]);
    assert!(stderr(&saved).contains("saved: fit.json"), "{}", stderr(&saved));
    assert!(folder.path().join("fit.json").exists());
    let clash = linedrift(folder.path(), &["wear", "loft", "--robust", "--influence"]);
    assert_eq!(clash.status.code(), Some(2), "{}", stderr(&clash));
    let few = linedrift(folder.path(), &["wear", "loft", "--intervals", "bootstrap", "--replicates", "1"]);
    assert_eq!(few.status.code(), Some(2));
}
