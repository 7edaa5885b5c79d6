//! Values of the trade and of materials that the defaults must meet. Beside each: its source and how it is known (read,
//! derived, memory, practice). What is not here: T5, T6 and T16 in `trim_values`, the first-crossing rows in `forecast_*`.

use approx::{assert_abs_diff_eq, assert_relative_eq};
use linedrift::Limits;
use linedrift::check::{Check, Reading, deviations, reading_deviation_mm};
use linedrift::forecast::{DueSpec, LinePaths, Reason, UsageRate, UsageSource};
use linedrift::trim::{TrimSpec, Verdict};
use linedrift::wear::Shape;
use linedrift::wing::{Creep, Line, LineSet, Row, Segment, Side, fibre, stretch_mm_per_n, thermal_mm_per_k};

use crate::forecast_support::{check, draws_of, history, set_of as small_set};
use crate::trim_run::{check_of, root_chord, run, set_of};

/// T11 and T12: a main of 3.994 m, a middle of 1.958 m, an upper of 0.361 m.
fn branch(material: &str) -> LineSet {
    let piece = |name: &str, parent, length_mm| Segment {
        name: name.to_owned(),
        parent,
        material: material.to_owned(),
        length_mm,
        diameter_mm: None,
        can_loop: None,
    };
    let segments = vec![piece("main", None, 3994.0), piece("middle", Some(0), 1958.0), piece("A1", Some(1), 361.0)];
    let line = Line {
        name: "A1".to_owned(),
        row: Row::A,
        rank: 1,
        nominal_mm: 6313.0,
        span: 0.5,
        span_assumed: true,
        chord: None,
        main: None,
        tolerance_mm: None,
        side: None,
        segment: 2,
    };
    LineSet::new("Rook 2", None, vec![line], segments).unwrap()
}

/// One reading of that branch at the maker's length.
fn deviation_at(material: &str, load_n: f64, temperature_c: f64) -> f64 {
    let set = branch(material);
    let reading = Reading { side: Side::Left, line: 0, reading_mm: 6313.0, repeat: 1, operator: None };
    let day = linedrift::Date::constant(2026, 3, 1);
    let check = Check { load_n, temperature_c, ..Check::new("1", day, 10.0) };
    reading_deviation_mm(&set, &check, &reading).unwrap()
}

// Practice: 5 kg hung up.
#[test]
fn t1_the_measuring_load_is_50_newtons() {
    assert_eq!(Check::new("1", linedrift::Date::constant(2026, 3, 1), 0.0).load_n, 50.0);
    assert_eq!(deviation_at("uhmwpe", 50.0, 20.0), 0.0);
    assert!(deviation_at("uhmwpe", 40.0, 20.0) > 2.0, "a line read under less load is longer at the usual one");
}

// Practice: 10 mm for a single line, read so well that the guard band is nothing.
#[test]
fn t2_the_tolerance_of_a_line_is_10_millimetres() {
    let set = set_of(&[(Row::A, Some(0.1), 9), (Row::B, Some(0.5), 9)], root_chord(2.6));
    let exact = TrimSpec::default().budget(linedrift::check::Budget::empty());
    for (off_mm, verdict) in [(9.9, Verdict::Within), (-9.9, Verdict::Within), (10.1, Verdict::Outside)] {
        let check =
            check_of(&set, |side, line| Some(if (side, line.rank) == (Side::Left, 4) { off_mm } else { 0.0 }));
        let trim = run(&exact, &set, &check);
        let line = trim.lines.iter().find(|line| line.side == Side::Left && line.line == "A4").unwrap();
        assert_eq!(line.verdict, Some(verdict), "{off_mm}");
    }
    assert_eq!(Limits::default(), Limits::default().line_mm(10.0));
}

// Practice: a common offset is no trim fault; a limit of the order of 50 mm.
#[test]
fn t3_a_set_uniformly_long_is_no_trim_fault() {
    let set = set_of(&[(Row::A, Some(0.1), 9), (Row::B, Some(0.5), 9)], root_chord(2.6));
    let at = |off_mm: f64| run(&TrimSpec::default(), &set, &check_of(&set, |_, _| Some(off_mm)));
    let codes = |off_mm: f64| at(off_mm).diagnosis.into_iter().map(|one| one.code).collect::<Vec<_>>();
    assert!(at(40.0).lines.iter().all(|line| line.verdict == Some(Verdict::Within)));
    assert_abs_diff_eq!(at(40.0).incidence_change_deg.value.unwrap(), 0.0, epsilon = 1e-12);
    assert_ne!(codes(60.0), codes(40.0), "past 50 mm it is no matter of wear");
    assert_eq!(codes(49.0), codes(40.0));
    assert_eq!(Limits::default(), Limits::default().offset_mm(50.0));
}

