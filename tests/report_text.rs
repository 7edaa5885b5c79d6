//! What results say in a terminal.

use linedrift::Date;
use linedrift::report::text;

use crate::report_made::{renamed, small};

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
    assert_eq!(text::due(&made.due, today).lines().count(), made.due.rows().len() + 2);
}
