//! The present first: a wing's state at its last check, whatever the forecast rests on; dates, intervals and events.

use linedrift::WearSpec;
use linedrift::check::{Check, Fleet, History, Reading};
use linedrift::forecast::{
    Basis, DueSpec, EventRule, LinePaths, Reason, ServiceInterval, ServiceRules, UsageRate, UsageSource, WhyNone,
    WingDue,
};
use linedrift::wing::{LineSet, Row, Side, WingEvent};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use super::forecast_support::{date, history, set_of};

const ROWS: [(Row, u32); 5] = [(Row::A, 12), (Row::B, 12), (Row::C, 12), (Row::Stabilo, 2), (Row::Brake, 10)];
const USAGE: UsageRate =
    UsageRate { hours_per_day: 0.2, relative_sd: 0.1, year_to_year: 0.4, source: UsageSource::Own };

/// A whole check of lines built within `built_mm` and read within 1.5 mm, with `fault` added line by line.
fn measured(set: &LineSet, seed: u64, built_mm: f64, fault: impl Fn(Side, &str, Row) -> f64) -> Check {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut normal = || -> f64 { StandardNormal.sample(&mut random) };
    let mut check = Check::new("c1", date("2025-03-01"), 60.0);
    for side in Side::BOTH {
        for (index, line) in set.lines().iter().enumerate() {
            let off_mm = built_mm * normal() + 1.5 * normal() + fault(side, &line.name, line.row);
            let reading_mm = (line.nominal_mm + off_mm).round();
            check.readings.push(Reading { side, line: index, reading_mm, repeat: 1, operator: None });
        }
    }
    check
}

fn alone(set: &LineSet, check: Check) -> WingDue {
    DueSpec::default()
        .wing(LinePaths::None(WhyNone::FewWings), &history("W-1", vec![check]), set, Some(&USAGE))
        .unwrap()
}

#[test]
fn a_wing_with_one_check_and_a_rear_row_25_mm_short_is_due_now() {
    let set = set_of(&ROWS);
    let check = measured(&set, 1, 2.0, |_, _, row| if row == Row::C { -25.0 } else { 0.0 });
    // a fleet of one: no forecast
    let fleet = Fleet::new(vec![set.clone()], vec![history("W-1", vec![check.clone()])]).unwrap();
    let fit = WearSpec::default().fit(&fleet).unwrap();
    let table = DueSpec::default().run(&fleet, &fit).unwrap();
    let (row, detail) = (table.wing("W-1").unwrap(), table.detail("W-1").unwrap());
    assert_eq!((row.basis, row.reason), (Basis::Interval, Reason::AlreadyOver));
    assert_eq!((row.due_hours, row.due_date), (60.0, Some(date("2025-03-01"))));
    assert!(row.risk_now.unwrap() > 0.999);
    let rows: Vec<&str> = detail
        .over
        .iter()
        .filter(|over| over.reason == Reason::RowDifference)
        .map(|over| over.name.as_str())
        .collect();
    assert_eq!(rows.len(), 2, "{rows:?}");
    assert!(rows.contains(&"row A less row C") && rows.contains(&"row B less row C"), "{rows:?}");
    assert!(detail.over.iter().any(|over| over.reason == Reason::Incidence));
    assert!(detail.explanation.contains("less row C +2"), "{}", detail.explanation);
    assert!(detail.explanation.contains("(limit 10.0 mm)"), "{}", detail.explanation);
    assert_eq!(alone(&set, check).row.reason, Reason::AlreadyOver);
}

#[test]
fn a_wing_with_one_good_check_is_not_called_over() {
    // 96 lines a wing, built within 2 mm: none is over 10 mm in truth, and of 5,760 readings one or two come near by chance
    let set = set_of(&ROWS);
    let (mut near, mut unsure) = (Vec::new(), 0);
    for seed in 0..60 {
        let due = alone(&set, measured(&set, seed, 2.0, |_, _, _| 0.0));
        assert_ne!(due.row.reason, Reason::AlreadyOver, "{seed}: {}", due.detail.explanation);
        if due.row.reason == Reason::Line {
            // one reading near its limit is read again
            assert!(due.detail.explanation.starts_with("Due now for a second reading: line "), "{seed}");
            assert_eq!((due.row.due_hours, due.row.due_date), (60.0, Some(date("2025-03-01"))));
            near.push((seed, due.detail.over.len()));
            continue;
        }
        assert_eq!(due.row.reason, Reason::Interval, "{seed}: {}", due.detail.explanation);
        // by value nothing is over; how sure that is, is said
        let risk = due.row.risk_now.unwrap();
        assert!(due.detail.over.is_empty() && risk < 0.6);
        assert_eq!(risk >= 0.1, due.detail.explanation.contains("By value no limit was passed"), "{seed}");
        unsure += usize::from(risk >= 0.1);
        assert_eq!(due.row.due_hours, 160.0);
    }
    assert!(unsure <= 3, "{unsure}");
    assert!(near.len() <= 2 && near.iter().all(|(_, lines)| *lines <= 1), "{near:?}");
}

