//! What can be done at a link, and what it does to length.

use std::f64::consts::{FRAC_PI_2, PI};

use serde::{Deserialize, Serialize};

use crate::check::{Action, ActionKind};

/// Diameter of a link's rod where none is given, mm: the common light link, with a main of 1.2 mm `D + d` = 6.37 mm
/// (practice).
pub const LINK_DIAMETER_MM: f64 = 5.17;
/// Diameter of a line where none is given, mm (practice).
pub const LINE_DIAMETER_MM: f64 = 1.2;
/// Standard uncertainty of a link's length, mm: it can be measured before it goes in (practice).
const LINK_STANDARD_MM: f64 = 0.5;
/// Standard uncertainty of a re-splice or a new line, mm (practice).
const SPLICE_STANDARD_MM: f64 = 2.0;
/// Standard uncertainty of a brake line set at its handle, mm (practice).
const HANDLE_STANDARD_MM: f64 = 2.0;
/// Standard uncertainty of a riser's adjuster, mm (practice).
const RISER_STANDARD_MM: f64 = 1.0;
/// Standard uncertainty of what is left of a stretch, part of the stretch (practice).
const STRETCH_STANDARD: f64 = 0.5;

/// Length that one extra turn on a link takes up, mm: `π(D + d)/2` with the rod's diameter D and the line's d, both mm.
/// The loop at the line's end goes once more round the rod, and each of its two strands gives half (derived).
///
/// ```
/// assert!((linedrift::plan::turn_mm(5.17, 1.2) - 10.0).abs() < 0.05);
/// ```
#[must_use]
pub fn turn_mm(link_diameter_mm: f64, line_diameter_mm: f64) -> f64 {
    PI * (link_diameter_mm + line_diameter_mm) / 2.0
}

/// Length that a lark's head on a link takes up, mm: `½[π(D + d) + (2 + π/2)d]`, an extra turn and the strand that holds
/// it down (derived).
#[must_use]
pub fn larks_head_mm(link_diameter_mm: f64, line_diameter_mm: f64) -> f64 {
    0.5 * (PI * (link_diameter_mm + line_diameter_mm) + (2.0 + FRAC_PI_2) * line_diameter_mm)
}

/// One thing that can be done at one place. Never a knot: it costs a large part of the line's strength.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Step {
    /// Kind.
    pub kind: ActionKind,
    /// Turns laid on the link (positive) or taken off it (negative); 0 for the other kinds.
    pub turns: i32,
    /// Change of length of every line above, mm (negative shortens).
    pub change_mm: f64,
    /// Standard uncertainty of the change, mm.
    pub standard_mm: f64,
    /// Its own price at the riser, in lines off by their tolerance (`None`: the plan's).
    #[serde(default)]
    pub price: Option<f64>,
}

/// What one extra turn does at one place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct LinkStep {
    turn_mm: f64,
    larks_head_mm: f64,
    larks_head_standard: f64,
    turn_standard: f64,
}

impl LinkStep {
    /// By the formulas.
    pub(super) fn by_formula(link_mm: f64, line_mm: f64, uncertainty_pct: f64) -> Self {
        Self {
            turn_mm: turn_mm(link_mm, line_mm),
            larks_head_mm: larks_head_mm(link_mm, line_mm),
            larks_head_standard: uncertainty_pct / 100.0,
            turn_standard: uncertainty_pct / 100.0,
        }
    }

    /// The same link with its turn as a workshop gives it, mm; its standard uncertainty, mm, where given too.
    pub(super) fn given_turn(self, turn_mm: f64, standard_mm: Option<f64>) -> Self {
        Self { turn_mm, turn_standard: standard_mm.map_or(self.turn_standard, |mm| mm / turn_mm), ..self }
    }

    /// The same link with its lark's head as a workshop gives it.
    pub(super) fn given_larks_head(self, larks_head_mm: f64, standard_mm: Option<f64>) -> Self {
        let larks_head_standard = standard_mm.map_or(self.larks_head_standard, |mm| mm / larks_head_mm);
        Self { larks_head_mm, larks_head_standard, ..self }
    }

