//! Which steps are possible at each place of a wing.

use super::map::{PlaceKind, PlaceMap};
use super::step::LinkStep;
use super::{LINE_DIAMETER_MM, LINK_DIAMETER_MM, OfferedStep, PlanError, PlanSpec, Step};
use crate::check::{ActionKind, Fitting, History};
use crate::wing::{LineSet, Row, Segment, Side};

/// One thing, several at once, or nothing, to do at one place.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Choice {
    pub(super) steps: Vec<Step>,
    pub(super) change_um: i64,
}

/// What hangs on the links of a wing, and the steps that leaves.
#[derive(Debug, Clone)]
pub(super) struct Places<'a> {
    spec: &'a PlanSpec,
    set: &'a LineSet,
    fittings: [Vec<Option<&'a Fitting>>; 2],
    /// Links put in before, as recorded, mm; those at a place add up.
    links: [Vec<Option<Step>>; 2],
}

/// Whole micrometres of a length in mm; past the range of the type its end.
#[allow(clippy::cast_possible_truncation, reason = "a cast from a float saturates, and settings are bounded before")]
pub(super) fn micrometres(length_mm: f64) -> i64 {
    (length_mm * 1000.0).round() as i64
}

fn in_range(
    segment: &Segment,
    place: &str,
    what: &'static str,
    value: Option<f64>,
    most: f64,
    expected: &'static str,
) -> Result<(), PlanError> {
    match value {
        Some(value) if !(value.is_finite() && value > 0.0 && value <= most) => {
            Err(PlanError::Segment { segment: segment.name.clone(), place: place.to_owned(), what, value, expected })
        }
        _ => Ok(()),
    }
}

impl<'a> Places<'a> {
    pub(super) fn of(spec: &'a PlanSpec, set: &'a LineSet, history: &'a History) -> Result<Self, PlanError> {
        let segments = set.segments();
        let mut fittings: [Vec<Option<&Fitting>>; 2] = [vec![None; segments.len()], vec![None; segments.len()]];
        for fitting in &history.fittings {
            let (side, index, count) = (fitting.side, fitting.segment, segments.len());
            let Some(cell) = fittings[side.index()].get_mut(index) else {
                return Err(PlanError::NotThere { what: "segment", index, side, count });
            };
            let segment = &segments[index];
            if cell.is_some() {
                return Err(PlanError::FittingTwice { segment: segment.name.clone(), side });
            }
            let place = format!("fittings, {side}");
            in_range(segment, &place, "link_diameter_mm", fitting.link_diameter_mm, 50.0, "more than 0, at most 50")?;
            in_range(segment, &place, "step_mm", fitting.step_mm, 200.0, "more than 0, at most 200")?;
            for (what, value) in [("turns", fitting.turns), ("spare_mm", fitting.spare_mm)] {
                let expected = "zero or more, at most 1000";
                if let Some(value) = value.filter(|value| !(*value >= 0.0 && *value <= 1000.0)) {
                    let segment = segment.name.clone();
                    return Err(PlanError::Segment { segment, place, what, value, expected });
                }
            }
            *cell = Some(fitting);
        }
        for segment in segments {
            in_range(segment, "segments", "diameter_mm", segment.diameter_mm, 20.0, "more than 0, at most 20")?;
        }
        let links = Side::BOTH.map(|side| (0..segments.len()).map(|at| link_lying(history, side, at)).collect());
        Ok(Self { spec, set, fittings, links })
    }

    /// Steps of a given size at a place on a side, without those that the call rules out.
    pub(super) fn steps(&self, map: &PlaceMap, side: Side, at: usize) -> Vec<Step> {
        let place = map.get(at);
        let spec = self.spec;
        let first = place.segments.first().copied().unwrap_or_default();
        let link = self.links[side.index()].get(first).copied().flatten();
        let mut steps = match place.kind {
            PlaceKind::Segment if self.set.has_cascade() => {
                let fitting = self.fittings[side.index()].get(at).copied().flatten();
                let segment = self.set.segments().get(at);
                segment.map(|segment| steps(spec, segment, place.foot, fitting, link)).unwrap_or_default()
            }
            PlaceKind::Main => {
                let main = Segment {
                    name: place.name.clone(),
                    parent: None,
                    material: String::new(),
                    length_mm: 0.0,
                    diameter_mm: None,
                    can_loop: None,
                };
                steps(spec, &main, place.foot, None, link)
            }
            PlaceKind::Riser(row) => {
                let offers = spec.offered.iter().flatten().filter(|one| one.kind == ActionKind::Riser);
                let here = offers.filter(|one| one.row.is_none_or(|only| only == row));
                here.filter_map(|one| Some(one.priced(Step::of(one.kind, one.change_mm?)))).collect()
            }
            // nothing is known of a line's own pieces; the handle is set to what is needed
            PlaceKind::Segment | PlaceKind::Handle => Vec::new(),
        };
        steps.retain(|step| spec.allows(step.kind) && spec.only.is_none_or(|only| only.allows(step.change_mm)));
        steps
    }

