//! A line set of what a spreadsheet says.

use super::cascade::{Cascade, material_name};
use super::error::{SpreadsheetError, columns_option, few};
use super::line::{SheetLine, plain};
use super::line_name::number_of;
use super::spec::Spreadsheet;
use crate::check::sheet::LengthUnit;
use crate::wing::{Line, LineSet, ModelData, Row, Segment, Side};

/// Lengths of the two sides that differ by less are one length, mm.
const SAME_MM: f64 = 0.05;

impl Spreadsheet {
    /// The line set that the file gives, under a model's name. Ranks are by a column, else by the numbers in the names,
    /// else by the order of the file.
    ///
    /// # Errors
    /// [`SpreadsheetError`] when a line has no length of the maker, or pieces and lines do not fit together.
    pub fn line_set(&self, model: &str) -> Result<LineSet, SpreadsheetError> {
        let file = &self.file;
        let cascade = Cascade::of(&self.lines);
        let pieces: Vec<&String> = cascade.iter().flat_map(|cascade| &cascade.pieces).collect();
        let own: Vec<&SheetLine> = self.lines.iter().filter(|line| !pieces.contains(&&line.name)).collect();
        if own.is_empty() {
            return Err(SpreadsheetError::question(
                file,
                "no line was found: where is the table?",
                self.wanted_header(),
            ));
        }
        let missing: Vec<String> = own
            .iter()
            .filter(|line| Self::nominal(line, cascade.as_ref()).is_none())
            .map(|line| line.name.clone())
            .collect();
        if !missing.is_empty() {
            return Err(self.no_nominal(&missing, own.len()));
        }
        let mut segments: Vec<Segment> = cascade.as_ref().map(|cascade| cascade.segments.clone()).unwrap_or_default();
        let mut lines = Vec::new();
        for line in &own {
            let nominal_mm = Self::nominal(line, cascade.as_ref()).unwrap_or_default();
            let rank = rank(line, &own);
            let in_row = own.iter().filter(|other| other.row == line.row).count();
            let highest = own.iter().filter(|other| other.row == line.row).map(|other| self::rank(other, &own)).max();
            let in_row = in_row.max(highest.unwrap_or(1) as usize);
            let made = |nominal_mm: f64, side: Option<Side>, segment: usize| Line {
                name: line.name.clone(),
                row: line.row,
                rank,
                nominal_mm,
                span: line.span.unwrap_or((f64::from(rank) - 0.5) / in_row as f64),
                span_assumed: line.span.is_none(),
                chord: line.chord,
                main: line.main.name.clone(),
                tolerance_mm: line.tolerance_mm.or(self.facts.tolerance_mm),
                side,
                segment,
            };
            if cascade.is_some() {
                let at = segments.iter().rposition(|segment| segment.name == line.name).unwrap_or_default();
                lines.push(made(nominal_mm, None, at));
                continue;
            }
            let piece = |name: String, length_mm: f64| Segment {
                name,
                parent: None,
                material: material_name(line.material.as_deref()),
                length_mm,
                diameter_mm: None,
                can_loop: None,
            };
            match line.nominal_mm {
                [Some(left), Some(right)] if (left - right).abs() > SAME_MM => {
                    for (side, mm) in [(Side::Left, left), (Side::Right, right)] {
                        segments.push(piece(format!("{} ({side})", line.name), mm));
                        lines.push(made(mm, Some(side), segments.len() - 1));
                    }
                }
                _ => {
                    segments.push(piece(line.name.clone(), nominal_mm));
                    lines.push(made(nominal_mm, None, segments.len() - 1));
                }
            }
        }
        let set = LineSet::new(model, None, lines, segments).map_err(|error| {
            SpreadsheetError::question(file, format!("the lines make no model: {error}"), Vec::<String>::new())
        })?;
        let set = if cascade.is_some() { set } else { set.without_cascade() };
        Ok(set.with_rows(self.rows.clone()).with_data(self.data()))
    }

    /// The maker's length of a line, mm: given, or the sum of its pieces.
    fn nominal(line: &SheetLine, cascade: Option<&Cascade>) -> Option<f64> {
        let given = line.nominal_mm[0].or(line.nominal_mm[1]);
        given.or_else(|| {
            let cascade = cascade.filter(|cascade| cascade.has_lengths)?;
            let mut at = cascade.segments.iter().rposition(|segment| segment.name == line.name);
            let mut sum = 0.0;
            while let Some(segment) = at.and_then(|at| cascade.segments.get(at)) {
                sum += segment.length_mm;
                at = segment.parent;
            }
            (sum > 0.0).then_some(sum)
        })
    }

