//! The page and its figures: well formed, escaped, self-contained, the same each time.

use linedrift::Date;
use linedrift::check::{Fleet, Stage};
use linedrift::forecast::{
    Basis, CrossingHours, DueDetail, DueRow, DueTable, FanPoint, FanStation, ForecastFan, Reason, RiskStation,
    WatchedPath, WatchedUnit, WingDue,
};
use linedrift::plan::PlanSpec;
use linedrift::report::{
    CAUTIONS, DEMO_NOTE, PageSpec, ReportData, ReportError, WearSummary, WingPlan, deviation_figures, drift_figures,
    forecast_figures, rate_figure, row_figure, text,
};
use linedrift::simulate::FleetSpec;
use linedrift::trim::{Trim, TrimSpec, Verdict};
use linedrift::wear::{Diagnostic, DriftSeries, DriftStation, Shape, SpreadRow, TermRow, measured_drift};

/// Simulated fleet, its judged last checks, and result rows of a wear fit and of forecasts made by hand.
struct Made {
    fleet: Fleet,
    trims: Vec<Trim>,
    due: DueTable,
    wear: WearSummary,
    drifts: Vec<DriftSeries>,
    plans: Vec<WingPlan>,
    fans: Vec<ForecastFan>,
    remarks: Vec<String>,
}

impl Made {
    fn new(spec: &FleetSpec) -> Self {
        let fleet = spec.run().unwrap().fleet;
        let trims: Vec<Trim> = fleet
            .histories()
            .iter()
            .filter_map(|history| {
                let check = history.checks.last()?;
                Some(TrimSpec::default().run(fleet.line_set(history), &history.wing, check).unwrap())
            })
            .collect();
        let due = fleet.histories().iter().enumerate().map(|(place, history)| due_row(place, history));
        let due = table(due.collect());
        let mut drifts = measured_drift(&fleet);
        for drift in &mut drifts {
            drift.path = (0..=10)
                .map(|step| {
                    let hours_h = 40.0 * f64::from(step);
                    let mean_mm = -0.01 * hours_h;
                    DriftStation { hours_h, mean_mm, lower_mm: mean_mm - 0.5, upper_mm: mean_mm + 0.5 }
                })
                .collect();
        }
        let plans = plans(&fleet);
        let fans = fleet.histories().iter().map(fan).collect();
        Self { fleet, trims, due, wear: wear(), drifts, plans, fans, remarks: vec!["A <remark>.".to_owned()] }
    }

    fn data(&self) -> ReportData<'_> {
        ReportData {
            fleet: &self.fleet,
            trims: &self.trims,
            due: Some(&self.due),
            wear: Some(&self.wear),
            drifts: &self.drifts,
            plans: &self.plans,
            fans: &self.fans,
            backtest: None,
            remarks: &self.remarks,
        }
    }
}

/// Plans of the last checks, with the trade-off.
fn plans(fleet: &Fleet) -> Vec<WingPlan> {
    let spec = PlanSpec::default();
    fleet
        .histories()
        .iter()
        .filter_map(|history| {
            let (set, check) = (fleet.line_set(history), history.checks.last()?);
            let plan = spec.run(set, history, check, &[]).unwrap();
            let curve = spec.curve(set, history, check, &[]).unwrap();
            Some(WingPlan { plan, curve })
        })
        .collect()
}