// Practice: 100 h or 24 months, whichever comes first.
#[test]
fn t4_the_interval_is_100_hours_or_24_months() {
    let set = small_set(&[(Row::A, 4)]);
    let wide = Limits::default().line_mm(100.0).row_difference_mm(100.0).incidence_deg(20.0).brake_short_mm(200.0);
    let still = draws_of(&set, &[], Shape::LINEAR, 400, 3);
    let history = history("W-07", vec![check("c1", "2026-01-15", 40.0)]);
    let of = |hours_per_day: f64| {
        let usage = UsageRate { hours_per_day, relative_sd: 0.1, year_to_year: 0.4, source: UsageSource::Own };
        DueSpec::default().limits(wide).wing(LinePaths::Fit(&still), &history, &set, Some(&usage)).unwrap().row
    };
    let busy = of(0.5);
    assert_eq!((busy.due_hours, busy.reason), (140.0, Reason::Interval));
    let seldom = of(0.02);
    assert_eq!((seldom.due_date.unwrap().to_string().as_str(), seldom.reason), ("2028-01-15", Reason::Interval));
    assert!(seldom.due_hours < 140.0);
}

// Derived from data-sheet elongations.
#[test]
fn t11_stretch_of_a_branch_under_50_newtons() {
    for (material, stretch_mm) in [("uhmwpe", 11.2), ("aramid", 14.5), ("lcp", 12.2)] {
        let per_n = stretch_mm_per_n(&branch(material), 0);
        assert_abs_diff_eq!(50.0 * per_n, stretch_mm, epsilon = 0.06);
        assert!((0.22..=0.29).contains(&per_n), "{material}: {per_n}");
        assert_abs_diff_eq!(deviation_at(material, 40.0, 20.0), 10.0 * per_n, epsilon = 1e-9);
    }
}

// Crystal and fibre expansions, read or memory; to the digits given.
#[test]
fn t12_a_branch_shrinks_when_warmed_by_10_kelvin() {
    for (material, change_mm, digits) in [("uhmwpe", -0.758, 5e-4), ("aramid", -0.13, 5e-3), ("lcp", -0.30, 5e-3)] {
        assert_abs_diff_eq!(10.0 * thermal_mm_per_k(&branch(material), 0), change_mm, epsilon = digits);
        assert_abs_diff_eq!(deviation_at(material, 50.0, 30.0), -change_mm, epsilon = digits);
    }
}

// 1e-6/K: two para-aramids and the polyethylene crystal read; the copolymer and the polyester memory.
#[test]
fn t13_axial_expansion() {
    for (name, expansion) in [
        ("aramid-standard", -2.26),
        ("aramid-stiff", -2.0),
        ("uhmwpe", -12.0),
        ("aramid-copolymer", -6.0),
        ("lcp", -4.8),
    ] {
        assert_relative_eq!(1e6 * fibre(name).unwrap().expansion_per_k.value, expansion, max_relative = 1e-12);
    }
}

// Per cent; read (Morgan, Allred 1993; a fibre maker's data sheet, 2010).
#[test]
fn t14_elongation_at_break() {
    for (name, low, high) in [
        ("uhmwpe", 3.0, 4.0),
        ("aramid-standard", 4.0, 4.0),
        ("aramid-stiff", 2.8, 2.8),
        ("aramid-copolymer", 4.5, 4.5),
        ("lcp", 3.8, 3.8),
    ] {
        let value = fibre(name).unwrap().break_elongation_pct.value;
        assert!((low..=high).contains(&value), "{name}: {value}");
    }
}

// Walton, Majumdar 1983: 13 % and 14.6 % read, the power derived.
#[test]
fn t15_creep_of_stiff_aramid() {
    assert_abs_diff_eq!(Creep::ARAMID_STIFF.share_after(1000.0), 0.13, epsilon = 1e-12);
    assert_abs_diff_eq!(Creep::ARAMID_STIFF.share_after(4000.0), 0.146, epsilon = 5e-4);
    assert_abs_diff_eq!(Creep::ARAMID_STIFF.power, (14.6_f64 / 13.0).ln() / 4_f64.ln(), epsilon = 5e-5);
    assert_eq!(Creep::ARAMID_STIFF.share_after(-1.0), 0.0);
}

/// Without a load or a temperature of its own a check is not corrected at all, whatever the material.
#[test]
fn usual_conditions_correct_nothing() {
    let set = branch("lcp");
    let mut check = Check::new("1", linedrift::Date::constant(2026, 3, 1), 10.0);
    check.readings.push(Reading { side: Side::Right, line: 0, reading_mm: 6310.0, repeat: 1, operator: None });
    assert_eq!(deviations(&set, &check)[0].deviation_mm, -3.0);
}
