//! First crossings on draws: against closed forms, by hand, and by symmetry.

use approx::assert_relative_eq;
use linedrift::forecast::{
    Cause, CrossingSpec, FirstCrossing, ForecastError, GaussianPath, Limits, Reason, incidence_weights,
};
use linedrift::wear::{LineKey, PathDraws, Shape};
use linedrift::wing::{Row, Side};
use ndarray::Array2;
use proptest::prelude::*;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use super::forecast_support::{RowPath, columns, draws_of, set_of};

const ROWS: [(Row, u32); 5] = [(Row::A, 6), (Row::B, 6), (Row::C, 6), (Row::Stabilo, 2), (Row::Brake, 5)];

/// One draw with these paths by row, equal for all lines of the row.
fn one_draw(set: &linedrift::wing::LineSet, rows: &[RowPath], shape: Shape) -> PathDraws {
    let lines = columns(set);
    let mut start_mm = Array2::zeros((1, lines.len()));
    let mut slope_mm = Array2::zeros((1, lines.len()));
    for (column, key) in lines.iter().enumerate() {
        if let Some(path) = rows.iter().find(|path| path.row == set.lines()[key.line].row) {
            start_mm[[0, column]] = path.start_mm;
            slope_mm[[0, column]] = path.slope_mm;
        }
    }
    PathDraws { lines, start_mm, slope_mm, shapes: vec![shape], own_history: true }
}

fn only(crossing: &FirstCrossing) -> (f64, Cause) {
    assert_eq!(crossing.crossed().len(), 1, "{crossing:?}");
    (crossing.crossed()[0].hours_h, crossing.crossed()[0].cause)
}

#[test]
fn each_limit_is_met_where_the_hand_says() {
    let set = set_of(&ROWS);
    let wide =
        Limits::default().line_mm(1e6).row_difference_mm(1e6).incidence_deg(1e3).brake_short_mm(1e6).offset_mm(1e6);
    let rows = [
        RowPath { row: Row::A, start_mm: 1.0, slope_mm: -1.0 },
        RowPath { row: Row::B, start_mm: 0.0, slope_mm: -2.0 },
        RowPath { row: Row::C, start_mm: -1.0, slope_mm: -6.0 },
        RowPath { row: Row::Stabilo, start_mm: 0.0, slope_mm: 1.0 },
        RowPath { row: Row::Brake, start_mm: 2.0, slope_mm: -13.0 },
    ];
    let paths = one_draw(&set, &rows, Shape::LINEAR);
    let run = |limits: Limits| {
        let weights = incidence_weights(&set, &paths.lines).unwrap();
        only(
            &CrossingSpec::default().limits(limits).horizon_h(2000.0).run(&paths, &set, 0.0, Some(&weights)).unwrap(),
        )
    };
    // The median over A–C is row B: 0 − 2g at 0 and at 100 h. A less C is 2 + 5g.
    let (hours, cause) = run(wide.row_difference_mm(12.0));
    assert_relative_eq!(hours, 200.0, epsilon = 1e-9);
    assert_eq!(cause, Cause::RowDifference { front: Row::A, rear: Row::C });
    // row C less B: −1 − 4g, the farthest line
    let (hours, cause) = run(wide.line_mm(11.0));
    assert_relative_eq!(hours, 250.0, epsilon = 1e-9);
    assert!(matches!(cause, Cause::Line(LineKey { line, .. }) if set.lines()[line].row == Row::C));
    // the brake is 2 − 11g against B, and only a short brake counts
    let (hours, cause) = run(wide.brake_short_mm(20.0));
    assert_relative_eq!(hours, 200.0, epsilon = 1e-9);
    assert_eq!(cause, Cause::Brake);
    let (hours, cause) = run(wide.offset_mm(7.0));
    assert_relative_eq!(hours, 350.0, epsilon = 1e-9);
    assert_eq!(cause, Cause::Offset);
    // incidence by hand: chord 25/11 m, positions .10 .30 .55, mean .31667
    let chord_mm = 25_000.0 / 11.0;
    let places = [0.10, 0.30, 0.55].map(|x: f64| x * chord_mm);
    let mean = places.iter().sum::<f64>() / 3.0;
    let square: f64 = places.iter().map(|x| (x - mean).powi(2)).sum();
    let degrees = |d: [f64; 3]| {
        -places.iter().zip(d).map(|(x, d)| (x - mean) * d).sum::<f64>() / square * 180.0 / std::f64::consts::PI
    };
    let (start, slope) = (degrees([1.0, 0.0, -1.0]), degrees([-1.0, -2.0, -6.0]));
    let (hours, cause) = run(wide.incidence_deg(0.5));
    assert_relative_eq!(hours, 100.0 * (0.5 - start) / slope, epsilon = 1e-6);
    assert_eq!(cause, Cause::Incidence);
}

