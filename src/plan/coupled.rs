//! The exact search where the trees hang together: incidence and asymmetry left over have a price of their own.
//!
//! With `x` a plan, `c(x)` its separable cost and `s(x)` the incidence (or asymmetry) that it leaves, the objective is
//! `F(x) = c(x) + κ·max(0, |s(x)| − U)`. For any tilt λ within ±κ, `L(λ) = min over x of [c(x) + λ·s(x)] − |λ|·U` is no larger
//! than the best `F`, and each evaluation of it is the separable programme with other prices. So the best tilt gives a lower
//! bound and good plans; where a gap is left between them, every state that could lie on a plan within the gap is listed with
//! all its values of `s`, and nothing else: what is left out is dearer than the plan at hand.

use std::collections::BTreeMap;
use std::rc::Rc;

use super::aim::Weights;
use super::forest::{Key, Shift, UNITS, units};
use super::search::{Best, Pick, Search, Tilt, Values};
use super::tradeoff::Curves;
use crate::wing::Side;

/// Evaluations on the way to the best tilt, each for incidence and for asymmetry.
const MOST_TILTS: usize = 24;
/// Rounds over the two.
const ROUNDS: usize = 3;
/// Roundings of tilted costs, in millionths.
const SLACK: i64 = 2000;
/// Entries listed past which the search is given up.
const MOST_ENTRIES: usize = 150_000;
/// Cheaper entries of a kind that one is held against.
const HELD_AGAINST: usize = 24;

/// Prices of what is left over, per millionth of a degree in millionths of cost, and what cannot be told from none.
#[derive(Debug, Clone, Copy)]
pub(super) struct Coupling {
    price: Tilt,
    free: Tilt,
}

/// A plan, and by how much one could be better, in millionths: 0 where none is.
#[derive(Debug, Clone)]
pub(super) struct Solved {
    pub(super) best: Best,
    pub(super) gap: i64,
}

/// One way to reach a value: the picks as a tree, shared between entries.
#[derive(Debug)]
enum Trail {
    Pick(Pick),
    Join(Rc<Trail>, Rc<Trail>),
}

#[derive(Debug, Clone, Default)]
struct Entry {
    key: Key,
    tilted: i64,
    trail: Option<Rc<Trail>>,
}

type Front = BTreeMap<Shift, Entry>;

impl Coupling {
    /// From prices per degree and half widths in degrees.
    pub(super) fn of(weights: Weights, incidence_free_deg: f64, asymmetry_free_deg: f64) -> Self {
        Self {
            price: Tilt { incidence: weights.incidence_per_deg, asymmetry: weights.asymmetry_per_deg },
            free: Tilt { incidence: incidence_free_deg * UNITS, asymmetry: asymmetry_free_deg * UNITS },
        }
    }

    /// Nothing left over has a price.
    pub(super) fn none() -> Self {
        Self { price: Tilt::default(), free: Tilt::default() }
    }

    /// Price of what is left over, in millionths.
    #[allow(clippy::cast_possible_truncation, reason = "a cast from a float saturates")]
    pub(super) fn left_over(&self, shift: Shift) -> i64 {
        let past = |shift: i64, free: f64| (shift as f64).abs() - free;
        let incidence = self.price.incidence * past(shift.incidence, self.free.incidence).max(0.0);
        let asymmetry = self.price.asymmetry * past(shift.asymmetry, self.free.asymmetry).max(0.0);
        (incidence + asymmetry).round() as i64
    }

    fn objective(&self, best: &Best) -> Key {
        best.key.dearer_by(self.left_over(best.shift))
    }

    /// What a tilted plan's total is to be lowered by to bound the objective from below.
    fn bound(&self, search: &Search, values: &Values, tilt: Tilt) -> Key {
        let free = tilt.incidence.abs() * self.free.incidence + tilt.asymmetry.abs() * self.free.asymmetry;
        #[allow(clippy::cast_possible_truncation, reason = "a cast from a float saturates")]
        let free = free.ceil() as i64;
        values.total.dearer_by(tilt.cost(search.forest.shift) - free)
    }

