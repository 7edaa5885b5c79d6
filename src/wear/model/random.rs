//! Which further random terms a model has.

use serde::{Deserialize, Serialize};

/// Further random terms of a wear model, beside what wings, checks and lines have of their own at all times.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct RandomTerms {
    /// A rate of each row of each wing.
    pub wing_row: bool,
    /// A rate of each line of each wing.
    pub line_rate: bool,
    /// A rate of each material in each row of each model.
    pub model_rate: bool,
}

impl RandomTerms {
    /// None.
    pub const NONE: RandomTerms = RandomTerms { wing_row: false, line_rate: false, model_rate: false };

    /// Their names: `wing:row`, `line:rate`, `model:material:row`.
    #[must_use]
    pub fn names(self) -> Vec<&'static str> {
        let all =
            [(self.wing_row, "wing:row"), (self.line_rate, "line:rate"), (self.model_rate, "model:material:row")];
        all.into_iter().filter(|(there, _)| *there).map(|(_, name)| name).collect()
    }
}
