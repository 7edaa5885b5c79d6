//! From what is off to a short list in the trade's words.

use super::faults::{Fault, Faults, RowLevel, Shape};
use super::measured::{Combination, Measured};
use super::{Diagnosis, DiagnosisCode, Interval, LineVerdict, Trim, TrimSpec};
use crate::check::sheet::LineOnSide;
use crate::wing::{LineSet, Row, Side};

/// Rows whose levels differ by no more than this stand together, mm.
const SAME_LEVEL_MM: f64 = 4.0;
/// Differences of rows below this are not worth a word, mm.
const LEAST_ROW_MM: f64 = 5.0;
/// A set uniformly off by less than this is not worth a word, mm.
const LEAST_SET_MM: f64 = 10.0;
/// What a straight line through the rows may leave before a word is said, mm.
const SHAPE_MM: f64 = 3.0;
/// Tip less centre that is worth a word, degrees.
const TWIST_DEG: f64 = 0.5;
/// Single lines listed one by one; more are counted.
const MOST_LINES: usize = 6;

/// One thing that is off, and how much it matters.
#[derive(Debug, Clone)]
pub(super) struct Entry {
    pub(super) diagnosis: Diagnosis,
    /// Whether it calls for work.
    pub(super) urgent: bool,
    /// What it amounts to: millimetres times lines.
    weight: f64,
}

/// What the diagnosis is drawn from.
pub(super) struct Findings<'a> {
    pub(super) spec: &'a TrimSpec,
    pub(super) set: &'a LineSet,
    pub(super) measured: &'a Measured,
    pub(super) lines: &'a [LineVerdict],
    pub(super) faults: Faults,
}

fn long(value_mm: f64) -> &'static str {
    if value_mm > 0.0 { "long" } else { "short" }
}

fn longer(value_mm: f64) -> &'static str {
    if value_mm > 0.0 { "longer" } else { "shorter" }
}

/// A size in whole millimetres, how sure it is with it.
fn sure(interval: &Interval) -> String {
    let value = interval.value.unwrap_or(0.0).abs();
    let reach = interval.upper.zip(interval.value).map_or(0.0, |(upper, value)| upper - value);
    format!("{value:.0} mm (\u{b1}{:.0})", reach.max(1.0))
}

fn joined(names: &[String]) -> String {
    match names {
        [] => String::new(),
        [one] => one.clone(),
        [all @ .., last] => format!("{} and {last}", all.join(", ")),
    }
}

fn on(side: Option<Side>) -> String {
    side.map_or_else(|| "on both sides".to_owned(), |side| format!("on the {side}"))
}

fn diagnosis(code: DiagnosisCode, text: String, interval: Interval) -> Diagnosis {
    Diagnosis {
        code,
        text,
        value_mm: interval.value,
        lower_mm: interval.lower,
        upper_mm: interval.upper,
        side: None,
        row: None,
        segment: None,
        lines: Vec::new(),
    }
}

