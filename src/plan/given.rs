//! Actions that somebody proposes, as they are written on paper.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::map::PlaceMap;
use super::places::{Places, link_at};
use super::step::step_change_fault;
use super::{PlanError, PlanSpec, Step};
use crate::check::{Action, ActionKind, Check, History};
use crate::wing::{LineSet, Side};

/// One proposed action.
///
/// ```
/// use linedrift::plan::GivenAction;
/// let given: GivenAction = "AM2:left:turn:2".parse()?;
/// assert_eq!((given.segment.as_str(), given.amount), ("AM2", Some(2.0)));
/// # Ok::<(), linedrift::plan::GivenError>(())
/// ```
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GivenAction {
    /// Segment name.
    pub segment: String,
    /// Side of the wing.
    pub side: Side,
    /// Kind.
    pub kind: ActionKind,
    /// Turns of `turn` and `remove_loop` (1 when not said); the change in mm of the other kinds but `larks_head`.
    pub amount: Option<f64>,
}

/// Why a text is no action.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("`{text}` is not an action: expected SEGMENT:SIDE:ACTION or SEGMENT:SIDE:ACTION:AMOUNT, {expected}")]
pub struct GivenError {
    /// The text.
    pub text: String,
    /// What is wrong with it.
    pub expected: String,
}

impl FromStr for GivenAction {
    type Err = GivenError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let fault = |expected: String| GivenError { text: text.to_owned(), expected };
        // a segment's name may hold a colon, the other parts do not
        let mut parts: Vec<&str> = text.rsplitn(4, ':').collect();
        parts.reverse();
        let is_kind = |name: &&str| name.parse::<ActionKind>().is_ok();
        let (head, amount) = match (parts.last().is_some_and(is_kind), text.rsplit_once(':')) {
            (true, _) => (text, None),
            (false, Some((head, amount))) => {
                let amount = amount.parse::<f64>().ok().filter(|amount| amount.is_finite());
                (head, Some(amount.ok_or_else(|| fault("the amount a number".to_owned()))?))
            }
            (false, None) => return Err(fault("with colons between".to_owned())),
        };
        let mut parts = head.rsplitn(3, ':');
        let (kind, side, segment) = (parts.next(), parts.next(), parts.next());
        let (Some(kind), Some(side), Some(segment)) = (kind, side, segment.filter(|name| !name.is_empty())) else {
            return Err(fault("with a segment, a side and an action".to_owned()));
        };
        let kind =
            kind.parse::<ActionKind>().map_err(|error| fault(format!("the action one of {}", error.expected)))?;
        let side = side.parse::<Side>().map_err(|error| fault(format!("the side one of {}", error.expected)))?;
        Ok(Self { segment: segment.to_owned(), side, kind, amount })
    }
}

impl fmt::Display for GivenAction {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}:{}", self.segment, self.side, self.kind)?;
        self.amount.map_or(Ok(()), |amount| write!(f, ":{amount}"))
    }
}

impl PlanSpec {
    /// Proposed actions as rows of the `actions` table for a check: turns become millimetres by the place's own step, which
    /// is the wing's measured one, the workshop's, or the formula's.
    ///
    /// # Errors
    /// [`PlanError`] on a setting or fitting out of its range, a segment that is not there, an amount that its kind cannot
    /// have, or `replace`, which has no length of its own.
    pub fn given(
        &self,
        set: &LineSet,
        history: &History,
        check: &Check,
        given: &[GivenAction],
    ) -> Result<Vec<Action>, PlanError> {
        let mut actions = Vec::new();
        for one in given {
            actions.extend(self.given_one(set, history, check, one)?);
        }
        Ok(actions)
    }

    fn given_one(
        &self,
        set: &LineSet,
        history: &History,
        check: &Check,
        given: &GivenAction,
    ) -> Result<Vec<Action>, PlanError> {
        let map = PlaceMap::of(self, set);
        let by_line = || set.lines().iter().find(|line| line.name == given.segment).map(|line| line.segment);
        // without a cascade the tables call a segment by its line
        let found = map.find(&given.segment).or_else(|| by_line().filter(|_| !set.has_cascade()));
        let Some(place) = found else {
            let (model, segment) = (set.model().to_owned(), given.segment.clone());
            return Err(PlanError::NoSegment { model, segment });
        };
        let segments = &map.get(place).segments;
        let segment = segments.first().copied().unwrap_or_default();
        let refuse = |value: Option<f64>, expected| {
            let (segment, side, kind) = (given.segment.clone(), given.side, given.kind);
            Err(PlanError::Amount { segment, side, kind, value, expected })
        };
        let possible = Places::of(self, set, history)?.steps(&map, given.side, place);
        let here = set.segments().get(segment);
        let fitting =
            history.fittings.iter().find(|fitting| fitting.side == given.side && fitting.segment == segment);
        let Some(link) = here.map(|here| link_at(self, here, fitting)) else {
            return refuse(None, "a segment of the line set");
        };
        let whole = |amount: f64| amount.fract() == 0.0 && (1.0..=10.0).contains(&amount);
        let step = match (given.kind, given.amount) {
            (ActionKind::Turn | ActionKind::RemoveLoop, Some(turns)) if !whole(turns) => {
                return refuse(Some(turns), "1 to 10 whole turns");
            }
            (ActionKind::Turn | ActionKind::RemoveLoop, turns) => {
                #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "1 to 10")]
                let count = turns.unwrap_or(1.0) as u32;
                if given.kind == ActionKind::Turn { link.turns(count) } else { link.remove(count) }
            }
            (ActionKind::LarksHead, Some(amount)) => return refuse(Some(amount), "no amount"),
            (ActionKind::LarksHead, None) => link.larks_head(),
            (ActionKind::Replace, value) => return refuse(value, "an action that changes a length by so much"),
            (kind, value) => match value.filter(|change| step_change_fault(kind, *change).is_none()) {
                Some(change) => Step::of(kind, change),
                None => {
                    return refuse(value, step_change_fault(kind, value.unwrap_or(0.0)).unwrap_or("a change, mm"));
                }
            },
        };
        // the same work as the search would propose it, with the workshop's own size
        let same = possible.iter().find(|one| one.kind == step.kind && one.turns == step.turns && step.turns != 0);
        let larks_head = possible.iter().find(|one| one.kind == step.kind && step.kind == ActionKind::LarksHead);
        let step = same.or(larks_head).copied().unwrap_or(step);
        let row = |segment: &usize| Action {
            date: check.date,
            hours_h: check.hours_h,
            side: given.side,
            segment: Some(*segment),
            kind: step.kind,
            change_mm: step.change_mm,
            turns: (step.turns != 0).then(|| f64::from(step.turns.abs())),
            check: None,
        };
        Ok(segments.iter().map(row).collect())
    }
}
