//! A table of a folder changed in few places: what is not changed stays, to the byte in CSV and to the value in Parquet.

pub(super) mod csv;
pub(super) mod parquet;
pub(super) mod table;
pub(super) mod wing;
