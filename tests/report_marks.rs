//! Each result has its mark in the figures, and its words beside them.

use linedrift::report::{deviation_figures, drift_figures, forecast_figures, rate_figure, row_figure};
use linedrift::trim::Verdict;

use crate::report_made::small;
use crate::report_markup::marks;

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
    assert_eq!(marks(&svg, "s-left dot"), of(linedrift::wing::Side::Left));
    assert_eq!(marks(&svg, "s-rightmark"), of(linedrift::wing::Side::Right));
    let outside = trim.lines.iter().filter(|line| line.verdict == Some(Verdict::Outside)).count();
    assert_eq!(marks(&svg, "s-outside"), outside, "a cross each");
    assert_eq!(marks(&svg, "s-muted"), trim.lines.len(), "an interval each");
    let doubted = trim.counts().doubted;
    assert!(doubted > 0);
    assert_eq!(marks(&svg, "s-ink"), doubted, "a ring around each");
    let said: usize = figures.iter().map(|figure| figure.description().matches(" Doubtful: ").count()).sum();
    assert!(said > 0 && figures.iter().all(|figure| figure.description().contains("mm (95 %), tolerance \u{b1} ")));

    let rows = row_figure(trim).unwrap().unwrap();
    let means = |side: &str| trim.rows.iter().filter(|row| row.side == side).count();
    assert_eq!(marks(&rows.inline_svg("x"), "s-left dot"), means("left"));
    for side in ["left", "right", "both"] {
        assert_eq!(rows.description().matches(&format!("{side} ")).count(), means(side), "{}", rows.description());
    }
    assert_eq!(marks(&rows.inline_svg("x"), "s-rightmark"), 2 * means("right"), "a bar and a ring each");

    let panels = forecast_figures(&made.fans[0]).unwrap();
    assert_eq!(panels.len(), 2, "a quantity and the chance");
    let fan = panels[0].inline_svg("x");
    assert_eq!(marks(&fan, "s-limit"), 2, "from above and below");
    for class in ["f-fan95", "f-fan80", "f-fan50", "s-ink dot", "s-inkring"] {
        assert_eq!(marks(&fan, class), 1, "{class}");
    }
    assert!(fan.contains(&format!("due {:.0} h", made.fans[0].due_h)));
    assert!(fan.contains("&lt;W01&gt;"), "the name is escaped");
    assert!(
        panels[0].description().contains("with 95 % chance between +5.0 and +7.0 mm"),
        "{}",
        panels[0].description()
    );
    assert!(panels[1].description().contains("The accepted risk is 10 %"));

    let drifts = drift_figures(&made.drifts).unwrap();
    for (drift, figure) in made.drifts.iter().zip(&drifts) {
        assert_eq!(marks(&figure.inline_svg("x"), "s-point"), drift.points.len());
        assert!(figure.inline_svg("x").contains("f-modelband"));
    }
    let rates = rate_figure(&made.wear.terms).unwrap().unwrap();
    assert_eq!(marks(&rates.inline_svg("x"), "s-interval dot"), 2);
    assert!(rates.description().contains("uhmwpe C \u{2212}1.10 (\u{2212}1.20 to \u{2212}1.00)"));
    assert_eq!(rate_figure(&made.wear.terms[..1]).unwrap(), None);
}
