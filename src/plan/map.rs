//! The places of a wing where work can be done, and how they hang on each other.

use super::PlanSpec;
use super::places::{Foot, feet};
use crate::check::ActionKind;
use crate::wing::{LineSet, Row};

/// What a place is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum PlaceKind {
    /// A segment of the cascade, or a line that is one piece.
    Segment,
    /// A main that only the table of lines names.
    Main,
    /// The brake handle.
    Handle,
    /// The riser of a row, with an adjuster.
    Riser(Row),
}

/// One place.
#[derive(Debug, Clone)]
pub(super) struct Place {
    pub(super) name: String,
    pub(super) kind: PlaceKind,
    pub(super) parent: Option<usize>,
    /// The last place on the way down.
    pub(super) root: usize,
    /// How many mains and segments lie between it and the riser.
    pub(super) level: u32,
    pub(super) foot: Foot,
    /// The segments of the line set that it moves as a whole: itself, or what hangs on it.
    pub(super) segments: Vec<usize>,
}

/// All places: first the segments with their own indices, then those that stand for several.
#[derive(Debug, Clone)]
pub(super) struct PlaceMap {
    places: Vec<Place>,
    /// Places on the way down from each line.
    paths: Vec<Vec<usize>>,
    /// Parents before their children.
    order: Vec<usize>,
}

impl PlaceMap {
    pub(super) fn of(spec: &PlanSpec, set: &LineSet) -> Self {
        let mut places: Vec<Place> = Vec::with_capacity(set.segments().len() + 4);
        for (at, (segment, foot)) in set.segments().iter().zip(feet(set)).enumerate() {
            places.push(Place {
                name: segment.name.clone(),
                kind: PlaceKind::Segment,
                parent: segment.parent,
                root: at,
                level: 0,
                foot,
                segments: vec![at],
            });
        }
        let mut map = Self { places, paths: Vec::new(), order: Vec::new() };
        if !set.has_cascade() {
            map.hang_on_mains(set);
        }
        if spec.needed(ActionKind::BrakeHandle).is_some() {
            map.hang_together(PlaceKind::Handle, |map, at| map.places[at].foot == Foot::Handle);
        }
        for row in spec.riser_rows() {
            let of_row = |at: usize| {
                let mut above = (0..set.lines().len()).filter(|line| set.path_indices(*line).any(|on| on == at));
                above.all(|line| set.lines().get(line).is_some_and(|line| line.row == row))
            };
            map.hang_together(PlaceKind::Riser(row), |map, at| {
                map.places[at].foot == Foot::Riser && map.places[at].segments.iter().all(|at| of_row(*at))
            });
        }
        map.finish(set);
        map
    }

    fn push(&mut self, place: Place) {
        // what stands for several lies under whatever they hung on before
        let top = |segment: usize| {
            let way = std::iter::successors(Some(segment), |at| self.places.get(*at)?.parent);
            way.take(self.places.len()).last().unwrap_or(segment)
        };
        let tops: Vec<usize> = place.segments.iter().map(|segment| top(*segment)).collect();
        for top in tops {
            self.places[top].parent = Some(self.places.len());
        }
        self.places.push(place);
    }

    /// Without a cascade the mains that the lines name are places.
    fn hang_on_mains(&mut self, set: &LineSet) {
        let mut names: Vec<&str> = set.lines().iter().filter_map(|line| line.main.as_deref()).collect();
        names.sort_unstable();
        names.dedup();
        for name in names {
            let on = set.lines().iter().filter(|line| line.main.as_deref() == Some(name));
            let mut segments: Vec<usize> = on.clone().map(|line| line.segment).collect();
            segments.sort_unstable();
            segments.dedup();
            let brakes = on.clone().all(|line| line.row == Row::Brake);
            let foot = if brakes { Foot::Handle } else { Foot::Riser };
            for &segment in &segments {
                self.places[segment].foot = Foot::Junction;
            }
            let name = name.to_owned();
            self.push(Place { name, kind: PlaceKind::Main, parent: None, root: 0, level: 0, foot, segments });
        }
    }

