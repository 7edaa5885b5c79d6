//! The `events` table.

use super::action_table::find_wing;
use super::cell::Limit;
use super::fault::FaultList;
use super::grid::{Grid, Loaded};
use super::wing_table::Wings;
use crate::wing::WingEvent;

/// Reads `events` into their wings, in table order.
pub(super) fn read_events(loaded: &Loaded, wings: &mut Wings, faults: &mut FaultList) {
    for record in loaded.grids().iter().flat_map(Grid::records) {
        let wing = find_wing(record, wings, faults);
        let day = record.needed_day("date", faults);
        let event = record.needed_text("event", faults);
        let hours_h = record.number("hours", Limit::NotNegative, faults);
        if let (Some(entry), Some(date), Some(event)) =
            (wing.and_then(|wing| wings.entries.get_mut(wing)), day, event)
        {
            entry.wing.service.events.push(WingEvent { date, event: event.into_owned(), hours_h });
        }
    }
}
