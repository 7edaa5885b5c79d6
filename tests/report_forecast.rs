//! Forecasts to be drawn: against the exact distribution, against the answer they belong to, and on the calendar.

use approx::assert_abs_diff_eq;
use linedrift::check::{Fleet, History};
use linedrift::forecast::{DueSpec, DueTable, ForecastError, ForecastFan, Limits, Reason, WingDue};
use linedrift::report::{DEMO_NOTE, PageSpec, ReportData, calendar_figure, workload_figure};
use linedrift::simulate::FleetSpec;
use linedrift::wear::{PathFunctional, WearFit, WearSpec};
use linedrift::wing::{Row, Wing};
use statrs::distribution::{Binomial, DiscreteCDF};

use crate::report_markup::marks;

const DRAWS: usize = 4000;

struct Made {
    fleet: Fleet,
    fit: WearFit,
    spec: DueSpec,
}

impl Made {
    fn new() -> Self {
        let fleet = FleetSpec::default().wings(10).unchecked_wings(1).seed(11).run().unwrap().fleet;
        let fit = WearSpec::default().fit(&fleet).unwrap();
        Self { fleet, fit, spec: DueSpec::default().draws(DRAWS) }
    }

    fn due(&self) -> DueTable {
        self.spec.run(&self.fleet, &self.fit).unwrap()
    }

    fn fans(&self) -> Vec<ForecastFan> {
        let wings: Vec<&str> = self.fleet.histories().iter().map(|history| history.wing.id.as_str()).collect();
        self.spec.fans(&self.fleet, &self.fit, &wings).unwrap()
    }
}

/// Of a few hundred wings each has its part in the page; of more the hundred that are most urgent.
#[test]
fn a_large_fleet_shows_the_most_urgent_wings() {
    let sets = FleetSpec::default().wings(1).run().unwrap().fleet.line_sets().to_vec();
    for (wings, shown) in [(300, 300), (301, 100)] {
        let history = |at: usize| History {
            wing: Wing::new(&format!("W{at:03}"), sets[0].model()),
            line_set: 0,
            checks: Vec::new(),
            actions: Vec::new(),
            fittings: Vec::new(),
        };
        let fleet = Fleet::new(sets.clone(), (0..wings).map(history).collect()).unwrap();
        let data = ReportData::of(&fleet);
        let names = PageSpec::wings_shown(&data);
        assert_eq!((names.len(), names[0], names[99]), (shown, "W000", "W099"));
        let page = PageSpec::default().run(&data).unwrap();
        // every wing has its row
        assert!((0..wings).all(|at| page.html().contains(&format!("W{at:03}"))));
        let parts = page.html().matches("<details").count();
        assert!(parts >= shown && (shown == wings || parts < wings), "{parts}");
    }
}

#[test]
fn a_fan_has_the_hours_risk_and_interval_of_the_answer_it_belongs_to() {
    let made = Made::new();
    let due = made.due();
    let fans = made.fans();
    assert_eq!(fans.len(), made.fleet.histories().len());
    for fan in &fans {
        let (row, detail) = (due.wing(&fan.wing).unwrap(), due.detail(&fan.wing).unwrap());
        assert_eq!((fan.due_h, fan.hours_now_h, fan.reason), (row.due_hours, row.hours_now, row.reason));
        assert_eq!((fan.risk_h, fan.interval_h), (detail.risk_hours, detail.interval_hours));
        assert_eq!(fan.risk[0].risk, row.risk_now.unwrap());
        assert!(fan.risk.windows(2).all(|pair| pair[0].risk <= pair[1].risk && pair[0].hours_h < pair[1].hours_h));
        assert!(fan.risk.last().unwrap().hours_h >= fan.due_h.min(fan.hours_now_h + 400.0));
        assert!((1..=3).contains(&fan.paths.len()), "{}", fan.paths.len());
        for path in &fan.paths {
            assert_eq!(path.stations[0].hours_h, fan.hours_now_h);
            for at in &path.stations {
                let ordered = [at.lower95, at.lower80, at.lower50, at.median, at.upper50, at.upper80, at.upper95];
                assert!(ordered.is_sorted(), "{ordered:?}");
            }
        }
        assert_eq!(
            made.spec.fan(&made.fleet, &made.fit, &fan.wing).unwrap().as_ref(),
            Some(fan),
            "alone as among all"
        );
    }
    // the wing that was never checked has a forecast from the fleet and nothing measured
    assert!(fans.iter().any(|fan| fan.paths.iter().all(|path| path.measured.is_empty())));
    let error = made.spec.fan(&made.fleet, &made.fit, "nobody").unwrap_err();
    assert_eq!(error, ForecastError::NoWing { wing: "nobody".to_owned(), wings: made.fleet.histories().len() });
}