    /// One place under all roots of a kind.
    fn hang_together(&mut self, kind: PlaceKind, belongs: impl Fn(&Self, usize) -> bool) {
        let roots: Vec<usize> =
            (0..self.places.len()).filter(|&at| self.places[at].parent.is_none() && belongs(self, at)).collect();
        if roots.is_empty() {
            return;
        }
        let names: Vec<&str> = roots.iter().map(|&at| self.places[at].name.as_str()).collect();
        let name = names.join("+");
        let segments: Vec<usize> = roots.iter().flat_map(|&at| self.places[at].segments.iter().copied()).collect();
        self.push(Place { name, kind, parent: None, root: 0, level: 0, foot: Foot::Junction, segments });
    }

    fn finish(&mut self, set: &LineSet) {
        let count = self.places.len();
        let way = |places: &[Place], at: usize| -> Vec<usize> {
            std::iter::successors(Some(at), |at| places.get(*at)?.parent).take(count).collect()
        };
        // each place by the one it hangs on, so that a long chain is gone down once
        let mut depths = vec![0_usize; count];
        for at in 0..count {
            let mut unknown: Vec<usize> = Vec::new();
            let mut here = Some(at);
            while let Some(place) = here.filter(|here| depths.get(*here) == Some(&0) && unknown.len() < count) {
                unknown.push(place);
                here = self.places[place].parent;
            }
            for place in unknown.into_iter().rev() {
                let below = self.places[place].parent.and_then(|below| Some((below, self.places.get(below)?)));
                let (depth, root, level) = match below {
                    Some((at, below)) => {
                        let counts = matches!(below.kind, PlaceKind::Segment | PlaceKind::Main);
                        (depths[at] + 1, below.root, below.level + u32::from(counts))
                    }
                    None => (1, place, 0),
                };
                depths[place] = depth;
                (self.places[place].root, self.places[place].level) = (root, level);
            }
        }
        self.order = (0..count).collect();
        self.order.sort_by_key(|&at| depths[at]);
        self.paths = set.lines().iter().map(|line| way(&self.places, line.segment)).collect();
    }

    pub(super) fn len(&self) -> usize {
        self.places.len()
    }

    pub(super) fn get(&self, at: usize) -> &Place {
        &self.places[at]
    }

    pub(super) fn order(&self) -> &[usize] {
        &self.order
    }

    pub(super) fn roots(&self) -> impl Iterator<Item = usize> + '_ {
        (0..self.places.len()).filter(|&at| self.places[at].parent.is_none())
    }

    /// Places on the way down from a line.
    pub(super) fn path(&self, line: usize) -> &[usize] {
        self.paths.get(line).map_or(&[], Vec::as_slice)
    }

    /// Whether a place lies on the way down from another, or is it.
    pub(super) fn is_below(&self, place: usize, from: usize) -> bool {
        let way = std::iter::successors(Some(from), |at| self.places.get(*at)?.parent);
        way.take(self.places.len()).any(|at| at == place)
    }

    pub(super) fn find(&self, name: &str) -> Option<usize> {
        // a main goes before a line of the same name
        let named = |at: &usize| self.places[*at].name == name;
        let main = |at: &usize| self.places[*at].kind == PlaceKind::Main;
        (0..self.places.len()).filter(named).max_by_key(main)
    }

    /// Whether anything says which lines hang together.
    pub(super) fn knows_groups(&self, set: &LineSet) -> bool {
        set.has_cascade() || self.places.iter().any(|place| place.kind == PlaceKind::Main)
    }
}

impl PlanSpec {
    /// Rows whose risers have an adjuster.
    pub(super) fn riser_rows(&self) -> Vec<Row> {
        let offers = self.offered.iter().flatten().filter(|one| one.kind == ActionKind::Riser);
        let of = |row: &Row| offers.clone().any(|one| one.row.is_none_or(|only| only == *row));
        Row::ALL.into_iter().filter(|row| row.is_trim()).filter(of).collect()
    }
}
