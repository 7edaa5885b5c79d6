//! From what is off to a short list in the trade's words.

use super::entry::{Call, Entry, diagnosis, joined, long, longer, on, sure, work_if};
use super::faults::{Fault, Faults, RowLevel, Shape};
use super::measured::{Combination, Measured};
use super::{DiagnosisCode, Interval, LineVerdict, Trim, TrimSpec};
use crate::check::Check;
use crate::check::sheet::LineOnSide;
use crate::stats::robust::median;
use crate::wing::{LineSet, Row, Side};

/// Rows whose levels differ by no more than this stand together, mm.
const SAME_LEVEL_MM: f64 = 4.0;
/// Differences of rows below this are not worth a word, mm.
const LEAST_ROW_MM: f64 = 5.0;
/// A set uniformly off by less than this is not worth a word, mm.
const LEAST_SET_MM: f64 = 10.0;

/// What the diagnosis is drawn from.
pub(super) struct Findings<'a> {
    pub(super) spec: &'a TrimSpec,
    pub(super) set: &'a LineSet,
    pub(super) check: &'a Check,
    pub(super) measured: &'a Measured,
    pub(super) lines: &'a [LineVerdict],
    pub(super) faults: Faults,
}

/// Where the sides stand against the other rows, or against the maker's lengths, mm.
#[derive(Debug, Clone, Copy)]
struct SidesApart {
    left_mm: f64,
    right_mm: f64,
}

impl SidesApart {
    fn further_off(self) -> Side {
        if self.left_mm.abs() >= self.right_mm.abs() { Side::Left } else { Side::Right }
    }

    fn are_both_off(self) -> bool {
        self.left_mm.abs().min(self.right_mm.abs()) > SAME_LEVEL_MM
    }

    /// The part of the left in the level that counts: none where the left is off, all where the right is, else half.
    fn share_of_left(self) -> f64 {
        match (self.are_both_off(), self.further_off()) {
            (true, _) => 0.5,
            (false, Side::Left) => 0.0,
            (false, Side::Right) => 1.0,
        }
    }
}

/// A size with its direction.
fn said(mm: f64) -> String {
    format!("{:.0} mm {}", mm.abs(), long(mm))
}

