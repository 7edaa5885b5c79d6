//! A trim result as one screen of text.

use std::fmt;

use super::{Interval, Trim, TrimChange, Verdict};

/// Lines listed that are not within.
const LISTED: usize = 12;

/// An interval as `value (lower … upper)`.
fn spoken(interval: Interval, unit: &str) -> String {
    match (interval.value, interval.lower, interval.upper) {
        (Some(value), Some(lower), Some(upper)) => format!("{value:+.2}{unit} ({lower:+.2} … {upper:+.2})"),
        _ => "not stated".to_owned(),
    }
}

impl fmt::Display for Trim {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "check {} of wing {}, {:.0} h, {}", self.check, self.wing, self.hours, self.stage)?;
        writeln!(f, "  {}", self.summary)?;
        for one in &self.diagnosis {
            writeln!(f, "  - {}", one.text)?;
        }
        match self.common_mm {
            Some(common) => writeln!(f, "  common offset      {common:+.1} mm")?,
            None => writeln!(f, "  common offset      not stated")?,
        }
        let counts = self.counts();
        write!(f, "  lines              {} within, {} outside", counts.within, counts.outside)?;
        if counts.undecided > 0 {
            write!(f, ", {} undecided", counts.undecided)?;
        }
        if counts.doubted > 0 {
            write!(f, ", and {} doubtful", counts.doubted)?;
        }
        writeln!(f)?;
        let odd = || self.lines.iter().filter(|line| line.verdict != Some(Verdict::Within));
        for line in odd().take(LISTED) {
            writeln!(
                f,
                "    {:<5} {:<8} {:+6.1} mm ± {:.1}, tolerance {:.0}: {}",
                line.side,
                line.line,
                line.relative_mm,
                line.uncertainty_mm,
                line.tolerance_mm,
                line.verdict.map_or("doubtful reading", Verdict::name)
            )?;
        }
        if odd().count() > LISTED {
            writeln!(f, "    and {} more", odd().count() - LISTED)?;
        }
        writeln!(f, "  row      side   mean ± se mm     effective mm")?;
        for row in &self.rows {
            let effective = row.effective_mm.map_or_else(|| "-".to_owned(), |mm| format!("{mm:+.1}"));
            writeln!(
                f,
                "  {:<8} {:<6} {:+6.1} ± {:<4.1} {effective:>12}",
                row.row, row.side, row.mean_mm, row.se_mm
            )?;
        }
        writeln!(f, "  incidence change   {}", spoken(self.incidence_change_deg, "°"))?;
        writeln!(f, "  left less right    {}", spoken(self.asymmetry_deg, "°"))?;
        writeln!(f, "  tip less centre    {}", spoken(self.tip_twist_deg, "°"))?;
        writeln!(f, "  angle of attack    {}", spoken(self.aoa_change_deg, "°"))?;
        writeln!(f, "  trim speed         {}", spoken(self.speed_change_pct, " %"))?;
        for note in &self.notes {
            writeln!(f, "  note: {}", note.message)?;
        }
        Ok(())
    }
}

impl fmt::Display for TrimChange {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "wing {}: from check {} to check {}", self.wing, self.before, self.after)?;
        if let Some(common) = self.common_mm {
            writeln!(f, "  common offset      {common:+.1} mm")?;
        }
        let outside = |verdict: Option<Verdict>| usize::from(verdict != Some(Verdict::Within));
        let before: usize = self.lines.iter().map(|line| outside(line.before)).sum();
        let after: usize = self.lines.iter().map(|line| outside(line.after)).sum();
        writeln!(f, "  lines not within   {before} before, {after} after, of {}", self.lines.len())?;
        writeln!(f, "  row      side   before   after   change ± se mm")?;
        for row in &self.rows {
            writeln!(
                f,
                "  {:<8} {:<6} {:+6.1}  {:+6.1}  {:+6.1} ± {:.1}",
                row.row, row.side, row.before_mm, row.after_mm, row.change_mm, row.se_mm
            )?;
        }
        writeln!(f, "  incidence          {}", spoken(self.incidence_deg, "°"))?;
        writeln!(f, "  left less right    {}", spoken(self.asymmetry_deg, "°"))?;
        if !self.unmatched.is_empty() {
            writeln!(f, "  read at one check only: {} (lines)", self.unmatched.len())?;
        }
        Ok(())
    }
}
