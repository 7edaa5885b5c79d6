//! What a check would add to what is known.

mod check_value;
mod knowledge;

pub use check_value::{CheckValue, CheckValueSpec, DifferenceKnowledge, ShortCheck, ShortCheckSpec, ShortLine};
