//! The protocol as a table to keep as a file.

use super::{PROTOCOL_STATEMENT, Protocol, ProtocolLine};
use crate::fleet::Table;

type OfLine = fn(&ProtocolLine) -> Option<f64>;

impl Protocol {
    /// A row per line and side: what the page says, with the particulars and the statement in every row, so that no row is read
    /// without them.
    #[must_use]
    pub fn table(&self) -> Table {
        let lines = || self.lines().iter();
        let same = |text: &str| vec![(!text.is_empty()).then(|| text.to_owned()); self.lines().len()];
        let number = |value: Option<f64>| vec![value; self.lines().len()];
        let mut table = Table::new("protocol").text("wing", same(self.wing())).text("model", same(self.model()));
        for (name, value) in self.particulars() {
            table = table.text(name, same(value));
        }
        table = table
            .number("hours", number(Some(self.hours_h())))
            .text("side", lines().map(|line| Some(line.side.name())))
            .text("line", lines().map(|line| Some(line.line.clone())))
            .text("row", lines().map(|line| Some(line.row.name())))
            .text("main", lines().map(|line| line.main.clone()))
            .number("nominal_mm", lines().map(|line| Some(line.nominal_mm)));
        let stages: [(&str, _, OfLine, OfLine); 2] = [
            ("as_found", self.found(), ProtocolLine::measured_found_mm, |line| line.found_mm),
            ("as_left", self.left(), ProtocolLine::measured_left_mm, |line| line.left_mm),
        ];
        for (stage, conditions, measured, deviation) in stages {
            let check = conditions.map(|conditions| &conditions.check);
            let text = |value: Option<String>| same(value.as_deref().unwrap_or_default());
            table = table
                .text(&format!("{stage}_check"), text(check.map(|check| check.id.clone())))
                .text(&format!("{stage}_date"), text(check.map(|check| check.date.to_string())))
                .number(&format!("{stage}_load_n"), number(check.map(|check| check.load_n)))
                .number(
                    &format!("{stage}_datum_mm"),
                    lines().map(|line| check.map(|check| check.datum_mm(line.side, line.row))),
                )
                .number(&format!("{stage}_measured_mm"), lines().map(measured))
                .number(&format!("{stage}_deviation_mm"), lines().map(deviation));
        }
        table.text("statement", same(PROTOCOL_STATEMENT))
    }
}
