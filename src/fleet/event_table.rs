//! The `events` table.

use super::fault::FaultList;
use super::grid::Loaded;
use super::schema::EventRow;
use super::wing_table::Wings;
use crate::wing::WingEvent;

/// Reads `events` into their wings, in table order.
pub(super) fn read_events(loaded: &Loaded, wings: &mut Wings, faults: &mut FaultList) {
    for record in loaded.records() {
        let row = EventRow::read(record, faults);
        let wing = row.wing.and_then(|wing| wings.find(record, &wing, faults));
        let entry = wing.and_then(|wing| wings.entries.get_mut(wing));
        if let (Some(entry), Some(date), Some(event)) = (entry, row.date, row.event) {
            entry.wing.service.events.push(WingEvent { date, event: event.into_owned(), hours_h: row.hours });
        }
    }
}
