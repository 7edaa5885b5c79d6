//! Effective incidence, twist, asymmetry, brakes, comparison, and the propagation of uncertainty.

use std::f64::consts::PI;

use approx::{assert_abs_diff_eq, assert_relative_eq};
use linedrift::check::{Budget, BudgetPart, Check, Distribution, SharedBy};
use linedrift::trim::{DiagnosisCode, Trim, TrimError, TrimSpec, Verdict, compare};
use linedrift::wing::{Line, ModelData, Planform, PlanformStation, Row, RowData, Side, Wing};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, StandardNormal};

use crate::trim_run::{check_of, root_chord, run, set_of, three_rows};

fn note<'a>(trim: &'a Trim, code: &str) -> Option<&'a str> {
    trim.notes.iter().find(|note| note.code == code).map(|note| note.message.as_str())
}

fn flat(root: f64, tip: f64) -> Planform {
    let at = |y_m, chord_m| PlanformStation { y_m, z_m: 0.0, chord_m };
    Planform::through(&[at(0.0, root), at(5.5, tip)]).unwrap()
}

/// Front row short by so much, two rows half a chord apart.
fn front(mm: impl Fn(Side, &Line) -> f64) -> impl Fn(Side, &Line) -> Option<f64> {
    move |side, line| Some(if line.row == Row::A { mm(side, line) } else { 0.0 })
}

// Derived: on an ellipse the weight (4/π)√(1 − η²) and the chord c₀√(1 − η²) cancel, so that the effective incidence of a
// uniform deviation is that of the mean chord, πc₀/4.
#[test]
fn uniform_row_on_an_ellipse_counts_with_the_mean_chord() {
    let set = set_of(&[(Row::A, Some(0.1), 12), (Row::C, Some(0.6), 9)], root_chord(2.5));
    let trim = run(&TrimSpec::default(), &set, &check_of(&set, front(|_, _| -5.0)));
    let expected = -(5.0 / (0.5 * 2500.0 * PI / 4.0)).to_degrees();
    // summed over 100 stations of the half span, by the midpoint rule
    assert_relative_eq!(trim.incidence_change_deg.value.unwrap(), expected, max_relative = 2e-5);
    let centre = trim.twist.iter().find(|station| station.span == 0.0).unwrap();
    assert_relative_eq!(centre.incidence_deg, -(5.0f64 / 1250.0).to_degrees(), max_relative = 1e-9);
    assert!(trim.tip_twist_deg.value.unwrap() < 0.0);
    let row = trim.rows.iter().find(|row| row.row == Row::A && row.side == "both").unwrap();
    assert_abs_diff_eq!(row.effective_mm.unwrap(), -5.0, epsilon = 1e-12);
}

// Derived: a row that deviates in proportion to the span has the effective trim 4/(3π) of its tip value.
#[test]
fn effective_row_trim_of_a_linear_row() {
    let set = set_of(&[(Row::A, Some(0.1), 200), (Row::C, Some(0.6), 5)], root_chord(2.5));
    let trim = run(&TrimSpec::default(), &set, &check_of(&set, front(|_, line| 10.0 * line.span)));
    let row = trim.rows.iter().find(|row| row.row == Row::A && row.side == "left").unwrap();
    assert_abs_diff_eq!(row.effective_mm.unwrap(), 40.0 / (3.0 * PI), epsilon = 1e-3);
    assert_abs_diff_eq!(row.mean_mm, 5.0, epsilon = 1e-9);
    assert!(row.effective_se_mm.unwrap() > 0.0);
}

#[test]
fn a_planform_through_stations_takes_the_lifting_line() {
    let set = set_of(&[(Row::A, Some(0.1), 12), (Row::C, Some(0.6), 12)], ModelData::default());
    let check = check_of(&set, front(|_, _| -5.0));
    let rectangular = run(&TrimSpec::default().planform(flat(2.5, 2.5)), &set, &check);
    assert_relative_eq!(
        rectangular.incidence_change_deg.value.unwrap(),
        -(5.0f64 / 1250.0).to_degrees(),
        max_relative = 1e-9
    );
    // the outer wing weighs more on a rectangle than on an ellipse, so washout there costs more lift
    let outer = check_of(&set, front(|_, line| if line.span > 0.7 { -6.0 } else { 0.0 }));
    let by = |planform| run(&TrimSpec::default().planform(planform), &set, &outer);
    let (rectangle, taper) = (by(flat(2.5, 2.5)), by(flat(2.5, 1.0)));
    let weight = |trim: &Trim| trim.rows[0].effective_mm.unwrap() / -6.0;
    let ellipse = run(&TrimSpec::default(), &set_of_like(), &outer);
    assert!(weight(&rectangle) > weight(&ellipse) && weight(&rectangle) > weight(&taper));
}