    /// One turn, mm.
    pub(super) fn turn_mm(self) -> f64 {
        self.turn_mm
    }

    /// A lark's head, mm.
    pub(super) fn larks_head_mm(self) -> f64 {
        self.larks_head_mm
    }

    /// The same link with its turn as measured; the lark's head goes with it.
    pub(super) fn measured(self, step_mm: f64, uncertainty_pct: f64) -> Self {
        Self {
            turn_mm: step_mm,
            larks_head_mm: self.larks_head_mm * step_mm / self.turn_mm,
            larks_head_standard: uncertainty_pct / 100.0,
            turn_standard: uncertainty_pct / 100.0,
        }
    }

    fn step(kind: ActionKind, turns: i32, change_mm: f64, relative_standard: f64) -> Step {
        // to a micrometre, so that equal sums of corrections are equal
        let change_mm = (change_mm * 1000.0).round() / 1000.0;
        Step { kind, turns, change_mm, standard_mm: change_mm.abs() * relative_standard, price: None }
    }

    pub(super) fn turns(self, count: u32) -> Step {
        let turns = i32::try_from(count).unwrap_or(i32::MAX);
        Self::step(ActionKind::Turn, turns, -f64::from(turns) * self.turn_mm, self.turn_standard)
    }

    pub(super) fn larks_head(self) -> Step {
        Self::step(ActionKind::LarksHead, 0, -self.larks_head_mm, self.larks_head_standard)
    }

    pub(super) fn remove(self, count: u32) -> Step {
        let turns = i32::try_from(count).unwrap_or(i32::MAX);
        Self::step(ActionKind::RemoveLoop, -turns, f64::from(turns) * self.turn_mm, self.turn_standard)
    }
}

impl Step {
    /// A step of a kind whose change is chosen, with its usual uncertainty.
    pub(super) fn of(kind: ActionKind, change_mm: f64) -> Self {
        let standard_mm = standard_of(kind, change_mm, FORMULA_UNCERTAINTY_PCT);
        Self { kind, turns: 0, change_mm, standard_mm, price: None }
    }
}

/// What the change of a step of chosen length should have been, where it cannot be so. A link taken out again shortens.
pub(super) fn step_change_fault(kind: ActionKind, change_mm: f64) -> Option<&'static str> {
    match kind {
        _ if !(change_mm != 0.0 && change_mm.abs() <= 500.0) => {
            Some("a change that is not 0, at most 500 mm either way")
        }
        ActionKind::Stretch if change_mm < 0.0 => Some("a lengthening, above 0 and at most 500 mm"),
        _ => None,
    }
}

/// Usual standard uncertainty of a loop's change of length, per cent: how it lies on its link (practice).
pub(super) const FORMULA_UNCERTAINTY_PCT: f64 = 15.0;

/// Usual standard uncertainty of what a recorded action did to length, mm.
pub(crate) fn usual_uncertainty_mm(action: &Action) -> f64 {
    standard_of(action.kind, action.change_mm, FORMULA_UNCERTAINTY_PCT)
}

/// Standard uncertainty of a step that somebody else proposes, mm.
pub(super) fn standard_of(kind: ActionKind, change_mm: f64, formula_pct: f64) -> f64 {
    match kind {
        ActionKind::Turn | ActionKind::LarksHead | ActionKind::RemoveLoop => change_mm.abs() * formula_pct / 100.0,
        ActionKind::SmallLink | ActionKind::LargerLink => LINK_STANDARD_MM,
        ActionKind::Splice | ActionKind::Replace | ActionKind::ReplaceLine => SPLICE_STANDARD_MM,
        ActionKind::BrakeHandle => HANDLE_STANDARD_MM,
        ActionKind::Riser => RISER_STANDARD_MM,
        ActionKind::Stretch => STRETCH_STANDARD * change_mm.abs(),
    }
}