impl Findings<'_> {
    /// The level of a row: where one side of it or of the wing is off, that of the other, nearer to the maker's lengths.
    fn level(&self, row: &RowLevel) -> Combination {
        let mut level = row.level.clone();
        for fault in &self.faults.found {
            let here = fault.shape == Shape::RowSide(row.row) || (fault.shape == Shape::Side && row.row.is_trim());
            let stepped = level.plus(1.0, &fault.step);
            if here && stepped.value(self.measured).abs() < level.value(self.measured).abs() {
                level = stepped;
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
        all.sort_by(|a, b| b.urgent.cmp(&a.urgent).then(b.weight.total_cmp(&a.weight)));
        all
    }

    fn outside(&self, members: impl Fn(&LineVerdict) -> bool) -> usize {
        self.lines.iter().filter(|line| line.is_outside() && members(line)).count()
    }

    /// Rows A–D against the level that most of them stand on.
    fn rows(&self, reference: &Combination, all: &mut Vec<Entry>) {
        let trim = || self.faults.rows.iter().filter(|row| row.row.is_trim());
        let value = |row: &RowLevel| self.level(row).plus(-1.0, reference).interval(self.measured);
        let size = |interval: &Interval| interval.value.unwrap_or(0.0);
        let others: Vec<String> =
            trim().filter(|row| size(&value(row)).abs() <= SAME_LEVEL_MM).map(|row| row.row.to_string()).collect();
        for row in trim() {
            let interval = value(row);
            let mm = size(&interval);
            if mm.abs() < LEAST_ROW_MM
                || interval.lower.zip(interval.upper).is_none_or(|(low, high)| low * high < 0.0)
            {
                continue;
            }
            let outside = self.outside(|line| line.row == row.row && line.relative_mm * mm > 0.0);
            let count = self.measured.members(row.row, &Side::BOTH).len();
            let against =
                if others.len() == 1 { format!("row {}", others[0]) } else { format!("rows {}", joined(&others)) };
            let text = format!("Row {} is {} {} against {against}.", row.row, sure(&interval), long(mm));
            let mut one = diagnosis(DiagnosisCode::Row, text, interval);
            one.row = Some(row.row);
            let urgent = outside > 0 || mm.abs() > self.spec.row_difference_limit_mm;
            all.push(Entry { diagnosis: one, urgent, weight: mm.abs() * count as f64 });
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
                let (code, limit_mm) = match row.row {
                    Row::Brake => (DiagnosisCode::Brakes, self.spec.brake_limit_mm),
                    _ => (DiagnosisCode::Stabilo, self.spec.tolerance_mm),
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
                all.push(Entry { diagnosis: one, urgent: true, weight: mm.abs() * count as f64 });
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

    fn is_member(&self, fault: &Fault, line: &LineVerdict) -> bool {
        fault.members.iter().filter_map(|at| self.measured.lines.get(*at)).any(|known| {
            known.side == line.side && self.set.lines().get(known.line).is_some_and(|known| known.name == line.line)
        })
    }

    /// A group that is off.
    fn fault(&self, fault: &Fault) -> Option<Entry> {
        let interval = fault.step.interval(self.measured);
        let mm = interval.value?;
        let outside = self.outside(|line| self.is_member(fault, line) && line.relative_mm * mm > 0.0);
        let lines = self.names(&fault.members);
        let mut short: Vec<String> = lines.iter().map(|line| line.line.clone()).collect();
        short.dedup();
        if fault.side.is_none() {
            short.sort();
            short.dedup();
        }
        let row = fault.members.first().and_then(|at| self.measured.lines.get(*at)).map(|line| line.row);
        let both = if fault.side.is_none() {
            " Alike on both sides: lines made or replaced to another length, an adjustment, or another version of the table."
        } else {
            ""
        };
        let (mut one, is_past) = match &fault.shape {
            Shape::RowSide(row) if !row.is_trim() => return None,
            Shape::Side | Shape::RowSide(_) => return Some(self.one_side(fault, interval)),
            Shape::Tips => {
                let text = format!("The tips {} are {} {}.", on(fault.side), sure(&interval), long(mm));
                (diagnosis(DiagnosisCode::Tips, text, interval), false)
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
                (one, false)
            }
            Shape::Run => {
                let text =
                    format!("{} {} are {} {}.{both}", joined(&short), on(fault.side), sure(&interval), long(mm));
                (diagnosis(DiagnosisCode::Neighbours, text, interval), false)
            }
            Shape::Line => {
                let code = match row {
                    Some(Row::Stabilo) => DiagnosisCode::Stabilo,
                    _ => DiagnosisCode::Line,
                };
                let text =
                    format!("{} {} is {} {}.{both}", joined(&short), on(fault.side), sure(&interval), long(mm));
                (diagnosis(code, text, interval), false)
            }
        };
        one.side = fault.side;
        one.row = row.filter(|_| fault.shape != Shape::Tips);
        one.lines = lines;
        let weight = mm.abs() * fault.members.len() as f64;
        Some(Entry { diagnosis: one, urgent: outside > 0 || is_past, weight })
    }

    /// One side against the other: the one further from the maker's lengths is named.
    fn one_side(&self, fault: &Fault, step: Interval) -> Entry {
        let mean = |side: Side| {
            let here = |line: &&super::measured::MeasuredLine| match &fault.shape {
                Shape::RowSide(row) => line.side == side && line.row == *row,
                _ => line.side == side && line.row.is_trim(),
            };
            let values: Vec<f64> = self.measured.lines.iter().filter(here).map(|line| line.deviation_mm).collect();
            values.iter().sum::<f64>() / values.len().max(1) as f64
        };
        let side = if mean(Side::Left).abs() >= mean(Side::Right).abs() { Side::Left } else { Side::Right };
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
        let text = format!("{what} {} {} than the {}.", sure(&interval), longer(mm), side.mirror());
        let mut one = diagnosis(DiagnosisCode::Side, text, interval);
        (one.side, one.row) = (Some(side), row);
        let outside = self.outside(|line| self.is_member(fault, line));
        let urgent = mm.abs() > self.spec.side_difference_limit_mm || outside > 0;
        Entry { diagnosis: one, urgent, weight: mm.abs() * fault.members.len() as f64 }
    }

    fn level_of(&self, name: &str) -> &'static str {
        match self.set.segments().iter().find(|segment| segment.name == name) {
            Some(segment) if self.set.has_cascade() && segment.parent.is_some() => "middle line",
            _ => "main",
        }
    }

    /// Lines outside that nothing else explains.
    fn single_lines(&self, all: &mut Vec<Entry>) {
        let explained = |line: &LineVerdict| {
            let same = |mm: Option<f64>| mm.is_some_and(|mm| mm * line.relative_mm > 0.0);
            all.iter().any(|known| {
                let one = &known.diagnosis;
                let of_row = one.row == Some(line.row) && one.side.is_none_or(|side| side == line.side);
                let listed = one.lines.iter().any(|on| on.side == line.side && on.line == line.line);
                let whole = one.lines.is_empty() && one.segment.is_none();
                (listed || (whole && of_row)) && same(one.value_mm)
                    || (whole && one.code == DiagnosisCode::Side && one.row.is_none() && line.row.is_trim())
            })
        };
        let left: Vec<&LineVerdict> =
            self.lines.iter().filter(|line| line.is_outside() && !explained(line)).collect();
        let single = |line: &LineVerdict| {
            let (mm, reach) = (line.relative_mm, line.uncertainty_mm);
            let interval = Interval { value: Some(mm), lower: Some(mm - reach), upper: Some(mm + reach) };
            let text = format!("{} on the {} is {} {}.", line.line, line.side, sure(&interval), long(mm));
            let code = if line.row == Row::Stabilo { DiagnosisCode::Stabilo } else { DiagnosisCode::Line };
            let mut one = diagnosis(code, text, interval);
            (one.side, one.row) = (Some(line.side), Some(line.row));
            one.lines = vec![LineOnSide { side: line.side, line: line.line.clone() }];
            Entry { diagnosis: one, urgent: true, weight: mm.abs() }
        };
        if left.len() <= MOST_LINES {
            all.extend(left.into_iter().map(single));
            return;
        }
        let lines: Vec<LineOnSide> =
            left.iter().map(|line| LineOnSide { side: line.side, line: line.line.clone() }).collect();
        let text = format!("{} more lines are outside their tolerance, without a common shape.", lines.len());
        let mut one = diagnosis(DiagnosisCode::Line, text, Interval::default());
        let weight = left.iter().map(|line| line.relative_mm.abs()).sum();
        one.lines = lines;
        all.push(Entry { diagnosis: one, urgent: true, weight });
    }

    /// Incidence, left against right, twist, shape.
    fn flight(&self, trim: &Trim, all: &mut Vec<Entry>) {
        let sure_of = |interval: &Interval| {
            let (value, lower, upper) = (interval.value?, interval.lower?, interval.upper?);
            (lower * upper > 0.0).then_some((value, format!("{:.2}\u{b0} ({lower:+.2} to {upper:+.2})", value.abs())))
        };
        let nose = |value: f64| if value > 0.0 { "nose-up" } else { "nose-down" };
        let mut add = |code, text, urgent, weight| {
            all.push(Entry { diagnosis: diagnosis(code, text, Interval::default()), urgent, weight });
        };
        if let Some((value, words)) = sure_of(&trim.incidence_change_deg)
            && value.abs() > self.spec.incidence_limit_deg
        {
            let text = format!("The wing as a whole is trimmed {} by {words}.", nose(value));
            add(DiagnosisCode::Incidence, text, true, 20.0 * value.abs());
        }
        if let Some((value, words)) = sure_of(&trim.asymmetry_deg)
            && value.abs() > self.spec.asymmetry_limit_deg
        {
            let text = format!("Left and right differ by {words} of incidence: a turn tendency is possible.");
            add(DiagnosisCode::Asymmetry, text, true, 20.0 * value.abs());
        }
        if let Some((value, words)) = sure_of(&trim.tip_twist_deg)
            && value.abs() > TWIST_DEG
        {
            add(
                DiagnosisCode::Twist,
                format!("The tips are turned {} against the centre by {words}.", nose(value)),
                false,
                2.0,
            );
        }
        let worst = trim.shape_residual_mm.iter().max_by(|a, b| a.mm.abs().total_cmp(&b.mm.abs()));
        if let Some(worst) = worst.filter(|worst| worst.mm.abs() > SHAPE_MM) {
            let range = match (trim.incidence_change_deg.value, trim.flexible_incidence_change_deg.value) {
                (Some(rigid), Some(flexible)) => format!(
                    " Incidence change as a straight line {rigid:+.2}\u{b0}, as a flexible section {flexible:+.2}\u{b0}: the \
                     truth lies between."
                ),
                _ => String::new(),
            };
            let text = format!(
                "The rows no longer lie on a straight line (row {} by {:+.1} mm).{range}",
                worst.row, worst.mm
            );
            add(DiagnosisCode::Shape, text, false, 0.5);
        }
    }

    /// The set as a whole.
    fn whole_set(&self, reference: &Combination, all: &mut Vec<Entry>) {
        let value = reference.value(self.measured);
        if value.abs() < LEAST_SET_MM || value.abs() > self.spec.common_limit_mm {
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
        all.push(Entry { diagnosis: diagnosis(DiagnosisCode::WholeSet, text, interval), urgent: false, weight: 4.0 });
    }
}