    /// The best plan.
    pub(super) fn solve(&self, search: &Search) -> Solved {
        let mut hunt = Hunt::new(self, search);
        hunt.try_at(Tilt::default());
        for round in 0..ROUNDS {
            if hunt.is_closed() || (round > 0 && !hunt.moved) {
                break;
            }
            hunt.moved = false;
            hunt.along(
                |tilt| &mut tilt.incidence,
                |shift| shift.incidence,
                self.price.incidence,
                self.free.incidence,
            );
            hunt.along(
                |tilt| &mut tilt.asymmetry,
                |shift| shift.asymmetry,
                self.price.asymmetry,
                self.free.asymmetry,
            );
        }
        if hunt.is_closed() {
            return Solved { best: hunt.best, gap: 0 };
        }
        match hunt.list() {
            Some(better) => Solved { best: better, gap: 0 },
            None => Solved { gap: (self.objective(&hunt.best).cost - hunt.bound.cost).max(1), best: hunt.best },
        }
    }
}

impl Coupling {
    /// Tilts of some strengths the way the wing is off.
    fn tilts(&self, shift: Shift) -> Vec<Tilt> {
        let strengths = |price: f64, shift: i64, free: f64| match price {
            price if price > 0.0 && (shift as f64).abs() > free => {
                vec![0.0, 0.1, 0.3, 1.0].into_iter().map(|part| part * price * (shift as f64).signum()).collect()
            }
            _ => vec![0.0],
        };
        let of_incidence = strengths(self.price.incidence, shift.incidence, self.free.incidence);
        let of_asymmetry = strengths(self.price.asymmetry, shift.asymmetry, self.free.asymmetry);
        let pair = |incidence: f64| of_asymmetry.iter().map(move |&asymmetry| Tilt { incidence, asymmetry });
        of_incidence.into_iter().flat_map(pair).collect()
    }

    /// The best plans with at most 0, 1, 2, … `most` actions: the best of a few tilts, each exact for itself, called exact
    /// where the bound of a tilt is reached.
    pub(super) fn solve_by_actions(&self, search: &Search, most: usize) -> Vec<Solved> {
        let mut found: Vec<Option<Solved>> = vec![None; most + 1];
        let mut bounds = vec![i64::MIN; most + 1];
        for tilt in self.tilts(search.forest.shift) {
            let curves = Curves::of(search, tilt, most);
            let free = tilt.incidence.abs() * self.free.incidence + tilt.asymmetry.abs() * self.free.asymmetry;
            for (actions, known) in found.iter_mut().enumerate() {
                let best = curves.best(actions);
                let total = best.key.dearer_by(tilt.cost(best.shift)).cost as f64 - free;
                bounds[actions] = bounds[actions].max(units(total / UNITS).saturating_sub(SLACK));
                let better = |known: &Solved| self.objective(&best) < self.objective(&known.best);
                if known.as_ref().is_none_or(better) {
                    *known = Some(Solved { best, gap: 0 });
                }
            }
        }
        let closed = |(solved, bound): (Option<Solved>, i64)| {
            let mut solved = solved?;
            let gap = self.objective(&solved.best).cost.saturating_sub(bound);
            solved.gap = if gap <= 2 * SLACK { 0 } else { gap };
            Some(solved)
        };
        found.into_iter().zip(bounds).filter_map(closed).collect()
    }
}

/// The way to the best tilt.
struct Hunt<'a> {
    coupling: &'a Coupling,
    search: &'a Search,
    best: Best,
    /// The largest bound, where it is and the values there.
    bound: Key,
    tilt: Tilt,
    values: Option<Values>,
    moved: bool,
}

impl<'a> Hunt<'a> {
    fn new(coupling: &'a Coupling, search: &'a Search) -> Self {
        let best = Best { key: Key { outside: u32::MAX, ..Key::default() }, ..Best::default() };
        let bound = Key { cost: i64::MIN, ..Key::default() };
        Self { coupling, search, best, bound, tilt: Tilt::default(), values: None, moved: false }
    }

    /// Evaluates a tilt; keeps the better plan and the larger bound. Gives what the plan there leaves.
    fn try_at(&mut self, tilt: Tilt) -> (Shift, i64) {
        let values = self.search.values(tilt);
        let plan = self.search.best(&values, tilt);
        let shift = plan.shift;
        if self.best.key.outside == u32::MAX || self.coupling.objective(&plan) < self.coupling.objective(&self.best) {
            self.best = plan;
        }
        let bound = self.coupling.bound(self.search, &values, tilt);
        if self.values.is_none() || bound.cost > self.bound.cost {
            self.moved = true;
            (self.bound, self.tilt, self.values) = (bound, tilt, Some(values));
        }
        (shift, bound.cost)
    }