#[test]
fn the_incidence_weights_give_the_published_geometry() {
    // check values G1–G3 (derived): deviations by row, chord positions and chord, and the incidence they make
    for (rows, chord_mm, want) in [
        (&[(Row::A, 0.12, -5.0), (Row::B, 0.62, 0.0)][..], 2500.0, -0.229_183),
        (
            &[(Row::A, 0.10, -6.0), (Row::B, 0.30, -2.0), (Row::C, 0.55, 0.0), (Row::D, 0.75, 4.0)][..],
            2600.0,
            -0.318_057,
        ),
        (&[(Row::A, 0.10, -8.0), (Row::B, 0.35, -2.0), (Row::C, 0.65, -4.0)][..], 2600.0, -0.150_141),
    ] {
        let counts: Vec<(Row, u32)> = rows.iter().zip(2..).map(|((row, _, _), count)| (*row, count)).collect();
        let data =
            linedrift::wing::ModelData { span_m: Some(10.0), area_m2: Some(chord_mm / 100.0), ..Default::default() };
        let chords = rows.iter().map(|(row, chord, _)| linedrift::wing::RowData {
            row: *row,
            chord: Some(*chord),
            riser_mm: None,
        });
        let set = set_of(&counts).with_rows(chords.collect()).with_data(data);
        let lines = columns(&set);
        let weights = incidence_weights(&set, &lines).unwrap();
        let got: f64 = lines
            .iter()
            .zip(&weights)
            .map(|(key, weight)| {
                weight * rows.iter().find(|(row, _, _)| *row == set.lines()[key.line].row).unwrap().2
            })
            .sum();
        assert_relative_eq!(got, want, epsilon = 1e-6);
        assert!(weights.iter().sum::<f64>().abs() < 1e-12, "a common offset has no effect");
        assert_eq!(incidence_weights(&set.clone().with_rows(Vec::new()), &lines), None);
        assert_eq!(incidence_weights(&set.with_data(linedrift::wing::ModelData::default()), &lines), None);
    }
}

#[test]
fn draws_agree_with_the_closed_form_for_one_limit() {
    // one stabilo line with a Gaussian path beside rows that stand still: the only thing that moves
    let set = set_of(&[(Row::A, 1), (Row::Stabilo, 1)]);
    let draws = 20_000;
    for (start, start_sd, slope, slope_sd, rho, now, shape) in [
        (1.0, 2.0, -3.0, 1.5, -0.4, 0.0, Shape::LINEAR),
        (0.0, 3.0, 0.5, 4.0, 0.6, 80.0, Shape::LINEAR),
        (-2.0, 1.0, -4.0, 1.0, 0.2, 150.0, Shape::Log { scale_h: 60.0 }),
    ] {
        let mut random = ChaCha8Rng::seed_from_u64(7);
        let lines = vec![LineKey { side: Side::Left, line: 0 }, LineKey { side: Side::Left, line: 1 }];
        let mut start_mm = Array2::zeros((draws, 2));
        let mut slope_mm = Array2::zeros((draws, 2));
        for draw in 0..draws {
            let (z1, z2): (f64, f64) = (StandardNormal.sample(&mut random), StandardNormal.sample(&mut random));
            start_mm[[draw, 1]] = start + start_sd * z1;
            slope_mm[[draw, 1]] = slope + slope_sd * (rho * z1 + f64::sqrt(1.0 - rho * rho) * z2);
        }
        let paths = PathDraws { lines, start_mm, slope_mm, shapes: vec![shape; draws], own_history: true };
        let crossing = CrossingSpec::default().run(&paths, &set, now, None).unwrap();
        let path =
            GaussianPath::new(start, slope).unwrap().spread(start_sd, slope_sd, rho).unwrap().from(shape.at(now));
        for ahead in [0.0, 50.0, 100.0, 200.0, 400.0, 800.0] {
            let want = path.crossed_either_way(10.0, shape.at(now + ahead) - shape.at(now)).unwrap();
            let got = crossing.risk_at(now + ahead);
            assert!(
                (got - want).abs() <= 4.0 * crossing.share_se(want) + 1.0 / draws as f64,
                "{ahead} h ahead of {now}: {got} against {want}"
            );
        }
        // the hours at the risk hold the closed form's hours within their own error
        let at = crossing.hours_at_risk(0.3);
        let reached = |hours: f64| path.crossed_either_way(10.0, shape.at(hours) - shape.at(now)).unwrap();
        let (lower, upper) = (at.lower_h.unwrap(), at.upper_h.unwrap());
        assert!(lower <= at.hours_h.unwrap() && at.hours_h.unwrap() <= upper);
        let slack = 4.0 * crossing.share_se(0.3);
        assert!((reached(at.hours_h.unwrap()) - 0.3).abs() < slack && reached(upper) > 0.3 - slack / 4.0);
    }
}

