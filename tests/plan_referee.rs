//! Full-size wings against a general mixed-integer solver, see tests/data/plan/ORIGIN.md.

use linedrift::Date;
use linedrift::check::{ActionKind, Budget, Check, Fitting, History, Reading};
use linedrift::plan::{Aim, PlanSpec, Sides};
use linedrift::wing::{Line, LineSet, ModelData, Row, Segment, Side};

use crate::plan_search::history;
use crate::support::json;

/// The search rounds each of some 100–360 line costs to a millionth; the solver's own tolerances are of the order of 1e-6.
const COST_TOLERANCE: f64 = 1e-3;

/// A wing of a referee's file, with what hangs on its links and one check.
fn built(wing: &serde_json::Value, chords: &[(&str, f64)]) -> (LineSet, History, Check) {
    let mut segments = Vec::new();
    let mut fittings = Vec::new();
    for (index, segment) in wing["segments"].as_array().unwrap().iter().enumerate() {
        segments.push(Segment {
            name: segment["name"].as_str().unwrap().to_owned(),
            parent: segment["parent"].as_u64().map(|parent| usize::try_from(parent).unwrap()),
            material: "uhmwpe".to_owned(),
            length_mm: 2000.0,
            diameter_mm: Some(1.1),
            can_loop: segment["loop"].as_bool(),
        });
        for side in Side::BOTH {
            fittings.push(Fitting {
                side,
                segment: index,
                turns: segment["turns"].as_f64(),
                spare_mm: None,
                can_loop: None,
                link_diameter_mm: None,
                step_mm: None,
            });
        }
    }
    let lines: Vec<Line> = wing["lines"]
        .as_array()
        .unwrap()
        .iter()
        .map(|line| Line {
            name: line["name"].as_str().unwrap().to_owned(),
            row: line["row"].as_str().unwrap().parse::<Row>().unwrap(),
            rank: 1,
            nominal_mm: 6000.0,
            span: line["span"].as_f64().unwrap(),
            span_assumed: false,
            chord: chords.iter().find(|(row, _)| line["row"] == *row).map(|(_, chord)| *chord),
            main: None,
            tolerance_mm: None,
            side: None,
            segment: usize::try_from(line["segment"].as_u64().unwrap()).unwrap(),
        })
        .collect();
    let set = LineSet::new("Rook 2", None, lines, segments).unwrap();
    let data = ModelData { root_chord_m: (!chords.is_empty()).then_some(2.5), ..ModelData::default() };
    let set = set.with_data(data);
    let mut check = Check::new("c1", Date::constant(2024, 5, 1), 80.0);
    for side in Side::BOTH {
        for (line, off) in wing["deviation_mm"][side.name()].as_array().unwrap().iter().enumerate() {
            let reading_mm = 6000.0 + off.as_f64().unwrap();
            check.readings.push(Reading { side, line, reading_mm, repeat: 1, operator: None });
        }
    }
    (set, history(fittings), check)
}

#[test]
fn full_size_wings_cost_what_the_integer_programme_finds() {
    let referee = json("plan/referee.json");
    let wings = referee["wings"].as_array().unwrap();
    assert_eq!(wings.len(), 5);
    for wing in wings {
        let (set, before, check) = built(wing, &[]);
        let spec = PlanSpec::default().aim(Aim::Work).sides(Sides::Separate).larger_links_mm(&[]);
        let spec = spec.without(&[ActionKind::ReplaceLine]).budget(Budget::empty()).doubtful_mm(1000.0);
        let plan = spec.run(&set, &before, &check, &[]).unwrap();
        let expected = &wing["referee"];
        assert!(plan.optimal);
        assert_eq!(Some(plan.objective.outside as u64), expected["outside"].as_u64(), "{plan}");
        let gap = plan.objective.cost() - expected["cost"].as_f64().unwrap();
        assert!(gap.abs() < COST_TOLERANCE, "seed {}: {gap}\n{plan}", wing["seed"]);
        assert!(plan.before.outside > plan.after.outside && plan.actions.len() > 10, "{plan}");
    }
}