/// A forecast made by hand.
fn fan(history: &linedrift::check::History) -> ForecastFan {
    let now_h = history.checks.last().map_or(0.0, |check| check.hours_h);
    let station = |step: u32| {
        let (hours_h, at) = (now_h + 10.0 * f64::from(step), 0.5 * f64::from(step));
        FanStation {
            hours_h,
            median: at,
            lower50: at - 0.3,
            upper50: at + 0.3,
            lower80: at - 0.6,
            upper80: at + 0.6,
            lower95: at - 1.0,
            upper95: at + 1.0,
        }
    };
    ForecastFan {
        wing: history.wing.id.clone(),
        hours_now_h: now_h,
        due_h: now_h + 90.0,
        reason: Reason::Line,
        interval_h: now_h + 100.0,
        accepted_risk: 0.1,
        risk_h: Some(now_h + 90.0),
        crossing_hours: CrossingHours { p10: Some(now_h + 90.0), p50: Some(now_h + 110.0), p90: None },
        paths: vec![WatchedPath {
            reason: Reason::Line,
            name: format!("line <{}>", history.wing.id),
            unit: WatchedUnit::Mm,
            lower_limit: Some(-10.0),
            upper_limit: Some(10.0),
            first_share: 0.9,
            measured: vec![
                FanPoint { hours_h: 0.0, stage: Stage::AsFound, value: 0.4, reach: Some(1.5) },
                FanPoint { hours_h: now_h, stage: Stage::AsLeft, value: 0.9, reach: None },
            ],
            stations: (0..=12).map(station).collect(),
        }],
        risk: (0..=12)
            .map(|step| RiskStation { hours_h: now_h + 10.0 * f64::from(step), risk: f64::from(step) / 20.0 })
            .collect(),
    }
}

fn due_row(place: usize, history: &linedrift::check::History) -> DueRow {
    let hours_now = history.checks.last().map_or(0.0, |check| check.hours_h);
    DueRow {
        wing: history.wing.id.clone(),
        model: history.wing.model.clone(),
        basis: Basis::History,
        hours_now,
        due_hours: hours_now + 100.0 - place as f64,
        due_date: (place % 5 != 4).then(|| Date::constant(2027, 1, 1)),
        reason: if place == 3 { Reason::AlreadyOver } else { Reason::Interval },
        crossing_hours: CrossingHours { p10: Some(hours_now + 60.0), p50: Some(hours_now + 160.0), p90: None },
        risk_now: Some(0.04),
    }
}

fn table(rows: Vec<DueRow>) -> DueTable {
    let detail = DueDetail {
        explanation: "Because of <this> & that.".to_owned(),
        interval_hours: 100.0,
        ..DueDetail::default()
    };
    DueTable::new(0.1, rows.into_iter().map(|row| WingDue { row, detail: detail.clone() }).collect())
}

fn wear() -> WearSummary {
    let term = |name: &str, estimate: f64| TermRow {
        term: name.to_owned(),
        estimate,
        se: 0.05,
        lower: estimate - 0.1,
        upper: estimate + 0.1,
        df: 60.0,
        p: 0.5,
    };
    WearSummary {
        readings: 1000,
        wings: 12,
        checks: 30,
        lines: 400,
        restarted_lines: 4,
        shape: Shape::LINEAR,
        converged: true,
        terms: vec![term("offset", -0.8), term("rate:uhmwpe:C", -1.1), term("rate:a<b:A", 0.02), term("span:A", 0.4)],
        spread: vec![SpreadRow {
            group: "wing".to_owned(),
            effect: "rate".to_owned(),
            sd: Some(0.2),
            correlation: None,
        }],
        dropped_terms: vec!["rate:lcp:B".to_owned()],
        diagnostics: vec![Diagnostic { code: "few_wings".to_owned(), message: "Only a <few> wings.".to_owned() }],
    }
}

/// The fleet of a spec with its first wing, that wing's first check and its model renamed by text replacement in JSON.
fn renamed(made: &mut Made, name: &str) {
    let old = made.fleet.histories()[0].wing.id.clone();
    let mut histories = made.fleet.histories().to_vec();
    histories[0].wing.id = name.to_owned();
    histories[0].wing.model = name.to_owned();
    let last = histories[0].checks.len() - 1;
    histories[0].checks[last].id = name.to_owned();
    made.fleet = Fleet::new(made.fleet.line_sets().to_vec(), histories).unwrap();
    for trim in made.trims.iter_mut().filter(|trim| trim.wing == old) {
        trim.wing = name.to_owned();
        trim.check = name.to_owned();
        trim.lines[0].line = name.to_owned();
        trim.lines[0].relative_mm = 99.0;
        trim.lines[0].verdict = Some(Verdict::Outside);
    }
    for planned in made.plans.iter_mut().filter(|planned| planned.plan.wing == old) {
        planned.plan.wing = name.to_owned();
        for action in &mut planned.plan.actions {
            action.segment = Some(name.to_owned());
            action.lines.push(name.to_owned());
        }
        for note in &mut planned.plan.notes {
            name.clone_into(&mut note.message);
        }
    }
    for fan in made.fans.iter_mut().filter(|fan| fan.wing == old) {
        fan.wing = name.to_owned();
        fan.paths[0].name = name.to_owned();
    }
    let mut rows = made.due.rows().to_vec();
    for row in rows.iter_mut().filter(|row| row.wing == old) {
        row.wing = name.to_owned();
        row.model = name.to_owned();
    }
    made.due = table(rows);
    made.drifts[0].model = name.to_owned();
}

