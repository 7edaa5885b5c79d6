//! Saved fits: the same answers elsewhere, nothing of the fleet inside, and no panic on a damaged file.

use linedrift::check::{Fleet, History};
use linedrift::forecast::{Basis, DueSpec, ForecastError};
use linedrift::simulate::{FleetSpec, Simulated};
use linedrift::wear::{DemoFit, SavedFit, SavedFitError, ShapeChoice, WearSpec};
use linedrift::wing::{LineSet, Row};
use serde_json::Value;

fn made(seed: u64) -> Simulated {
    FleetSpec::demo().wings(12).wing_row_spread(0.2).seed(seed).run().unwrap()
}

fn saved(simulated: &Simulated, spec: &WearSpec) -> SavedFit {
    SavedFit::new(spec.fit(&simulated.fleet).unwrap(), &simulated.fleet)
}

fn alone(simulated: &Simulated, at: usize) -> Fleet {
    let history = simulated.fleet.histories()[at].clone();
    Fleet::new(simulated.fleet.line_sets().to_vec(), vec![history]).unwrap()
}

#[test]
fn a_fit_read_back_is_the_same_to_the_bit_and_serves_one_wing_alone() {
    let simulated = made(11);
    for spec in [WearSpec::default(), WearSpec::default().shape(ShapeChoice::Saturating)] {
        let fit = saved(&simulated, &spec);
        let text = fit.to_json().unwrap();
        let back = SavedFit::from_json(&text).unwrap();
        assert_eq!(back, fit);
        let due = DueSpec::default().draws(300);
        let here = due.run(&simulated.fleet, fit.fit()).unwrap();
        let there = due.run_saved(&simulated.fleet, &back, DemoFit::Refused).unwrap();
        for row in here.rows() {
            assert_eq!(there.wing(&row.wing), Some(row));
        }
        let one = due.run_saved(&alone(&simulated, 0), &back, DemoFit::Refused).unwrap();
        let (row, before) = (&one.rows()[0], here.wing(&one.rows()[0].wing).unwrap());
        assert_eq!((row.basis, row.hours_now), (before.basis, before.hours_now));
        assert!((row.risk_now.unwrap() - before.risk_now.unwrap()).abs() < 0.1, "{row:?} {before:?}");
    }
}

#[test]
fn nothing_of_the_wings_is_in_the_file() {
    let simulated = made(12);
    let text = saved(&simulated, &WearSpec::default()).to_json().unwrap();
    for history in simulated.fleet.histories() {
        assert!(!text.contains(&format!("\"{}\"", history.wing.id)));
        for check in &history.checks {
            assert!(!text.contains(&check.id) && !text.contains(&check.date.to_string()));
        }
    }
    for set in simulated.fleet.line_sets() {
        // a model's own rates are under its name
        assert!(text.contains("model_rates\":{\"") || !text.contains(set.model()));
        assert!(set.lines().iter().all(|line| !text.contains(&format!("\"{}\"", line.name))));
    }
}

#[test]
fn a_fit_on_the_demo_refuses_other_wings_unless_the_user_insists() {
    let simulated = made(13);
    let demo = simulated.fleet.clone().marked_demo();
    let fit = SavedFit::new(WearSpec::default().fit(&demo).unwrap(), &demo);
    assert!(fit.is_demo());
    let due = DueSpec::default().draws(100);
    let refused = due.run_saved(&simulated.fleet, &fit, DemoFit::Refused);
    assert_eq!(refused, Err(ForecastError::Saved(SavedFitError::Demo)));
    assert!(due.run_saved(&demo, &fit, DemoFit::Refused).is_ok());
    let used = due.run_saved(&simulated.fleet, &fit, DemoFit::UsedForRealWings).unwrap();
    // what came of the demo stays marked
    assert!(serde_json::to_string(&used.document()).unwrap().contains("\"demo\":true"));
    // the mark cannot be lost on the way through the file
    assert!(SavedFit::from_json(&fit.to_json().unwrap()).unwrap().is_demo());
}