    fn no_nominal(&self, missing: &[String], lines: usize) -> SpreadsheetError {
        let question = if missing.len() == lines {
            "no column with the maker's lengths was found: which is it?".to_owned()
        } else {
            format!(
                "{} of {lines} lines have no length of the maker ({}): where are they?",
                missing.len(),
                few(missing)
            )
        };
        let mut options: Vec<String> = self
            .unused
            .iter()
            .filter(|title| title.starts_with('`'))
            .map(|title| columns_option("nominal", title.trim_matches('`')))
            .collect();
        options.push("--nominal FILE, a file with the maker's lengths".to_owned());
        options.push(
            "--keep FLEET --model NAME, a folder that has the model (`linedrift model` puts it there)".to_owned(),
        );
        SpreadsheetError::question(&self.file, question, options)
    }

    pub(super) fn wanted_header(&self) -> Vec<String> {
        let mut options = vec![
            "a header row such as `Line, Nominal [mm], Left, Right`".to_owned(),
            "or `Side, Line, Reading`".to_owned(),
            "or a column for each row of lines (A, B, C, …) below the titles Nominal, Left and Right".to_owned(),
            "--columns line=…,nominal=…,left=…,right=… for headings of your own".to_owned(),
        ];
        if !self.unused.is_empty() {
            options.push(format!("columns that were not understood: {}", self.unused.join(", ")));
        }
        options
    }

    /// What the file says of the model as a whole.
    fn data(&self) -> ModelData {
        let facts = &self.facts;
        ModelData {
            span_m: facts.span_m,
            area_m2: facts.area_m2,
            root_chord_m: facts.root_chord_m,
            trim_speed_kmh: facts.trim_speed_kmh,
            glide: facts.glide,
            interval_h: facts.interval_h,
            interval_months: facts.interval_months,
            ..ModelData::default()
        }
    }
}

/// Place of a line in its row, counted from the centre.
fn rank(line: &SheetLine, all: &[&SheetLine]) -> u32 {
    let mates: Vec<&&SheetLine> = all.iter().filter(|other| other.row == line.row).collect();
    let count = u32::try_from(mates.len()).unwrap_or(u32::MAX);
    let by = |number: &dyn Fn(&SheetLine) -> Option<u32>| -> Option<u32> {
        let mut numbers: Vec<u32> = mates.iter().map(|mate| number(mate)).collect::<Option<_>>()?;
        let own = number(line)?;
        numbers.sort_unstable();
        let distinct = numbers.windows(2).all(|pair| pair[0] < pair[1]);
        let highest = numbers.last().copied()?;
        // a gap is a line that is not in the file; numbers that begin elsewhere only give the order
        match (distinct, numbers.first() == Some(&1) && highest <= count.saturating_mul(2)) {
            (false, _) => None,
            (true, true) => Some(own),
            (true, false) => {
                numbers.iter().position(|number| *number == own).and_then(|at| u32::try_from(at + 1).ok())
            }
        }
    };
    let in_order = || {
        let at = mates.iter().position(|mate| plain(&mate.name) == plain(&line.name)).unwrap_or(0);
        u32::try_from(at + 1).unwrap_or(1)
    };
    by(&|mate| number_of(&mate.name)).or_else(|| by(&|mate| mate.rank)).unwrap_or_else(in_order)
}

/// Rows whose lines grow longer from rank to rank: their numbers may begin at the tip.
pub(super) fn from_the_tip(set: &LineSet) -> Vec<Row> {
    Row::ALL
        .into_iter()
        .filter(|row| row.is_trim())
        .filter(|row| {
            let mut lines: Vec<&Line> = set.lines().iter().filter(|line| line.row == *row).collect();
            lines.sort_by_key(|line| line.rank);
            let growing = lines.windows(2).filter(|pair| pair[1].nominal_mm > pair[0].nominal_mm).count();
            let ends = lines.first().zip(lines.last());
            lines.len() >= 5
                && growing * 10 >= (lines.len() - 1) * 8
                && ends.is_some_and(|(first, last)| last.nominal_mm > first.nominal_mm * 1.05)
        })
        .collect()
}

/// Unit as contract and messages have it.
pub(super) fn unit_name(unit: LengthUnit) -> &'static str {
    unit.name()
}
