//! The measuring sheet to print.

use linedrift::check::Check;
use linedrift::check::sheet::SheetSpec;
use linedrift::report::{CAUTIONS, DEMO_NOTE, SheetPageSpec};
use linedrift::simulate::FleetSpec;
use linedrift::wing::{LineSet, Wing};

#[test]
fn it_has_every_line_once_in_order_with_room_to_write() {
    let made = FleetSpec::default().wings(2).run().unwrap();
    let history = &made.fleet.histories()[0];
    let set = made.fleet.line_set(history);
    let last = history.checks.last().unwrap();
    let sheet = SheetSpec::default().datum_mm(-400.0).run(set, Some(last));
    let page = SheetPageSpec::new(&history.wing).last(last).datum_mm(-400.0).html(&sheet);
    assert_eq!(page.matches("<td class=\"room\"></td>").count(), sheet.rows().len());
    let mut from = 0;
    for row in sheet.rows() {
        let cells = format!("<th scope=\"row\">{}</th><td>{:.0}</td>", row.line, row.expected_mm);
        let at = page[from..].find(&cells).unwrap_or_else(|| panic!("{} {}", row.side, row.line));
        from += at + 1;
    }
    assert!(page.find("Left side").unwrap() < page.find("Right side").unwrap());
    for caution in CAUTIONS {
        assert!(page.contains(caution), "lost: {caution}");
    }
    for asked in ["date", "hours flown", "operator", "load", "temperature", "datum", "for -400 mm", "brake setting"] {
        assert!(page.contains(asked), "{asked}");
    }
    assert!(page.contains(&last.id) && !page.contains("<script") && !page.contains("http"), "self-contained");
    let heads: Vec<&str> = page.split("<th").skip(1).filter(|rest| !rest.starts_with("ead")).collect();
    assert!(heads.iter().all(|rest| rest.starts_with(" scope=\"row\"") || rest.starts_with(" scope=\"col\"")));
    assert_eq!((page.matches("<main>").count(), page.matches("</main></body>").count()), (1, 1));
    assert!(page.contains("max-width:40rem"), "one column on a narrow screen");
    assert!(!page.contains(DEMO_NOTE));
    assert!(SheetPageSpec::new(&history.wing).demo().html(&sheet).contains(DEMO_NOTE));
}

#[test]
fn names_cannot_be_markup() {
    let made = FleetSpec::default().wings(1).run().unwrap();
    let set = &made.fleet.line_sets()[0];
    let evil = "<script>alert('x')</script>";
    let mut lines = set.lines().to_vec();
    lines[0].name = evil.to_owned();
    lines[1].main = Some(format!("\"><img src=x>{evil}"));
    let set = LineSet::new(evil, None, lines, set.segments().to_vec()).unwrap();
    let check = Check::new(&format!("{evil}-1"), linedrift::Date::constant(2026, 3, 1), 4.0);
    let page =
        SheetPageSpec::new(&Wing::new(evil, evil)).last(&check).html(&SheetSpec::default().run(&set, Some(&check)));
    assert!(!page.contains("<script") && !page.contains("<img"), "{page}");
    assert_eq!(page.matches("&lt;script&gt;").count(), 2 + 1 + 1 + 2 * 2);
}