fn small() -> Made {
    Made::new(&FleetSpec::demo().wings(6).unchecked_wings(1))
}

/// Checks that every element is closed in its order, that attributes are quoted and that no bare `<` or `&` is left. Styles and
/// the script are no markup.
fn assert_well_formed(html: &str) {
    const VOID: [&str; 2] = ["meta", "!DOCTYPE"];
    let html = html.split_once("<script>").map_or(html.to_owned(), |(before, rest)| {
        format!("{before}{}", rest.split_once("</script>").map_or("", |(_, after)| after))
    });
    let (start, rest) = html.split_once("<style>").map_or((html.as_str(), ""), |(a, b)| (a, b));
    let rest = rest.split_once("</style>").map_or(rest, |(_, b)| b);
    let text = format!("{start}{rest}");
    let mut open: Vec<String> = Vec::new();
    let mut at = 0;
    while let Some(from) = text[at..].find('<') {
        let from = at + from;
        check_entities(&text[at..from]);
        let to = from + text[from..].find('>').unwrap_or_else(|| panic!("tag without end at {from}"));
        let tag = &text[from + 1..to];
        assert!(!tag.contains('<'), "a bare `<` before {tag}");
        if let Some(name) = tag.strip_prefix('/') {
            assert_eq!(open.pop().as_deref(), Some(name), "closed out of order");
        } else {
            let name = tag.split([' ', '/']).next().unwrap();
            assert!(name == "!DOCTYPE" || name.chars().all(|c| c.is_ascii_alphanumeric()), "odd tag <{tag}>");
            assert_eq!(tag.matches('"').count() % 2, 0, "quotes of <{tag}>");
            if !tag.ends_with('/') && !VOID.contains(&name) {
                open.push(name.to_owned());
            }
        }
        at = to + 1;
    }
    assert!(open.is_empty(), "left open: {open:?}");
}

fn check_entities(text: &str) {
    for piece in text.split('&').skip(1) {
        let name = piece.split(';').next().unwrap();
        assert!(["amp", "lt", "gt", "quot", "#39", "apos"].contains(&name), "a bare `&` before {piece:.20}");
    }
}

/// The levels of the headings, in order.
fn levels(html: &str) -> Vec<u32> {
    let at = |rest: &str| rest.chars().next().and_then(|digit| digit.to_digit(10));
    html.split("<h").skip(1).filter_map(at).collect()
}

#[test]
fn headings_go_down_one_level_at_a_time_and_stand_in_the_order_of_reading() {
    let made = small();
    let mut one = small();
    let wing = one.plans.iter().find(|planned| !planned.plan.actions.is_empty()).unwrap().plan.wing.clone();
    let histories = one.fleet.histories().iter().filter(|history| history.wing.id == wing).cloned().collect();
    one.fleet = Fleet::new(one.fleet.line_sets().to_vec(), histories).unwrap();
    one.trims.retain(|trim| trim.wing == wing);
    one.plans.retain(|planned| planned.plan.wing == wing);
    one.fans.retain(|fan| fan.wing == wing);
    one.due = table(one.due.rows().iter().filter(|row| row.wing == wing).cloned().collect());
    for (made, wanted) in [
        (
            &made,
            &[
                ">Line report</h1>",
                "Before you act on this",
                ">Who is urgent",
                ">When checks fall due",
                ">How the lines",
                ">Wing by wing",
            ][..],
        ),
        (
            &one,
            &[
                ">Wing W",
                ">State<",
                "Before you act on this",
                ">What to do<",
                ">All ",
                ">Trim of the rows<",
                ">Incidence<",
                ">Plan<",
                ">Forecast<",
                ">How to read",
            ],
        ),
    ] {
        let page = PageSpec::default().run(&made.data()).unwrap();
        assert_well_formed(page.html());
        let levels = levels(page.html());
        assert_eq!(levels.iter().filter(|level| **level == 1).count(), 1);
        assert_eq!(levels[0], 1);
        assert!(levels.windows(2).all(|pair| pair[1] <= pair[0] + 1), "{levels:?}");
        let mut at = 0;
        for heading in wanted {
            at += page.html()[at..].find(heading).unwrap_or_else(|| panic!("{heading} is not in its place"));
        }
        for caution in CAUTIONS {
            assert!(page.html().contains(caution), "lost: {caution}");
        }
    }
    let page = PageSpec::default().run(&one.data()).unwrap();
    assert!(!page.html().contains("How the lines wear"), "the page of a wing is about that wing");
    let planned = &one.plans[0].plan;
    let steps = page.html().split("in the order of work</span>").nth(1).unwrap().split("</table>").next().unwrap();
    assert_eq!(steps.matches("<tr>").count(), planned.actions.len() + 1);
    assert!(page.html().contains(&format!("Have {} adjustment", planned.actions.len())));
}