fn set_of_like() -> linedrift::wing::LineSet {
    set_of(&[(Row::A, Some(0.1), 12), (Row::C, Some(0.6), 12)], root_chord(2.5))
}

#[test]
fn asymmetry_is_flagged_only_when_sure_and_large() {
    let set = set_of(&[(Row::A, Some(0.1), 12), (Row::C, Some(0.6), 12)], root_chord(2.5));
    let by = |mm: f64, spec: TrimSpec| {
        run(&spec, &set, &check_of(&set, front(|side, _| if side == Side::Left { -mm } else { 0.0 })))
    };
    let clear = by(8.0, TrimSpec::default());
    assert!(clear.asymmetry_deg.upper.unwrap() < 0.0);
    let message = note(&clear, "asymmetry").unwrap();
    assert!(message.contains("a turn tendency is possible"));
    assert!(!message.to_lowercase().contains("to the"), "no direction");
    let small = by(1.5, TrimSpec::default().budget(Budget::empty()));
    assert!(small.asymmetry_deg.value.unwrap().abs() < 0.1 && note(&small, "asymmetry").is_none());
    let coarse = BudgetPart::new("repeatability", 20.0, Distribution::Normal, SharedBy::Line);
    let unsure = by(4.0, TrimSpec::default().budget(Budget::default().part(coarse)));
    assert!(unsure.asymmetry_deg.value.unwrap().abs() > 0.1 && note(&unsure, "asymmetry").is_none());
}

#[test]
fn past_one_degree_nothing_is_said_of_angle_and_speed() {
    let set = set_of(&[(Row::A, Some(0.1), 12), (Row::C, Some(0.6), 12)], root_chord(2.5));
    let trim = run(&TrimSpec::default(), &set, &check_of(&set, front(|_, _| -25.0)));
    assert!(trim.incidence_change_deg.value.unwrap() < -1.0);
    assert!(trim.aoa_change_deg.value.is_none() && trim.speed_change_pct.upper.is_none());
    assert!(note(&trim, "past_range").is_some());
    let wider = run(&TrimSpec::default().incidence_range_deg(2.0), &set, &check_of(&set, front(|_, _| -25.0)));
    assert!(wider.aoa_change_deg.value.is_some());
}

#[test]
fn brakes_are_reported_on_their_own() {
    let set = three_rows();
    let by = |mm: f64, setting: Option<f64>| {
        let mut check =
            check_of(&set, |_, line| Some(if line.row == Row::Brake { mm + f64::from(line.rank) } else { 2.0 }));
        check.brake_setting_mm = setting;
        run(&TrimSpec::default(), &set, &check)
    };
    let unknown = by(-40.0, None);
    assert!(unknown.brakes.iter().all(|fan| fan.mean_relative_mm.is_none() && fan.lines.len() == 8));
    assert_abs_diff_eq!(unknown.brakes[0].lines[0].shape_mm, -3.5, epsilon = 1e-9);
    let known = by(-40.0, Some(100.0));
    assert_abs_diff_eq!(known.brakes[1].mean_relative_mm.unwrap(), -37.5, epsilon = 1e-9);
    let said =
        |trim: &Trim| trim.diagnosis.iter().find(|one| one.code == DiagnosisCode::Brakes).map(|one| one.text.clone());
    assert!(said(&known).unwrap().contains("they may hold the trailing edge down"));
    assert_eq!(said(&by(-10.0, Some(100.0))), None);
    assert_eq!(known.incidence_change_deg.value, Some(0.0));
}

