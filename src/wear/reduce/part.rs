//! A reduced part of a fleet as a file.

use std::borrow::Cow;
use std::collections::HashSet;
use std::io::{self, Write};

use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::check::{Check, History};
use crate::wear::reduce::line_sums::LineSum;
use crate::wear::reduce::reduction::{Reduction, WingReduction};
use crate::wear::{MergeError, RepeatedLine};
use crate::wing::{LineSet, Side, shown};

/// The first bytes of every part.
pub(crate) const MAGIC: [u8; 8] = *b"ldpart\r\n";
/// Version of the layout; another one is refused.
const VERSION: u32 = 1;
/// Magic, version, length of the body, checksum of the body.
const HEAD: usize = 8 + 4 + 8 + 4;
/// No wing flies longer, h.
const MOST_HOURS_H: f64 = 1e6;

/// A reduced part of a fleet, to be written, read and put together with others.
///
/// The layout: the 8 bytes `ldpart\r\n`; the version, 4 bytes; the length of the body, 8 bytes; its CRC-32, 4 bytes (all little-endian);
/// the body in [postcard](https://postcard.jamesmunns.com/wire-format). It holds line sets, wings, checks and actions with
/// their names, and sums of readings; no single reading can be had from a line that was read twice in one check.
///
/// ```
/// use linedrift::simulate::FleetSpec;
/// use linedrift::wear::{Reduction, ReductionPart};
///
/// let fleet = FleetSpec::default().wings(6).seed(3).run()?.fleet;
/// let part = ReductionPart::new(Reduction::new(&fleet, &[])?);
/// let mut bytes = Vec::new();
/// part.write_to(&mut bytes)?;
/// assert_eq!(ReductionPart::from_bytes(&bytes)?, part);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct ReductionPart {
    reduction: Reduction,
    demo: bool,
}

/// Why bytes are not a part that can be used.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum PartError {
    /// The bytes are something else.
    #[error("this is not a part written by `linedrift reduce`")]
    NotAPart,
    /// The part is of another version.
    #[error("the part is of version {got}, this program reads version {expected}: reduce it again")]
    Version {
        /// Version of the part.
        got: u32,
        /// Version that can be read.
        expected: u32,
    },
    /// The part is longer or shorter than it says.
    #[error("the part is damaged: {got} bytes follow its head, which says {expected}")]
    Length {
        /// Bytes that follow the head.
        got: u64,
        /// Bytes that should.
        expected: u64,
    },
    /// The bytes are not those that were written.
    #[error("the part is damaged: its checksum is {got:08x}, its head says {expected:08x}")]
    Checksum {
        /// Checksum of the bytes.
        got: u32,
        /// Checksum that they should have.
        expected: u32,
    },
    /// The checksum is right, but what is inside contradicts itself.
    #[error("the part does not hold together: {what}{}", of_wing(wing))]
    Unsound {
        /// What is wrong.
        what: &'static str,
        /// The wing, where it is one's (else empty).
        wing: String,
    },
}

fn of_wing(wing: &str) -> String {
    if wing.is_empty() {
        return String::new();
    }
    // the name comes from a file: nothing in it may move a cursor
    let begin: String = wing.chars().take(120).collect();
    format!(" (wing `{}`)", shown(&begin))
}

/// What stands before the wings.
#[derive(Serialize, Deserialize)]
struct Head {
    library: String,
    demo: bool,
    covariates: Vec<String>,
    /// JSON: it is short, and names its fields.
    line_sets: String,
    wings: u64,
}

/// One wing; levels are made again from the record.
#[derive(Serialize, Deserialize)]
struct PartWing<'a> {
    record: Cow<'a, History>,
    covariates: Cow<'a, [f64]>,
    sums: PartSums,
}

/// Sums by side and line, then check.
#[derive(Serialize, Deserialize)]
enum PartSums {
    /// Of one reading each.
    Single(Vec<PartSingle>),
    Any(Vec<LineSum>),
}

#[derive(Serialize, Deserialize)]
struct PartSingle {
    key: u32,
    check: u32,
    um: i64,
}

