//! Exact sums of one check, while its readings stream by.

use std::collections::BTreeSet;

use crate::wear::LineSum;

/// A line that has no reading yet. Deviations are held with their sign bit turned, so that fresh memory says so.
const NONE: i32 = 0;

/// What a deviation is held as; `None` when it does not fit.
fn held(um: i64) -> Option<i32> {
    i32::try_from(um).ok().map(|um| um ^ i32::MIN).filter(|held| *held != NONE)
}

/// The deviation that is held, µm.
fn told(held: i32) -> i64 {
    (held ^ i32::MIN).into()
}

/// Sums of the readings of one check, by place: side, then line. While every line has been read at most once, with repeat 1,
/// a line takes four bytes, lent by the caller; else 32.
#[derive(Debug)]
pub(crate) enum CheckSums<'a> {
    /// Deviations.
    Single(&'a mut [i32]),
    /// Sums and which repeats are in them.
    Repeated(Box<Repeated>),
}

impl Default for CheckSums<'_> {
    fn default() -> Self {
        Self::Single(&mut [])
    }
}

#[derive(Debug)]
pub(crate) struct Repeated {
    places: Box<[Place]>,
    /// Place and repeat of repeats past those that a place has bits for.
    later: BTreeSet<(usize, u32)>,
}

#[derive(Debug, Clone, Copy, Default)]
struct Place {
    squares_um2: i128,
    sum_um: i64,
    count: u32,
    /// Bit k − 1: repeat k is in.
    repeats: u32,
}

/// What became of a reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Added {
    /// It is in the sums.
    Once,
    /// This repeat of the line was in already.
    Twice,
}

impl<'a> CheckSums<'a> {
    /// Sums without a reading, in memory that holds zeros: one number for each place.
    pub(crate) fn new(places: &'a mut [i32]) -> Self {
        Self::Single(places)
    }

    /// Adds a reading.
    pub(crate) fn add(&mut self, place: usize, um: i64, repeat: u32) -> Added {
        if let Self::Single(single) = self {
            match (single.get_mut(place), held(um)) {
                (Some(free), Some(held)) if repeat == 1 && *free == NONE => {
                    *free = held;
                    return Added::Once;
                }
                (Some(taken), _) if repeat == 1 && *taken != NONE => return Added::Twice,
                _ => *self = Self::Repeated(Box::new(Repeated::from_single(single))),
            }
        }
        match self {
            Self::Repeated(repeated) => repeated.add(place, um, repeat),
            Self::Single(_) => Added::Once,
        }
    }

    /// The sums by place, as those of the check of that number.
    #[allow(clippy::cast_possible_truncation)]
    pub(crate) fn cells(self, check: u32) -> Vec<LineSum> {
        match self {
            Self::Single(single) => {
                let read = single.iter().enumerate().filter(|(_, held)| **held != NONE);
                read.map(|(place, held)| LineSum::single(place as u32, check, told(*held))).collect()
            }
            Self::Repeated(repeated) => {
                let read = repeated.places.iter().enumerate().filter(|(_, sums)| sums.count > 0);
                read.map(|(place, sums)| LineSum {
                    level: place as u32,
                    check,
                    count: sums.count,
                    sum_um: sums.sum_um,
                    squares_um2: sums.squares_um2,
                })
                .collect()
            }
        }
    }
}

impl Repeated {
    fn from_single(single: &[i32]) -> Self {
        let place = |held: &i32| match *held {
            NONE => Place::default(),
            held => {
                let um = told(held);
                Place { squares_um2: i128::from(um) * i128::from(um), sum_um: um, count: 1, repeats: 1 }
            }
        };
        Self { places: single.iter().map(place).collect(), later: BTreeSet::new() }
    }

    fn add(&mut self, place: usize, um: i64, repeat: u32) -> Added {
        let Some(sums) = self.places.get_mut(place) else { return Added::Once };
        if let Some(bit) = 1_u32.checked_shl(repeat.wrapping_sub(1)) {
            if sums.repeats & bit != 0 {
                return Added::Twice;
            }
            sums.repeats |= bit;
        } else if !self.later.insert((place, repeat)) {
            return Added::Twice;
        }
        sums.count = sums.count.saturating_add(1);
        sums.sum_um = sums.sum_um.saturating_add(um);
        sums.squares_um2 = sums.squares_um2.saturating_add(i128::from(um) * i128::from(um));
        Added::Once
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Repeats, values and places in any order, against plain sums; the same reading again is told apart.
    #[test]
    fn sums_are_exact_and_repeats_are_told_apart() {
        let readings = [
            (0, 5, 1),
            (3, -7, 1),
            (0, 6, 2),
            (0, 7, 32),
            (0, 8, 33),
            (0, 9, 1_000_000),
            (2, i64::from(i32::MIN), 1),
            (1, 1 << 40, 1),
        ];
        for turn in 0..readings.len() {
            let mut places = [0; 4];
            let mut sums = CheckSums::new(&mut places);
            let mut order = readings;
            order.rotate_left(turn);
            for (place, um, repeat) in order {
                assert_eq!(sums.add(place, um, repeat), Added::Once);
            }
            for (place, um, repeat) in order {
                assert_eq!(sums.add(place, um + 1, repeat), Added::Twice, "{place} {repeat}");
            }
            let found: Vec<_> =
                sums.cells(9).iter().map(|cell| (cell.level, cell.count, cell.sum_um, cell.squares_um2)).collect();
            let low = i128::from(i32::MIN);
            let expected = [
                (0, 5, 35, 25 + 36 + 49 + 64 + 81),
                (1, 1, 1 << 40, 1 << 80),
                (2, 1, i64::from(i32::MIN), low * low),
                (3, 1, -7, 49),
            ];
            assert_eq!(found, expected);
        }
        let mut places = [0; 2];
        let mut plain = CheckSums::new(&mut places);
        assert_eq!(plain.add(1, 4, 1), Added::Once);
        assert!(matches!(plain, CheckSums::Single(_)));
        assert_eq!(plain.add(1, 4, 1), Added::Twice);
    }
}
