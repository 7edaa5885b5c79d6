//! The next check of a wing: interval against forecast, dates, words and documents.

use std::cmp::Ordering;

use approx::assert_relative_eq;
use linedrift::check::{Fleet, History};
use linedrift::forecast::{
    Basis, DueRow, DueSpec, DueTable, ForecastError, IntervalSource, Limits, LinePaths, OwnInterval, Reason,
    ServiceRules, UsageRate, UsageSource, UsageSpec, WhyNone, WingDue,
};
use linedrift::wear::{PathDraws, Shape};
use linedrift::wing::{LineSet, ModelData, Row};
use proptest::prelude::*;

use super::forecast_support::{RowPath, check, date, draws_of, history, set_of};

const ROWS: [(Row, u32); 5] = [(Row::A, 6), (Row::B, 6), (Row::C, 6), (Row::Stabilo, 2), (Row::Brake, 5)];
const USAGE: UsageRate =
    UsageRate { hours_per_day: 0.2, relative_sd: 0.1, year_to_year: 0.4, source: UsageSource::Own };

fn drifting(set: &LineSet, slope_mm: f64) -> PathDraws {
    draws_of(set, &[RowPath { row: Row::C, start_mm: 0.0, slope_mm }], Shape::LINEAR, 1000, 5)
}

fn checked() -> History {
    history("W-07", vec![check("c1", "2024-03-01", 60.0), check("c2", "2025-03-01", 120.0)])
}

fn due(spec: &DueSpec, paths: &PathDraws, history: &History, set: &LineSet) -> WingDue {
    spec.wing(LinePaths::Fit(paths), history, set, Some(&USAGE)).unwrap()
}

#[test]
fn a_fast_wing_is_due_by_its_rows_before_the_interval_and_the_words_say_so() {
    let set = set_of(&ROWS);
    let limits = Limits::default().incidence_deg(2.0);
    let spec = DueSpec::default().interval_months(48.0).limits(limits);
    let got = due(&spec, &drifting(&set, -3.5), &checked(), &set);
    let row = &got.row;
    assert_eq!((row.basis, row.reason), (Basis::History, Reason::RowDifference));
    assert_eq!(row.hours_now, 120.0);
    assert!(row.due_hours > 120.0 && row.due_hours < 220.0, "{row:?}");
    assert_eq!(Some(row.due_hours), got.detail.risk_hours);
    assert_relative_eq!(got.detail.risk_at_due.unwrap(), 0.1, epsilon = 1e-12);
    assert!(got.detail.risk_hours_lower.unwrap() <= row.due_hours);
    assert!(got.detail.risk_hours_upper.unwrap() >= row.due_hours);
    // 0.2 h a day from the last check
    let days = f64::from((row.due_date.unwrap() - date("2025-03-01")).get_days());
    assert!((days - (row.due_hours - 120.0) / 0.2).abs() <= 0.5, "{days}");
    assert!(got.detail.earliest_date.unwrap() < row.due_date.unwrap());
    assert!(got.detail.latest_date.unwrap() > row.due_date.unwrap());
    let words = &got.detail.explanation;
    assert!(words.contains("reaches 10 %") && words.contains("against C") && words.contains("own checks"), "{words}");
    assert!(words.contains("allow 220 h"), "{words}");
}