/// The set with one material's name changed in the B row.
fn foreign(set: &LineSet) -> LineSet {
    let mut segments = set.segments().to_vec();
    for line in set.lines().iter().filter(|line| line.row == Row::B) {
        segments[line.segment].material = "hemp".to_owned();
    }
    LineSet::new("Strange 1", None, set.lines().to_vec(), segments).unwrap().with_data(*set.data())
}

#[test]
fn a_material_that_the_fit_never_saw_is_not_a_rate_of_nought() {
    let simulated = made(14);
    let fit = saved(&simulated, &WearSpec::default());
    let distinct = |history: &History| {
        let mut hours: Vec<f64> = history.checks.iter().map(|check| check.hours_h).collect();
        hours.dedup();
        hours.len()
    };
    let many = simulated.fleet.histories().iter().find(|history| distinct(history) >= 3).unwrap();
    let mut few = simulated
        .fleet
        .histories()
        .iter()
        .find(|other| other.wing.id != many.wing.id && !other.checks.is_empty())
        .unwrap()
        .clone();
    let first = few.checks[0].hours_h;
    few.checks.retain(|check| check.hours_h == first);
    few.actions.clear();
    let due = DueSpec::default().draws(200);
    for (history, basis, words) in [
        (many, Basis::Own, "saved fit has no rate for some of its materials"),
        (&few, Basis::Interval, "saved fit has no rate for some of its materials"),
    ] {
        let set = foreign(simulated.fleet.line_set(history));
        assert!(fit.knows(simulated.fleet.line_set(history)) && !fit.knows(&set));
        let mut wing = history.wing.clone();
        wing.model = set.model().to_owned();
        let fleet = Fleet::new(vec![set], vec![History { wing, line_set: 0, ..history.clone() }]).unwrap();
        let table = due.run_saved(&fleet, &fit, DemoFit::Refused).unwrap();
        assert_eq!(table.rows()[0].basis, basis, "{:?}", table.failures());
        // the present is known from the wing's own check, whatever the basis
        assert!(table.rows()[0].risk_now.is_some());
        let said = table.explanation(&history.wing.id).unwrap();
        assert!(said.contains(words), "{said}");
    }
    // a fit on few wings does not speak for others either
    let small = FleetSpec::default().wings(3).models(1).seed(4).run().unwrap();
    let fit = saved(&small, &WearSpec::default());
    let fleet = Fleet::new(simulated.fleet.line_sets().to_vec(), vec![few.clone()]).unwrap();
    let table = due.run_saved(&fleet, &fit, DemoFit::Refused).unwrap();
    assert_eq!(table.rows()[0].basis, Basis::Interval);
    assert!(table.explanation(&few.wing.id).unwrap().contains("too few wings"));
}

#[test]
fn hours_past_those_of_the_fit_are_called_extrapolation() {
    let simulated = made(15);
    let fit = saved(&simulated, &WearSpec::default());
    let [from, to] = fit.hours_seen_h();
    assert!(from >= 0.0 && to > 100.0);
    let mut history = simulated.fleet.histories()[0].clone();
    history.actions.clear();
    history.checks.truncate(1);
    let one = Fleet::new(simulated.fleet.line_sets().to_vec(), vec![history.clone()]).unwrap();
    for check in &mut history.checks {
        check.hours_h = to + 50.0;
    }
    let late = Fleet::new(one.line_sets().to_vec(), vec![history]).unwrap();
    let said = |fleet: &Fleet| {
        let table = DueSpec::default().draws(200).run_saved(fleet, &fit, DemoFit::Refused).unwrap();
        assert!(table.failures().is_empty(), "{:?}", table.failures());
        table.details()[0].explanation.clone()
    };
    assert!(said(&late).contains("extrapolates"), "{}", said(&late));
    assert!(!said(&one).contains("extrapolates"), "{}", said(&one));
}