    fn is_closed(&self) -> bool {
        self.coupling.objective(&self.best).cost <= self.bound.cost
    }

    /// Raises the bound along one of the two, the other held: the bound is concave, made of straight pieces, and the slope at
    /// a tilt is what the plan there leaves.
    fn along(&mut self, part: impl Fn(&mut Tilt) -> &mut f64, of: impl Fn(Shift) -> i64, price: f64, free: f64) {
        if price == 0.0 || self.is_closed() {
            return;
        }
        let at = |tilt: Tilt, value: f64| {
            let mut tilt = tilt;
            *part(&mut tilt) = value;
            tilt
        };
        let held = self.tilt;
        let (zero, low) = self.try_at(at(held, 0.0));
        let left = of(zero) as f64;
        if left.abs() <= free {
            return;
        }
        let sign = left.signum();
        let slope = |shift: Shift| sign * of(shift) as f64 - free;
        let (mut near, mut near_bound, mut near_slope) = (0.0, low as f64, slope(zero));
        let (far_shift, far_bound) = self.try_at(at(held, sign * price));
        let (mut far, mut far_bound, mut far_slope) = (price, far_bound as f64, slope(far_shift));
        for _ in 0..MOST_TILTS {
            if far_slope >= 0.0 || self.is_closed() {
                return;
            }
            // where the two straight pieces meet
            let meet = (far_bound - near_bound + near_slope * near - far_slope * far) / (near_slope - far_slope);
            if !(meet > near && meet < far) {
                return;
            }
            let top = near_bound + near_slope * (meet - near);
            let (shift, bound) = self.try_at(at(held, sign * meet));
            if bound as f64 >= top - SLACK as f64 / 10.0 {
                return;
            }
            let found = slope(shift);
            if found > 0.0 {
                (near, near_bound, near_slope) = (meet, bound as f64, found);
            } else {
                (far, far_bound, far_slope) = (meet, bound as f64, found);
            }
        }
    }

    /// Lists what lies within the gap. `None` when that is too much.
    fn list(&mut self) -> Option<Best> {
        let values = self.values.take()?;
        let objective = self.coupling.objective(&self.best);
        let gap = objective.cost.saturating_sub(self.bound.cost).saturating_add(SLACK);
        let room = Room::of(self.search, &values, self.tilt, gap);
        let mut list =
            List { coupling: self.coupling, search: self.search, values: &values, tilt: self.tilt, entries: 0 };
        let mut fronts: Vec<Vec<Option<Front>>> = vec![Vec::new(); self.search.forest.nodes.len()];
        for at in (0..fronts.len()).rev() {
            let own: Option<Vec<Option<Front>>> = room.of[at]
                .iter()
                .enumerate()
                .map(|(from, room)| match room {
                    Some(room) => list.node(at, from, *room, &fronts).map(Some),
                    None => Some(None),
                })
                .collect();
            fronts[at] = own?;
            for &child in &self.search.children[at] {
                fronts[child] = Vec::new();
            }
        }
        // each side for itself, then what is worked alike: within one of them incidence and asymmetry go together
        let nodes = &self.search.forest.nodes;
        let mut classes: Vec<&[Side]> = Vec::new();
        for &root in &self.search.roots {
            if !classes.contains(&nodes[root].sides.as_slice()) {
                classes.push(&nodes[root].sides);
            }
        }
        let mut sums = Vec::new();
        for class in classes {
            let roots = || self.search.roots.iter().copied().filter(|root| nodes[*root].sides == class);
            let least: i64 = roots().map(|root| values.before[root][0].cost).sum();
            let mut sum = Sum { front: Front::from([(Shift::default(), Entry::default())]), least };
            let mut rest = least;
            for root in roots() {
                rest -= values.before[root][0].cost;
                let limit = least.saturating_add(gap).saturating_sub(rest);
                sum.front = list.join(&sum.front, fronts[root].first()?.as_ref()?, limit)?;
            }
            sums.push(sum);
        }
        sums.sort_by_key(|sum| sum.front.len());
        let last = sums.pop()?;
        let start = Sum { front: Front::from([(Shift::default(), Entry::default())]), least: 0 };
        let all = sums.into_iter().try_fold(start, |all, sum| {
            let least = all.least.saturating_add(sum.least);
            list.join(&all.front, &sum.front, least.saturating_add(gap)).map(|front| Sum { front, least })
        })?;
        let limit = all.least.saturating_add(last.least).saturating_add(gap);
        let best = self.best_pair(&all.front, &last.front, limit);
        best.filter(|best| self.coupling.objective(best) <= objective).or_else(|| Some(self.best.clone()))
    }