#[test]
fn a_path_already_over_crosses_now_and_one_that_comes_back_is_not_over() {
    let set = set_of(&ROWS);
    let spec = CrossingSpec::default();
    let over = one_draw(&set, &[RowPath { row: Row::Stabilo, start_mm: 15.0, slope_mm: -1.0 }], Shape::LINEAR);
    let crossing = spec.run(&over, &set, 200.0, None).unwrap();
    assert_eq!(only(&crossing).0, 200.0);
    assert_eq!(crossing.risk_now(), 1.0);
    // at 600 h it is back at 9 mm, and leaves on the other side at 2,500 h
    let back = spec.horizon_h(5000.0).run(&over, &set, 600.0, None).unwrap();
    assert_relative_eq!(only(&back).0, 2500.0, epsilon = 1e-9);
    assert_eq!(back.risk_now(), 0.0);
    assert!(spec.run(&over, &set, 600.0, None).unwrap().crossed().is_empty(), "past the horizon");
}

#[test]
fn a_saturating_path_that_levels_off_below_the_limit_never_crosses() {
    let set = set_of(&ROWS);
    let rows = [RowPath { row: Row::Stabilo, start_mm: 0.0, slope_mm: 6.0 }];
    let saturating = one_draw(&set, &rows, Shape::Saturating { scale_h: 50.0 });
    let linear = one_draw(&set, &rows, Shape::LINEAR);
    let spec = CrossingSpec::default().horizon_h(1e6);
    assert!(spec.run(&saturating, &set, 0.0, None).unwrap().crossed().is_empty());
    assert_eq!(spec.run(&linear, &set, 0.0, None).unwrap().crossed().len(), 1);
    // far out on the plateau, where g stands still
    assert!(spec.run(&saturating, &set, 1e5, None).unwrap().crossed().is_empty());
}

#[test]
fn the_common_offset_of_a_path_is_its_median_not_its_mean() {
    // one line of A far away: it pulls the mean of the lines, never the median
    let set = set_of(&[(Row::A, 5)]);
    let lines: Vec<LineKey> = (0..5).map(|line| LineKey { side: Side::Left, line }).collect();
    let mut start_mm = Array2::zeros((1, 5));
    start_mm[[0, 4]] = -40.0;
    let slope_mm = Array2::from_elem((1, 5), 1.0);
    let paths = PathDraws { lines, start_mm, slope_mm, shapes: vec![Shape::LINEAR], own_history: true };
    let spec = CrossingSpec::default().limits(Limits::default().line_mm(41.0).offset_mm(2.0));
    let crossing = spec.run(&paths, &set, 0.0, None).unwrap();
    assert_relative_eq!(only(&crossing).0, 200.0, epsilon = 1e-9);
    assert_eq!(only(&crossing).1, Cause::Offset);
}

#[test]
fn a_lines_own_tolerance_wins() {
    let mut set = set_of(&[(Row::A, 1), (Row::Stabilo, 1)]);
    let mut lines = set.lines().to_vec();
    lines[1].tolerance_mm = Some(4.0);
    set = linedrift::wing::LineSet::new("Heather 24", None, lines, set.segments().to_vec()).unwrap();
    let paths = one_draw(&set, &[RowPath { row: Row::Stabilo, start_mm: 0.0, slope_mm: 2.0 }], Shape::LINEAR);
    let crossing = CrossingSpec::default().run(&paths, &set, 0.0, None).unwrap();
    assert_relative_eq!(only(&crossing).0, 200.0, epsilon = 1e-9);
}

#[test]
fn draws_that_do_not_fit_are_refused() {
    let set = set_of(&ROWS);
    let good = draws_of(&set, &[], Shape::LINEAR, 3, 1);
    let spec = CrossingSpec::default();
    assert!(spec.run(&good, &set, 0.0, None).is_ok());
    assert!(matches!(spec.run(&good, &set, -1.0, None), Err(ForecastError::Hours { .. })));
    assert!(matches!(spec.run(&good, &set, 0.0, Some(&[1.0])), Err(ForecastError::Draws { .. })));
    assert!(matches!(spec.horizon_h(0.0).run(&good, &set, 0.0, None), Err(ForecastError::NotPositive { .. })));
    let mut short = good.clone();
    short.shapes.pop();
    assert!(matches!(spec.run(&short, &set, 0.0, None), Err(ForecastError::Draws { .. })));
    let mut wrong = good.clone();
    wrong.slope_mm[[2, 3]] = f64::NAN;
    assert_eq!(spec.run(&wrong, &set, 0.0, None), Err(ForecastError::NotFinite { line: "A4".to_owned() }));
    let mut foreign = good;
    foreign.lines[0].line = 1000;
    assert!(matches!(spec.run(&foreign, &set, 0.0, None), Err(ForecastError::NoLine { line: 1000, .. })));
}

