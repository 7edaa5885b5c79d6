//! Judging whole checks: verdicts, rows, incidence, what is missing, what must not change.

use approx::assert_abs_diff_eq;
use linedrift::Date;
use linedrift::check::{Budget, Check, Reading, Repeats, RiserReading};
use linedrift::trim::{DecisionRule, Limits, ToleranceOn, Trim, TrimError, TrimSpec, Verdict};
use linedrift::wing::{Line, LineSet, ModelData, Row, RowData, Segment, Side, Wing};

/// Rows with chord position and number of lines, all lines 6 m.
pub(crate) fn set_of(rows: &[(Row, Option<f64>, u32)], data: ModelData) -> LineSet {
    let mut lines = Vec::new();
    let mut segments = Vec::new();
    for &(row, chord, count) in rows {
        for rank in 1..=count {
            let name = format!("{row}{rank}");
            lines.push(Line {
                name: name.clone(),
                row,
                rank,
                nominal_mm: 6000.0,
                span: (f64::from(rank) - 0.5) / f64::from(count),
                span_assumed: false,
                chord,
                main: None,
                tolerance_mm: None,
                side: None,
                segment: segments.len(),
            });
            let material = "uhmwpe".to_owned();
            let (diameter_mm, can_loop) = (None, None);
            segments.push(Segment { name, parent: None, material, length_mm: 6000.0, diameter_mm, can_loop });
        }
    }
    LineSet::new("Rook 2", None, lines, segments).unwrap().without_cascade().with_data(data)
}

pub(crate) fn root_chord(root_chord_m: f64) -> ModelData {
    ModelData { root_chord_m: Some(root_chord_m), ..ModelData::default() }
}

/// A check whose every line deviates as told.
pub(crate) fn check_of(set: &LineSet, deviation_mm: impl Fn(Side, &Line) -> Option<f64>) -> Check {
    let mut check = Check::new("c1", Date::constant(2024, 5, 1), 80.0);
    for side in Side::BOTH {
        for (line, drawn) in set.lines().iter().enumerate() {
            if let Some(deviation) = deviation_mm(side, drawn) {
                let reading_mm = drawn.nominal_mm + deviation;
                check.readings.push(Reading { side, line, reading_mm, repeat: 1, operator: None });
            }
        }
    }
    check
}

pub(crate) fn run(spec: &TrimSpec, set: &LineSet, check: &Check) -> Trim {
    spec.run(set, &Wing::new("w7", "Rook 2"), check).unwrap()
}

pub(crate) fn three_rows() -> LineSet {
    let rows = [(Row::A, Some(0.1), 10), (Row::B, Some(0.35), 11), (Row::C, Some(0.65), 9), (Row::Brake, None, 8)];
    set_of(&rows, root_chord(2.6))
}

fn has_note(trim: &Trim, code: &str) -> bool {
    trim.notes.iter().any(|note| note.code == code)
}

fn wavy(side: Side, line: &Line) -> f64 {
    let front = if line.row == Row::A { -4.0 } else { 1.5 };
    let out = f64::from(line.rank) * (0.3 + 0.1 * line.row.index() as f64);
    front + out * if side == Side::Left { 1.0 } else { -0.4 }
}

#[test]
fn verdicts_go_by_value_or_by_the_guard_band_and_the_lines_own_tolerance_wins() {
    let base = three_rows();
    let mut lines = base.lines().to_vec();
    lines[3].tolerance_mm = Some(25.0);
    let set = LineSet::new("Rook 2", None, lines, base.segments().to_vec()).unwrap();
    let check = check_of(&set, |side, line| {
        let off = match (side, line.name.as_str()) {
            (Side::Left, "A1") => 6.9,
            (Side::Left, "A2") => -7.2,
            (Side::Left, "A3") => 13.1,
            (Side::Left, "A4") | (Side::Right, "brake1") => -14.0,
            _ => 0.0,
        };
        Some(off + 30.0)
    });
    let trim = run(&TrimSpec::default(), &set, &check);
    assert_eq!(trim.common_mm, Some(30.0));
    let verdict = |trim: &Trim, side, name: &str| {
        trim.lines.iter().find(|line| line.side == side && line.line == name).unwrap().verdict.unwrap()
    };
    let near = |name: &str| trim.lines.iter().find(|line| line.side == Side::Left && line.line == name).unwrap().near;
    assert_eq!(verdict(&trim, Side::Left, "A2"), Verdict::Within);
    assert_eq!(verdict(&trim, Side::Left, "A3"), Verdict::Outside);
    assert_eq!((near("A2"), near("A3"), near("A5")), (false, false, false));
    assert_eq!(trim.counts().outside, 1);
    let trim = run(&TrimSpec::default().rule(DecisionRule::Guarded), &set, &check);
    assert_eq!(verdict(&trim, Side::Left, "A1"), Verdict::Within);
    assert_eq!(verdict(&trim, Side::Left, "A2"), Verdict::Undecided);
    assert_eq!(verdict(&trim, Side::Left, "A3"), Verdict::Outside);
    assert_eq!(verdict(&trim, Side::Left, "A4"), Verdict::Within);
    assert_eq!(verdict(&trim, Side::Right, "brake1"), Verdict::Within);
    let absolute = run(&TrimSpec::default().tolerance_on(ToleranceOn::Absolute), &set, &check);
    assert_eq!(verdict(&absolute, Side::Right, "B1"), Verdict::Outside);
}