    /// The best sum of two fronts up to a tilted cost.
    fn best_pair(&self, one: &Front, other: &Front, limit: i64) -> Option<Best> {
        let mut cheapest: Vec<(&Shift, &Entry)> = other.iter().collect();
        cheapest.sort_by_key(|(_, entry)| entry.tilted);
        let mut best: Option<(Key, Shift, &Entry, &Entry)> = None;
        for (shift, entry) in one {
            let here = self.search.forest.shift.plus(*shift);
            for (more, added) in &cheapest {
                if entry.tilted.saturating_add(added.tilted) > limit {
                    break;
                }
                let shift = here.plus(**more);
                let key = entry.key.plus(added.key).dearer_by(self.coupling.left_over(shift));
                if best.as_ref().is_none_or(|known| (key, shift) < (known.0, known.1)) {
                    best = Some((key, shift, entry, added));
                }
            }
        }
        best.map(|(_, shift, one, other)| Best {
            key: one.key.plus(other.key),
            shift,
            picks: picks(joined(one.trail.as_ref(), other.trail.as_ref()).as_ref()),
        })
    }
}

/// A sum of trees: all its values within the gap, and the least tilted cost.
struct Sum {
    front: Front,
    least: i64,
}

/// How much dearer than the best a plan may be that passes a state; none where no plan within the gap passes.
struct Room {
    of: Vec<Vec<Option<i64>>>,
}

impl Room {
    fn of(search: &Search, values: &Values, tilt: Tilt, gap: i64) -> Self {
        let nodes = &search.forest.nodes;
        let mut of: Vec<Vec<Option<i64>>> = values.before.iter().map(|before| vec![None; before.len()]).collect();
        for &root in &search.roots {
            of[root][0] = Some(gap);
        }
        for at in 0..nodes.len() {
            let count = nodes[at].choices.len();
            for from in 0..of[at].len() {
                let Some(room) = of[at][from] else { continue };
                for way in search.states.ways(at, from, count) {
                    let value = search.choice_key(at, from, way.choice, tilt).plus(values.after[at][way.leads_to]);
                    let best = values.before[at][from];
                    let left = room - (value.cost - best.cost);
                    if value.outside == best.outside && left >= 0 {
                        for &child in &search.children[at] {
                            let cell = &mut of[child][way.leads_to];
                            *cell = Some(cell.map_or(left, |known| known.max(left)));
                        }
                    }
                }
            }
        }
        Self { of }
    }
}

struct List<'a> {
    coupling: &'a Coupling,
    search: &'a Search,
    values: &'a Values,
    tilt: Tilt,
    entries: usize,
}

