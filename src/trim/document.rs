//! Judged checks as one JSON document.

use serde::Serialize;

use super::{Trim, TrimChange};

/// The document `linedrift.trim/1`.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct TrimDocument<'a> {
    schema: &'static str,
    checks: &'a [Trim],
    changes: &'a [TrimChange],
    #[serde(skip_serializing_if = "<[String]>::is_empty")]
    failed: &'a [String],
}

impl<'a> TrimDocument<'a> {
    /// Of judged checks, and what changed since the check before each; of one taken after adjusting, since it was found.
    #[must_use]
    pub fn new(checks: &'a [Trim], changes: &'a [TrimChange]) -> Self {
        Self { schema: "linedrift.trim/1", checks, changes, failed: &[] }
    }

    /// With what could not be judged, and why.
    #[must_use]
    pub fn with_failed(mut self, failed: &'a [String]) -> Self {
        self.failed = failed;
        self
    }
}