#[test]
fn exact_rotation_stands_beside_the_slope() {
    let rows = [(Row::A, Some(0.11), 8), (Row::C, Some(0.59), 8)];
    let riser = |row| RowData { row, chord: None, riser_mm: Some(500.0) };
    let set = set_of(&rows, root_chord(2.58)).with_rows(vec![riser(Row::A), riser(Row::C)]);
    let trim = run(&TrimSpec::default(), &set, &check_of(&set, front(|_, _| -5.0)));
    let rotation = trim.centre_rotation.unwrap();
    assert_abs_diff_eq!(rotation.slope_deg, -0.2313, epsilon = 1e-4);
    assert!((rotation.exact_deg - rotation.slope_deg).abs() < 0.01 && rotation.exact_deg != rotation.slope_deg);
    assert!(note(&trim, "exact_rotation").is_none());
}

// The remark comes exactly when the two ways differ by more than 0.05°.
#[test]
fn exact_rotation_is_remarked_on_when_it_matters() {
    let set = set_of(&[(Row::A, Some(0.11), 8), (Row::C, Some(0.59), 8)], root_chord(2.58));
    let mut seen = [0, 0];
    for mm in [-900.0, -300.0, -50.0, -5.0, 5.0, 50.0, 300.0, 900.0] {
        let trim = run(&TrimSpec::default(), &set, &check_of(&set, front(|_, _| mm)));
        let rotation = trim.centre_rotation.unwrap();
        let matters = (rotation.exact_deg - rotation.slope_deg).abs() > 0.05;
        assert_eq!(note(&trim, "exact_rotation").is_some(), matters, "{mm} mm: {rotation:?}");
        seen[usize::from(matters)] += 1;
    }
    assert!(seen[0] > 1 && seen[1] > 1, "{seen:?}");
}

#[test]
fn line_loads_sum_to_the_half_and_lean_forward() {
    let set = three_rows();
    let model = TrimSpec::default().prepare(&set).unwrap();
    let loads = model.line_loads();
    for side in Side::BOTH {
        let of = |row: Row| {
            let here = loads.iter().filter(|load| load.side == side && set.lines()[load.line].row == row);
            here.map(|load| load.share).sum::<f64>()
        };
        assert_abs_diff_eq!(of(Row::A) + of(Row::B) + of(Row::C), 1.0, epsilon = 1e-12);
        assert!(of(Row::A) > of(Row::B) && of(Row::B) > of(Row::C) && of(Row::Brake) == 0.0);
    }
    let inner = loads.iter().find(|load| load.line == 0).unwrap();
    let tip = loads.iter().find(|load| load.line == 9).unwrap();
    assert!(inner.share > tip.share);
}

#[test]
fn as_found_against_as_left() {
    let set = three_rows();
    let found = run(&TrimSpec::default(), &set, &check_of(&set, front(|_, _| -16.0)));
    let mut left = check_of(&set, front(|_, _| -2.0));
    left.id = "c2".to_owned();
    left.readings.pop();
    let left = run(&TrimSpec::default(), &set, &left);
    let change = compare(&found, &left).unwrap();
    assert_eq!(change.lines.len(), found.lines.len() - 1);
    assert_eq!((change.unmatched.len(), change.unmatched[0].check.as_str()), (1, "c1"));
    let line = change.lines.iter().find(|line| line.line == "A3").unwrap();
    assert_eq!((line.before, line.after), (Some(Verdict::Outside), Some(Verdict::Within)));
    assert_abs_diff_eq!(line.change_mm, 14.0, epsilon = 1e-9);
    let expected = left.incidence_change_deg.value.unwrap() - found.incidence_change_deg.value.unwrap();
    assert_eq!(change.incidence_deg.value, Some(expected));
    let half = |interval: linedrift::trim::Interval| (interval.upper.unwrap() - interval.lower.unwrap()) / 2.0;
    assert_relative_eq!(
        half(change.incidence_deg),
        half(found.incidence_change_deg) * 2f64.sqrt(),
        max_relative = 1e-9
    );
    let text = change.to_string();
    assert!(text.contains("20 before, 0 after, of 75") && text.contains("read at one check only: 1"), "{text}");
    let mut other = left.clone();
    other.wing = "w8".to_owned();
    assert!(matches!(compare(&found, &other), Err(TrimError::OtherWing { .. })));
}

