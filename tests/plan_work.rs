//! A workshop's own steps, actions given on paper, and what is learnt from work that was recorded.

use approx::assert_abs_diff_eq;
use linedrift::check::{Action, ActionKind, Check, Fitting, Fleet, History, Stage};
use linedrift::plan::{
    GivenAction, LearnSpec, OfferedStep, PlanError, PlanSpec, as_left_of, curve_table, plans_table, recorded_after,
    turn_mm,
};
use linedrift::report::{curve_figure, plan_figure};
use linedrift::wing::{Side, Wing};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};

use crate::plan_patterns::{cascade, check};
use crate::plan_search::history;

fn off(side: Side, line: &str) -> f64 {
    match (side, line) {
        (Side::Left, "A5" | "A6" | "A7" | "A8") => 13.0,
        (Side::Right, "C5" | "C6" | "C7" | "C8") => -13.0,
        _ => 0.0,
    }
}

fn given(text: &str) -> GivenAction {
    text.parse().unwrap()
}

#[test]
fn actions_on_paper_are_read_and_written_back() {
    for text in ["AM2:left:turn", "AM2:left:turn:2", "a:b:right:splice:-12.5", "C 1:right:larks_head"] {
        assert_eq!(given(text).to_string(), text);
    }
    assert_eq!(given("a:b:right:splice:-12.5").segment, "a:b");
    for (text, hint) in [
        ("", "colons"),
        ("AM2", "colons"),
        ("AM2:left", "number"),
        ("AM2:port:turn", "side"),
        ("AM2:left:knot:1", "action"),
        ("AM2:left:turn:x", "number"),
        (":left:turn", "segment"),
        ("AM2:left:turn:NaN", "number"),
    ] {
        let error = text.parse::<GivenAction>().unwrap_err().to_string();
        assert!(error.contains(hint), "{error}");
    }
}

#[test]
fn turns_become_millimetres_by_the_places_own_step() {
    let set = cascade(Some(true), Some(true));
    let spec = PlanSpec::default();
    let check = check(&set, off);
    let at = set.find_segment("AM2").unwrap();
    let own = Fitting {
        side: Side::Left,
        segment: at,
        turns: Some(1.0),
        spare_mm: None,
        can_loop: None,
        link_diameter_mm: None,
        step_mm: Some(8.5),
    };
    let change = |history: &History, text: &str| {
        spec.given(&set, history, &check, &[given(text)]).map(|actions| actions[0].change_mm)
    };
    let bare = history(vec![]);
    assert_abs_diff_eq!(change(&bare, "AM2:left:turn:2").unwrap(), -2.0 * turn_mm(5.17, 1.2), epsilon = 1e-3);
    let fitted = history(vec![own]);
    assert_eq!(change(&fitted, "AM2:left:turn").unwrap(), -8.5);
    assert_eq!(change(&fitted, "AM2:left:remove_loop").unwrap(), 8.5);
    assert_eq!(change(&fitted, "AM2:left:splice:-12.5").unwrap(), -12.5);
    let workshop = OfferedStep { change_mm: Some(-9.0), ..OfferedStep::new(ActionKind::Turn) };
    let theirs = spec.clone().offered(&[workshop]);
    let actions = theirs.given(&set, &bare, &check, &[given("AM2:left:turn:2")]).unwrap();
    assert_eq!((actions[0].change_mm, actions[0].turns), (-18.0, Some(2.0)));

    let fails = |text: &str| change(&bare, text).unwrap_err();
    assert!(matches!(fails("XM2:left:turn"), PlanError::NoSegment { .. }));
    for text in
        ["AM2:left:turn:1.5", "AM2:left:larks_head:2", "AM2:left:small_link", "AM2:left:splice:0", "AM2:left:replace"]
    {
        assert!(matches!(fails(text), PlanError::Amount { .. }), "{text}");
    }
}

#[test]
fn a_workshops_own_list_is_all_there_is_to_choose_from() {
    let set = cascade(Some(true), Some(true));
    let check = check(&set, off);
    let bare = history(vec![]);
    let only = |steps: &[OfferedStep]| PlanSpec::default().offered(steps).run(&set, &bare, &check, &[]);
    let turn = OfferedStep::new(ActionKind::Turn);
    let plan = only(&[turn]).unwrap();
    assert!(!plan.actions.is_empty() && plan.actions.iter().all(|action| action.kind == ActionKind::Turn));
    // too dear to be worth it
    let dear = OfferedStep { price: Some(1000.0), ..turn };
    let plan = only(&[dear]).unwrap();
    assert!(plan.actions.iter().all(|action| action.segment.as_deref() == Some("AM2")), "{plan}");
    let link =
        OfferedStep { change_mm: Some(12.0), standard_mm: Some(0.2), ..OfferedStep::new(ActionKind::SmallLink) };
    let plan = only(&[link]).unwrap();
    let action = plan.actions.iter().find(|action| action.segment.as_deref() == Some("CM2")).unwrap();
    assert_eq!((action.change_mm, action.standard_mm), (12.0, 0.2));
    assert!(only(&[]).unwrap().actions.is_empty());

    let wrong = [
        OfferedStep { change_mm: Some(9.0), ..turn },
        OfferedStep { price: Some(-1.0), ..turn },
        OfferedStep { most: Some(0), ..turn },
        OfferedStep { standard_mm: Some(f64::NAN), ..turn },
        OfferedStep { most: Some(2), ..link },
        OfferedStep { change_mm: None, ..link },
        OfferedStep::new(ActionKind::Replace),
    ];
    for step in wrong {
        assert!(matches!(only(&[step]), Err(PlanError::Offered { .. })), "{step:?}");
    }
    assert!(matches!(only(&[turn, turn]), Err(PlanError::Offered { field: "action", .. })));
}