    /// What may be done at a place on a side, several steps at once included; the first is to do nothing.
    pub(super) fn choices(&self, map: &PlaceMap, side: Side, at: usize) -> Vec<Choice> {
        choices(self.spec, &self.steps(map, side, at))
    }
}

/// The link that was put in at a segment and not taken out since.
fn link_lying(history: &History, side: Side, segment: usize) -> Option<Step> {
    let here = history.actions.iter().filter(|action| action.side == side && action.segment == Some(segment));
    let mut lying: Option<Step> = None;
    for action in here {
        match action.kind {
            ActionKind::SmallLink | ActionKind::LargerLink => {
                let change_mm = action.change_mm + lying.map_or(0.0, |lying| lying.change_mm);
                lying = (change_mm > 0.05).then(|| Step::of(action.kind, change_mm));
            }
            ActionKind::Replace => lying = None,
            _ => {}
        }
    }
    lying
}

/// What a segment hangs on at its lower end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Foot {
    /// A link at the riser.
    Riser,
    /// The brake handle: a segment without a parent that carries brake lines alone.
    Handle,
    /// Another segment.
    Junction,
}

/// What each segment hangs on.
pub(super) fn feet(set: &LineSet) -> Vec<Foot> {
    let mut brakes_alone = vec![true; set.segments().len()];
    for (line, _) in set.lines().iter().enumerate().filter(|(_, drawn)| drawn.row != Row::Brake) {
        for segment in set.path_indices(line) {
            brakes_alone[segment] = false;
        }
    }
    let foot = |(segment, brakes): (&Segment, bool)| match segment.parent {
        Some(_) => Foot::Junction,
        None if brakes => Foot::Handle,
        None => Foot::Riser,
    };
    set.segments().iter().zip(brakes_alone).map(foot).collect()
}

/// The link at a segment's foot: the wing's own measured step, else the formula.
pub(super) fn link_at(spec: &PlanSpec, segment: &Segment, fitting: Option<&Fitting>) -> LinkStep {
    let link_mm = fitting.and_then(|fitting| fitting.link_diameter_mm).unwrap_or(LINK_DIAMETER_MM);
    let line_mm = segment.diameter_mm.unwrap_or(LINE_DIAMETER_MM);
    let link = LinkStep::by_formula(link_mm, line_mm, spec.formula_uncertainty_pct);
    match fitting.and_then(|fitting| fitting.step_mm) {
        Some(step_mm) => link.measured(step_mm, spec.measured_uncertainty_pct),
        None => link,
    }
}

/// Single steps possible at a segment.
///
/// A loop may be laid where the fitting says so, else where the segment says so, else only at the riser: there a link is
/// reached from the ground and made to be opened, while an unknown junction higher up may be sewn or looped line to line,
/// and a brake main is tied to its handle.
pub(super) fn steps(
    spec: &PlanSpec,
    segment: &Segment,
    foot: Foot,
    fitting: Option<&Fitting>,
    carried: Option<Step>,
) -> Vec<Step> {
    let at_riser = foot == Foot::Riser;
    let link = link_at(spec, segment, fitting);
    let measured_mm = fitting.and_then(|fitting| fitting.step_mm);
    // nothing is stacked on a link that was put in
    let can_loop =
        carried.is_none() && fitting.and_then(|fitting| fitting.can_loop).or(segment.can_loop).unwrap_or(at_riser);
    let spare_mm = fitting.and_then(|fitting| fitting.spare_mm).unwrap_or(f64::INFINITY);
    // a part of a turn is no turn; the range was checked before
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 0 and 1000")]
    let lying = fitting.and_then(|fitting| fitting.turns).unwrap_or(0.0).floor() as u32;
    if let Some(offered) = &spec.offered {
        let bare = at_riser && carried.is_none();
        let here = Here { spec, link, measured: measured_mm.is_some(), bare, can_loop, lying };
        let mut steps: Vec<Step> = offered.iter().flat_map(|one| here.offers(one)).collect();
        steps.retain(|step| -step.change_mm <= spare_mm || step.kind == ActionKind::Splice);
        if let Some(carried) = carried {
            steps.push(Step::of(carried.kind, -carried.change_mm));
        }
        return steps;
    }
    let mut steps = Vec::new();
    if can_loop {
        steps.extend((1..=spec.most_turns.saturating_sub(lying)).map(|count| link.turns(count)));
        if lying == 0 {
            steps.push(link.larks_head());
        }
    }
    if can_loop || fitting.is_some() {
        steps.retain(|step| -step.change_mm <= spare_mm);
    }
    steps.extend((1..=lying).map(|count| link.remove(count)));
    match carried {
        // never a link on a link
        Some(carried) => steps.push(Step::of(carried.kind, -carried.change_mm)),
        None if at_riser => {
            steps.extend(spec.small_links_mm.iter().map(|length| Step::of(ActionKind::SmallLink, *length)));
            steps.extend(spec.larger_links_mm.iter().map(|length| Step::of(ActionKind::LargerLink, *length)));
        }
        None => {}
    }
    steps.extend(spec.splices_mm.iter().map(|change| Step::of(ActionKind::Splice, *change)));
    steps
}

