//! The protocol: a record of lengths to print and sign.

use linedrift::check::{Check, Fleet, History, Stage, deviations};
use linedrift::report::{CAUTIONS, PROTOCOL_STATEMENT, Protocol, ProtocolSpec, ReportError};
use linedrift::simulate::FleetSpec;
use linedrift::wing::LineSet;

/// The last check of a wing as found, and one as left in which every reading of the left side is 4 mm longer.
fn adjusted() -> (Fleet, History) {
    let fleet = FleetSpec::default().wings(2).seed(5).run().unwrap().fleet;
    let mut history = fleet.histories()[0].clone();
    let mut left = history.checks.last().unwrap().clone();
    left.id.push('L');
    left.stage = Stage::AsLeft;
    left.load_n = 48.0;
    for reading in left.readings.iter_mut().filter(|reading| reading.side.name() == "left") {
        reading.reading_mm += 4.0;
    }
    history.checks.push(left);
    (fleet, history)
}

fn of(set: &LineSet, history: &History) -> Protocol {
    ProtocolSpec::default().serial_number("HF-0042").owner("Loft").instrument("steel tape").run(set, history).unwrap()
}

#[test]
fn it_holds_what_a_record_needs_and_says_what_it_is_not() {
    let (fleet, history) = adjusted();
    let html = of(fleet.line_set(&history), &history).html();
    assert!(html.contains(PROTOCOL_STATEMENT) && PROTOCOL_STATEMENT.contains("not a statement of airworthiness"));
    let last = history.checks.last().unwrap();
    for held in ["HF-0042", "Loft", "steel tape", "Inspector", "48 N", "50 N", "Datum", &last.id, "signature", "date"]
    {
        assert!(html.contains(held), "{held}");
    }
    for caution in CAUTIONS {
        assert!(html.contains(caution), "lost: {caution}");
    }
    assert!(!html.contains("<script") && !html.contains("http") && !html.contains("airworthy"));
}

#[test]
fn deviations_before_and_after_are_those_of_the_two_checks() {
    let (fleet, history) = adjusted();
    let set = fleet.line_set(&history);
    let protocol = of(set, &history);
    let [found, left]: [&Check; 2] =
        [history.checks.len() - 2, history.checks.len() - 1].map(|at| &history.checks[at]);
    assert_eq!(protocol.found().unwrap().check.id, found.id);
    assert_eq!(protocol.left().unwrap().check.id, left.id);
    let read = |check| deviations(set, check);
    let (found, left) = (read(found), read(left));
    assert_eq!(protocol.lines().iter().filter(|line| line.found_mm.is_some()).count(), found.len());
    for line in protocol.lines() {
        let at = set.find(&line.line, line.side).unwrap();
        let of = |read: &[linedrift::check::LineDeviation]| {
            read.iter().find(|one| one.side == line.side && one.line == at).map(|one| one.deviation_mm)
        };
        assert_eq!((line.found_mm, line.left_mm), (of(&found), of(&left)));
        assert_eq!(line.measured_left_mm(), line.left_mm.map(|mm| set.lines()[at].nominal_mm + mm));
    }
}

#[test]
fn a_check_alone_is_not_called_before_or_after_another() {
    let fleet = FleetSpec::default().wings(2).seed(5).run().unwrap().fleet;
    let history = &fleet.histories()[0];
    let protocol =
        ProtocolSpec::default().check(&history.checks[0].id).run(fleet.line_set(history), history).unwrap();
    assert!(protocol.left().is_none() && protocol.html().contains("not measured"));
    let none = ProtocolSpec::default().check("nothing").run(fleet.line_set(history), history).unwrap_err();
    assert!(matches!(&none, ReportError::NoCheck { check: Some(id), .. } if id == "nothing"), "{none}");
    assert!(none.to_string().contains("has no check `nothing` with readings"), "{none}");
}

#[test]
fn names_cannot_be_markup() {
    let (fleet, mut history) = adjusted();
    history.wing.id = "<script>7".to_owned();
    let spec = ProtocolSpec::default().owner("<b>\"&").inspector("\u{202e}evil");
    let html = spec.run(fleet.line_set(&history), &history).unwrap().html();
    assert!(!html.contains("<script") && !html.contains("<b>") && !html.contains('\u{202e}'));
    assert!(html.contains("&lt;b&gt;&quot;&amp;"));
}

#[cfg(feature = "frames")]
#[test]
fn every_row_of_the_table_carries_the_statement() {
    let (fleet, history) = adjusted();
    let protocol = of(fleet.line_set(&history), &history);
    let table = protocol.table();
    let names: Vec<&str> = table.columns.iter().map(|column| column.name.as_str()).collect();
    for wanted in
        ["serial_number", "nominal_mm", "as_found_measured_mm", "as_found_deviation_mm", "as_left_deviation_mm"]
    {
        assert!(names.contains(&wanted), "{wanted}");
    }
    assert!(table.columns.iter().all(|column| column.data.len() == protocol.lines().len()));
    let last = table.columns.last().unwrap();
    assert_eq!(last.name, "statement");
    let linedrift::fleet::ColumnData::Text(cells) = &last.data else { panic!("words") };
    assert!(cells.iter().all(|cell| cell.as_deref() == Some(PROTOCOL_STATEMENT)));
}