/// Reference: the same quantity from the exact Gaussian distribution of the line paths, which makes no draws.
#[test]
fn the_fan_of_a_row_difference_is_that_of_the_exact_distribution() {
    let made = Made::new();
    // single lines, brake and offset never go first: what is left is linear in the lines
    let limits = Limits::default().line_mm(500.0).brake_short_mm(500.0).offset_mm(500.0).incidence_deg(50.0);
    let spec = made.spec.clone().limits(limits);
    let mut compared = 0;
    for history in made.fleet.histories() {
        let fan = spec.fan(&made.fleet, &made.fit, &history.wing.id).unwrap().unwrap();
        let set = made.fleet.line_set(history);
        let posterior = made.fit.path_posterior(set, history).unwrap();
        for path in fan.paths.iter().filter(|path| path.reason == Reason::RowDifference) {
            let rows: Vec<Row> =
                Row::ALL.into_iter().filter(|row| path.name.contains(&format!("row {row}"))).collect();
            let [front, rear] = rows[..] else { panic!("{}", path.name) };
            assert!(path.name.starts_with(&format!("row {front} less")), "{}", path.name);
            let of =
                |row: Row| posterior.lines().iter().filter(|key| set.lines()[key.line].row == row).count() as f64;
            let weight = |row: Row| match row {
                row if row == front => 1.0 / of(front),
                row if row == rear => -1.0 / of(rear),
                _ => 0.0,
            };
            let weights: Vec<f64> = posterior.lines().iter().map(|key| weight(set.lines()[key.line].row)).collect();
            for station in &path.stations {
                let at = PathFunctional { hours_h: station.hours_h, weights: weights.clone() };
                let moments = posterior.moments(&[at]);
                let (mean, sd) = (moments.mean_mm[0], moments.sd_mm(0));
                // five standard errors of a quantile: sqrt(p(1-p)/n)/density, 1.25 sd/sqrt(n) at the median, 2.7 at 2.5 %
                let root = (DRAWS as f64).sqrt();
                assert_abs_diff_eq!(station.median, mean, epsilon = 5.0 * 1.26 * sd / root);
                assert_abs_diff_eq!(station.upper95 - mean, 1.96 * sd, epsilon = 5.0 * 2.7 * sd / root);
                assert_abs_diff_eq!(mean - station.lower80, 1.2816 * sd, epsilon = 5.0 * 1.8 * sd / root);
                compared += 1;
            }
        }
    }
    assert!(compared > 50, "{compared}");
}

#[test]
fn what_was_measured_stands_in_the_fan_and_near_its_start() {
    let made = Made::new();
    let (mut judged, mut off) = (0_u64, 0);
    for fan in made.fans() {
        let history = made.fleet.history(&fan.wing).unwrap();
        let read = history.checks.iter().filter(|check| !check.readings.is_empty()).count();
        for path in &fan.paths {
            assert!(path.measured.len() <= read);
            let (Some(last), Some(start)) = (path.measured.last(), path.stations.first()) else { continue };
            if let Some(reach) = last.reach {
                // the median is what is left of the reading's error, whose reach is 1.96 of its standard errors, and of
                // what the wing drifted otherwise than the fleet, which the fan holds: 95 % lie within both together
                let both = reach.hypot((start.upper95 - start.lower95) / 2.0);
                judged += 1;
                off += u64::from((last.value - start.median).abs() > both);
            }
        }
    }
    assert!(judged > 10);
    let by_chance = Binomial::new(0.05, judged).unwrap();
    assert!(off == 0 || by_chance.sf(off - 1) > 0.001, "{off} of {judged} are off");
}