/// One place, as far as the steps of a workshop's own ask for it.
struct Here<'a> {
    spec: &'a PlanSpec,
    link: LinkStep,
    /// Whether the link's step is this wing's own measured one, which goes before what the workshop gives.
    measured: bool,
    /// Whether it is at the riser and no link was put in.
    bare: bool,
    can_loop: bool,
    lying: u32,
}

impl Here<'_> {
    /// The steps that one offer comes to here.
    fn offers(&self, one: &OfferedStep) -> Vec<Step> {
        let given = one.change_mm.map(f64::abs).filter(|_| !self.measured);
        let standard_mm = one.standard_mm.filter(|_| !self.measured);
        let turn = || self.link.given_turn(given.unwrap_or(self.link.turn_mm()), standard_mm);
        let mut steps = match one.kind {
            ActionKind::Turn if self.can_loop => {
                let most = one.most.unwrap_or(self.spec.most_turns).saturating_sub(self.lying);
                (1..=most).map(|count| turn().turns(count)).collect()
            }
            ActionKind::LarksHead if self.can_loop && self.lying == 0 => {
                let size_mm = given.unwrap_or(self.link.larks_head_mm());
                vec![self.link.given_larks_head(size_mm, standard_mm).larks_head()]
            }
            ActionKind::RemoveLoop => {
                let most = one.most.map_or(self.lying, |most| most.min(self.lying));
                (1..=most).map(|count| turn().remove(count)).collect()
            }
            ActionKind::SmallLink | ActionKind::LargerLink if self.bare => sized(one).into_iter().collect(),
            ActionKind::Splice => sized(one).into_iter().collect(),
            _ => Vec::new(),
        };
        for step in &mut steps {
            step.price = one.price;
        }
        steps
    }
}

/// An offered step of a size of its own.
fn sized(one: &OfferedStep) -> Option<Step> {
    one.change_mm.map(|change_mm| one.priced(Step::of(one.kind, change_mm)))
}

/// Whether two steps may be done at one place: not two of one kind, not one against the other, and not a lark's head on
/// top of turns.
fn go_together(one: &Step, other: &Step) -> bool {
    let loops = |kind| matches!(kind, ActionKind::Turn | ActionKind::LarksHead);
    let links = |kind| matches!(kind, ActionKind::SmallLink | ActionKind::LargerLink);
    one.kind != other.kind
        && (one.change_mm > 0.0) == (other.change_mm > 0.0)
        && !(loops(one.kind) && loops(other.kind))
        && !(links(one.kind) && links(other.kind))
}

fn choices(spec: &PlanSpec, steps: &[Step]) -> Vec<Choice> {
    let mut found = vec![Choice { steps: Vec::new(), change_um: 0 }];
    let mut from = 0;
    for _ in 0..spec.most_at_place {
        let until = found.len();
        for at in from..until {
            for step in steps {
                let taken = &found[at].steps;
                // in rising order of kind, so that each set comes once
                let rises = taken.last().is_none_or(|last| last.kind < step.kind);
                if rises && taken.iter().all(|other| go_together(step, other)) {
                    let mut steps = taken.clone();
                    steps.push(*step);
                    let change_um = found[at].change_um + micrometres(step.change_mm);
                    found.push(Choice { steps, change_um });
                }
            }
        }
        from = until;
    }
    // fewest actions first, then the smallest change: also the order in which ties are settled
    found.sort_by_key(|choice| (choice.steps.len(), choice.change_um.abs(), choice.change_um));
    found
}