/// Draws the errors of a check by the default budget, part by part, with whom each is shared.
fn noisy(set: &linedrift::wing::LineSet, rng: &mut ChaCha8Rng) -> Check {
    let mut draw = || -> f64 { StandardNormal.sample(rng) };
    let sd = |name: &str| {
        let budget = Budget::default();
        budget.parts().iter().find(|part| part.name == name).unwrap().standard_mm()
    };
    let check_error = draw() * sd("instrument") + draw() * sd("temperature");
    let rows: Vec<f64> = (0..12).map(|_| draw() * sd("datum")).collect();
    let lines: Vec<f64> =
        (0..2 * set.lines().len()).map(|_| draw() * sd("repeatability") + draw() * sd("load")).collect();
    let index = |side: Side, line: &Line| {
        side.index() * set.lines().len() + set.lines().iter().position(|other| other == line).unwrap()
    };
    check_of(set, |side, line| {
        // one line missing and a row of uneven length, so that weights differ
        (line.name != "B3" || side == Side::Left)
            .then(|| check_error + rows[side.index() * 6 + line.row.index()] + lines[index(side, line)])
    })
}

// The propagated standard errors against 2,000 simulated checks: a spread estimated from n draws has the relative
// standard error 1/√(2n) = 1.6 %; the limit is four of them.
#[test]
fn propagated_errors_agree_with_simulated_checks() {
    const DRAWS: usize = 2000;
    let set = three_rows();
    let model = TrimSpec::default().prepare(&set).unwrap();
    let wing = Wing::new("w7", "Rook 2");
    let mut rng = ChaCha8Rng::seed_from_u64(20_260_501);
    let mut values: Vec<Vec<f64>> = Vec::new();
    let mut stated = Vec::new();
    for _ in 0..DRAWS {
        let trim = model.run(&wing, &noisy(&set, &mut rng)).unwrap();
        let half = |interval: linedrift::trim::Interval| (interval.upper.unwrap() - interval.lower.unwrap()) / 4.0;
        let effective = |side: &str| {
            trim.rows.iter().find(|row| row.row == Row::B && row.side == side).unwrap().effective_mm.unwrap()
                - trim.common_mm.unwrap()
        };
        let mut row = vec![
            trim.incidence_change_deg.value.unwrap(),
            trim.incidence_left_deg.value.unwrap(),
            trim.asymmetry_deg.value.unwrap(),
            trim.tip_twist_deg.value.unwrap(),
            trim.twist[4].incidence_deg,
            effective("left") - effective("right"),
        ];
        let find = |side: &str| {
            trim.rows.iter().find(|row| row.row == Row::B && row.side == side).unwrap().effective_se_mm.unwrap()
        };
        stated = vec![
            half(trim.incidence_change_deg),
            half(trim.incidence_left_deg),
            half(trim.asymmetry_deg),
            half(trim.tip_twist_deg),
            trim.twist[4].se_deg,
            find("left").hypot(find("right")),
        ];
        for difference in &trim.row_differences {
            row.push(difference.difference_mm);
            stated.push(difference.se_mm);
        }
        for difference in &trim.side_differences {
            row.push(difference.difference_mm);
            stated.push(difference.se_mm);
        }
        values.push(row);
    }
    let limit = 4.0 / (2.0 * DRAWS as f64).sqrt();
    for (at, stated) in stated.iter().enumerate() {
        let mean = values.iter().map(|row| row[at]).sum::<f64>() / DRAWS as f64;
        let variance = values.iter().map(|row| (row[at] - mean).powi(2)).sum::<f64>() / (DRAWS as f64 - 1.0);
        assert!((variance.sqrt() / stated - 1.0).abs() < limit, "{at}: {} against {stated}", variance.sqrt());
        assert!(mean.abs() < 4.5 * stated / (DRAWS as f64).sqrt(), "{at}: mean {mean}");
    }
    assert!(stated.len() >= 6 + 9 + 4);
}

