//! Fleet folders with faults.
