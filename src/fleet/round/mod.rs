//! What a measuring round and a day's work put into a folder: one more check, lines confirmed, adjustments made; and the journal
//! kept meanwhile.

pub(super) mod addition;
pub(super) mod confirmed;
pub(super) mod journal;
pub(super) mod work_record;