#[test]
fn a_slow_wing_is_due_by_the_interval_in_hours_or_in_months() {
    let set = set_of(&ROWS);
    let paths = draws_of(&set, &[], Shape::LINEAR, 500, 5);
    let wide = Limits::default().line_mm(100.0).row_difference_mm(100.0).incidence_deg(20.0).brake_short_mm(200.0);
    let spec = DueSpec::default().limits(wide);
    // 0.2 h a day: 100 h take 500 days, 24 months 730
    let hours = due(&spec, &paths, &checked(), &set);
    assert_eq!((hours.row.reason, hours.row.due_hours), (Reason::Interval, 220.0));
    assert_eq!(hours.row.due_date, Some(date("2026-07-14")));
    let slow = UsageRate { hours_per_day: 0.05, ..USAGE };
    let months = spec.wing(LinePaths::Fit(&paths), &checked(), &set, Some(&slow)).unwrap();
    assert_eq!(months.row.reason, Reason::Interval);
    assert_relative_eq!(months.row.due_hours, 120.0 + 0.05 * 365.25 * 2.0, epsilon = 1e-9);
    assert_eq!(months.row.due_date, Some(date("2027-03-01")));
    assert!(months.detail.explanation.contains("24 months"), "{}", months.detail.explanation);
    // unknown usage: the calendar gives the date, and the words say so
    let unknown = spec.wing(LinePaths::Fit(&paths), &checked(), &set, None).unwrap();
    assert_eq!((unknown.row.due_hours, unknown.row.due_date), (220.0, Some(date("2027-03-01"))));
    assert!(unknown.detail.explanation.contains("2027-03-01"), "{}", unknown.detail.explanation);
}

#[test]
fn the_earliest_of_the_makers_and_the_wings_interval_counts() {
    let set = set_of(&ROWS).with_data(ModelData { interval_h: Some(80.0), ..ModelData::default() });
    let paths = LinePaths::None(WhyNone::FewWings);
    let spec = DueSpec::default();
    let mut history = checked();
    assert_eq!(spec.wing(paths, &history, &set, None).unwrap().row.due_hours, 200.0);
    history.wing.interval_h = Some(50.0);
    assert_eq!(spec.wing(paths, &history, &set, None).unwrap().row.due_hours, 170.0);
    history.wing.interval_months = Some(6.0);
    let got = spec.wing(paths, &history, &set, Some(&USAGE)).unwrap();
    assert_relative_eq!(got.row.due_hours, 120.0 + 0.2 * 365.25 / 2.0, epsilon = 1e-9);
    assert_eq!(got.row.due_date, Some(date("2025-09-01")));
    // longer than the maker's: only when asked for, and then it is said
    history.wing.interval_h = Some(300.0);
    history.wing.interval_months = Some(60.0);
    let earliest = spec.wing(paths, &history, &set, None).unwrap();
    assert_eq!((earliest.row.due_hours, earliest.row.due_date), (200.0, Some(date("2027-03-01"))));
    assert_eq!(earliest.detail.interval_from, IntervalSource::Maker);
    let rules = ServiceRules::default().own_interval(OwnInterval::MayBeLonger);
    let longer = spec.clone().rules(rules).wing(paths, &history, &set, None).unwrap();
    assert_eq!((longer.row.due_hours, longer.row.due_date), (420.0, Some(date("2030-03-01"))));
    assert!(
        longer.detail.explanation.contains("Caution: this is the wing's own interval"),
        "{}",
        longer.detail.explanation
    );
    assert!(!earliest.detail.explanation.contains("Caution"), "{}", earliest.detail.explanation);
    history.wing.interval_h = Some(-1.0);
    assert_eq!(
        spec.wing(paths, &history, &set, None),
        Err(ForecastError::Interval { wing: "W-07".to_owned(), what: "interval_h", value: -1.0 })
    );
}

#[test]
fn a_wing_already_over_is_due_now_on_the_day_named() {
    let set = set_of(&ROWS);
    let paths = draws_of(&set, &[RowPath { row: Row::C, start_mm: -14.0, slope_mm: 0.0 }], Shape::LINEAR, 500, 5);
    let got = due(&DueSpec::default(), &paths, &checked(), &set);
    assert_eq!((got.row.reason, got.row.due_hours), (Reason::AlreadyOver, 120.0));
    assert_eq!(got.row.due_date, Some(date("2025-03-01")));
    assert!(got.row.risk_now.unwrap() > 0.9);
    assert_eq!(got.row.crossing_hours.p50, Some(120.0));
    assert!(got.detail.explanation.starts_with("Due now"), "{}", got.detail.explanation);
    // only the day depends on today
    let later = due(&DueSpec::default().today(date("2026-01-05")), &paths, &checked(), &set);
    assert_eq!(later.row.due_date, Some(date("2026-01-05")));
    assert_eq!(later.row.due_hours, 120.0);
    assert_eq!(later.detail.explanation, got.detail.explanation);
}