#[test]
fn a_larks_head_lies_on_the_link_as_a_turn() {
    let set = cascade(Some(true), Some(true));
    let check = check(&set, off);
    let before = history(vec![]);
    let spec = PlanSpec::default();
    let actions =
        spec.given(&set, &before, &check, &[given("AM2:left:larks_head"), given("AM1:left:turn:2")]).unwrap();
    let plan = spec.what_if(&set, &before, &check, &[], &actions).unwrap();
    let turns: Vec<Option<f64>> = plan.fittings(&before).iter().map(|fitting| fitting.turns).collect();
    assert_eq!(turns, [Some(2.0), Some(1.0)]);
}

/// Marks of a class in a figure, which share one element where they follow each other.
fn marks(figure: &str, class: &str) -> usize {
    let begin = format!("<path class=\"{class}\" d=\"");
    figure.split(&begin).skip(1).map(|rest| rest.split('"').next().unwrap().matches('M').count()).sum()
}

#[test]
fn curves_and_plans_stand_in_tables_and_figures() {
    let set = cascade(Some(true), Some(true));
    let check = check(&set, off);
    let (spec, bare) = (PlanSpec::default(), history(vec![]));
    let curve = spec.curve(&set, &bare, &check, &[]).unwrap();
    insta::assert_snapshot!(curve_table(&curve), @r"
    actions  outside  worst mm   misfit   price
          0        8     +13.0     14.3     0.0
          1        4     -13.0      7.2     2.0
            + left AM2: lay a lark's head (-12.1 mm)
          2        0      +2.0      0.2     4.0
            + right CM2: put in a larger link (+15.0 mm)
    ");
    let plan = spec.run(&set, &bare, &check, &[]).unwrap();
    insta::assert_snapshot!(plans_table(std::slice::from_ref(&plan)), @r"
    wing    check          outside          worst mm     incidence deg actions again
    w3      c1            8 ->   0    13.0 ->    2.0   +0.23 ->  -0.01       2     0
    Plans: 1. Lines outside: 8 before, 0 after. Actions: 2.
    Lines to measure again first: 0.
    ");

    let figure = plan_figure(&plan).unwrap().unwrap();
    let text = figure.inline_svg("x");
    // a ring where a line was and a dot where it goes; those that stay are dots alone
    let counted = ["s-point", "s-model dot", "s-point dot", "s-muted", "s-zero"].map(|class| marks(&text, class));
    // an interval for each; a line from before to after, and the level of zero
    assert_eq!(counted, [8, 8, 40, 48, 8 + 1]);
    assert!(!text.contains("s-outside") && figure.description().contains("8 before, 0 after; each distance \u{b1} "));
    let text = curve_figure(&curve).unwrap().unwrap().inline_svg("x");
    assert_eq!(marks(&text, "s-left dot"), curve.len());
    assert!(curve_figure(&[]).unwrap().is_none() && !text.contains("NaN"));
}

fn renamed(check: &Check, id: &str, stage: Stage, hours_h: f64) -> Check {
    Check { id: id.to_owned(), stage, hours_h, ..check.clone() }
}

#[test]
fn recorded_work_belongs_to_the_check_that_called_for_it() {
    let set = cascade(Some(true), Some(true));
    let base = check(&set, off);
    let action = |hours_h, check: Option<&str>| Action {
        date: base.date,
        hours_h,
        side: Side::Left,
        segment: Some(0),
        kind: ActionKind::Turn,
        change_mm: -10.0,
        turns: Some(1.0),
        check: check.map(str::to_owned),
    };
    let mut one = history(vec![]);
    one.checks = vec![
        renamed(&base, "c1", Stage::AsFound, 80.0),
        renamed(&base, "c1L", Stage::AsLeft, 80.0),
        renamed(&base, "c2", Stage::AsFound, 150.0),
    ];
    one.actions = vec![action(80.0, Some("c1L")), action(150.0, None)];
    assert_eq!(recorded_after(&one, &one.checks[0]), [one.actions[0].clone()]);
    assert_eq!(recorded_after(&one, &one.checks[1]), []);
    assert_eq!(recorded_after(&one, &one.checks[2]), [one.actions[1].clone()]);
    assert_eq!(as_left_of(&one, &one.checks[0]).map(|check| check.id.as_str()), Some("c1L"));
    assert!(as_left_of(&one, &one.checks[2]).is_none());
    let spec = PlanSpec::default();
    let none = spec.reached(&set, &one, &one.checks[1], &one.checks[2], &[]);
    assert!(matches!(none, Err(PlanError::NotComparable { actions: 0, .. })));
}

// Ten wings whose turns give 0.85 of the formula, each with its own departure: what is learnt must come back, and the next
// plan must use it.
#[test]
fn learnt_steps_are_used_the_next_time() {
    let set = cascade(Some(true), Some(true));
    let mut rng = ChaCha8Rng::seed_from_u64(3);
    let (between, noise) = (Normal::new(0.0, 0.08).unwrap(), Normal::new(0.0, 0.3).unwrap());
    let spec = PlanSpec::default();
    let (mut histories, mut truth) = (Vec::new(), Vec::new());
    for wing in 0..10 {
        let scale: f64 = 0.85 + between.sample(&mut rng);
        let before = renamed(&check(&set, off), &format!("w{wing}-1"), Stage::AsFound, 80.0);
        let mut as_left = renamed(&before, &format!("w{wing}-1L"), Stage::AsLeft, 80.0);
        let mut own = history(vec![]);
        own.wing = Wing::new(&format!("w{wing}"), "Rook 2");
        let paper = ["AM1:left:turn", "AM2:right:turn:2", "CM1:left:turn", "CM3:right:turn"].map(given);
        own.actions = spec.given(&set, &own, &before, &paper).unwrap();
        for reading in &mut as_left.readings {
            let path: Vec<usize> = set.path_indices(reading.line).collect();
            let on_path = |action: &&Action| action.side == reading.side && path.contains(&action.segment.unwrap());
            let moved: f64 = own.actions.iter().filter(on_path).map(|action| action.change_mm).sum();
            reading.reading_mm += scale * moved + noise.sample(&mut rng);
        }
        own.checks = vec![before, as_left];
        truth.push(scale);
        histories.push(own);
    }
    let mut idle = history(vec![]);
    idle.wing = Wing::new("idle", "Rook 2");
    histories.push(idle);
    let fleet = Fleet::new(vec![set], histories).unwrap();
    let learnt = LearnSpec::default().fit_fleet(&spec, &fleet).unwrap();
    assert_eq!(learnt.pairs.len(), 40);
    let turn = &learnt.steps.kinds[0];
    assert!((turn.scale - 0.85).abs() < 3.0 * turn.se && turn.se < 0.05, "{turn:?}");
    for (wing, scale) in truth.iter().enumerate() {
        let own = fleet.history(&format!("w{wing}")).unwrap();
        let set = fleet.line_set(own);
        let fittings = learnt.fittings(&spec, set, own);
        // every main and every upper of both sides can be looped
        assert_eq!(fittings.len(), 2 * set.segments().len());
        let step = fittings[0].step_mm.unwrap();
        assert!((step / turn_mm(5.17, 1.2) - scale).abs() < 0.05, "{step} for {scale}");
        let next = History { fittings, ..own.clone() };
        let actions = spec.given(set, &next, &own.checks[0], &[given("AM1:left:turn")]).unwrap();
        assert_abs_diff_eq!(actions[0].change_mm, -step, epsilon = 1e-9);
        // learning again changes nothing: the pairs are against the formula
        if wing == 0 {
            let again = Fleet::new(vec![set.clone()], fleet.histories().to_vec()).unwrap();
            assert_eq!(LearnSpec::default().fit_fleet(&spec, &again).unwrap().steps, learnt.steps);
        }
    }
    // a line that only one side has brings a place on that side alone
    let one_sided = {
        let set = fleet.line_set(fleet.history("w0").unwrap());
        let mut lines = set.lines().to_vec();
        let mut segments = set.segments().to_vec();
        segments.push(crate::plan_patterns::segment("C13", None, Some(true)));
        let (name, rank, side) = ("C13".to_owned(), 13, Some(Side::Right));
        lines.push(linedrift::wing::Line { name, rank, side, segment: segments.len() - 1, ..lines[23].clone() });
        linedrift::wing::LineSet::new("Rook 2", None, lines, segments).unwrap()
    };
    let own = fleet.history("w0").unwrap();
    let new = one_sided.segments().len() - 1;
    let at_new: Vec<Side> = learnt
        .fittings(&spec, &one_sided, own)
        .iter()
        .filter(|fitting| fitting.segment == new)
        .map(|fitting| fitting.side)
        .collect();
    assert_eq!(at_new, [Side::Right]);
    let idle = fleet.history("idle").unwrap();
    assert!(learnt.fittings(&spec, fleet.line_set(idle), idle).is_empty());
    assert!(learnt.to_string().contains("recorded actions: 40, wings: "), "{learnt}");
}