impl<'a> PartWing<'a> {
    fn new(wing: &'a WingReduction, set: &LineSet) -> Self {
        let sums = wing.sums(set);
        let single =
            sums.iter().all(|line_sum| *line_sum == LineSum::single(line_sum.level, line_sum.check, line_sum.sum_um));
        let sums = if single {
            let single = sums.iter().map(|line_sum| PartSingle {
                key: line_sum.level,
                check: line_sum.check,
                um: line_sum.sum_um,
            });
            PartSums::Single(single.collect())
        } else {
            PartSums::Any(sums)
        };
        Self { record: Cow::Borrowed(&wing.record), covariates: Cow::Borrowed(&wing.covariates), sums }
    }

    /// The wing as it was reduced, once nothing contradicts that it was.
    fn checked(self, line_sets: &[LineSet], covariates: usize) -> Result<WingReduction, &'static str> {
        let Self { record, covariates: values, sums } = self;
        let (record, values) = (record.into_owned(), values.into_owned());
        let set = line_sets.get(record.line_set).ok_or("it follows a line set that is not there")?;
        if set.model() != record.wing.model || set.table_version() != record.wing.table_version.as_deref() {
            return Err("it follows the line set of another model");
        }
        if values.len() != covariates || values.iter().any(|value| !value.is_finite()) {
            return Err("covariates");
        }
        judge_record(&record, set)?;
        let sums: Vec<LineSum> = match sums {
            PartSums::Single(single) => {
                single.into_iter().map(|one| LineSum::single(one.key, one.check, one.um)).collect()
            }
            PartSums::Any(line_sums) => line_sums,
        };
        let lines = set.lines().len();
        let in_place = |line_sum: &LineSum| {
            let key = line_sum.level as usize;
            key < 2 * lines
                && set.has(key % lines, Side::BOTH[key / lines])
                && (line_sum.check as usize) < record.checks.len()
        };
        let order = |pair: &[LineSum]| matches!(pair, [a, b] if (a.level, a.check) < (b.level, b.check));
        if sums.is_empty() || !sums.iter().all(in_place) || !sums.windows(2).all(order) {
            return Err("sums that are missing or given twice");
        }
        if !sums.iter().all(is_possible) {
            return Err("sums that no readings can have");
        }
        Ok(WingReduction::from_sums(set, record, values, sums))
    }
}

/// Whether so many whole numbers can have this sum and this sum of squares: by Cauchy and Schwarz, `(Σx)² ≤ n Σx²`.
fn is_possible(line_sum: &LineSum) -> bool {
    let square = i128::from(line_sum.sum_um) * i128::from(line_sum.sum_um);
    match line_sum.count {
        0 => false,
        1 => line_sum.squares_um2 == square,
        // what is past the range of the product is larger than any square of a sum
        n => {
            line_sum.squares_um2.checked_mul(i128::from(n)).is_none_or(|most| square <= most)
                && line_sum.squares_um2 >= 0
        }
    }
}

fn judge_record(record: &History, set: &LineSet) -> Result<(), &'static str> {
    let mut sorted = record.clone();
    sorted.sort();
    if sorted != *record {
        return Err("checks or actions out of order");
    }
    let hours = |hours_h: f64| (0.0..=MOST_HOURS_H).contains(&hours_h);
    let check = |check: &Check| {
        let conditions = [check.load_n, check.datum_mm, check.temperature_c, check.brake_setting_mm.unwrap_or(0.0)];
        let bare = check.readings.is_empty() && check.risers.is_empty();
        bare && hours(check.hours_h) && conditions.iter().all(|value| value.is_finite())
    };
    if !record.checks.iter().all(check) || !record.fittings.is_empty() {
        return Err("checks");
    }
    let segments = set.segments().len();
    let sound = record.actions.iter().all(|action| {
        action.segment.is_none_or(|segment| segment < segments)
            && hours(action.hours_h)
            && action.change_mm.is_finite()
            && action.turns.is_none_or(f64::is_finite)
    });
    if !sound {
        return Err("actions");
    }
    let wing = &record.wing;
    let known = [wing.mass_kg, wing.hours_per_year, wing.interval_h, wing.interval_months];
    let finite = known.iter().flatten().chain(wing.covariates.values()).all(|value| value.is_finite());
    if finite { Ok(()) } else { Err("numbers that are not finite") }
}