#[test]
fn a_wing_with_one_check_and_one_with_none_are_answered() {
    let set = set_of(&ROWS);
    let paths = drifting(&set, -3.5);
    let once = history("W-01", vec![check("c1", "2025-03-01", 40.0)]);
    let got = due(&DueSpec::default(), &paths, &once, &set);
    assert_eq!((got.row.basis, got.row.hours_now), (Basis::History, 40.0));

    let fleet = PathDraws { own_history: false, ..paths };
    let mut new = history("W-02", Vec::new());
    new.wing.first_flight = Some(date("2025-01-01"));
    let got = due(&DueSpec::default(), &fleet, &new, &set);
    assert_eq!((got.row.basis, got.row.hours_now), (Basis::Fleet, 0.0));
    assert!(got.row.due_hours > 0.0 && got.row.due_date > Some(date("2025-01-01")));
    assert!(got.detail.explanation.contains("fleet's wear alone"), "{}", got.detail.explanation);
    assert!(got.detail.explanation.contains("after new"), "{}", got.detail.explanation);

    new.wing.first_flight = None;
    let got = DueSpec::default().wing(LinePaths::None(WhyNone::FewWings), &new, &set, Some(&USAGE)).unwrap();
    assert_eq!((got.row.basis, got.row.reason), (Basis::Interval, Reason::Interval));
    assert_eq!((got.row.due_hours, got.row.due_date, got.row.risk_now), (100.0, None, None));
    // nothing says how old it is: today
    let today = DueSpec::default().today(date("2025-05-01"));
    let got = today.wing(LinePaths::None(WhyNone::FewWings), &new, &set, Some(&USAGE)).unwrap();
    assert_eq!(got.row.due_date, Some(date("2025-05-01")));
    assert!(got.detail.explanation.contains("measure it now"), "{}", got.detail.explanation);
    assert_eq!(got.row.crossing_hours.p50, None);

    // a check without readings is none
    let mut empty = history("W-03", vec![check("c1", "2025-03-01", 40.0)]);
    empty.checks[0].readings.clear();
    assert_eq!(due(&DueSpec::default(), &fleet, &empty, &set).row.hours_now, 0.0);
}

#[test]
fn hours_past_all_checks_are_flagged() {
    let set = set_of(&ROWS);
    let paths = drifting(&set, -3.5);
    let spec = DueSpec::default();
    let seen = |hours| due(&spec.clone().seen_until_h(hours), &paths, &checked(), &set).detail.explanation;
    assert!(seen(125.0).contains("extrapolates"));
    assert!(!seen(400.0).contains("extrapolates"));
}

#[test]
fn settings_out_of_range_are_refused() {
    let set = set_of(&ROWS);
    let paths = drifting(&set, -3.5);
    let try_with = |spec: DueSpec| spec.wing(LinePaths::Fit(&paths), &checked(), &set, None).unwrap_err();
    for risk in [0.0, 1.0, -0.1, 2.0] {
        assert_eq!(try_with(DueSpec::default().risk(risk)), ForecastError::Risk { value: risk });
    }
    assert!(matches!(try_with(DueSpec::default().risk(f64::NAN)), ForecastError::Risk { .. }));
    assert!(matches!(try_with(DueSpec::default().interval_h(0.0)), ForecastError::NotPositive { .. }));
    assert!(matches!(
        try_with(DueSpec::default().limits(Limits::default().offset_mm(0.0))),
        ForecastError::NotPositive { what: "offset_mm", .. }
    ));
}