#[test]
fn a_fleet_whose_readings_equal_the_table_has_intervals_and_aborts_nothing() {
    let set = set_of(&ROWS);
    let exact = |id: &str| {
        let mut check = measured(&set, 1, 0.0, |_, _, _| 0.0);
        check.id = id.to_owned();
        check.readings.iter_mut().for_each(|one| one.reading_mm = set.lines()[one.line].nominal_mm);
        check
    };
    let wing = |k: usize| history(&format!("W-{k}"), vec![exact(&format!("c{k}"))]);
    let fleet = Fleet::new(vec![set.clone()], (0..8).map(wing).collect()).unwrap();
    let error = WearSpec::default().fit(&fleet).unwrap_err();
    assert!(error.leaves_no_fit(), "{error}");
    let prepared = DueSpec::default().prepare_unfitted(&fleet).unwrap();
    for history in fleet.histories() {
        let due = prepared.wing(history).unwrap();
        assert_eq!((due.row.basis, due.row.reason), (Basis::Interval, Reason::Interval));
        assert_eq!((due.row.due_hours, due.row.due_date), (160.0, Some(date("2027-03-01"))));
        assert_eq!(due.row.risk_now, Some(0.0));
        assert!(due.detail.explanation.contains("too alike"), "{}", due.detail.explanation);
    }
}

#[test]
fn a_single_line_far_off_a_short_brake_and_a_crooked_wing_are_over_each_by_its_name() {
    type Fault = fn(Side, &str, Row) -> f64;
    let set = set_of(&ROWS);
    let cases: [(Reason, &str, Fault); 3] = [
        (Reason::Line, "line B7 left", |side, line, _| if side == Side::Left && line == "B7" { 18.0 } else { 0.0 }),
        (Reason::Brake, "brake row", |_, _, row| if row == Row::Brake { -30.0 } else { 0.0 }),
        // left nose-up, right nose-down, ±0.35°: each row and the whole wing are within their limits
        (Reason::LeftRight, "incidence left less right", |side, _, row| {
            let off = match row {
                Row::A => 4.0,
                Row::C => -4.0,
                _ => 0.0,
            };
            if side == Side::Left { off } else { -off }
        }),
    ];
    for (reason, name, fault) in cases {
        let due = alone(&set, measured(&set, 3, 1.0, fault));
        assert_eq!(due.row.reason, Reason::AlreadyOver, "{name}: {}", due.detail.explanation);
        let over = due.detail.over.iter().find(|over| over.reason == reason).unwrap_or_else(|| panic!("{due:?}"));
        assert_eq!(over.name, name);
        assert!(over.value.abs() >= over.limit);
        assert_eq!(due.row.due_hours, 60.0);
    }
}

#[test]
fn a_date_passed_is_said_with_the_days() {
    let set = set_of(&ROWS);
    let history = history("W-1", vec![measured(&set, 1, 2.0, |_, _, _| 0.0)]);
    let on = |today: &str, usage| {
        let spec = DueSpec::default().today(date(today));
        spec.wing(LinePaths::None(WhyNone::FewWings), &history, &set, usage).unwrap()
    };
    // 100 h at 0.2 h a day: 500 days
    let due = on("2026-07-20", Some(&USAGE));
    assert_eq!((due.row.due_date, due.detail.overdue_days), (Some(date("2026-07-14")), Some(6)));
    assert!(due.detail.explanation.contains("Overdue by 6 days on 2026-07-20"), "{}", due.detail.explanation);
    assert!((due.detail.hours_today.unwrap() - (60.0 + 0.2 * 506.0)).abs() < 1e-9);
    assert_eq!(on("2026-07-14", Some(&USAGE)).detail.overdue_days, None);
    // no usage: the calendar's 24 months
    let due = on("2027-03-02", None);
    assert_eq!((due.row.due_date, due.detail.overdue_days), (Some(date("2027-03-01")), Some(1)));
    assert!(due.detail.explanation.contains("Overdue by 1 day on"), "{}", due.detail.explanation);
}