impl Findings<'_> {
    /// Where the sides stand that a fault sets apart: a row on one side, or the rows A–D of one side.
    fn apart_by(&self, fault: &Fault) -> SidesApart {
        let value = |row: &RowLevel| row.level.value(self.measured);
        let mean = |values: Vec<f64>| values.iter().sum::<f64>() / values.len().max(1) as f64;
        let trim = || self.faults.rows.iter().filter(|row| row.row.is_trim());
        let (right_mm, against_mm) = match fault.shape {
            Shape::RowSide(own) => {
                let others: Vec<f64> = trim().filter(|row| row.row != own).map(value).collect();
                let own = self.faults.rows.iter().filter(|row| row.row == own).map(value).collect();
                (mean(own), median(&others).unwrap_or(0.0))
            }
            _ => (mean(trim().map(value).collect()), 0.0),
        };
        SidesApart {
            left_mm: right_mm + fault.step.value(self.measured) - against_mm,
            right_mm: right_mm - against_mm,
        }
    }

    /// The level of a row: where one side of it or of the wing is off, that of the other; the mean of both where both are.
    fn level(&self, row: &RowLevel) -> Combination {
        let mut level = row.level.clone();
        for fault in &self.faults.found {
            if fault.shape == Shape::RowSide(row.row) || (fault.shape == Shape::Side && row.row.is_trim()) {
                // the step is that of the left
                level = level.plus(self.apart_by(fault).share_of_left(), &fault.step);
            }
        }
        level
    }

    /// The level that most rows A–D stand on: of as many, the one nearest to the maker's lengths.
    pub(super) fn reference(&self) -> Option<Combination> {
        let trim: Vec<_> = self.faults.rows.iter().filter(|row| row.row.is_trim()).collect();
        let levels: Vec<Combination> = trim.iter().map(|row| self.level(row)).collect();
        let level = |at: usize| levels[at].value(self.measured);
        let near = |at: usize| -> Vec<usize> {
            (0..trim.len()).filter(|other| (level(*other) - level(at)).abs() <= SAME_LEVEL_MM).collect()
        };
        let best = (0..trim.len()).map(near).max_by(|a, b| {
            let away =
                |rows: &[usize]| rows.iter().map(|at| level(*at)).sum::<f64>().abs() / rows.len().max(1) as f64;
            a.len().cmp(&b.len()).then(away(b).total_cmp(&away(a)))
        })?;
        let mut sum = self.measured.nothing();
        for at in &best {
            sum = sum.plus(1.0 / best.len() as f64, &levels[*at]);
        }
        Some(sum)
    }

    /// Everything that is off, most important first.
    pub(super) fn entries(&self, trim: &Trim) -> Vec<Entry> {
        let mut all = Vec::new();
        let reference = self.reference();
        if let Some(reference) = &reference {
            self.rows(reference, &mut all);
            self.apart(reference, &mut all);
        }
        for fault in &self.faults.found {
            all.extend(self.fault(fault));
        }
        self.single_lines(&mut all);
        self.flight(trim, &mut all);
        if let Some(reference) = &reference {
            self.whole_set(reference, &mut all);
        }
        let rank = |entry: &Entry| (entry.call, entry.is_consequence());
        all.sort_by(|a, b| rank(a).cmp(&rank(b)).then(b.weight.total_cmp(&a.weight)));
        all
    }

    fn outside(&self, members: impl Fn(&LineVerdict) -> bool) -> usize {
        self.lines.iter().filter(|line| line.is_outside() && members(line)).count()
    }

    /// Rows A–D against the level that most of them stand on, and how each tapers.
    fn rows(&self, reference: &Combination, all: &mut Vec<Entry>) {
        let trim = || self.faults.rows.iter().filter(|row| row.row.is_trim());
        let value = |row: &RowLevel| self.level(row).plus(-1.0, reference).interval(self.measured);
        let size = |interval: &Interval| interval.value.unwrap_or(0.0);
        let others: Vec<String> =
            trim().filter(|row| size(&value(row)).abs() <= SAME_LEVEL_MM).map(|row| row.row.to_string()).collect();
        let against =
            if let [one] = others.as_slice() { format!("row {one}") } else { format!("rows {}", joined(&others)) };
        for row in trim() {
            let interval = value(row);
            let mm = size(&interval);
            let is_off = mm.abs() >= LEAST_ROW_MM
                && interval.lower.zip(interval.upper).is_some_and(|(low, high)| low * high >= 0.0);
            let taper = self.faults.found.iter().find(|fault| fault.shape == Shape::Taper(row.row)).map(|fault| {
                let step = fault.step.value(self.measured);
                let [inner, outer] = fault.column.ends();
                [mm + step * inner, mm + step * outer]
            });
            let (text, shown) = match (is_off, taper) {
                (false, None) => continue,
                (true, None) => {
                    (format!("Row {} is {} {} against {against}.", row.row, sure(&interval), long(mm)), interval)
                }
                (true, Some([centre, tip])) => {
                    let text = format!(
                        "Row {} is {} {} against {against}: {} at the centre, {} at the tips.",
                        row.row,
                        sure(&interval),
                        long(mm),
                        said(centre),
                        said(tip)
                    );
                    (text, interval)
                }
                (false, Some([centre, tip])) => {
                    let text =
                        format!("Row {} is {} at the centre and {} at the tips.", row.row, said(centre), said(tip));
                    (text, Interval::default())
                }
            };
            let off = |line: &LineVerdict| line.row == row.row && (taper.is_some() || line.relative_mm * mm > 0.0);
            // far from any row at all, the one that most agree with included
            let apart_mm = |other: &&RowLevel| (size(&value(other)) - mm).abs();
            let furthest = trim().max_by(|one, other| apart_mm(one).total_cmp(&apart_mm(other)));
            let limit_mm = self.spec.limits.row_difference_limit_mm();
            let furthest = furthest.filter(|other| apart_mm(other) > limit_mm);
            let plainly = self.outside(off) > 0 || mm.abs() > limit_mm;
            let urgent = plainly || furthest.is_some();
            let text = match furthest.filter(|_| is_off && !plainly) {
                Some(other) => {
                    format!("{}, {:.0} mm from row {}.", text.trim_end_matches('.'), apart_mm(&other), other.row)
                }
                None => text,
            };
            let count = self.measured.members(row.row, &Side::BOTH).len();
            let mut one = diagnosis(DiagnosisCode::Row, text, shown);
            one.row = Some(row.row);
            all.push(Entry { diagnosis: one, call: work_if(urgent), weight: mm.abs() * count as f64 });
        }
    }

    /// Brakes and stabilo, each on its own, against the rows A–D.
    fn apart(&self, reference: &Combination, all: &mut Vec<Entry>) {
        for row in self.faults.rows.iter().filter(|row| !row.row.is_trim()) {
            let level = row.level.plus(-1.0, reference);
            let stepped = self.faults.found.iter().find(|fault| fault.shape == Shape::RowSide(row.row));
            let sides: Vec<(Option<Side>, Combination)> = match stepped {
                // the step is that of the left
                Some(fault) => {
                    vec![(Some(Side::Left), level.plus(1.0, &fault.step)), (Some(Side::Right), level)]
                }
                None => vec![(None, level)],
            };
            for (side, level) in sides {
                let interval = level.interval(self.measured);
                let mm = interval.value.unwrap_or(0.0);
                let limits = &self.spec.limits;
                let (code, limit_mm) = match row.row {
                    Row::Brake if mm < 0.0 => (DiagnosisCode::Brakes, limits.brake_short_limit_mm()),
                    Row::Brake => (DiagnosisCode::Brakes, limits.brake_long_limit_mm()),
                    _ => (DiagnosisCode::Stabilo, limits.line_limit_mm()),
                };
                if mm.abs() <= limit_mm {
                    continue;
                }
                let sides: &[Side] = side.as_ref().map_or(&Side::BOTH, std::slice::from_ref);
                let count = self.measured.members(row.row, sides).len();
                let text = if row.row == Row::Brake {
                    let (what, cure) = if mm < 0.0 {
                        ("short", "they may hold the trailing edge down, so set the handles longer")
                    } else {
                        ("long", "check the free travel and set the handles to the right length")
                    };
                    format!("The brakes {} are {} {what} against the other lines: {cure}.", on(side), sure(&interval))
                } else {
                    format!("The stabilo lines {} are {} {}.", on(side), sure(&interval), long(mm))
                };
                let mut one = diagnosis(code, text, interval);
                (one.side, one.row) = (side, Some(row.row));
                all.push(Entry { diagnosis: one, call: Call::Work, weight: mm.abs() * count as f64 });
            }
        }
    }

    fn names(&self, members: &[usize]) -> Vec<LineOnSide> {
        let name = |at: &usize| {
            let line = self.measured.lines.get(*at)?;
            Some(LineOnSide { side: line.side, line: self.set.lines().get(line.line)?.name.clone() })
        };
        members.iter().filter_map(name).collect()
    }

    /// A group that is off.
    fn fault(&self, fault: &Fault) -> Option<Entry> {
        let interval = fault.step.interval(self.measured);
        let mm = interval.value?;
        let members = &fault.column.lines;
        let is_out = |(at, line): &(usize, &LineVerdict)| {
            members.contains(at) && line.is_outside() && line.relative_mm * mm > 0.0
        };
        let outside: Vec<(usize, &LineVerdict)> = self.believed().filter(is_out).collect();
        let lines = self.names(members);
        let mut short: Vec<String> = Vec::new();
        for line in &lines {
            if !short.contains(&line.line) {
                short.push(line.line.clone());
            }
        }
        let row = members.first().and_then(|at| self.measured.lines.get(*at)).map(|line| line.row);
        let both = if fault.side.is_none() {
            " Alike on both sides: lines made or replaced to another length, an adjustment, or another version of the table."
        } else {
            ""
        };
        let mut one = match &fault.shape {
            // said with its row
            Shape::Taper(_) => return None,
            Shape::RowSide(row) if !row.is_trim() => return None,
            Shape::Side | Shape::RowSide(_) => return Some(self.one_side(fault, interval)),
            Shape::Tips => {
                let text = format!("The tips {} are {} {}.", on(fault.side), sure(&interval), long(mm));
                diagnosis(DiagnosisCode::Tips, text, interval)
            }
            Shape::Segment(name) => {
                let level = self.level_of(name);
                let list = if short.len() > 6 { format!("{} lines", short.len()) } else { joined(&short) };
                let text = format!(
                    "The {level} {name} ({list}) {} is {} {}.{both}",
                    on(fault.side),
                    sure(&interval),
                    long(mm)
                );
                let mut one = diagnosis(DiagnosisCode::Segment, text, interval);
                one.segment = Some(name.clone());
                one
            }
            Shape::Run => {
                let text =
                    format!("{} {} are {} {}.{both}", joined(&short), on(fault.side), sure(&interval), long(mm));
                diagnosis(DiagnosisCode::Neighbours, text, interval)
            }
            Shape::Line => {
                let code = match row {
                    Some(Row::Stabilo) => DiagnosisCode::Stabilo,
                    _ => DiagnosisCode::Line,
                };
                let text =
                    format!("{} {} is {} {}.{both}", joined(&short), on(fault.side), sure(&interval), long(mm));
                diagnosis(code, text, interval)
            }
        };
        one.side = fault.side;
        one.row = row.filter(|_| fault.shape != Shape::Tips);
        one.lines = lines;
        let weight = mm.abs() * members.len() as f64;
        let call = match outside.as_slice() {
            [] => Call::Word,
            [(at, line)] if members.len() == 1 && self.needs_another_reading(*at, line) => Call::Again,
            _ => Call::Work,
        };
        Some(Entry { diagnosis: one, call, weight })
    }

    /// One side against the other: the one that is further off is named.
    fn one_side(&self, fault: &Fault, step: Interval) -> Entry {
        let sides = self.apart_by(fault);
        let side = sides.further_off();
        let interval = if side == Side::Left {
            step
        } else {
            let minus = |value: Option<f64>| value.map(|value| -value);
            Interval { value: minus(step.value), lower: minus(step.upper), upper: minus(step.lower) }
        };
        let mm = interval.value.unwrap_or(0.0);
        let (what, row) = if let Shape::RowSide(row) = &fault.shape {
            (format!("Row {row} {} is", on(Some(side))), Some(*row))
        } else {
            let rows: Vec<String> =
                self.faults.rows.iter().filter(|row| row.row.is_trim()).map(|row| row.row.to_string()).collect();
            (format!("The {side} side is, over rows {},", joined(&rows)), None)
        };
        let both = if sides.are_both_off() {
            format!(": left {}, right {}", said(sides.left_mm), said(sides.right_mm))
        } else {
            String::new()
        };
        let text = format!("{what} {} {} than the {}{both}.", sure(&interval), longer(mm), side.mirror());
        let mut one = diagnosis(DiagnosisCode::Side, text, interval);
        (one.side, one.row) = (Some(side), row);
        let of_it = |line: &LineVerdict| row.map_or(line.row.is_trim(), |row| line.row == row);
        let urgent = mm.abs() > self.spec.limits.left_right_limit_mm() || self.outside(of_it) > 0;
        Entry { diagnosis: one, call: work_if(urgent), weight: mm.abs() * fault.column.lines.len() as f64 }
    }

    fn level_of(&self, name: &str) -> &'static str {
        match self.set.segments().iter().find(|segment| segment.name == name) {
            Some(segment) if self.set.has_cascade() && segment.parent.is_some() => "middle line",
            _ => "main",
        }
    }

    /// The set as a whole.
    fn whole_set(&self, reference: &Combination, all: &mut Vec<Entry>) {
        let value = reference.value(self.measured);
        if value.abs() < LEAST_SET_MM || value.abs() > self.spec.limits.offset_limit_mm() {
            return;
        }
        let pairs = reference.coefficients.iter().zip(&self.measured.lines).filter(|(a, _)| **a != 0.0);
        let reach = self
            .measured
            .budget
            .combination(pairs.map(|(a, line)| crate::check::Weighted {
                coefficient: *a,
                side: line.side,
                row: line.row,
                repeats: line.repeats,
            }))
            .expanded();
        let interval = Interval { value: Some(value), lower: Some(value - reach), upper: Some(value + reach) };
        let text = format!(
            "The whole set is {} {}: no effect on trim by itself; check that datum and load are as the maker measures.",
            sure(&interval),
            long(value)
        );
        let diagnosis = diagnosis(DiagnosisCode::WholeSet, text, interval);
        all.push(Entry { diagnosis, call: Call::Word, weight: 4.0 });
    }
}
