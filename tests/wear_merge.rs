//! Parts of a fleet, reduced apart and put together, against the whole at once: to the bit.

use linedrift::check::{Fleet, History};
use linedrift::simulate::FleetSpec;
use linedrift::wear::{MergeError, Reduction, Shape, WearSpec};

/// Which part a reading goes to, by wing, check and reading.
type Cut = fn(usize, usize, usize) -> usize;

fn fleet() -> Fleet {
    FleetSpec::demo().wings(12).unchecked_wings(1).adjusted_share(0.8).seed(41).run().unwrap().fleet
}

/// The part of a fleet that `keep(wing, check, reading)` says, with every wing that has a check left.
fn part(fleet: &Fleet, keep: impl Fn(usize, usize, usize) -> bool) -> Reduction {
    let histories: Vec<History> = fleet
        .histories()
        .iter()
        .enumerate()
        .filter_map(|(w, history)| {
            let mut history = history.clone();
            for (c, check) in history.checks.iter_mut().enumerate() {
                let mut index = 0;
                check.readings.retain(|_| {
                    index += 1;
                    keep(w, c, index)
                });
            }
            history.checks.retain(|check| !check.readings.is_empty());
            (!history.checks.is_empty()).then_some(history)
        })
        .collect();
    let mut sets = fleet.line_sets().to_vec();
    let last = sets.len() - 1;
    // another part may know the models in another order
    sets.reverse();
    let histories = histories.into_iter().map(|h| History { line_set: last - h.line_set, ..h }).collect();
    Reduction::new(&Fleet::new(sets, histories).unwrap(), &[]).unwrap()
}

#[test]
fn parts_add_up_to_the_whole_however_they_are_cut_and_in_any_order() {
    let fleet = fleet();
    let whole = Reduction::new(&fleet, &[]).unwrap();
    let linear = WearSpec::default().shape(Shape::LINEAR);
    let fit = linear.fit_reduced(&whole).unwrap();
    let cuts: [(&str, Cut); 3] = [
        ("by wing", |w, _, _| w % 3),
        ("by check", |w, c, _| (w + c) % 3),
        ("by reading", |w, c, r| (w * 7 + c * 3 + r) % 3),
    ];
    for (name, cut) in cuts {
        let parts = [0, 1, 2].map(|k| part(&fleet, |w, c, r| cut(w, c, r) == k));
        for order in [[0, 1, 2], [2, 0, 1], [1, 2, 0]] {
            let [a, b, c] = order.map(|k| parts[k].clone());
            // by chance some readings of a line are alike, and lie in two parts
            let rest = b.merge_with_repeats(c).unwrap().reduction;
            let merged = a.merge_with_repeats(rest).unwrap().reduction;
            assert_eq!(merged.readings(), whole.readings(), "{name}");
            assert_eq!(merged.wings(), whole.wings(), "{name}");
            assert_eq!(linear.fit_reduced(&merged).unwrap(), fit, "{name}");
            // a model is chosen from the same sums: once will do
            if name == "by reading" && order[0] == 2 {
                assert_eq!(WearSpec::default().fit_reduced(&merged), WearSpec::default().fit_reduced(&whole));
            }
        }
    }
}

#[test]
fn a_part_survives_being_written_and_read() {
    let whole = Reduction::new(&fleet(), &[]).unwrap();
    let text = serde_json::to_string(&whole).unwrap();
    assert_eq!(serde_json::from_str::<Reduction>(&text).unwrap(), whole);
}

#[test]
fn parts_that_contradict_each_other_are_refused_with_the_reason() {
    let fleet = fleet();
    let whole = Reduction::new(&fleet, &[]).unwrap();
    let altered = |change: &dyn Fn(&mut History)| {
        let mut histories = fleet.histories().to_vec();
        change(&mut histories[0]);
        Reduction::new(&Fleet::new(fleet.line_sets().to_vec(), histories).unwrap(), &[]).unwrap()
    };
    let wing = fleet.histories()[0].wing.id.clone();
    let hours = altered(&|history| history.checks[0].hours_h += 0.5);
    let check = fleet.histories()[0].checks[0].id.clone();
    assert_eq!(
        whole.clone().merge(hours),
        Err(MergeError::Wing { wing: wing.clone(), what: format!("check `{check}` is described otherwise") })
    );
    let mass = altered(&|history| history.wing.mass_kg = Some(1.0));
    assert!(matches!(whole.clone().merge(mass), Err(MergeError::Wing { .. })));
    let other = FleetSpec::demo().wings(3).seed(9).run().unwrap().fleet;
    let mut sets = other.line_sets().to_vec();
    let mut lines = sets[0].lines().to_vec();
    lines[0].nominal_mm += 1.0;
    let changed =
        linedrift::LineSet::new(sets[0].model(), sets[0].table_version(), lines, sets[0].segments().to_vec())
            .unwrap();
    sets[0] = changed;
    let part = Reduction::new(&Fleet::new(sets, Vec::new()).unwrap(), &[]).unwrap();
    assert!(matches!(whole.merge(part), Err(MergeError::LineSet { .. })));
}