/// Line sets, each made again by its constructor, in their order.
fn checked_sets(text: &str) -> Result<Vec<LineSet>, &'static str> {
    let sets: Vec<LineSet> = serde_json::from_str(text).map_err(|_| "its line sets cannot be read")?;
    for set in &sets {
        let again = LineSet::new(set.model(), set.table_version(), set.lines().to_vec(), set.segments().to_vec());
        again.map_err(|_| "lines and segments that do not make a line set")?;
        let line = |line: &crate::wing::Line| {
            line.nominal_mm > 0.0 && line.nominal_mm.is_finite() && (0.0..=1.0).contains(&line.span)
        };
        let segment = |segment: &crate::wing::Segment| segment.length_mm >= 0.0 && segment.length_mm.is_finite();
        if !set.lines().iter().all(line) || !set.segments().iter().all(segment) {
            return Err("lengths of lines or segments");
        }
    }
    let names = sets.iter().map(|set| (set.model(), set.table_version()));
    if names.clone().zip(names.skip(1)).all(|(a, b)| a < b) { Ok(sets) } else { Err("line sets out of order") }
}

/// Length and checksum of what is written, without keeping it.
#[derive(Default)]
struct Measured {
    length: u64,
    hasher: crc32fast::Hasher,
}

impl Write for Measured {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.length += bytes.len() as u64;
        self.hasher.update(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl ReductionPart {
    /// Takes a reduction. Wings without readings are left out: the part that has their readings has them too.
    #[must_use]
    pub fn new(mut reduction: Reduction) -> Self {
        reduction.unread = Vec::new();
        Self { reduction, demo: false }
    }

    /// The same part, marked as the bundled invented demo.
    #[must_use]
    pub fn marked_demo(mut self) -> Self {
        self.demo = true;
        self
    }

    /// Whether a part of this is the bundled invented demo.
    #[must_use]
    pub fn is_demo(&self) -> bool {
        self.demo
    }

    /// The reduction.
    #[must_use]
    pub fn reduction(&self) -> &Reduction {
        &self.reduction
    }

    /// Hours of the checks with readings: the fewest and the most, h.
    pub(crate) fn hours_seen_h(&self) -> [f64; 2] {
        let mut seen = [f64::INFINITY, 0.0];
        for wing in self.reduction.wings() {
            let mut read: Vec<u32> = wing.line_sums.iter().map(|line_sum| line_sum.check).collect();
            read.sort_unstable();
            read.dedup();
            for hours_h in read.into_iter().filter_map(|check| wing.hours_h.get(check as usize)) {
                seen = [seen[0].min(*hours_h), seen[1].max(*hours_h)];
            }
        }
        [seen[0].min(seen[1]), seen[1]]
    }

    /// Puts two parts together, see [`Reduction::merge`]. What is of the demo in one makes the whole so.
    ///
    /// # Errors
    /// As [`Reduction::merge`].
    pub fn merge(self, other: Self) -> Result<Self, MergeError> {
        Ok(Self { reduction: self.reduction.merge(other.reduction)?, demo: self.demo || other.demo })
    }

    /// The same where two parts may hold equal sums for a line, see [`Reduction::merge_with_repeats`]; which lines they are is
    /// added to `repeated`.
    ///
    /// # Errors
    /// As [`Reduction::merge_with_repeats`].
    pub fn merge_with_repeats(self, other: Self, repeated: &mut Vec<RepeatedLine>) -> Result<Self, MergeError> {
        let merged = self.reduction.merge_with_repeats(other.reduction)?;
        repeated.extend(merged.repeated);
        Ok(Self { reduction: merged.reduction, demo: self.demo || other.demo })
    }

    /// Writes the part, wing by wing.
    ///
    /// # Errors
    /// [`io::Error`] when the writer refuses, or the part cannot be put into its format.
    pub fn write_to(&self, mut writer: impl Write) -> io::Result<()> {
        let mut measured = Measured::default();
        self.write_body(&mut measured)?;
        writer.write_all(&MAGIC)?;
        writer.write_all(&VERSION.to_le_bytes())?;
        writer.write_all(&measured.length.to_le_bytes())?;
        writer.write_all(&measured.hasher.finalize().to_le_bytes())?;
        self.write_body(&mut writer)?;
        writer.flush()
    }

    fn write_body(&self, mut writer: impl Write) -> io::Result<()> {
        let Reduction { line_sets, wings, covariates, .. } = &self.reduction;
        let head = Head {
            library: env!("CARGO_PKG_VERSION").to_owned(),
            demo: self.demo,
            covariates: covariates.clone(),
            line_sets: serde_json::to_string(line_sets)?,
            wings: wings.len() as u64,
        };
        let failed = |error: postcard::Error| io::Error::other(error.to_string());
        postcard::to_io(&head, &mut writer).map_err(failed)?;
        for wing in wings {
            postcard::to_io(&PartWing::new(wing, &line_sets[wing.line_set()]), &mut writer).map_err(failed)?;
        }
        Ok(())
    }

    /// Reads a part and checks that it holds together.
    ///
    /// # Errors
    /// [`PartError`]: not a part, another version, damaged, or one that no reduction can have made.
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, PartError> {
        let Some((head, body)) = bytes.split_at_checked(HEAD).filter(|(head, _)| head.starts_with(&MAGIC)) else {
            return Err(PartError::NotAPart);
        };
        let number = |from: usize, bytes: usize| {
            let field = head.get(from..from + bytes).unwrap_or_default();
            field.iter().rev().fold(0_u64, |sum, byte| sum << 8 | u64::from(*byte))
        };
        #[allow(clippy::cast_possible_truncation)]
        let (version, length, checksum) = (number(8, 4) as u32, number(12, 8), number(20, 4) as u32);
        if version != VERSION {
            return Err(PartError::Version { got: version, expected: VERSION });
        }
        if length != body.len() as u64 {
            return Err(PartError::Length { got: body.len() as u64, expected: length });
        }
        let got = crc32fast::hash(body);
        if got != checksum {
            return Err(PartError::Checksum { got, expected: checksum });
        }
        Self::from_body(body)
    }

    fn from_body(body: &[u8]) -> Result<Self, PartError> {
        let unsound = |what, wing: &str| PartError::Unsound { what, wing: wing.to_owned() };
        let unread = |_| unsound("its records cannot be read", "");
        let (head, mut rest): (Head, &[u8]) = postcard::take_from_bytes(body).map_err(unread)?;
        let line_sets = checked_sets(&head.line_sets).map_err(|what| unsound(what, ""))?;
        let mut names = HashSet::new();
        if !head.covariates.iter().all(|name| names.insert(name.as_str())) {
            return Err(unsound("a covariate that appears twice", ""));
        }
        let mut wings: Vec<WingReduction> = Vec::new();
        let mut checks: HashSet<String> = HashSet::new();
        for _ in 0..head.wings {
            let (wing, left): (PartWing<'_>, &[u8]) = postcard::take_from_bytes(rest).map_err(unread)?;
            rest = left;
            let id = wing.record.wing.id.clone();
            if wings.last().is_some_and(|last| last.wing() >= id.as_str()) {
                return Err(unsound("wings out of order", &id));
            }
            if !wing.record.checks.iter().all(|check| checks.insert(check.id.clone())) {
                return Err(unsound("a check that appears twice", &id));
            }
            wings.push(wing.checked(&line_sets, head.covariates.len()).map_err(|what| unsound(what, &id))?);
        }
        if !rest.is_empty() {
            return Err(unsound("something follows the last wing", ""));
        }
        let reduction = Reduction { line_sets, wings, unread: Vec::new(), covariates: head.covariates };
        Ok(Self { reduction, demo: head.demo })
    }
}