#[test]
fn other_formats_and_versions_are_refused_with_what_was_expected() {
    let fit = saved(&made(16), &WearSpec::default());
    let document: Value = serde_json::from_str(&fit.to_json().unwrap()).unwrap();
    let with = |key: &str, value: Value| {
        let mut changed = document.clone();
        changed[key] = value;
        SavedFit::from_json(&changed.to_string()).unwrap_err()
    };
    assert!(matches!(with("format", "something else".into()), SavedFitError::Format { .. }));
    let version = with("version", 1.into());
    assert!(matches!(version, SavedFitError::Version { got: 1, expected: 2, .. }));
    assert!(version.to_string().contains("save the fit again"));
    assert!(matches!(with("hours_to_h", (-1.0).into()), SavedFitError::Damaged { .. }));
    assert!(matches!(with("stranger", 1.into()), SavedFitError::Text { .. }));
    for text in ["", "{}", "[]", "null", "{\"format\":3}", "\u{feff}"] {
        assert!(matches!(SavedFit::from_json(text), Err(SavedFitError::Text { .. })), "{text}");
    }
}

/// Every place of a document, as a JSON pointer.
fn places(value: &Value, at: &str, out: &mut Vec<String>) {
    out.push(at.to_owned());
    match value {
        Value::Array(items) => {
            // long arrays are alike: the ends will do
            let last = items.len().saturating_sub(1);
            for (k, item) in items.iter().enumerate().filter(|(k, _)| *k < 2 || *k == last) {
                places(item, &format!("{at}/{k}"), out);
            }
        }
        Value::Object(entries) => {
            for (key, item) in entries {
                places(item, &format!("{at}/{}", key.replace('~', "~0").replace('/', "~1")), out);
            }
        }
        _ => {}
    }
}

/// Whatever a damaged file gives, using it does not panic and gives no number that is not finite.
fn use_it(saved: &SavedFit, fleet: &Fleet) {
    let _ = saved.to_json().unwrap();
    for term in saved.fit().terms() {
        assert!(term.estimate.is_finite());
    }
    for row in [Row::A, Row::C, Row::Brake] {
        let _ = saved.fit().row_drift(&fleet.line_sets()[0], row, 150.0);
    }
    let table = DueSpec::default().draws(2).run_saved(fleet, saved, DemoFit::UsedForRealWings).unwrap();
    for row in table.rows() {
        assert!(row.due_hours.is_finite() && row.risk_now.is_none_or(f64::is_finite));
    }
}

#[test]
fn a_damaged_file_is_refused_or_harmless() {
    let simulated = made(17);
    let fleet = alone(&simulated, 0);
    let fit = saved(&simulated, &WearSpec::default());
    let mut document: Value = serde_json::from_str(&fit.to_json().unwrap()).unwrap();
    // what is left to refuse without the checksum, which would refuse every change
    document.as_object_mut().unwrap().remove("crc32").unwrap();
    let mut all = Vec::new();
    places(&document, "", &mut all);
    assert!(all.len() > 150, "{}", all.len());
    let (mut refused, mut kept) = (0, 0);
    // every third change: each kind of place is hit by some
    let mut turn = 0;
    for place in all.iter().filter(|place| !place.is_empty()) {
        let values =
            [Value::Null, 0.into(), (-1.0).into(), 1e300.into(), 7.into(), "x".into(), Value::Array(Vec::new())];
        let mut tries: Vec<Value> = values.to_vec();
        match document.pointer(place).unwrap() {
            Value::Array(items) => {
                let mut shorter = items.clone();
                shorter.pop();
                let mut longer = items.clone();
                longer.extend(items.first().cloned());
                tries.extend([Value::Array(shorter), Value::Array(longer)]);
            }
            Value::Bool(is) => tries.push((!is).into()),
            _ => {}
        }
        for value in tries {
            turn += 1;
            if turn % 3 != 0 {
                continue;
            }
            let mut changed = document.clone();
            *changed.pointer_mut(place).unwrap() = value;
            match SavedFit::from_json(&changed.to_string()) {
                Err(error) => {
                    refused += 1;
                    assert!(error.to_string().len() < 400, "{error}");
                }
                Ok(read) => {
                    kept += 1;
                    use_it(&read, &fleet);
                }
            }
        }
    }
    assert!(refused > 250 && kept > 5, "{refused} refused, {kept} kept");
    // cut anywhere
    let text = fit.to_json().unwrap();
    for at in (0..text.len() - 1).step_by(text.len() / 60) {
        assert!(SavedFit::from_json(text.get(..at).unwrap_or_default()).is_err());
    }
}