#[test]
fn shares_add_up_and_the_most_frequent_goes_first() {
    let set = set_of(&ROWS);
    let rows = [RowPath { row: Row::C, start_mm: 0.0, slope_mm: -5.0 }];
    let paths = draws_of(&set, &rows, Shape::LINEAR, 2000, 3);
    let crossing = CrossingSpec::default().run(&paths, &set, 50.0, None).unwrap();
    let until = crossing.quantile_h(0.5).unwrap();
    let shares = crossing.first_limits(until);
    assert_relative_eq!(shares.iter().map(|share| share.share).sum::<f64>(), 1.0, epsilon = 1e-12);
    assert!(shares.windows(2).all(|pair| pair[0].share >= pair[1].share));
    assert_eq!(crossing.most_often(until).unwrap().reason(), shares[0].reason);
    assert_eq!(shares[0].reason, Reason::RowDifference);
    assert!((crossing.risk_at(until) - 0.5).abs() < 1e-12);
    assert!(crossing.first_limits(0.0).is_empty() && crossing.most_often(0.0).is_none());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn a_mirrored_wing_and_reordered_columns_cross_at_the_same_hours(seed in 0u64..1000, now in 0.0..300.0f64) {
        let set = set_of(&ROWS);
        let rows = [RowPath { row: Row::C, start_mm: 1.0, slope_mm: -4.0 }];
        let paths = draws_of(&set, &rows, Shape::Log { scale_h: 80.0 }, 200, seed);
        let weights = incidence_weights(&set, &paths.lines).unwrap();
        let first = CrossingSpec::default().run(&paths, &set, now, Some(&weights)).unwrap();
        let mut mirrored = paths.clone();
        for key in &mut mirrored.lines {
            key.side = key.side.mirror();
        }
        let mirror = CrossingSpec::default().run(&mirrored, &set, now, Some(&weights)).unwrap();
        let mut turned = paths.clone();
        turned.lines.reverse();
        turned.start_mm.invert_axis(ndarray::Axis(1));
        turned.slope_mm.invert_axis(ndarray::Axis(1));
        let weights = incidence_weights(&set, &turned.lines).unwrap();
        let turned = CrossingSpec::default().run(&turned, &set, now, Some(&weights)).unwrap();
        prop_assert_eq!(first.crossed().len(), mirror.crossed().len());
        prop_assert_eq!(first.crossed().len(), turned.crossed().len());
        for ((a, b), c) in first.crossed().iter().zip(mirror.crossed()).zip(turned.crossed()) {
            prop_assert_eq!(a.hours_h, b.hours_h);
            prop_assert!((a.hours_h - c.hours_h).abs() < 1e-6 * (1.0 + a.hours_h));
        }
    }

    #[test]
    fn wider_limits_and_a_higher_risk_are_never_earlier(seed in 0u64..1000, factor in 1.0..3.0f64, risk in 0.01..0.5f64) {
        let set = set_of(&ROWS);
        let paths = draws_of(&set, &[RowPath { row: Row::C, start_mm: 0.0, slope_mm: -4.0 }], Shape::LINEAR, 300, seed);
        let wide = Limits::default()
            .line_mm(10.0 * factor)
            .row_difference_mm(10.0 * factor)
            .brake_short_mm(20.0 * factor)
            .offset_mm(50.0 * factor);
        let narrow = CrossingSpec::default().run(&paths, &set, 20.0, None).unwrap();
        let wider = CrossingSpec::default().limits(wide).run(&paths, &set, 20.0, None).unwrap();
        let hours = |crossing: &FirstCrossing, risk: f64| crossing.quantile_h(risk).unwrap_or(f64::INFINITY);
        prop_assert!(hours(&wider, risk) >= hours(&narrow, risk));
        prop_assert!(hours(&narrow, risk + 0.2) >= hours(&narrow, risk));
        prop_assert!(narrow.crossed().iter().all(|draw| draw.hours_h >= 20.0 && draw.hours_h <= 1020.0));
    }
}
