//! Limits from a file: what it says is what is watched, and what is wrong with it is told with its line.

use linedrift::forecast::{DueSpec, Limits, LimitsTable};
use linedrift::plan::PlanSpec;
use linedrift::simulate::FleetSpec;
use linedrift::wear::WearSpec;

const FILE: &str = "\
# the loft's own
line_mm = 12
offset_mm = 4_0.5

[model.\"Heather 24\"]
incidence_deg = 0.3
line_mm = 8.0
";

#[test]
fn a_model_has_its_own_limits_and_the_rest_from_the_top() {
    let table = LimitsTable::from_toml(FILE).unwrap();
    let top = Limits::default().line_mm(12.0).offset_mm(40.5);
    assert_eq!(*table.of("Rook 2"), top);
    assert_eq!(*table.of("Heather 24"), top.incidence_deg(0.3).line_mm(8.0));
    assert_eq!(table.models().collect::<Vec<_>>(), ["Heather 24"]);
    assert_eq!(table, LimitsTable::from(top).with_model("Heather 24", top.incidence_deg(0.3).line_mm(8.0)));
    assert_eq!(LimitsTable::from_toml("").unwrap(), LimitsTable::default());
}

#[test]
fn what_is_wrong_is_told_with_line_key_value_and_what_was_expected() {
    for (text, line, field, value) in [
        ("line_mm = 0", 1, "line_mm", "0"),
        ("\nline_mm = -3.5", 2, "line_mm", "-3.5"),
        ("line_mm = nan", 1, "line_mm", "nan"),
        ("line_mm = inf", 1, "line_mm", "inf"),
        ("line_mm = \"ten\"", 1, "line_mm", "\"ten\""),
        ("# a\n\nline = 8", 3, "line", "line"),
        ("model = 3", 1, "model", "3"),
        ("[model]\nHeather = 3", 2, "model.Heather", "3"),
        ("[model.\"Heather 24\"]\noffset_mm = 1\nline_mm = [1]", 3, "model.Heather 24.line_mm", "[1]"),
        ("line_mm = 9\n[model.A]\nline_mm = 9\n[model.B]\nline_mmm = 8", 5, "model.B.line_mmm", "line_mmm"),
        ("[model.A.deeper]\nline_mm = 9", 1, "model.A.deeper", "deeper"),
        // several faults: the first in the file
        ("offset_mm = 0\nline_mm = 0\n[model.A]\nline_mm = 0", 1, "offset_mm", "0"),
    ] {
        let fault = LimitsTable::from_toml(text).unwrap_err();
        assert_eq!((fault.line, fault.field.as_str(), fault.value.as_str()), (line, field, value), "{text}: {fault}");
        assert!(!fault.expected.is_empty());
    }
    for text in ["line_mm = ", "line_mm 8", "[model", "line_mm = 8\nline_mm = 9", "line_mm = 8,5"] {
        let fault = LimitsTable::from_toml(text).unwrap_err();
        assert!(fault.expected.starts_with("TOML") && fault.field.is_empty(), "{text}: {fault}");
    }
    let two = LimitsTable::from_toml("line_mm = 8\nline_mm = 9").unwrap_err();
    assert_eq!(two.line, 2, "{two}");
}

#[test]
fn a_tighter_limit_of_one_model_moves_only_its_wings() {
    let simulated = FleetSpec::demo().wings(12).run().unwrap();
    let fit = WearSpec::default().fit(&simulated.fleet).unwrap();
    let spec = DueSpec::default().draws(200);
    let plain = spec.run(&simulated.fleet, &fit).unwrap();
    let model = simulated.fleet.histories()[0].wing.model.clone();
    let text = format!("[model.\"{model}\"]\nrow_difference_mm = 1.5\n");
    let table = spec.limits(LimitsTable::from_toml(&text).unwrap()).run(&simulated.fleet, &fit).unwrap();
    let mut moved = 0;
    for row in table.rows() {
        let before = plain.wing(&row.wing).unwrap();
        if row.model == model {
            assert!(row.risk_now >= before.risk_now && row.due_hours <= before.due_hours);
            moved += usize::from(row != before);
        } else {
            assert_eq!(row, before);
        }
    }
    assert!(moved > 0);
}

#[test]
fn the_same_limits_judge_a_check_and_a_plan() {
    let limits = Limits::default().line_mm(7.0).offset_mm(33.0).brake_short_mm(15.0);
    let plan = serde_json::to_value(limits.planning(PlanSpec::default())).unwrap();
    assert_eq!(plan["trim"]["limits"], serde_json::to_value(limits).unwrap());
}

proptest::proptest! {
    #[test]
    fn no_text_makes_it_panic(text in "(line_mm|offset_mm|\\[model\\.|\\[|\\]|\"|=|\n|#| |[0-9.e-]|é|nan|\\{){0,40}") {
        if let Ok(table) = LimitsTable::from_toml(&text) {
            table.validate().unwrap();
        }
    }
}
