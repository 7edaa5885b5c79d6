//! How a plan is made.

use serde::{Deserialize, Serialize};

use super::step::FORMULA_UNCERTAINTY_PCT;
use super::{Aim, Direction, Forbidden, OfferedStep, PlanError, Target};
use crate::check::{ActionKind, Budget};
use crate::trim::TrimSpec;

/// Whether both sides get the same work.
///
/// Alike, unless they differ by more than can be told: a tree (a main and all above it) is worked side by side where some
/// part of it differs by more than the uncertainty of that difference and by more than half a tolerance. The uncertainty is
/// that of the measurement or, where mirrored lines of this wing scatter more, theirs; its level is 95 % for all places of
/// the wing together. Where the asymmetry as a whole is certain and past 0.1°, so are the trees of the rows that carry it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Sides {
    /// Alike, unless they measurably differ.
    #[default]
    Auto,
    /// Each side what it needs.
    Separate,
    /// The same steps on both sides.
    Same,
}

/// Whether what is off alike is corrected as one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Groups {
    /// A row whose mains are all off alike gets the same step at each of them, and what is off as a whole is corrected where
    /// it begins, not at its parts; nor is anything done that moves off half or more of the lines it moves, where they are
    /// right. Unless fewer lines come within tolerance that way.
    #[default]
    Whole,
    /// Every place for itself.
    Each,
}

/// How a plan is made.
///
/// | setting | default | why |
/// |---|---|---|
/// | `target` | the common offset | a set uniformly long or short is not out of trim |
/// | `aim` | the recommended | fewest lines outside, then no more than 0.15° of incidence or between the sides, then work |
/// | `sides` | alike unless they measurably differ | what is done to one side alone turns the wing |
/// | `groups` | whole | half a row corrected puts a step into the row; a main that is off is not eight lines |
/// | `trim` | [`TrimSpec::default`] | limits, tolerances and planform; `budget` below replaces its own |
/// | `budget` | [`Budget::default`] | u = 1.5 mm for one deviation |
/// | `price` | 2 | one action must buy back about two lines' worth of tolerance |
/// | `upper_price_pct` | 25 % per level | work away from the riser is slower and harder to undo |
/// | `most_turns` | 3 | practice: turns that may lie on one link, those there already included |
/// | `most_at_place` | 1 | actions at one place |
/// | `small_links_mm` | 8 mm | practice; at the riser only, not at brake handles; set what the workshop has, empty for none |
/// | `larger_links_mm` | 5, 10, 15, 20 mm | practice; as small links, and never both |
/// | `splices_mm` | none | changes of length that the workshop would splice |
/// | `replace_price` | 6 | replacing or re-splicing costs as much as three actions, and so does undoing above what was done below |
/// | `stretch_mm` | none | stretching rear rows does not last |
/// | `without` | nothing | kinds that are never proposed |
/// | `forbidden`, `only`, `most_actions` | nothing | what the call rules out |
/// | `offered` | the steps above | a workshop's own list in their place, with sizes, spreads and prices |
/// | `formula_uncertainty_pct` | 15 % | how a loop lies on its link (practice) |
/// | `measured_uncertainty_pct` | 5 % | of the wing's own measured step |
/// | `doubtful_mm` | 60 mm | a line of A–D or stabilo further from the common offset is measured again first |
/// | `known_share_pct` | 50 % | an action moves lines of which at least this share was read and is without a finding |
/// | `most_states` | 5,000,000 | past it the choices are thinned and the plan is not called optimal |
///
/// ```
/// use linedrift::plan::PlanSpec;
/// use linedrift::simulate::FleetSpec;
///
/// let fleet = FleetSpec::default().wings(8).seed(7).run()?.fleet;
/// let history = fleet.history("W05").ok_or("no such wing")?;
/// let check = history.checks.last().ok_or("no check")?;
/// let plan = PlanSpec::default().run(fleet.line_set(history), history, check, &[])?;
/// println!("{} lines off by more than their tolerance, {} after", plan.before.outside, plan.after.outside);
/// for step in plan.sequence() {
///     println!("{step}");
/// }
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlanSpec {
    pub(super) target: Target,
    #[serde(default)]
    pub(super) aim: Option<Aim>,
    pub(super) sides: Sides,
    #[serde(default)]
    pub(super) groups: Groups,
    pub(super) trim: TrimSpec,
    pub(super) budget: Budget,
    pub(super) price: f64,
    pub(super) upper_price_pct: f64,
    pub(super) most_turns: u32,
    pub(super) most_at_place: u32,
    pub(super) small_links_mm: Vec<f64>,
    #[serde(default)]
    pub(super) larger_links_mm: Vec<f64>,
    pub(super) splices_mm: Vec<f64>,
    #[serde(default = "usual_replace_price")]
    pub(super) replace_price: f64,
    #[serde(default)]
    pub(super) stretch_mm: f64,
    #[serde(default)]
    pub(super) without: Vec<ActionKind>,
    #[serde(default)]
    pub(super) forbidden: Vec<Forbidden>,
    #[serde(default)]
    pub(super) only: Option<Direction>,
    #[serde(default)]
    pub(super) most_actions: Option<usize>,
    #[serde(default)]
    pub(super) offered: Option<Vec<OfferedStep>>,
    pub(super) formula_uncertainty_pct: f64,
    pub(super) measured_uncertainty_pct: f64,
    pub(super) doubtful_mm: f64,
    pub(super) known_share_pct: f64,
    pub(super) most_states: usize,
}

