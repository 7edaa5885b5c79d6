//! Plans for every wing of an invented fleet, misreadings planted among its readings.

use std::collections::BTreeSet;

use linedrift::plan::{Finding, PlanSpec};
use linedrift::simulate::FleetSpec;
use linedrift::wing::Side;

#[test]
fn every_worn_wing_gets_a_plan_that_does_not_make_it_worse() {
    let simulated = FleetSpec::default().wings(24).misreading_share(0.01).run().unwrap();
    let fleet = &simulated.fleet;
    let (mut worked, mut out_before, mut out_after, mut checks, mut spoilt) = (0, 0, 0, 0, 0);
    for history in fleet.histories() {
        let set = fleet.line_set(history);
        for check in &history.checks {
            let planted: BTreeSet<(Side, String)> = simulated
                .truth
                .misreadings
                .iter()
                .filter(|misread| misread.check == check.id)
                .map(|misread| (misread.side, misread.line.clone()))
                .collect();
            let findings: Vec<Finding> = planted.iter().map(|(side, line)| Finding::new(*side, line)).collect();
            let plan = PlanSpec::default().run(set, history, check, &findings).unwrap();
            assert!(plan.optimal);
            assert!(plan.after.outside <= plan.before.outside, "{plan}");
            for (side, line) in &planted {
                assert!(plan.remeasure.iter().any(|again| again.side == *side && again.line == *line));
                assert!(plan.lines.iter().all(|known| known.side != *side || known.line != *line));
            }
            assert!(plan.lines.iter().all(|line| (0.0..=1.0).contains(&line.chance_after)));
            assert!(plan.after.incidence_change_deg.value.is_some_and(f64::is_finite));
            let text = serde_json::to_string(&plan.document()).unwrap();
            assert!(!text.contains("null"), "{text}");
            worked += usize::from(!plan.actions.is_empty());
            out_before += plan.before.outside;
            out_after += plan.after.outside;
            spoilt += planted.len();
            checks += 1;
        }
    }
    assert!(spoilt > 20, "{spoilt} misreadings in {checks} checks");
    assert!(worked > 10, "{worked} of {checks} checks called for work");
    assert!(2 * out_after < out_before, "{out_before} lines outside before, {out_after} after");
}
