//! What comes back from a document is checked as what is built: no index past its table, no cycle, no sum that cannot be.
#![allow(clippy::too_many_lines)]

use linedrift::check::Fleet;
use linedrift::simulate::FleetSpec;
use linedrift::stats::mixed::{Block, BlockBuilder, Covariance, OuterTerm, Structure};
use linedrift::wear::{Reduction, SavedFit, WearFit, WearSpec};
use linedrift::wing::{LineSet, Planform};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::{Value, json};

fn fleet() -> Fleet {
    FleetSpec::default().wings(6).models(2).adjusted_share(0.5).seed(11).run().unwrap().fleet
}

/// Reads back what was written, and refuses it after each change of one place.
fn refuses<T>(made: &T, changes: &[(&str, Value)])
where
    T: Serialize + DeserializeOwned + PartialEq + std::fmt::Debug,
{
    let document = serde_json::to_value(made).unwrap();
    assert!(serde_json::from_value::<T>(document.clone()).unwrap() == *made, "what was written is read back");
    for (place, value) in changes {
        let mut changed = document.clone();
        let spot = changed.pointer_mut(place).unwrap_or_else(|| panic!("no {place}"));
        assert_ne!(spot, value, "{place}");
        *spot = value.clone();
        let read = serde_json::from_value::<T>(changed);
        assert!(read.is_err(), "{place} = {value} is taken");
    }
}

#[test]
fn line_sets_and_fleets_are_checked() {
    let fleet = fleet();
    refuses::<LineSet>(
        &fleet.line_sets()[0],
        &[
            ("/lines/0/segment", json!(100_000)),
            ("/lines/1/name", fleet.line_sets()[0].lines()[0].name.clone().into()),
            ("/segments/0/parent", json!(0)),
            ("/segments/0/parent", json!(100_000)),
        ],
    );
    let second = fleet.histories()[1].wing.id.clone();
    refuses::<Fleet>(
        &fleet,
        &[
            ("/histories/0/line_set", json!(7)),
            ("/histories/0/wing/id", second.into()),
            ("/histories/0/checks/0/readings/0/line", json!(100_000)),
            ("/line_sets/0/segments/0/parent", json!(0)),
        ],
    );
}

/// A history of a larger fleet, asked of a smaller one: no panic, and no line of a model that is not its own.
#[test]
fn a_history_of_another_fleet_has_no_lines_here() {
    let fleet = fleet();
    let foreign = fleet.histories().iter().find(|history| history.line_set == 1).unwrap();
    let none = Fleet::new(Vec::new(), Vec::new()).unwrap();
    assert!(none.line_set(foreign).lines().is_empty());
    let check = foreign.checks.last().unwrap();
    assert!(linedrift::TrimSpec::default().run(none.line_set(foreign), &foreign.wing, check).is_err());
    let _ = linedrift::plan::PlanSpec::default().run(none.line_set(foreign), foreign, check, &[]);
}

#[test]
fn reductions_are_checked() {
    let reduction = Reduction::new(&fleet(), &[]).unwrap();
    refuses::<Reduction>(
        &reduction,
        &[
            ("/wings/0/record/line_set", json!(9)),
            ("/wings/0/record/wing/id", reduction.wings()[1].wing().into()),
            ("/wings/0/covariates", json!([1.0])),
            ("/wings/0/hours_h/0", json!(-5.0)),
            ("/wings/0/levels/keys/0", json!(200_000)),
            ("/wings/0/levels/keys/0", json!(4)),
            (
                "/wings/0/levels/restarted",
                json!([{"level": 0, "epoch": 0, "new_at_h": [], "change_mm": 12.5, "change_sd_mm": null, "adjusted": []}]),
            ),
            ("/wings/0/cells/0/level", json!(4_000_000)),
            ("/wings/0/cells/0/check", json!(4_000_000)),
            ("/wings/0/cells/0/count", json!(0)),
            ("/wings/0/cells/0/squares_um2", json!(-1)),
            ("/wings/0/cells", json!([])),
            ("/unread", json!([serde_json::to_value(&reduction.wings()[0]).unwrap()])),
        ],
    );
    // what is taken fits as what was made
    let text = serde_json::to_string(&reduction).unwrap();
    let read: Reduction = serde_json::from_str(&text).unwrap();
    let spec = WearSpec::default();
    assert_eq!(spec.fit_reduced(&read).unwrap().deviance(), spec.fit_reduced(&reduction).unwrap().deviance());
}

#[test]
fn fits_and_planforms_are_checked() {
    let fleet = fleet();
    let fit = WearSpec::default().fit(&fleet).unwrap();
    refuses::<WearFit>(
        &fit,
        &[
            ("/components", json!([])),
            ("/components/0/weight", json!(2.0)),
            ("/terms/0/estimate", json!(1e3)),
            ("/spread/0/sd", json!(-1.0)),
        ],
    );
    refuses::<SavedFit>(
        &SavedFit::new(fit, &fleet),
        &[
            ("/version", json!(9)),
            ("/format", json!("other")),
            ("/hours_to_h", json!(-1.0)),
            ("/fit/components", json!([])),
        ],
    );
    let station = |y_m: f64, chord_m: f64| linedrift::wing::PlanformStation { y_m, z_m: 0.0, chord_m };
    let planform = Planform::through(&[station(0.0, 3.0), station(3.0, 2.0), station(5.0, 0.5)]).unwrap();
    refuses::<Planform>(
        &planform,
        &[
            ("/shape/Stations/span/1", json!(1.0)),
            ("/shape/Stations/span/2", json!(0.9)),
            ("/shape/Stations/span", json!([])),
            ("/shape/Stations/chord_m/1", json!(-1.0)),
            ("/shape/Stations/chord_m", json!([1.0])),
            ("/span_m", json!(-2.0)),
        ],
    );
    refuses::<Planform>(&Planform::elliptic(3.0).unwrap(), &[("/shape/Elliptic/root_chord_m", json!(0.0))]);
}

#[test]
fn blocks_of_the_engine_are_checked() {
    let outer = OuterTerm { name: "wing".to_owned(), width: 2, covariance: Covariance::Full };
    let structure =
        Structure { inner: Some("line".to_owned()), outer: vec![outer], fixed: vec!["offset".to_owned()] };
    let mut builder = BlockBuilder::new(&structure, &[1]);
    for (level, y) in [(0, 1.0), (0, 2.0), (1, 4.0)] {
        let row = [(builder.outer_column(&structure, 0, 0, 0), 1.0), (builder.fixed_column(0), 1.0)];
        builder.add(Some(level), &row, 1.0, y, y * y);
    }
    refuses::<Block>(
        &builder.finish(),
        &[
            ("/size", json!(5)),
            ("/size", json!(u64::MAX)),
            ("/size", json!(0)),
            ("/outer", json!(4)),
            ("/copies", json!([u64::MAX, 1])),
            ("/copies/0", json!(3)),
            ("/gram", json!([1.0])),
            ("/gram_low", json!([1.0])),
            ("/scale", json!([])),
            ("/scale/0", json!(-1.0)),
            ("/classes/0/moment", json!([])),
            ("/classes/0/n", json!(0.0)),
            ("/observations", json!(-3.0)),
            ("/gram/0", Value::Null),
        ],
    );
}
