//! The page: well formed, escaped, self-contained, the same each time.

use linedrift::check::{Fleet, History};
use linedrift::report::{CAUTIONS, DEMO_NOTE, PageSpec, ReportData, ReportError, deviation_figures};
use linedrift::simulate::FleetSpec;
use linedrift::trim::{Trim, TrimSpec, TrimState, Verdict};

use crate::report_made::{Made, due_row, renamed, small, table};
use crate::report_markup::{assert_well_formed, levels};

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
    let alike = steps.matches(">both<").count();
    assert_eq!(
        steps.matches("<tr>").count() - 1 + alike,
        planned.actions.len(),
        "what is alike on both sides is one step"
    );
    let actions = planned.actions.len();
    assert!(page.html().contains(&format!("Have {actions} adjustment")));
    // where readings are to be taken again, the work waits for them
    let mut near = one;
    near.trims.iter_mut().for_each(|trim| trim.state = TrimState::MeasureAgain);
    let page = PageSpec::default().run(&near.data()).unwrap();
    assert!(page.html().contains(&format!("If the new readings say the same, have {actions} adjustment")));
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
    let panels = |html: &str| html.matches("id=\"plan-view-").count();
    assert!(panels(some.html()) > 0 && panels(some.html()) < panels(all.html()));
    assert!(some.html().contains("left out here to keep the page light"));
}

#[test]
fn a_huge_fleet_gets_a_row_each_and_stays_light() {
    let fleet = FleetSpec::default().wings(310).unchecked_wings(0).seed(3).run().unwrap().fleet;
    let judged = |history: &History| {
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
    let lines = page.html().split_once("class=\"lines\"").unwrap().1.split("Trim of the rows").next().unwrap();
    let set = fleet.line_set(&fleet.histories()[0]);
    for line in &trim.lines {
        let of = &set.lines()[set.find(&line.line, line.side).unwrap()];
        let row = lines.split(&format!("<th scope=\"row\">{}</th>", line.line)).nth(1).unwrap();
        let row = row.split("</tr>").next().unwrap();
        let cells: Vec<&str> = row.split("<td").skip(1).map(|cell| cell.split("</td>").next().unwrap()).collect();
        // a side that was not read has one wide cell
        let left = if cells[2].contains("not read") { 1 } else { 3 };
        let from = if line.side == linedrift::Side::Left { 2 } else { 2 + left };
        let [measured, _, off] = [0, 1, 2].map(|at| cells[from + at]);
        assert_eq!(cells[0], format!(">{}", of.main.as_deref().unwrap_or_default()));
        assert_eq!(cells[1], format!(">{:.0}", of.nominal_mm));
        assert_eq!(measured, format!(">{:.0}", of.nominal_mm + line.deviation_mm));
        assert_eq!(off.contains(" outside<"), line.verdict == Some(Verdict::Outside), "{off}");
    }
}

#[test]
fn the_page_grows_with_its_lines_and_wings_only() {
    let made = Made::new(&FleetSpec::demo());
    let page = PageSpec::default().run(&made.data()).unwrap();
    // nearly all of it are the marks of the lines in the figures
    let bytes = page.html().len();
    let lines: usize = made.trims.iter().map(|trim| trim.lines.len()).sum();
    let most = 100_000 + 18_000 * made.fleet.histories().len() + 330 * lines;
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
fn a_wing_in_trim_among_many_keeps_its_panels_for_its_own_page() {
    let made = small();
    let page = PageSpec::default().run(&made.data()).unwrap();
    let parts: Vec<&str> = page.html().split("<details class=\"wing\"").skip(1).collect();
    assert_eq!(parts.len(), made.fleet.histories().len());
    let mut seen = [0; 2];
    for part in parts {
        let wing = part.split("<h3>Wing ").nth(1).unwrap().split('<').next().unwrap();
        let Some(trim) = made.trims.iter().find(|trim| trim.wing == wing) else { continue };
        let in_trim = trim.state == TrimState::InTrim;
        assert_eq!(part.contains("id=\"dev-"), !in_trim, "{wing}");
        assert!(part.contains("id=\"plan-view-") && part.contains("class=\"lines\""), "{wing}");
        seen[usize::from(in_trim)] += 1;
    }
    assert!(seen.iter().all(|n| *n > 0), "{seen:?}");
}

#[test]
fn a_fleet_begins_with_what_it_needs() {
    let mut made = small();
    let lead = |made: &Made| {
        let page = PageSpec::default().run(&made.data()).unwrap();
        page.html().split("class=\"lead\">").nth(1).unwrap().split('<').next().unwrap().to_owned()
    };
    let adjust = made.trims.iter().filter(|trim| trim.state == TrimState::Adjust).count();
    assert!(adjust > 0);
    let needs = if adjust == 1 { "needs" } else { "need" };
    let (said, over) = (lead(&made), made.fleet.histories()[3].wing.id.clone());
    assert!(said.starts_with(&format!("Of 6 wings, {adjust} {needs} adjusting")), "{said}");
    assert!(said.contains("1 is due for a check now. The most urgent"), "{said}");
    assert!(said.contains(&format!(" {over}")), "{said}");
    for trim in &mut made.trims {
        trim.state = TrimState::InTrim;
    }
    let rows = made.due.rows().iter().filter(|row| row.wing != over).cloned().collect();
    made.due = table(rows);
    assert_eq!(lead(&made), "Of 6 wings, none needs adjusting and none is due for a check.");
}
