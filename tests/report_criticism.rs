//! The page that criticises a wear fit: what it leaves of the readings, in the right place.

use std::sync::OnceLock;

use linedrift::check::Fleet;
use linedrift::report::{DEMO_NOTE, Page, WearPageSpec};
use linedrift::simulate::FleetSpec;
use linedrift::wear::{Reduction, Shape, WearSpec};

use crate::report_markup::{assert_well_formed, levels};

/// A fleet with one reading that is 60 mm off, and the page of its fit. The reading is of the first line of the third wing's first check.
fn planted() -> &'static (Page, [String; 3]) {
    static MADE: OnceLock<(Page, [String; 3])> = OnceLock::new();
    MADE.get_or_init(|| {
        let fleet = FleetSpec::default().wings(6).unchecked_wings(0).seed(7).run().unwrap().fleet;
        let mut histories = fleet.histories().to_vec();
        let wing = histories[2].wing.id.clone();
        let check = &mut histories[2].checks[0];
        check.readings[0].reading_mm += 60.0;
        let first = &check.readings[0];
        let line = &fleet.line_set(&fleet.histories()[2]).lines()[first.line].name;
        let place = [wing, check.id.clone(), format!("{line} {}", first.side)];
        let fleet = Fleet::new(fleet.line_sets().to_vec(), histories).unwrap();
        let reduction = Reduction::new(&fleet, &[]).unwrap();
        let fit = WearSpec::default().shape(Shape::LINEAR).fit_reduced(&reduction).unwrap();
        let frame = fit.frame(&reduction).unwrap();
        let page = WearPageSpec::default().source("a folder").run(&fit, &frame, reduction.line_sets()).unwrap();
        (page, place)
    })
}

#[test]
fn the_page_of_a_fit_is_well_formed_and_has_all_its_parts() {
    let (page, _) = planted();
    let html = page.html();
    assert_well_formed(html);
    let levels = levels(html);
    assert!(levels.windows(2).all(|pair| pair[1] <= pair[0] + 1), "{levels:?}");
    let mut at = 0;
    for part in
        ["Does the model fit?", ">Residuals<", ">Drift curves", ">Shapes and random", ">Random effects<", ">Rates<"]
    {
        at += html[at..].find(part).unwrap_or_else(|| panic!("{part} is not in its place"));
    }
    for figure in [
        "against a normal distribution",
        "against span",
        "against hours flown",
        "Mean residual by row",
        "Mean residual by wing",
        "Rate of each wing",
        "Offset of each check",
    ] {
        let found = page.figures().iter().find(|one| one.figure.title().contains(figure));
        let standalone = found.unwrap_or_else(|| panic!("no figure {figure}")).figure.standalone();
        assert!(!standalone.contains("NaN"), "{figure}");
    }
    assert!(html.contains("from a folder") && !html.contains(DEMO_NOTE));
}

#[test]
fn a_reading_far_off_comes_first_of_those_furthest_from_the_model() {
    let (page, [wing, check, line]) = planted();
    let table = page.html().split("Furthest from the model</span></caption>").nth(1).unwrap();
    let first = table.split("<tbody>").nth(1).unwrap().split("</tr>").next().unwrap();
    for name in [wing, check, line] {
        assert!(first.contains(name.as_str()), "{name}: {first}");
    }
    // it shifts its line's own offset too, so that less than the whole is left of it
    let mm: f64 = first.split("class=\"n\">+").nth(1).unwrap().split('<').next().unwrap().parse().unwrap();
    assert!((20.0..60.0).contains(&mm), "{mm}");
}
