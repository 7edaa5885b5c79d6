//! Lines outside that no group explains.

use super::diagnose::Findings;
use super::entry::{Call, Entry, diagnosis, long, sure, work_if};
use super::{DiagnosisCode, Interval, LineVerdict};
use crate::check::sheet::LineOnSide;
use crate::wing::Row;

/// Single lines listed one by one; more are counted.
const MOST_LINES: usize = 6;
/// More lines than this that are near their tolerance are no matter of reading them again.
const MOST_AGAIN: usize = 5;

impl Findings<'_> {
    /// The believed lines with their place among the measured ones.
    pub(super) fn believed(&self) -> impl Iterator<Item = (usize, &LineVerdict)> {
        self.lines.iter().filter(|line| !line.doubted).enumerate()
    }

    /// Whether one more reading could bring a line outside within: it was read once, near its tolerance, and nobody
    /// confirmed it.
    pub(super) fn needs_another_reading(&self, at: usize, line: &LineVerdict) -> bool {
        line.near
            && self
                .measured
                .lines
                .get(at)
                .is_some_and(|known| known.repeats == 1 && !self.check.is_confirmed(known.side, known.line))
    }

    /// Lines outside that nothing else explains.
    ///
    /// An entry explains the lines that it names, and those of the row or side that it is about, where they are off its way.
    /// Where rows or sides stand apart, a line within its tolerance of where they stand is off with them.
    pub(super) fn single_lines(&self, all: &mut Vec<Entry>) {
        let rest_mm = self.faults.left_over_mm(self.measured);
        let of_rows = |entry: &Entry| {
            let code = entry.diagnosis.code;
            matches!(code, DiagnosisCode::Row | DiagnosisCode::Side) && entry.calls_for_work()
        };
        let rows_apart = all.iter().any(of_rows);
        let explained = |at: usize, line: &LineVerdict| {
            let same = |mm: Option<f64>| mm.is_some_and(|mm| mm * line.relative_mm > 0.0);
            let with_rows = rows_apart
                && line.row.is_trim()
                && rest_mm.get(at).is_some_and(|rest| rest.abs() <= line.tolerance_mm);
            with_rows
                || all.iter().any(|known| {
                    let one = &known.diagnosis;
                    let of_row = one.row == Some(line.row) && one.side.is_none_or(|side| side == line.side);
                    let listed = one.lines.iter().any(|on| on.side == line.side && on.line == line.line);
                    let whole = one.lines.is_empty() && one.segment.is_none();
                    (listed || (whole && of_row)) && same(one.value_mm)
                })
        };
        let left: Vec<(usize, &LineVerdict)> =
            self.believed().filter(|(at, line)| line.is_outside() && !explained(*at, line)).collect();
        let near = |(at, line): &(usize, &LineVerdict)| self.needs_another_reading(*at, line);
        let again = left.iter().filter(|line| near(line)).count() <= MOST_AGAIN;
        if left.len() <= MOST_LINES {
            let call = |line| if again && near(line) { Call::Again } else { Call::Work };
            all.extend(left.iter().map(|line| single(line.1, call(line))));
            return;
        }
        let lines: Vec<LineOnSide> =
            left.iter().map(|(_, line)| LineOnSide { side: line.side, line: line.line.clone() }).collect();
        let text = format!("{} more lines are outside their tolerance, without a common shape.", lines.len());
        let mut one = diagnosis(DiagnosisCode::Line, text, Interval::default());
        let weight = left.iter().map(|(_, line)| line.relative_mm.abs()).sum();
        one.lines = lines;
        all.push(Entry { diagnosis: one, call: work_if(true), weight });
    }
}

fn single(line: &LineVerdict, call: Call) -> Entry {
    let (mm, reach) = (line.relative_mm, line.uncertainty_mm);
    let interval = Interval { value: Some(mm), lower: Some(mm - reach), upper: Some(mm + reach) };
    let tell = if call == Call::Again {
        format!(": too near its tolerance of {:.0} mm to tell, so measure it again", line.tolerance_mm)
    } else {
        String::new()
    };
    let text = format!("{} on the {} is {} {}{tell}.", line.line, line.side, sure(&interval), long(mm));
    let code = if line.row == Row::Stabilo { DiagnosisCode::Stabilo } else { DiagnosisCode::Line };
    let mut one = diagnosis(code, text, interval);
    (one.side, one.row) = (Some(line.side), Some(line.row));
    one.lines = vec![LineOnSide { side: line.side, line: line.line.clone() }];
    Entry { diagnosis: one, call, weight: mm.abs() }
}