#[test]
fn the_table_is_in_order_of_urgency_and_its_document_is_the_contract() {
    let set = set_of(&ROWS);
    let wing = |id: &str, hours: f64, paths: LinePaths<'_>| {
        let history = history(id, vec![check("c", "2025-03-01", hours)]);
        DueSpec::default().wing(paths, &history, &set, Some(&USAGE)).unwrap()
    };
    let over = draws_of(&set, &[RowPath { row: Row::C, start_mm: -14.0, slope_mm: 0.0 }], Shape::LINEAR, 200, 5);
    let table = DueTable::new(
        0.1,
        vec![
            wing("W-2", 300.0, LinePaths::None(WhyNone::FewWings)),
            wing("W-1", 10.0, LinePaths::None(WhyNone::FewWings)),
            wing("W-3", 90.0, LinePaths::Fit(&over)),
        ],
    );
    let order: Vec<&str> = table.rows().iter().map(|row| row.wing.as_str()).collect();
    assert_eq!(order, ["W-3", "W-1", "W-2"]);
    assert!(table.explanation("W-1").unwrap().contains("interval"));
    // over its limit: due on any day; the others on their own day and after
    let [over, first] = [&table.rows()[0], &table.rows()[1]];
    assert!(over.is_due(date("1999-01-01")));
    let day = first.due_date.unwrap();
    assert!(first.is_due(day) && !first.is_due(day.yesterday().unwrap()));
    let undated = DueRow { due_date: None, ..first.clone() };
    assert!(!undated.is_due(date("2999-01-01")));
    let namesake = DueRow { wing: "W-0".to_owned(), ..first.clone() };
    for (what, order, wanted) in [
        ("over a limit before a date", over.urgency(0, first, 9), Ordering::Less),
        ("a date before none", undated.urgency(9, first, 0), Ordering::Greater),
        ("more lines outside first", first.urgency(2, &namesake, 1), Ordering::Less),
        ("else by name", first.urgency(1, &namesake, 1), Ordering::Greater),
        ("itself", first.urgency(1, first, 1), Ordering::Equal),
    ] {
        assert_eq!(order, wanted, "{what}");
    }
    assert_eq!(table.explanation("W-9"), None);
    let text = serde_json::to_string(&table.document()).unwrap();
    assert!(
        text.starts_with(r#"{"schema":"linedrift.due/1","risk":0.1,"wings":[{"wing":"W-3","model":"Heather 24""#),
        "{text}"
    );
    let document: serde_json::Value = serde_json::from_str(&text).unwrap();
    let first = &document["wings"][0];
    assert_eq!(first["reason"], "already-over");
    assert_eq!(first["basis"], "history");
    assert_eq!(first["due_date"], "2025-03-01");
    assert!(first["crossing_hours"]["p10"].is_number());
    let second = document["wings"][1].as_object().unwrap();
    for key in
        ["wing", "model", "basis", "hours_now", "due_hours", "due_date", "reason", "crossing_hours", "risk_now"]
    {
        assert!(second.contains_key(key), "{key}");
    }
    assert_eq!(second["risk_now"], 0.0, "its check was within all limits");
    assert!(second["crossing_hours"]["p90"].is_null());
    let demo = serde_json::to_value(table.clone().marked_demo().document()).unwrap();
    assert_eq!(demo["demo"], true);
    let screen = table.to_string();
    assert_eq!(screen.lines().count(), 6, "{screen}");
    assert!(screen.contains("already-over"));
}