#[test]
fn figures_of_a_page_have_names_that_serve_for_files_and_stand_alone() {
    let made = small();
    let page = PageSpec::default().run(&made.data()).unwrap();
    assert_eq!(page.figures().len(), page.html().matches("<svg").count());
    let names: std::collections::BTreeSet<_> = page.figures().iter().map(|one| one.name.as_str()).collect();
    assert_eq!(names.len(), page.figures().len());
    for one in page.figures() {
        assert!(one.name.chars().all(|c| c.is_ascii_alphanumeric() || c == '-'), "{}", one.name);
        let standalone = one.figure.standalone();
        assert!(standalone.contains("xmlns=") && standalone.contains("class=\"f-ground\""), "{}", one.name);
        assert!(!standalone.contains("NaN") && one.figure.description().len() > 40, "{}", one.name);
    }
}

#[test]
fn page_is_well_formed_and_needs_nothing_from_outside() {
    let made = small();
    let page = PageSpec::default().source("a folder").run(&made.data()).unwrap();
    let html = page.html();
    assert_well_formed(html);
    for banned in ["http", "<link", "<img", "@import", "url(", "javascript:", "onload", " src="] {
        assert!(!html.contains(banned), "{banned}");
    }
    assert_eq!(html.matches("<script>").count(), 1, "a few lines of script of its own");
    for caution in CAUTIONS {
        assert!(html.contains(caution), "lost: {caution}");
    }
    let fleet = html.find("<h2 id=\"fleet\">Who is urgent").unwrap();
    assert!(html.find("Before you act on this").unwrap() < fleet, "cautions come first");
    assert!(html.starts_with("<!DOCTYPE html>\n<html lang=\"en\">"));
    assert_eq!(html.matches("<th>").count(), 0, "every header says what it heads");
    assert_eq!(html.matches("<table").count(), html.matches("<caption>").count());
}

#[test]
fn every_figure_has_a_title_and_a_description_and_ids_are_unique() {
    let made = small();
    let page = PageSpec::default().run(&made.data()).unwrap();
    let html = page.html();
    let figures = html.matches("<svg").count();
    assert!(figures > 20, "{figures}");
    assert_eq!(html.matches("role=\"img\"").count(), figures);
    assert_eq!(html.matches("</title><desc").count(), figures);
    let mut ids: Vec<&str> = html.split(" id=\"").skip(1).map(|rest| rest.split('"').next().unwrap()).collect();
    let all = ids.len();
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), all, "ids stand twice");
    for rest in html.split("aria-labelledby=\"").skip(1) {
        for id in rest.split('"').next().unwrap().split(' ') {
            assert!(ids.binary_search(&id).is_ok(), "no element {id}");
        }
    }
    let inner = ["-0", "calendar-wings", "workload", "plan-lines", "plan-view", "inc-"];
    for name in html.split("aria-label=\"").skip(1).filter_map(|rest| rest.split('"').next()) {
        assert!(!inner.iter().any(|id| name.contains(id)), "a name for the ear holds an id: {name}");
    }
    for rest in html.split("href=\"#").skip(1) {
        assert!(ids.binary_search(&rest.split('"').next().unwrap()).is_ok());
    }
    assert!(!html.contains("fill=\"#") && !html.contains("stroke=\"#"), "a colour that no theme can change");
}