#[test]
fn the_calendar_has_a_mark_for_each_dated_wing_and_the_months_add_up() {
    let made = Made::new();
    let due = made.due();
    let today = made.fleet.last_date().unwrap();
    let dated: Vec<_> = due.rows().iter().filter(|row| row.due_date.is_some()).collect();
    assert!(!dated.is_empty());
    let over = dated.iter().filter(|row| row.reason == Reason::AlreadyOver).count();
    let svg = calendar_figure(&due, today).unwrap().unwrap().inline_svg("x");
    let dots: usize = ["s-outside dot", "s-left dot", "s-inkring"].map(|class| marks(&svg, class)).iter().sum();
    assert_eq!(dots, dated.len() - over);
    for row in &dated {
        assert!(svg.contains(&format!(">{}</text>", row.wing)), "{}", row.wing);
    }
    let workload = workload_figure(&due, today).unwrap().unwrap();
    let bars = marks(&workload.inline_svg("x"), "f-interval");
    assert_eq!(bars, due.workload(today).len());
    let total: usize = due.workload(today).iter().map(|month| month.wings).sum();
    assert_eq!(total, dated.len());
    let none = DueTable::new(0.1, Vec::new());
    assert!(calendar_figure(&none, today).unwrap().is_none() && workload_figure(&none, today).unwrap().is_none());
}

#[test]
fn a_day_outside_the_calendar_is_named_and_not_drawn_at_a_place() {
    let made = Made::new();
    let today = made.fleet.last_date().unwrap();
    let far = today.saturating_add(jiff::Span::new().days(1500));
    let mut wings: Vec<WingDue> = made
        .due()
        .rows()
        .iter()
        .zip(made.due().details())
        .map(|(row, detail)| WingDue { row: row.clone(), detail: detail.clone() })
        .filter(|wing| wing.row.reason != Reason::AlreadyOver && wing.row.due_date.is_some())
        .collect();
    for wing in &mut wings {
        wing.row.due_date = Some(today.saturating_add(jiff::Span::new().days(200)));
        (wing.detail.earliest_date, wing.detail.latest_date) = (None, None);
    }
    let figure = |wings: &[WingDue]| calendar_figure(&DueTable::new(0.1, wings.to_vec()), today).unwrap().unwrap();
    let within = figure(&wings);
    assert!(!within.description().contains("Outside the picture"), "{}", within.description());
    wings[1].row.due_date = Some(far);
    wings[1].detail.latest_date = Some(far);
    wings[1].detail.earliest_date = Some(today);
    let beyond = figure(&wings);
    assert!(beyond.description().contains(&format!("{} {far}.", wings[1].row.wing)), "{}", beyond.description());
    let (within, beyond) = (within.inline_svg("x"), beyond.inline_svg("x"));
    assert_eq!((within.matches("s-inkring").count(), beyond.matches("s-inkring").count()), (0, 1));
    assert!(beyond.contains(&format!("{far} \u{2192}</text>")), "the day itself");
    assert_eq!(marks(&beyond, "s-interval"), 2, "a bar and its arrowhead");
}

#[test]
fn a_figure_of_the_demo_says_so_by_itself() {
    let made = Made::new();
    let figure = workload_figure(&made.due(), made.fleet.last_date().unwrap()).unwrap().unwrap();
    let marked = figure.clone().marked_demo();
    assert!(!figure.standalone().contains("nvented"));
    let svg = marked.standalone();
    assert!(svg.contains("(invented)</title>") && svg.contains(DEMO_NOTE) && svg.contains(">Invented data</text>"));
    assert_eq!(marked.clone().marked_demo(), marked);
}

#[cfg(feature = "png")]
#[test]
fn a_figure_in_pixels_is_a_png_of_its_size_in_its_colours() {
    let made = Made::new();
    let figure = calendar_figure(&made.due(), made.fleet.last_date().unwrap()).unwrap().unwrap();
    let bytes = figure.png(0.5).unwrap();
    assert_eq!(&bytes[1..4], b"PNG");
    let side = |at: usize| u32::from_be_bytes(bytes[at..at + 4].try_into().unwrap());
    assert_eq!(side(16), 680);
    assert!(bytes.len() > 2_000, "not an empty picture: {}", bytes.len());
    for wrong in [0.0, -1.0, f64::NAN, 1e6] {
        assert!(figure.png(wrong).is_err(), "{wrong}");
    }
}