#[test]
fn the_calendar_folds_escapes_and_counts_months() {
    let set = set_of(&ROWS);
    let wing = |id: &str, day: &str, usage: Option<&UsageRate>| {
        let history = history(id, vec![check("c", day, 50.0)]);
        DueSpec::default().wing(LinePaths::None(WhyNone::FewWings), &history, &set, usage).unwrap()
    };
    let wings = vec![
        wing("W-1", "2025-03-01", Some(&USAGE)),
        wing("W;2, höher", "2025-03-02", Some(&USAGE)),
        wing("W-3", "2020-01-01", Some(&USAGE)),
        wing("W-4", "2025-03-01", None),
    ];
    let table = DueTable::new(0.1, wings);
    let text = table.icalendar(date("2026-01-02"));
    assert!(text.starts_with("BEGIN:VCALENDAR\r\nVERSION:2.0\r\n") && text.ends_with("END:VCALENDAR\r\n"));
    assert_eq!(text.matches("BEGIN:VEVENT").count(), 4, "an event for every wing");
    assert!(text.split("\r\n").all(|line| line.len() <= 75 && !line.contains('\n')));
    let unfolded = text.replace("\r\n ", "");
    assert!(unfolded.contains("SUMMARY:Line check of wing W\\;2\\, höher (Heather 24)\r\n"));
    assert_eq!(unfolded.matches("not a promise that the wing is fit to fly").count(), 4, "{unfolded}");
    assert!(!unfolded.contains("nvented"), "{unfolded}");
    let demo = table.clone().marked_demo();
    let invented = demo.icalendar(date("2026-01-02")).replace("\r\n ", "");
    let said =
        |key: &str, what: &str| invented.lines().filter(|line| line.starts_with(key) && line.contains(what)).count();
    assert_eq!((said("SUMMARY", " (invented)"), said("DESCRIPTION", "No real wing is behind")), (4, 4), "{invented}");
    assert_eq!(demo.calendar_csv().lines().skip(1).filter(|line| line.contains(",true,")).count(), 4);
    // 100 h at 0.2 h a day are 500 days
    assert!(unfolded.contains("DTSTAMP:20260102T000000Z\r\nDTSTART;VALUE=DATE:20260714\r\n"), "{unfolded}");
    // W-3 was due in 2021: it stands on the day of the file, W-4 on the last day its months allow
    assert!(unfolded.contains("DTSTART;VALUE=DATE:20260102\r\n"), "{unfolded}");
    assert!(
        unfolded.contains("SUMMARY:Line check of wing W-3 (Heather 24)\\, overdue since 2021-05-15\r\n"),
        "{unfolded}"
    );
    assert!(unfolded.contains("DTSTART;VALUE=DATE:20270301\r\n"), "{unfolded}");
    let load = table.workload(date("2026-01-02"));
    let months: Vec<(i16, i8, usize)> = load.iter().map(|load| (load.year, load.month, load.wings)).collect();
    assert_eq!(months, [(2026, 1, 1), (2026, 7, 2), (2027, 3, 1)]);
}