#[test]
fn prints_on_one_screen_and_serialises() {
    let set = three_rows();
    let trim = run(&TrimSpec::default(), &set, &check_of(&set, front(|_, line| f64::from(line.rank) - 14.0)));
    let text = trim.to_string();
    assert!(text.lines().count() < 50 && text.contains("incidence change") && text.contains("outside"), "{text}");
    let json = serde_json::to_string(&trim).unwrap();
    // decimal text may lose the last bit
    let again: Trim = serde_json::from_str(&json).unwrap();
    assert_eq!((again.lines.len(), &again.notes, again.stage), (trim.lines.len(), &trim.notes, trim.stage));
    assert_relative_eq!(
        again.incidence_change_deg.value.unwrap(),
        trim.incidence_change_deg.value.unwrap(),
        max_relative = 1e-14
    );
    let keys = ["common_mm", "lines", "rows", "incidence_change_deg", "twist", "shape_residual_mm", "asymmetry_deg"];
    assert!(keys.iter().all(|key| json.contains(&format!("\"{key}\":"))));
}

#[test]
fn stations_without_a_slope_take_the_nearest_and_say_so() {
    // the two rows run together at the tip
    let chord = |row: Row, span: f64| if row == Row::A { 0.1 } else { 0.1 + 0.5 * (1.0 - span / 0.7).max(0.0) };
    let base = set_of(&[(Row::A, Some(0.1), 10), (Row::C, Some(0.6), 10)], ModelData::default());
    let mut lines = base.lines().to_vec();
    for line in &mut lines {
        line.chord = Some(chord(line.row, line.span));
    }
    let set = linedrift::wing::LineSet::new("Rook 2", None, lines, base.segments().to_vec()).unwrap();
    let trim = run(&TrimSpec::default().planform(flat(2.5, 2.5)), &set, &check_of(&set, front(|_, _| -1.0)));
    assert!(note(&trim, "stations_borrowed").is_some());
    assert!(trim.incidence_change_deg.value.unwrap() < 0.0 && trim.twist.len() < 20);
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig::with_cases(40))]
    #[test]
    fn mirror_shift_and_order_hold_for_any_readings(
        seed in 0u64..10_000,
        shift in -60.0f64..60.0,
        missing in 0.0f64..0.9,
    ) {
        let set = three_rows();
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut drawn = std::collections::HashMap::new();
        for side in Side::BOTH {
            for line in set.lines() {
                let value: f64 = StandardNormal.sample(&mut rng);
                let keep: f64 = StandardNormal.sample(&mut rng);
                if keep > 3.0 * missing - 2.0 {
                    drawn.insert((side, line.name.clone()), 6.0 * value);
                }
            }
        }
        let by = |mirrored: bool, shift: f64| {
            check_of(&set, |side, line| {
                let side = if mirrored { side.mirror() } else { side };
                drawn.get(&(side, line.name.clone())).map(|value| value + shift)
            })
        };
        let near = |a: Option<f64>, b: Option<f64>| match (a, b) {
            (Some(a), Some(b)) => (a - b).abs() < 1e-10,
            (None, None) => true,
            _ => false,
        };
        let plain = run(&TrimSpec::default(), &set, &by(false, 0.0));
        let mirrored = run(&TrimSpec::default(), &set, &by(true, 0.0));
        let shifted = run(&TrimSpec::default(), &set, &by(false, shift));
        let (a, b) = (plain.asymmetry_deg, mirrored.asymmetry_deg);
        proptest::prop_assert!(near(a.value, b.value.map(|value| -value)) && near(a.lower, b.upper.map(|upper| -upper)));
        proptest::prop_assert!(near(plain.incidence_change_deg.value, mirrored.incidence_change_deg.value));
        proptest::prop_assert!(near(plain.incidence_change_deg.value, shifted.incidence_change_deg.value));
        for (one, two) in plain.lines.iter().zip(&shifted.lines) {
            proptest::prop_assert!((one.relative_mm - two.relative_mm).abs() < 1e-9);
        }
        let mut turned = by(false, 0.0);
        turned.readings.reverse();
        proptest::prop_assert_eq!(&run(&TrimSpec::default(), &set, &turned), &plain);
        proptest::prop_assert!(!serde_json::to_string(&plain).unwrap().contains("NaN"));
    }
}