impl List<'_> {
    /// All values of a state within its room.
    fn node(&mut self, at: usize, from: usize, room: i64, fronts: &[Vec<Option<Front>>]) -> Option<Front> {
        let search = self.search;
        let node = &search.forest.nodes[at];
        let best = self.values.before[at][from];
        let limit = best.cost.saturating_add(room);
        let mut all = Front::new();
        for way in search.states.ways(at, from, node.choices.len()) {
            let key = search.choice_key(at, from, way.choice, self.tilt);
            let value = key.plus(self.values.after[at][way.leads_to]);
            if value.outside != best.outside || value.cost > limit {
                continue;
            }
            let (choice, plain) =
                (&node.choices[way.choice], search.choice_key(at, from, way.choice, Tilt::default()));
            let trail = (way.choice != 0).then(|| Rc::new(Trail::Pick(Pick { node: at, choice: way.choice })));
            let own = search.lines[at][way.leads_to];
            let start = Entry { key: plain.plus(own), tilted: key.cost.saturating_add(own.cost), trail };
            let mut front = Front::from([(choice.shift, start)]);
            let children = &search.children[at];
            let mut rest: i64 = children.iter().map(|child| self.values.before[*child][way.leads_to].cost).sum();
            for &child in children {
                rest -= self.values.before[child][way.leads_to].cost;
                front = self.join(&front, fronts[child].get(way.leads_to)?.as_ref()?, limit.saturating_sub(rest))?;
            }
            for (shift, entry) in front {
                keep(&mut all, shift, entry);
            }
        }
        // a value outside the best count of lines is never part of the best plan
        all.retain(|_, entry| entry.key.outside == best.outside);
        self.thin(&mut all);
        self.entries += all.len();
        (self.entries <= MOST_ENTRIES).then_some(all)
    }

    /// Sums of two fronts up to a tilted cost.
    fn join(&mut self, one: &Front, other: &Front, limit: i64) -> Option<Front> {
        let mut all = Front::new();
        for (shift, entry) in one {
            for (more, added) in other {
                let tilted = entry.tilted.saturating_add(added.tilted);
                if tilted > limit {
                    continue;
                }
                let trail = joined(entry.trail.as_ref(), added.trail.as_ref());
                keep(&mut all, shift.plus(*more), Entry { key: entry.key.plus(added.key), tilted, trail });
            }
        }
        self.thin(&mut all);
        self.entries += all.len();
        (self.entries <= MOST_ENTRIES).then_some(all)
    }

    /// Takes out what a cheaper one beats wherever the plan ends: what is left over changes by no more than its price for
    /// each millionth of a degree between them. Each is compared with the cheapest and with those that leave nearly the same.
    fn thin(&self, all: &mut Front) {
        let mut sorted: Vec<(Shift, Key)> = all.iter().map(|(shift, entry)| (*shift, entry.key)).collect();
        sorted.sort_unstable_by_key(|(shift, key)| (*key, *shift));
        let fewest = sorted.first().map_or(0, |(_, key)| key.outside);
        let price = self.coupling.price;
        let mut cheapest: Vec<(Shift, Key)> = Vec::new();
        let mut kept: BTreeMap<Shift, Key> = BTreeMap::new();
        for (shift, key) in sorted {
            let beats = |other: &Shift, cheaper: &Key| {
                let apart = price.incidence * (other.incidence - shift.incidence).abs() as f64
                    + price.asymmetry * (other.asymmetry - shift.asymmetry).abs() as f64;
                cheaper.cost as f64 + apart < key.cost as f64
            };
            let near = || kept.range(..shift).rev().take(HELD_AGAINST).chain(kept.range(shift..).take(HELD_AGAINST));
            if key.outside == fewest
                && !cheapest.iter().any(|(other, cheaper)| beats(other, cheaper))
                && !near().any(|(other, cheaper)| beats(other, cheaper))
            {
                if cheapest.len() < HELD_AGAINST {
                    cheapest.push((shift, key));
                }
                kept.insert(shift, key);
            }
        }
        all.retain(|shift, _| kept.contains_key(shift));
    }
}

fn joined(one: Option<&Rc<Trail>>, other: Option<&Rc<Trail>>) -> Option<Rc<Trail>> {
    match (one, other) {
        (Some(one), Some(other)) => Some(Rc::new(Trail::Join(Rc::clone(one), Rc::clone(other)))),
        (one, other) => one.or(other).map(Rc::clone),
    }
}

fn keep(all: &mut Front, shift: Shift, entry: Entry) {
    match all.entry(shift) {
        std::collections::btree_map::Entry::Vacant(free) => {
            free.insert(entry);
        }
        std::collections::btree_map::Entry::Occupied(mut known) => {
            if entry.key < known.get().key {
                known.insert(entry);
            }
        }
    }
}

fn picks(trail: Option<&Rc<Trail>>) -> Vec<Pick> {
    let mut open: Vec<&Trail> = trail.map(Rc::as_ref).into_iter().collect();
    let mut found = Vec::new();
    while let Some(trail) = open.pop() {
        match trail {
            Trail::Pick(pick) => found.push(*pick),
            Trail::Join(one, other) => open.extend([one.as_ref(), other.as_ref()]),
        }
    }
    found.sort_by_key(|pick| pick.node);
    found
}