#[test]
fn repeats_replace_only_the_repeatability_and_widen_by_students_t() {
    let set = three_rows();
    let mut check = check_of(&set, |_, _| Some(0.0));
    let again = Reading { side: Side::Left, line: 0, reading_mm: 6002.0, repeat: 2, operator: None };
    check.readings.push(again);
    let repeats = Repeats::of(&set, &check).unwrap();
    assert_abs_diff_eq!(repeats.sd_mm, 2f64.sqrt(), epsilon = 1e-12);
    assert_eq!(repeats.degrees_of_freedom, 1.0);
    let one = Budget::default().repeats(Some(repeats)).one(2);
    let before = Budget::default().one(1).standard;
    // u² less 1² for the assumed repeatability, plus 2/2 for the mean of two readings: the same by accident of the numbers
    assert_abs_diff_eq!(one.standard, before, epsilon = 1e-12);
    let freedom = (before.powi(2) / 1.0).powi(2);
    assert_abs_diff_eq!(one.degrees_of_freedom.unwrap(), freedom, epsilon = 1e-9);
    // 97.5 % quantile of t: 2.571 at 5 degrees of freedom, 2.447 at 6 (printed tables)
    assert!(one.coverage() > 2.447 && one.coverage() < 2.571, "{}", one.coverage());
}

#[test]
fn brakes_never_enter_incidence() {
    let set = three_rows();
    let check = check_of(&set, |_, line| Some(if line.row == Row::Brake { -40.0 } else { 0.0 }));
    let trim = run(&TrimSpec::default(), &set, &check);
    assert_eq!(trim.incidence_change_deg.value, Some(0.0));
    assert_eq!(trim.asymmetry_deg.value, Some(0.0));
    assert_eq!(trim.common_mm, Some(0.0));
}

#[test]
fn measured_risers_are_added_for_trim() {
    let rows = [(Row::A, Some(0.12), 6), (Row::C, Some(0.62), 6)];
    let riser = |row, riser_mm| RowData { row, chord: None, riser_mm };
    let set = set_of(&rows, root_chord(2.5)).with_rows(vec![riser(Row::A, Some(500.0)), riser(Row::C, None)]);
    let mut check = check_of(&set, |_, _| Some(0.0));
    let plain = run(&TrimSpec::default(), &set, &check);
    check.risers.push(RiserReading { side: Side::Left, row: Row::A, datum_mm: None, riser_mm: Some(496.0) });
    check.risers.push(RiserReading { side: Side::Left, row: Row::C, datum_mm: None, riser_mm: Some(496.0) });
    let trim = run(&TrimSpec::default(), &set, &check);
    assert_eq!(plain.incidence_change_deg.value, Some(0.0));
    assert!(trim.incidence_left_deg.value.unwrap() < -0.1);
    assert_eq!(trim.incidence_right_deg.value, Some(0.0));
    assert!(has_note(&trim, "riser_added") && !has_note(&plain, "riser_added"));
    let moved = trim.lines.iter().filter(|line| line.riser_mm != 0.0).collect::<Vec<_>>();
    assert!(moved.len() == 6 && moved.iter().all(|line| line.deviation_mm == -4.0 && line.row == Row::A));
}