/// Three actions at the riser.
fn usual_replace_price() -> f64 {
    6.0
}

impl Default for PlanSpec {
    fn default() -> Self {
        Self {
            target: Target::default(),
            aim: None,
            sides: Sides::default(),
            groups: Groups::default(),
            trim: TrimSpec::default(),
            budget: Budget::default(),
            price: 2.0,
            upper_price_pct: 25.0,
            most_turns: 3,
            most_at_place: 1,
            small_links_mm: vec![8.0],
            larger_links_mm: vec![5.0, 10.0, 15.0, 20.0],
            splices_mm: Vec::new(),
            replace_price: usual_replace_price(),
            stretch_mm: 0.0,
            without: Vec::new(),
            forbidden: Vec::new(),
            only: None,
            most_actions: None,
            offered: None,
            formula_uncertainty_pct: FORMULA_UNCERTAINTY_PCT,
            measured_uncertainty_pct: 5.0,
            doubtful_mm: 60.0,
            known_share_pct: 50.0,
            most_states: 5_000_000,
        }
    }
}

impl PlanSpec {
    setters! {
        /// What the lines are to be brought to.
        target: Target;
        /// What the plan is to reach, in place of the recommended of the three. [`Aim::Table`] takes the maker's lengths as target.
        aim: Aim => Some;
        /// Whether both sides get the same work.
        sides: Sides;
        /// Whether what is off alike is corrected as one.
        groups: Groups;
        /// How checks are judged: limits, tolerances and planform. Its budget is replaced by the plan's own.
        trim: TrimSpec;
        /// Uncertainty budget of one deviation. Repeats in the check replace its repeatability part.
        budget: Budget;
        /// Price of one action at the riser, in lines off by their tolerance.
        price: f64;
        /// How much dearer an action is for each level away from the riser, per cent.
        upper_price_pct: f64;
        /// Extra turns that may lie on one link (0 … 10), those there already included.
        most_turns: u32;
        /// Actions at one place (0 … 3), such as a splice and a turn.
        most_at_place: u32;
    }

    /// Lengths of the small links at hand, mm, each more than 0 and at most 200.
    #[must_use]
    pub fn small_links_mm(mut self, lengths_mm: &[f64]) -> Self {
        self.small_links_mm = lengths_mm.to_vec();
        self
    }

    /// How much longer than the usual link the larger ones at hand are, mm, each more than 0 and at most 200.
    #[must_use]
    pub fn larger_links_mm(mut self, longer_mm: &[f64]) -> Self {
        self.larger_links_mm = longer_mm.to_vec();
        self
    }

    setters! {
        /// Price of replacing a segment or re-splicing it, at the riser, in lines off by their tolerance. What undoes, further up,
        /// part of what was done below costs this on top.
        replace_price: f64;
        /// The most by which mains of the rear rows may be stretched under load, mm (0: not at all, at most 50). It does not last.
        stretch_mm: f64;
    }

    /// Kinds of action that are never proposed.
    #[must_use]
    pub fn without(mut self, kinds: &[ActionKind]) -> Self {
        self.without = kinds.to_vec();
        self
    }

    /// Places that must be left alone.
    #[must_use]
    pub fn forbidden(mut self, places: &[Forbidden]) -> Self {
        self.forbidden = places.to_vec();
        self
    }

    setters! {
        /// The only way in which lengths may be changed.
        only: Direction => Some;
        /// The most actions that the plan may have.
        most_actions: usize => Some;
    }

    /// Changes of length that may be spliced, mm, not 0 and at most ±500.
    #[must_use]
    pub fn splices_mm(mut self, changes_mm: &[f64]) -> Self {
        self.splices_mm = changes_mm.to_vec();
        self
    }

    /// The only steps to choose from, in place of turns, lark's heads, small links and splices as set above. Turns,
    /// lark's heads and turns taken out stand once each.
    #[must_use]
    pub fn offered(mut self, steps: &[OfferedStep]) -> Self {
        self.offered = Some(steps.to_vec());
        self
    }

