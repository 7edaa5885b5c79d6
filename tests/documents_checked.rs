//! What comes back from a document is checked as what is built: no index past its table, no cycle, no sum that cannot be.
#![allow(clippy::too_many_lines)]

use linedrift::check::Fleet;
use linedrift::simulate::FleetSpec;
use linedrift::stats::mixed::{
    Block, BlockBuilder, BlockPosterior, Covariance, Criterion, LevelPrior, MixedError, MixedFit, MixedSpec,
    Objective, OuterTerm, Structure,
};
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
            ("/wings/0/line_sums/0/level", json!(4_000_000)),
            ("/wings/0/line_sums/0/check", json!(4_000_000)),
            ("/wings/0/line_sums/0/count", json!(0)),
            ("/wings/0/line_sums/0/squares_um2", json!(-1)),
            ("/wings/0/line_sums", json!([])),
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
    let structure = Structure {
        inner: Some("line".to_owned()),
        outer: vec![outer],
        fixed: vec!["offset".to_owned()],
        ..Structure::default()
    };
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

/// Six subjects with an offset and a slope of their own, three levels each; `fixed` columns are the powers of x.
fn subjects(fixed: usize) -> (Structure, Vec<BlockBuilder>) {
    let outer = OuterTerm { name: "subject".to_owned(), width: 2, covariance: Covariance::Full };
    let names = (0..fixed).map(|power| format!("x{power}")).collect();
    let structure =
        Structure { inner: Some("level".to_owned()), outer: vec![outer], fixed: names, ..Structure::default() };
    let builders = (0..6i32).map(|subject| {
        let mut builder = BlockBuilder::new(&structure, &[1]);
        for at in 0..12i32 {
            let x = f64::from(at) / 4.0;
            let mut row: Vec<(usize, f64)> =
                (0..2).map(|k| (builder.outer_column(&structure, 0, 0, k), if k == 0 { 1.0 } else { x })).collect();
            row.extend((0..fixed).map(|k| (builder.fixed_column(k), x.powi(i32::try_from(k).unwrap()))));
            let y = 2.0 + 0.5 * x + f64::from((subject * 37 + at * at * 11) % 17) / 10.0;
            builder.add(Some(usize::try_from(at % 3).unwrap()), &row, 1.0, y, y * y);
        }
        builder
    });
    let builders = builders.collect();
    (structure, builders)
}

#[test]
fn fits_of_the_engine_are_checked() {
    let (structure, builders) = subjects(3);
    let blocks: Vec<Block> = builders.iter().map(BlockBuilder::finish).collect();
    let fit = MixedSpec::default().fit(&structure, &blocks).unwrap();
    refuses::<MixedFit>(
        &fit,
        &[
            ("/kept", json!([true, true])),
            ("/kept/0", json!(false)),
            ("/theta", json!([])),
            ("/theta/0", json!(-1.0)),
            ("/beta", json!([1.0])),
            ("/beta/0", json!(5e3)),
            ("/unscaled", json!([])),
            ("/unscaled/0", json!(-1.0)),
            ("/factor/0", json!(0.0)),
            ("/factor/0", json!(1e30)),
            ("/freedom/covariance", json!([1.0, 2.0])),
            ("/freedom/residual", json!(0.0)),
            ("/deviance", Value::Null),
            ("/sigma", json!(0.0)),
            ("/fixed", json!([])),
            ("/fixed/0/column", json!(2)),
            ("/fixed/0/name", json!("other")),
            ("/fixed/0/se", json!(-1.0)),
            ("/outer", json!([])),
            ("/outer/0/sd", json!([1.0])),
            ("/outer/0/sd/0", json!(-1.0)),
            ("/outer/0/correlation/1", json!(2.0)),
            ("/structure/inner", Value::Null),
            ("/structure/fixed", json!(["x0"])),
            ("/structure/outer/0/width", json!(u64::MAX)),
            ("/structure/outer/0/width", json!(1)),
        ],
    );
    // one that dropped a column too
    let (structure, builders) = subjects(2);
    let mut twice = structure.clone();
    twice.fixed.push("again".to_owned());
    let blocks: Vec<Block> = builders
        .iter()
        .map(|_| {
            let mut builder = BlockBuilder::new(&twice, &[1]);
            for at in 0..12i32 {
                let x = f64::from(at % 5);
                let row = [(0, 1.0), (1, x), (2, 1.0), (3, x), (4, 2.0 * x)];
                let y = x + f64::from(at * 7 % 4);
                builder.add(Some(0), &row, 1.0, y, y * y);
            }
            builder.finish()
        })
        .collect();
    let fit = MixedSpec::default().fit(&twice, &blocks).unwrap();
    assert_eq!(fit.dropped(), ["again"]);
    refuses::<MixedFit>(&fit, &[("/dropped", json!([])), ("/kept/2", json!(true))]);
}

/// Blocks of another structure are an error of the engine, whatever they are given to, and not a panic.
#[test]
fn blocks_of_another_structure_are_refused() {
    let (structure, builders) = subjects(3);
    let blocks: Vec<Block> = builders.iter().map(BlockBuilder::finish).collect();
    let fit = MixedSpec::default().fit(&structure, &blocks).unwrap();
    let foreign =
        |error: MixedError| assert!(matches!(error, MixedError::Foreign { block: 0, columns: 5 }), "{error}");
    let (_, others) = subjects(2);
    let other: Vec<Block> = others.iter().map(BlockBuilder::finish).collect();
    foreign(MixedSpec::default().fit(&structure, &other).unwrap_err());
    let objective = Objective::new(&structure, &other, Criterion::Reml);
    foreign(objective.profile(fit.theta()).unwrap_err());
    foreign(objective.gradient(fit.theta()).unwrap_err());
    foreign(fit.influence(&other).unwrap_err());
    foreign(fit.profiler(&other).err().unwrap());
    foreign(BlockPosterior::new(&fit, &other[0]).unwrap_err());
    let posterior = BlockPosterior::new(&fit, &blocks[0]).unwrap();
    assert!(posterior.inner(&builders[0], 0, LevelPrior::Random).is_some());
    assert!(posterior.inner(&others[0], 0, LevelPrior::Random).is_none());
    // a structure of wider terms, or of more of them
    let mut wide = structure.clone();
    wide.outer[0].width = 3;
    assert!(matches!(MixedSpec::default().fit(&wide, &blocks), Err(MixedError::Foreign { .. })));
    wide.outer[0].width = usize::MAX;
    assert!(matches!(MixedSpec::default().fit(&wide, &blocks), Err(MixedError::Foreign { .. })));
    wide.outer.clear();
    assert!(matches!(MixedSpec::default().fit(&wide, &blocks), Err(MixedError::Foreign { .. })));
}
