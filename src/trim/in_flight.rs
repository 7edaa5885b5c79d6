//! What the lengths do to the wing in flight, in words.

use super::diagnose::Findings;
use super::entry::{Entry, diagnosis, work_if};
use super::faults::Shape;
use super::{DiagnosisCode, Interval, Trim};

/// What a straight line through the rows may leave before a word is said, mm.
const SHAPE_MM: f64 = 3.0;
/// Tip less centre that is worth a word, degrees.
const TWIST_DEG: f64 = 0.5;

/// A value whose interval does not hold zero, with its words.
fn sure_of(interval: &Interval) -> Option<(f64, String)> {
    let (value, lower, upper) = (interval.value?, interval.lower?, interval.upper?);
    (lower * upper > 0.0).then_some((value, format!("{:.2}\u{b0} ({lower:+.2} to {upper:+.2})", value.abs())))
}

fn nose(value: f64) -> &'static str {
    if value > 0.0 { "nose-up" } else { "nose-down" }
}

impl Findings<'_> {
    /// Incidence, left against right, twist, shape. Rows and sides that bring a wing past a limit call for work with it.
    pub(super) fn flight(&self, trim: &Trim, all: &mut Vec<Entry>) {
        let mut found = Vec::new();
        let mut add = |code, text, urgent, weight| {
            let diagnosis = diagnosis(code, text, Interval::default());
            found.push(Entry { diagnosis, call: work_if(urgent), weight });
        };
        let mut causes = Vec::new();
        if let Some((value, words)) = sure_of(&trim.incidence_change_deg)
            && value.abs() > self.spec.limits.incidence_limit_deg()
        {
            let text = format!("The wing as a whole is trimmed {} by {words}.", nose(value));
            add(DiagnosisCode::Incidence, text, true, 20.0 * value.abs());
            causes.push(DiagnosisCode::Row);
        }
        if let Some((value, words)) = sure_of(&trim.asymmetry_deg)
            && value.abs() > self.spec.limits.left_right_limit_deg()
        {
            let text = format!("Left and right differ by {words} of incidence: a turn tendency is possible.");
            add(DiagnosisCode::Asymmetry, text, true, 20.0 * value.abs());
            causes.push(DiagnosisCode::Side);
        }
        // a row that is off as a whole turns the tips more by itself, as their chord is shorter
        let of_rows = |shape: &Shape| matches!(shape, Shape::Side | Shape::RowSide(_));
        if let Some((value, words)) = sure_of(&trim.tip_twist_deg)
            && value.abs() > TWIST_DEG
            && self.faults.found.iter().any(|fault| !of_rows(&fault.shape))
        {
            let text = format!("The tips are turned {} against the centre by {words}.", nose(value));
            add(DiagnosisCode::Twist, text, value.abs() > self.spec.limits.twist_limit_deg(), 2.0);
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
        for entry in all.iter_mut().filter(|entry| causes.contains(&entry.diagnosis.code)) {
            entry.call = work_if(true);
        }
        all.extend(found);
    }
}