#[test]
fn names_from_tables_are_escaped_everywhere() {
    let mut made = small();
    renamed(&mut made, "<b>&\"x");
    let page = PageSpec::default().source("<i>'&").run(&made.data()).unwrap();
    let html = page.html();
    assert_well_formed(html);
    assert!(!html.contains("<b>&") && !html.contains("<i>'") && !html.contains("a<b"));
    assert!(html.contains("&lt;b&gt;&amp;&quot;x"));
    let wing = made.trims.iter().find(|trim| trim.wing == "<b>&\"x").unwrap();
    for figure in deviation_figures(wing).unwrap() {
        assert_well_formed(&figure.standalone());
        assert!(figure.standalone().contains("&lt;b&gt;"));
    }
}

#[test]
fn the_same_results_give_the_same_page() {
    let (one, two) = (small(), small());
    let spec = PageSpec::default();
    assert_eq!(spec.run(&one.data()).unwrap(), spec.run(&two.data()).unwrap());
}

#[test]
fn the_demo_is_named_as_invented_and_other_fleets_are_not() {
    let mut made = small();
    let spec = PageSpec::default();
    made.fleet = Fleet::new(made.fleet.line_sets().to_vec(), made.fleet.histories().to_vec()).unwrap();
    assert!(!spec.run(&made.data()).unwrap().html().contains(DEMO_NOTE));
    made.fleet = made.fleet.marked_demo();
    assert!(spec.run(&made.data()).unwrap().html().contains(DEMO_NOTE));
}

#[test]
fn wings_come_in_order_of_urgency_and_all_of_them_come() {
    let made = small();
    let page = PageSpec::default().run(&made.data()).unwrap();
    let table = page
        .html()
        .split("State and next check of each wing, the most urgent first</span></caption>")
        .nth(1)
        .unwrap();
    let table = table.split("</table>").next().unwrap();
    let order: Vec<&str> =
        table.split("<a href=\"#wing-").skip(1).map(|rest| rest.split(['>', '<']).nth(1).unwrap()).collect();
    assert_eq!(order.len(), made.fleet.histories().len());
    let wings: Vec<&str> = made.fleet.histories().iter().map(|history| history.wing.id.as_str()).collect();
    let outside = |wing: &str| {
        let trim = made.trims.iter().find(|trim| trim.wing == wing);
        trim.map_or(0, |trim| trim.lines.iter().filter(|line| line.verdict == Some(Verdict::Outside)).count())
    };
    // 3 is over a limit; the next four share their day, so the most lines outside come first, then the fewest hours left
    // (fewer by place); 4 has no day
    let mut same_day = [5, 2, 1, 0].map(|place| wings[place]);
    same_day.sort_by_key(|wing| std::cmp::Reverse(outside(wing)));
    assert!(outside(same_day[0]) > 0);
    assert_eq!(order[0], wings[3]);
    assert_eq!(order[1..5], same_day);
    assert_eq!(order[5], wings[4]);
}

#[test]
fn a_large_fleet_gives_figures_to_the_urgent_only() {
    let made = small();
    let all = PageSpec::default().run(&made.data()).unwrap();
    let some = PageSpec::default().pictured_wings(2).run(&made.data()).unwrap();
    let panels = |html: &str| html.matches("id=\"dev-").count();
    assert!(panels(some.html()) > 0 && panels(some.html()) < panels(all.html()));
    assert!(some.html().contains("left out here to keep the page light"));
}

