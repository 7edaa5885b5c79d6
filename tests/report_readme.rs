//! The README shows what its example really prints.

use std::fmt::Write as _;

use linedrift::forecast::DueSpec;
use linedrift::report::wing_plan_figure;
use linedrift::simulate::FleetSpec;
use linedrift::trim::{TrimSpec, Verdict};
use linedrift::wear::WearSpec;

#[test]
fn the_output_in_the_readme_is_the_output_of_its_example() {
    let fleet = FleetSpec::default().wings(16).unchecked_wings(1).seed(7).run().unwrap().fleet;
    let history = fleet.history("W05").unwrap();
    let check = history.checks.last().unwrap();
    let trim = TrimSpec::default().run(fleet.line_set(history), &history.wing, check).unwrap();
    let outside = trim.lines.iter().filter(|line| line.verdict == Some(Verdict::Outside)).count();
    let mut out = String::new();
    writeln!(out, "check {}: {outside} of {} lines outside", trim.check, trim.lines.len()).unwrap();
    let fit = WearSpec::default().fit(&fleet).unwrap();
    for term in fit.terms().iter().filter(|term| term.term.starts_with("rate:uhmwpe")) {
        writeln!(out, "{:<20} {:+.2} ({:+.2} to {:+.2})", term.term, term.estimate, term.lower, term.upper).unwrap();
    }
    let due = DueSpec::default().draws(1000).run(&fleet, &fit).unwrap();
    let row = due.wing("W16").unwrap();
    writeln!(
        out,
        "{}: next check at {:.0} h ({}), now {:.0} h",
        row.wing,
        row.due_hours,
        row.reason.name(),
        row.hours_now
    )
    .unwrap();

    let readme = include_str!("../README.md");
    assert!(readme.contains(&format!("```text\n{out}```")), "the example prints:\n{out}");
    for line in ["cargo run --release", "cargo test"] {
        assert!(readme.lines().any(|of_readme| of_readme == line), "{line}");
    }
}

/// The demo's answer in one picture: the wing with the most lines outside, from above. `LINEDRIFT_WRITE_PAGES=1 cargo test picture` draws it
/// again after a change of the demo or of the figure.
#[test]
fn the_picture_in_the_readme_is_what_the_program_draws() {
    let fleet = FleetSpec::demo().run().unwrap().fleet;
    let judged = fleet.histories().iter().filter_map(|history| {
        let trim = TrimSpec::default().run(fleet.line_set(history), &history.wing, history.checks.last()?).unwrap();
        let outside = trim.lines.iter().filter(|line| line.verdict == Some(Verdict::Outside)).count();
        Some((outside, history, trim))
    });
    let (_, history, trim) = judged.max_by_key(|(outside, ..)| *outside).unwrap();
    let figure = wing_plan_figure(&trim, fleet.line_set(history), None).unwrap();
    let drawn = figure.marked_demo().standalone();
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/answer.svg");
    if std::env::var_os("LINEDRIFT_WRITE_PAGES").is_some() {
        std::fs::write(&path, &drawn).unwrap();
    }
    assert!(std::fs::read_to_string(&path).unwrap() == drawn, "docs/answer.svg is not what the program draws");
    assert!(include_str!("../README.md").contains("](docs/answer.svg)"));
}