#[test]
fn what_is_missing_is_none_with_a_note() {
    let spec = TrimSpec::default();
    let no_chord = set_of(&[(Row::A, None, 5), (Row::B, None, 5)], root_chord(2.5));
    let trim = run(&spec, &no_chord, &check_of(&no_chord, |side, line| Some(wavy(side, line))));
    assert!(trim.incidence_change_deg.value.is_none() && has_note(&trim, "no_chord"));
    assert!(!trim.rows.is_empty() && trim.twist.is_empty());

    let no_length = set_of(&[(Row::A, Some(0.1), 5), (Row::B, Some(0.5), 5)], ModelData::default());
    let trim = run(&spec, &no_length, &check_of(&no_length, |side, line| Some(wavy(side, line))));
    assert!(trim.incidence_change_deg.value.is_none() && has_note(&trim, "no_chord_length"));
    assert!(trim.notes.iter().any(|note| note.message.contains("one tape along the centre cell")));

    let set = three_rows();
    let left = check_of(&set, |side, line| (side == Side::Left).then(|| wavy(side, line)));
    let trim = run(&spec, &set, &left);
    assert!(has_note(&trim, "side_missing") && trim.asymmetry_deg.value.is_none());
    assert_eq!(trim.incidence_change_deg, trim.incidence_left_deg);

    let one_row = check_of(&set, |_, line| (line.row == Row::A).then_some(-3.0));
    let trim = run(&spec, &set, &one_row);
    assert!(has_note(&trim, "one_row") && has_note(&trim, "row_missing"));
    assert!(trim.incidence_change_deg.value.is_none() && trim.aoa_change_deg.value.is_none());

    let brakes = check_of(&set, |_, line| (line.row == Row::Brake).then_some(-3.0));
    let trim = run(&spec, &set, &brakes);
    assert!(has_note(&trim, "no_trim_rows") && trim.common_mm.is_none() && trim.lines.len() == 16);

    let trim = run(&spec, &set, &Check::new("c2", Date::constant(2024, 5, 1), 0.0));
    assert!(trim.lines.is_empty() && trim.rows.is_empty());
    let json = serde_json::to_string(&trim).unwrap();
    assert!(!json.contains("NaN") && json.contains("\"incidence_change_deg\":{\"value\":null"));
}

#[test]
fn wrong_input_is_refused_with_its_place() {
    let set = three_rows();
    let check = check_of(&set, |side, line| Some(wavy(side, line)));
    let wing = Wing::new("w7", "Other");
    assert!(matches!(TrimSpec::default().run(&set, &wing, &check), Err(TrimError::Model { .. })));
    let wing = Wing::new("w7", "Rook 2");
    let bad = TrimSpec::default().limits(Limits::default().line_mm(f64::NAN));
    assert!(matches!(bad.run(&set, &wing, &check), Err(TrimError::Setting { .. })));
    let mut lost = check.clone();
    lost.readings[0].line = 999;
    assert!(matches!(TrimSpec::default().run(&set, &wing, &lost), Err(TrimError::NoLine { line: 999, .. })));
    let mut infinite = check.clone();
    infinite.readings[4].reading_mm = f64::INFINITY;
    assert!(matches!(TrimSpec::default().run(&set, &wing, &infinite), Err(TrimError::NotFinite { .. })));
}

#[test]
fn mirror_shift_uniform_and_order() {
    let set = three_rows();
    let spec = TrimSpec::default();
    let trim = run(&spec, &set, &check_of(&set, |side, line| Some(wavy(side, line))));
    let incidence = trim.incidence_change_deg.value.unwrap();
    let asymmetry = trim.asymmetry_deg.value.unwrap();
    assert!(incidence.abs() > 0.05 && asymmetry.abs() > 0.02);

    let mirrored = run(&spec, &set, &check_of(&set, |side, line| Some(wavy(side.mirror(), line))));
    assert_abs_diff_eq!(mirrored.asymmetry_deg.value.unwrap(), -asymmetry, epsilon = 1e-12);
    assert_abs_diff_eq!(mirrored.incidence_change_deg.value.unwrap(), incidence, epsilon = 1e-12);
    assert_eq!(mirrored.incidence_left_deg, trim.incidence_right_deg);

    let mut shifted = check_of(&set, |side, line| Some(wavy(side, line)));
    shifted.datum_mm = -17.0;
    let shifted = run(&spec, &set, &shifted);
    assert_abs_diff_eq!(shifted.common_mm.unwrap(), trim.common_mm.unwrap() + 17.0, epsilon = 1e-9);
    assert_abs_diff_eq!(shifted.incidence_change_deg.value.unwrap(), incidence, epsilon = 1e-10);
    for (a, b) in shifted.lines.iter().zip(&trim.lines) {
        assert_abs_diff_eq!(a.relative_mm, b.relative_mm, epsilon = 1e-9);
        assert_eq!(a.verdict, b.verdict);
    }

    let uniform = run(&spec, &set, &check_of(&set, |_, _| Some(-12.3)));
    assert_eq!(uniform.incidence_change_deg.value, Some(0.0));
    assert!(uniform.shape_residual_mm.iter().all(|residual| residual.mm.abs() < 1e-12));

    let mut reversed = check_of(&set, |side, line| Some(wavy(side, line)));
    reversed.readings.reverse();
    assert_eq!(run(&spec, &set, &reversed), trim);
}