#[test]
fn a_huge_fleet_gets_a_row_each_and_stays_light() {
    let fleet = FleetSpec::default().wings(310).unchecked_wings(0).seed(3).run().unwrap().fleet;
    let judged = |history: &linedrift::check::History| {
        let check = history.checks.last().unwrap();
        TrimSpec::default().run(fleet.line_set(history), &history.wing, check).unwrap()
    };
    let trims: Vec<Trim> = fleet.histories().iter().map(judged).collect();
    let due = table(fleet.histories().iter().enumerate().map(|(place, history)| due_row(place, history)).collect());
    let data = ReportData { trims: &trims, due: Some(&due), ..ReportData::of(&fleet) };
    let page = PageSpec::default().run(&data).unwrap();
    let html = page.html();
    assert_eq!(html.matches("<details class=\"wing\"").count(), 100);
    let rows = html.split("the most urgent first</span></caption>").nth(1).unwrap().split("</table>").next().unwrap();
    assert_eq!(rows.matches("<tr>").count(), 310 + 1);
    assert_eq!(rows.matches("href=\"#wing-").count(), 100, "no link leads nowhere");
    // 6,000 wings under 8 MB, a megabyte of it for the plans and forecasts of the most urgent: only the rows grow
    let row = rows.len() / 311;
    assert!(html.len() + row * (6000 - 310) < 7_000_000, "{row} bytes a row, {} in all", html.len());
}

#[test]
fn all_lines_of_a_wing_stand_in_one_table_with_both_sides() {
    let made = small();
    let trim =
        made.trims.iter().find(|trim| trim.lines.iter().any(|line| line.verdict == Some(Verdict::Outside))).unwrap();
    let history = made.fleet.history(&trim.wing).unwrap().clone();
    let fleet = Fleet::new(made.fleet.line_sets().to_vec(), vec![history]).unwrap();
    let trims = [trim.clone()];
    let page = PageSpec::default().run(&ReportData { trims: &trims, ..ReportData::of(&fleet) }).unwrap();
    let lines = page.html().split("class=\"lines\"").nth(1).unwrap().split("Trim of the rows").next().unwrap();
    let set = fleet.line_set(&fleet.histories()[0]);
    for line in &trim.lines {
        let of = &set.lines()[set.find(&line.line, line.side).unwrap()];
        let row = lines.split(&format!("<th scope=\"row\">{}</th>", line.line)).nth(1).unwrap();
        let row = row.split("</tr>").next().unwrap();
        assert!(row.contains(&format!("<td class=\"k\">{}</td>", of.main.as_deref().unwrap_or_default())), "{row}");
        assert!(row.contains(&format!("<td class=\"n\">{:.0}</td>", of.nominal_mm)), "{row}");
        assert!(row.contains(&format!("<td class=\"n\">{:.0}</td>", of.nominal_mm + line.deviation_mm)), "{row}");
        let off = row.split(&format!("data-line=\"{} {} {}\">", trim.wing, line.side, line.line)).nth(1).unwrap();
        assert_eq!(
            off.split("</td>").next().unwrap().contains("outside"),
            line.verdict == Some(Verdict::Outside),
            "{off}"
        );
    }
}

#[test]
fn the_page_grows_with_its_lines_and_wings_only() {
    let made = Made::new(&FleetSpec::demo());
    let page = PageSpec::default().run(&made.data()).unwrap();
    // nearly all of it are the marks of the lines in the figures
    let bytes = page.html().len();
    let lines: usize = made.trims.iter().map(|trim| trim.lines.len()).sum();
    let most = 50_000 + 22_000 * made.fleet.histories().len() + 620 * lines;
    assert!(bytes < most, "{bytes} of at most {most} for {lines} lines");
    if let Ok(path) = std::env::var("LINEDRIFT_KEEP_PAGE") {
        std::fs::write(path, page.html()).unwrap();
    }
}

#[test]
fn results_of_strange_wings_are_refused() {
    let mut made = small();
    let mut rows = made.due.rows().to_vec();
    rows[0].wing = "nobody".to_owned();
    made.due = table(rows);
    let error = PageSpec::default().run(&made.data()).unwrap_err();
    assert_eq!(error, ReportError::NoWing { what: "due row", wing: "nobody".to_owned(), wings: 6 });
}