#[test]
fn usage_is_stated_or_drawn_towards_the_fleet_by_the_length_of_the_record() {
    let set = set_of(&ROWS);
    let mut histories: Vec<History> = (0..6)
        .map(|wing| {
            let hours = 40.0 + 10.0 * f64::from(wing);
            history(
                &format!("W-{wing}"),
                vec![check(&format!("a{wing}"), "2020-01-01", 0.0), check(&format!("b{wing}"), "2022-01-01", hours)],
            )
        })
        .collect();
    histories.push(history("W-new", Vec::new()));
    histories.push(history("W-short", vec![check("s1", "2022-01-01", 0.0), check("s2", "2022-04-01", 30.0)]));
    let mut stated = history("W-stated", Vec::new());
    stated.wing.hours_per_year = Some(73.05);
    histories.push(stated);
    let fleet = Fleet::new(vec![set], histories).unwrap();
    let usage = UsageSpec::default().fit(&fleet).unwrap();
    let of = |wing: &str| usage.of(fleet.history(wing).unwrap()).unwrap();
    let rate = usage.hours_per_year().unwrap() / 365.25;
    assert_eq!(of("W-stated").source, UsageSource::Stated);
    assert_relative_eq!(of("W-stated").hours_per_day, 0.2, epsilon = 1e-12);
    assert_eq!(of("W-new").source, UsageSource::Fleet);
    assert_relative_eq!(of("W-new").hours_per_day, rate, epsilon = 1e-12);
    let (low, high) = (of("W-0"), of("W-5"));
    assert!(low.hours_per_day > 20.0 / 365.25 && low.hours_per_day < rate);
    assert!(high.hours_per_day < 45.0 / 365.25 && high.hours_per_day > rate);
    // the short record is farther from its own figure, and less sure
    let short = of("W-short");
    assert!(short.hours_per_day < 0.5 * (30.0 / 90.0 + rate));
    assert!(short.relative_sd * short.hours_per_day > low.relative_sd * low.hours_per_day);
    // by hand: the record of W-0 is 40 h in 731 days
    let years = 731.0 / 365.25;
    let k = usage.credibility_years();
    let by_hand = (40.0 + k * rate * 365.25) / (years + k);
    assert_relative_eq!(low.hours_per_day * 365.25, by_hand, epsilon = 1e-9);
    // nobody has a record
    let empty = Fleet::new(fleet.line_sets().to_vec(), vec![history("W-0", Vec::new())]).unwrap();
    let none = UsageSpec::default().fit(&empty).unwrap();
    assert_eq!(none.of(&empty.histories()[0]), None);
    assert!(UsageSpec::default().year_to_year(0.0).fit(&empty).is_err());
}

#[test]
fn the_credibility_estimate_finds_how_much_wings_differ() {
    // wings of true rates 30 ± 9 h a year, 4 years each, years straying by 40 %: k = (12/9)² = 1.8
    use rand::SeedableRng;
    use rand_distr::Distribution;
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(11);
    let mut normal = || -> f64 { rand_distr::StandardNormal.sample(&mut random) };
    let histories: Vec<History> = (0..400)
        .map(|wing| {
            let hours = 4.0 * (30.0 + 9.0 * normal()) + 2.0 * 12.0 * normal();
            history(
                &format!("W-{wing}"),
                vec![
                    check(&format!("a{wing}"), "2018-01-01", 0.0),
                    check(&format!("b{wing}"), "2022-01-01", hours.max(0.0)),
                ],
            )
        })
        .collect();
    let fleet = Fleet::new(vec![set_of(&ROWS)], histories).unwrap();
    let usage = UsageSpec::default().fit(&fleet).unwrap();
    assert!((usage.credibility_years() - 16.0 / 9.0).abs() < 0.6, "{}", usage.credibility_years());
    assert!((usage.hours_per_year().unwrap() - 30.0).abs() < 2.0);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(16))]

    #[test]
    fn a_higher_risk_and_wider_limits_are_never_due_earlier(
        seed in 0u64..500, slope in -8.0..0.0f64, risk in 0.02..0.4f64, factor in 1.0..2.0f64,
    ) {
        let set = set_of(&ROWS);
        let paths = draws_of(&set, &[RowPath { row: Row::C, start_mm: 0.0, slope_mm: slope }], Shape::LINEAR, 200, seed);
        let spec = DueSpec::default().risk(risk);
        let base = due(&spec, &paths, &checked(), &set).row;
        let higher = due(&spec.clone().risk(risk + 0.1), &paths, &checked(), &set).row;
        let wide = Limits::default()
            .line_mm(10.0 * factor).row_difference_mm(10.0 * factor).incidence_deg(0.5 * factor)
            .brake_short_mm(20.0 * factor).offset_mm(50.0 * factor);
        let wider = due(&spec.limits(wide), &paths, &checked(), &set).row;
        prop_assert!(higher.due_hours >= base.due_hours);
        prop_assert!(wider.due_hours >= base.due_hours);
        prop_assert!(base.due_hours >= 120.0 && base.due_hours <= 220.0);
        prop_assert!(base.due_date.is_some());
    }
}
