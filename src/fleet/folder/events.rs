//! The `events` table.

use super::wings::Wings;
use crate::fleet::read::fault::FaultList;
use crate::fleet::read::grid::Loaded;
use crate::fleet::schema::EventRow;
use crate::wing::WingEvent;

/// Reads `events` into their wings, in table order.
pub(crate) fn read_events(loaded: &Loaded, wings: &mut Wings, faults: &mut FaultList) {
    for record in loaded.records() {
        let row = EventRow::read(record, faults);
        let wing = row.wing.and_then(|wing| wings.find(record, &wing, faults));
        let entry = wing.and_then(|wing| wings.entries.get_mut(wing));
        if let (Some(entry), Some(date), Some(event)) = (entry, row.date, row.event) {
            entry.wing.service.events.push(WingEvent { date, event: event.into_owned(), hours_h: row.hours });
        }
    }
}