#[test]
fn figures_show_what_was_measured() {
    let made = small();
    let trim = made.trims.iter().find(|trim| trim.lines.iter().any(|line| line.verdict == Some(Verdict::Outside)));
    let mut doubting = trim.unwrap().clone();
    let within = doubting.lines.iter_mut().find(|line| line.verdict == Some(Verdict::Within)).unwrap();
    (within.verdict, within.doubted) = (None, true);
    let trim = &doubting;
    let figures = deviation_figures(trim).unwrap();
    let rows: std::collections::BTreeSet<_> = trim.lines.iter().map(|line| line.row).collect();
    assert_eq!(figures.len(), rows.len());
    let svg: String = figures.iter().map(|figure| figure.inline_svg("x")).collect();
    let of = |side| trim.lines.iter().filter(|line| line.side == side).count();
    assert_eq!(svg.matches("f-left").count(), of(linedrift::wing::Side::Left));
    assert_eq!(svg.matches("s-rightmark").count(), of(linedrift::wing::Side::Right));
    let outside = trim.lines.iter().filter(|line| line.verdict == Some(Verdict::Outside)).count();
    assert_eq!(svg.matches("s-outside").count(), 2 * outside, "two strokes a cross");
    assert_eq!(svg.matches("s-muted").count(), trim.lines.len(), "an interval each");
    let doubted = trim.counts().doubted;
    assert!(doubted > 0);
    assert_eq!(svg.matches("s-ink\"").count(), doubted, "a ring around each");
    let said: usize = figures.iter().map(|figure| figure.description().matches(" Doubtful: ").count()).sum();
    assert!(said > 0 && figures.iter().all(|figure| figure.description().contains("mm (95 %), tolerance \u{b1} ")));

    let rows = row_figure(trim).unwrap().unwrap();
    let means = |side: &str| trim.rows.iter().filter(|row| row.side == side).count();
    assert_eq!(rows.inline_svg("x").matches("f-left").count(), means("left"));
    for side in ["left", "right", "both"] {
        assert_eq!(rows.description().matches(&format!("{side} ")).count(), means(side), "{}", rows.description());
    }
    assert_eq!(rows.inline_svg("x").matches("<circle").count(), means("left") + means("right"));

    let panels = forecast_figures(&made.fans[0]).unwrap();
    assert_eq!(panels.len(), 2, "a quantity and the chance");
    let fan = panels[0].inline_svg("x");
    assert_eq!(fan.matches("s-limit").count(), 2, "from above and below");
    assert_eq!((fan.matches("<polygon").count(), fan.matches("<circle").count()), (3, 2));
    assert!(fan.contains("s-inkring") && fan.contains(&format!("due {:.0} h", made.fans[0].due_h)));
    assert!(fan.contains("&lt;W01&gt;"), "the name is escaped");
    assert!(
        panels[0].description().contains("with 95 % chance between +5.0 and +7.0 mm"),
        "{}",
        panels[0].description()
    );
    assert!(panels[1].description().contains("Accepted is 10 %"));

    let drifts = drift_figures(&made.drifts).unwrap();
    for (drift, figure) in made.drifts.iter().zip(&drifts) {
        assert_eq!(figure.inline_svg("x").matches("s-point").count(), drift.points.len());
        assert!(figure.inline_svg("x").contains("f-modelband"));
    }
    let rates = rate_figure(&made.wear.terms).unwrap().unwrap();
    assert_eq!(rates.inline_svg("x").matches("f-interval").count(), 2);
    assert!(rates.description().contains("uhmwpe C \u{2212}1.10 (\u{2212}1.20 to \u{2212}1.00)"));
    assert_eq!(rate_figure(&made.wear.terms[..1]).unwrap(), None);
}

#[test]
fn terminal_text_keeps_within_80_columns() {
    let mut made = small();
    renamed(&mut made, "a wing with a very long name \u{1b}[31m that goes on and on and on");
    let today = Date::constant(2026, 11, 1);
    let all = [
        text::cautions(),
        text::demo_note(),
        text::trims(&made.trims),
        text::due(&made.due, today),
        text::wear(&made.wear),
        text::fleet(&made.data(), today),
        #[cfg(feature = "frames")]
        linedrift::fleet::FleetSummary::of(&made.fleet).to_string(),
    ];
    for line in all.iter().flat_map(|text| text.lines()) {
        assert!(line.chars().count() <= 80, "{line}");
        assert!(!line.contains('\u{1b}'), "{line}");
    }
    assert_eq!(text::due(&made.due, today).lines().count(), made.due.rows().len() + 1);
}