    setters! {
        /// Standard uncertainty of a step by formula, per cent of the step.
        formula_uncertainty_pct: f64;
        /// Standard uncertainty of the wing's own measured step, per cent of the step.
        measured_uncertainty_pct: f64;
        /// Distance from the common offset past which a line of A–D or stabilo is to be measured again, mm.
        doubtful_mm: f64;
        /// Share of the lines that an action moves which must be known, per cent.
        known_share_pct: f64;
        /// States of the search past which its choices are thinned.
        most_states: usize;
    }

    /// Whether a kind of action may be proposed.
    pub(super) fn allows(&self, kind: ActionKind) -> bool {
        !self.without.contains(&kind)
    }

    /// A step whose size is what the lines need, as the workshop offers it.
    pub(super) fn needed(&self, kind: ActionKind) -> Option<OfferedStep> {
        let offered = match &self.offered {
            Some(offered) => offered.iter().find(|one| one.kind == kind).copied(),
            None => Some(OfferedStep::new(kind)),
        };
        offered.filter(|_| self.allows(kind))
    }

    /// The most to stretch, mm.
    pub(super) fn most_stretch(&self) -> f64 {
        let offered = self.offered.iter().flatten().find(|one| one.kind == ActionKind::Stretch);
        offered.and_then(|one| one.change_mm).unwrap_or(self.stretch_mm)
    }

    /// The limit of the common offset, past which the target does not go, mm.
    pub(super) fn offset_limit_mm(&self) -> f64 {
        self.trim.limits.offset_limit_mm().min(1000.0)
    }

    pub(super) fn judge(&self) -> TrimSpec {
        self.trim.clone().budget(self.budget.clone())
    }

    pub(super) fn validate(&self) -> Result<(), PlanError> {
        let refuse =
            |name: &str, value: f64, expected| Err(PlanError::Setting { name: name.to_owned(), value, expected });
        let ranges = [
            ("price", self.price, 0.0, 1000.0, "0 to 1000"),
            ("upper_price_pct", self.upper_price_pct, 0.0, 1000.0, "0 to 1000"),
            ("most_turns", f64::from(self.most_turns), 0.0, 10.0, "0 to 10"),
            ("most_at_place", f64::from(self.most_at_place), 0.0, 3.0, "0 to 3"),
            ("formula_uncertainty_pct", self.formula_uncertainty_pct, 0.0, 100.0, "0 to 100"),
            ("measured_uncertainty_pct", self.measured_uncertainty_pct, 0.0, 100.0, "0 to 100"),
            ("replace_price", self.replace_price, 0.0, 1000.0, "0 to 1000"),
            ("stretch_mm", self.stretch_mm, 0.0, 50.0, "0 to 50"),
            ("doubtful_mm", self.doubtful_mm, 0.0, 10_000.0, "0 to 10000"),
            ("known_share_pct", self.known_share_pct, 0.0, 100.0, "0 to 100"),
        ];
        for (name, value, least, most, expected) in ranges {
            if !(value >= least && value <= most) {
                return refuse(name, value, expected);
            }
        }
        for (name, sizes) in [("small_links_mm", &self.small_links_mm), ("larger_links_mm", &self.larger_links_mm)] {
            if let Some(size) = sizes.iter().find(|size| !(**size > 0.0 && **size <= 200.0)) {
                return refuse(name, *size, "more than 0, at most 200");
            }
        }
        if self.only == Some(Direction::Shorten) && self.stretch_mm > 0.0 {
            return refuse("stretch_mm", self.stretch_mm, "0 where lengths may only be shortened");
        }
        for &change_mm in &self.splices_mm {
            if !(change_mm != 0.0 && change_mm.abs() <= 500.0) {
                return refuse("splices_mm", change_mm, "not 0, at most 500 either way");
            }
        }
        let mut once: Vec<ActionKind> = Vec::new();
        for step in self.offered.iter().flatten() {
            if let Some(fault) = step.fault() {
                let (field, kind, value) = (fault.field, step.kind, fault.value);
                return Err(PlanError::Offered { kind, field, value, expected: fault.expected });
            }
            if once.contains(&step.kind) {
                let expected = "this action once";
                return Err(PlanError::Offered { kind: step.kind, field: "action", value: None, expected });
            }
            if !step.comes_in_sizes() {
                once.push(step.kind);
            }
        }
        let ruled_out = match (self.aim, &self.target) {
            (Some(Aim::Trim | Aim::Table), Target::Rows(_)) | (Some(Aim::Table), Target::Free) => self.aim,
            _ => None,
        };
        if let Some(aim) = ruled_out {
            return Err(PlanError::AimAndTarget { aim, target: self.target.name() });
        }
        if let Target::Rows(rows) = &self.target {
            for wanted in rows {
                if !(wanted.relative_mm.abs() <= 1000.0) {
                    return refuse("relative_mm of a row target", wanted.relative_mm, "at most 1000 either way");
                }
                if rows.iter().filter(|other| other.row == wanted.row).count() > 1 {
                    return refuse("relative_mm of a row named twice", wanted.relative_mm, "each row once");
                }
            }
        }
        Ok(())
    }
}