#[test]
fn classes_of_use_ground_handling_and_events_bring_a_check_forward() {
    let set = set_of(&ROWS);
    let mut wing = history("W-1", vec![measured(&set, 1, 2.0, |_, _, _| 0.0)]);
    let due = |history: &History, rules: ServiceRules| {
        let spec = DueSpec::default().rules(rules).today(date("2025-04-01"));
        spec.wing(LinePaths::None(WhyNone::FewWings), history, &set, Some(&USAGE))
    };
    let plain = ServiceRules::default();
    assert_eq!(due(&wing, plain.clone()).unwrap().row.due_hours, 160.0);
    wing.wing.service.class_of_use = Some("school".to_owned());
    // 12 months at 0.2 h a day
    let school = due(&wing, plain.clone()).unwrap();
    assert_eq!(school.row.due_date, Some(date("2026-03-01")));
    assert!((school.row.due_hours - (60.0 + 73.05)).abs() < 1e-9);
    let own =
        plain.clone().with_use("school", ServiceInterval { interval_h: Some(20.0), ..ServiceInterval::default() });
    assert_eq!(due(&wing, own).unwrap().row.due_hours, 80.0);
    wing.wing.service.class_of_use = Some("moon".to_owned());
    let refused = due(&wing, plain.clone()).unwrap_err().to_string();
    assert!(refused.contains("`moon`") && refused.contains("competition, private, school, tandem"), "{refused}");
    wing.wing.service.class_of_use = None;
    // half an hour on the ground per hour flown: 100 h are used up after 66.7 h of flight
    wing.wing.service.ground_share = Some(0.5);
    assert!((due(&wing, plain.clone()).unwrap().row.due_hours - (60.0 + 100.0 / 1.5)).abs() < 1e-9);
    wing.wing.service.ground_share = None;
    // in a tree after the check: before the next flight; before it: seen to
    let event = |day: &str, kind: &str| WingEvent { date: date(day), event: kind.to_owned(), hours_h: None };
    wing.wing.service.events = vec![event("2025-02-01", "tree")];
    assert_eq!(due(&wing, plain.clone()).unwrap().row.reason, Reason::Interval);
    wing.wing.service.events.push(event("2025-03-15", "tree"));
    let tree = due(&wing, plain.clone()).unwrap();
    assert_eq!((tree.row.reason, tree.row.due_hours), (Reason::Event, 60.0));
    assert_eq!((tree.row.due_date, tree.detail.overdue_days), (Some(date("2025-03-15")), Some(17)));
    assert!(tree.detail.explanation.starts_with("Due before the next flight: `tree` on 2025-03-15"), "{tree:?}");
    // sand: within 25 h, 125 days at 0.2 h a day
    wing.wing.service.events = vec![event("2025-03-15", "sand")];
    let sand = due(&wing, plain.clone()).unwrap();
    assert_eq!((sand.row.reason, sand.row.due_hours), (Reason::Event, 85.0));
    assert_eq!(sand.row.due_date, Some(date("2025-07-18")));
    let never = plain.clone().with_event("sand", EventRule::default());
    assert_eq!(due(&wing, never).unwrap().row.reason, Reason::Interval);
    wing.wing.service.events = vec![event("2025-03-15", "eclipse")];
    assert!(due(&wing, plain).is_err());
}

#[test]
fn the_full_inspection_has_an_interval_of_its_own() {
    let set = set_of(&ROWS);
    let mut wing = history("W-1", vec![measured(&set, 1, 2.0, |_, _, _| 0.0)]);
    wing.wing.first_flight = Some(date("2024-01-01"));
    let rules = ServiceRules::from_toml("inspection_months = 24\ninspection_h = 150\n").unwrap();
    let due = |history: &History| {
        let spec = DueSpec::default().rules(rules.clone());
        spec.wing(LinePaths::None(WhyNone::FewWings), history, &set, Some(&USAGE)).unwrap()
    };
    // from new: 150 h at 0.2 h a day are 750 days, the months come first
    let new = due(&wing);
    assert_eq!(new.detail.inspection_due_hours, Some(150.0));
    assert_eq!(new.detail.inspection_due_date, Some(date("2026-01-01")));
    wing.wing.service.inspected = Some(date("2025-01-10"));
    wing.wing.service.inspected_h = Some(50.0);
    let since = due(&wing);
    assert_eq!(since.detail.inspection_due_hours, Some(200.0));
    assert_eq!(since.detail.inspection_due_date, Some(date("2027-01-10")));
    assert!(since.detail.explanation.contains("full inspection is due at 200 h or on 2027-01-10"), "{since:?}");
    // the trim check is not moved by it
    assert_eq!((new.row.due_hours, since.row.due_hours), (160.0, 160.0));
}

#[test]
fn rules_that_cannot_be_are_refused_by_name() {
    for (text, what) in [
        ("interval_h = -1", "interval_h is -1"),
        ("[use.school]\ninterval_months = 0", "interval_months is 0"),
        ("[event.tree]\nwithin_h = -3", "within_h is -3"),
        ("interval = 3", "unknown field `interval`"),
        ("[use.school", "line 1"),
    ] {
        let error = ServiceRules::from_toml(text).unwrap_err().to_string();
        assert!(error.contains(what), "{text}: {error}");
    }
}
