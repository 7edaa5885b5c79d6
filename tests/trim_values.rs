//! Values from outside the project that trim must meet. Beside each: its source, and how it is known (read, second-hand,
//! derived, memory, practice).

use approx::assert_abs_diff_eq;
use linedrift::check::{Budget, SharedBy, Weighted};
use linedrift::trim::{ChordPoint, TrimSpec, Verdict, chord_fit};
use linedrift::wing::{Row, Side};

use crate::trim_run::{check_of, root_chord, run, set_of};

fn points(rows: &[(f64, f64)]) -> Vec<ChordPoint> {
    rows.iter().map(|&(chord, deviation_mm)| ChordPoint { chord, deviation_mm }).collect()
}

// Two rows. Derived.
#[test]
fn g1_two_rows() {
    let fit = chord_fit(&points(&[(0.12, -5.0), (0.62, 0.0)]), 2500.0).unwrap();
    assert_abs_diff_eq!(fit.mean_mm, -2.5, epsilon = 1e-12);
    assert_abs_diff_eq!(fit.slope, 0.004, epsilon = 1e-12);
    assert_abs_diff_eq!(fit.incidence_deg, -0.229_183, epsilon = 1e-6);
    assert!(fit.residual_mm.iter().all(|residual| residual.abs() < 1e-12));
}

// Four rows. Derived.
#[test]
fn g2_four_rows() {
    let fit = chord_fit(&points(&[(0.10, -6.0), (0.30, -2.0), (0.55, 0.0), (0.75, 4.0)]), 2600.0).unwrap();
    assert_abs_diff_eq!(fit.mean_mm, -1.0, epsilon = 1e-4);
    assert_abs_diff_eq!(fit.slope, 0.005_551_150, epsilon = 1e-9);
    assert_abs_diff_eq!(fit.incidence_deg, -0.318_057, epsilon = 1e-4);
    for (got, expected) in fit.residual_mm.iter().zip([-0.3093, 0.8041, -0.8041, 0.3093]) {
        assert_abs_diff_eq!(*got, expected, epsilon = 1e-4);
    }
}

// Three rows. Derived.
#[test]
fn g3_three_rows() {
    let fit = chord_fit(&points(&[(0.10, -8.0), (0.35, -2.0), (0.65, -4.0)]), 2600.0).unwrap();
    assert_abs_diff_eq!(fit.mean_mm, -4.666_667, epsilon = 1e-4);
    assert_abs_diff_eq!(fit.incidence_deg, -0.150_141, epsilon = 1e-4);
    for (got, expected) in fit.residual_mm.iter().zip([-1.5165, 2.7802, -1.2637]) {
        assert_abs_diff_eq!(*got, expected, epsilon = 1e-4);
    }
}

// A uniform deviation turns nothing. Derived.
#[test]
fn g4_uniform() {
    for d in [-31.7, 0.0, 8.1] {
        let fit = chord_fit(&points(&[(0.1, d), (0.3, d), (0.55, d), (0.75, d)]), 2600.0).unwrap();
        assert!(fit.incidence_deg.abs() < 1e-12 && fit.residual_mm.iter().all(|r| r.abs() < 1e-12));
    }
}

// Practice (T5): rows whose means deviate by less than 10 mm on a two-row wing need no adjustment.
#[test]
fn t5_two_rows_under_ten_millimetres_need_nothing() {
    let set = set_of(&[(Row::A, Some(0.12), 10), (Row::B, Some(0.6), 10)], root_chord(2.6));
    let check = check_of(&set, |_, line| Some(if line.row == Row::A { 9.0 } else { 0.0 }));
    let trim = run(&TrimSpec::default(), &set, &check);
    assert!(trim.lines.iter().all(|line| line.verdict == Verdict::Within));
}

// Practice (T6): front lines long by 20 mm trim slower, nose-up.
#[test]
fn t6_long_front_lines_are_slower_and_nose_up() {
    let rows = [(Row::A, Some(0.1), 10), (Row::B, Some(0.35), 10), (Row::C, Some(0.65), 10)];
    let set = set_of(&rows, root_chord(2.8));
    let check = check_of(&set, |_, line| Some(if line.row == Row::A { 20.0 } else { 0.0 }));
    let trim = run(&TrimSpec::default(), &set, &check);
    assert!(trim.incidence_change_deg.lower.unwrap() > 0.0);
    assert!(trim.aoa_change_deg.lower.unwrap() > 0.0);
    assert!(trim.speed_change_pct.upper.unwrap() < 0.0);
}

// Derived by the law of propagation (GUM, JCGM 100:2008) from the stated budget.
#[test]
fn t16_budget_of_one_reading_and_of_differences() {
    let one = Budget::default().one(1);
    assert_abs_diff_eq!(one.standard, 1.51, epsilon = 0.005);
    assert_abs_diff_eq!(one.expanded(), 3.0, epsilon = 0.05);

    let line = |coefficient, row| Weighted { coefficient, side: Side::Left, row, repeats: 1 };
    let lines = Budget::default().combination([line(1.0, Row::A), line(-1.0, Row::C)]);
    assert_abs_diff_eq!(lines.standard, 1.64, epsilon = 0.005);

    let rows: Vec<Weighted> =
        (0..24).map(|i| if i < 12 { line(1.0 / 12.0, Row::A) } else { line(-1.0 / 12.0, Row::C) }).collect();
    let anew = Budget::default().share("datum", SharedBy::Line).combination(rows.clone());
    assert_abs_diff_eq!(anew.standard, 0.47, epsilon = 0.005);
    let shared = Budget::default().combination(rows);
    assert_abs_diff_eq!(shared.standard, 0.91, epsilon = 0.005);
}
