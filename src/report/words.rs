//! Figures and results put into words.

use jiff::civil::Date;

use crate::check::Stage;
use crate::forecast::{DueRow, Reason};
use crate::trim::{Interval, RowTrim, Trim, Verdict};
use crate::wear::TermRow;

/// A finite number with a true minus sign; what rounds to nought has no sign.
pub(super) fn number(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(digits) if digits.chars().all(|c| matches!(c, '0' | '.')) => digits.to_owned(),
        Some(digits) => format!("\u{2212}{digits}"),
        None => text,
    }
}

/// A number that always shows its sign, except nought.
pub(super) fn signed(value: f64, decimals: usize) -> String {
    let text = number(value, decimals);
    let nought = text.chars().all(|c| matches!(c, '0' | '.'));
    if nought || text.starts_with('\u{2212}') { text } else { format!("+{text}") }
}

/// A value that may be missing.
pub(super) fn maybe(value: Option<f64>, decimals: usize) -> String {
    value.map_or_else(|| "–".to_owned(), |value| signed(value, decimals))
}

/// `value (lower to upper)`, or a dash.
pub(super) fn interval(interval: &Interval, decimals: usize) -> String {
    match (interval.value, interval.lower, interval.upper) {
        (Some(value), Some(lower), Some(upper)) => {
            format!("{} ({} to {})", signed(value, decimals), signed(lower, decimals), signed(upper, decimals))
        }
        (Some(value), _, _) => signed(value, decimals),
        (None, Some(lower), Some(upper)) => format!("{} to {}", signed(lower, decimals), signed(upper, decimals)),
        _ => "–".to_owned(),
    }
}

/// The smallest and the largest of some sizes with one decimal, or the one that all of them are: `3.0`, `3.0 to 4.2`.
pub(super) fn between(sizes: impl Iterator<Item = f64>) -> String {
    let (low, high) =
        sizes.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), size| (low.min(size), high.max(size)));
    let [low, high] = [low, high].map(|size| number(size, 1));
    if low == high { low } else { format!("{low} to {high}") }
}

/// One with its noun in the singular, others with the plural.
pub(super) fn count(n: usize, one: &str, many: &str) -> String {
    if n == 1 { format!("1 {one}") } else { format!("{n} {many}") }
}

/// How many lines of a check have a verdict.
pub(super) fn verdicts(trim: &Trim, verdict: Verdict) -> usize {
    match verdict {
        Verdict::Within => trim.counts().within,
        Verdict::Outside => trim.counts().outside,
        Verdict::Undecided => trim.counts().undecided,
    }
}

/// Why the next check is due, in words.
pub(super) const fn reason(reason: Reason) -> &'static str {
    match reason {
        Reason::Interval => "interval",
        Reason::Line => "a line\u{2019}s tolerance",
        Reason::RowDifference => "row difference",
        Reason::Incidence => "incidence",
        Reason::LeftRight => "left against right",
        Reason::Twist => "twist",
        Reason::Brake => "brake row",
        Reason::Offset => "common offset",
        Reason::AlreadyOver => "limit crossed",
        Reason::Event => "event",
    }
}

/// What decides when the next check is due, for use after "the".
pub(super) const fn decides(reason: Reason) -> &'static str {
    match reason {
        Reason::Interval => "interval",
        Reason::Line => "tolerance of a single line",
        Reason::RowDifference => "difference of two rows",
        Reason::Incidence => "incidence",
        Reason::LeftRight => "incidence left against right",
        Reason::Twist => "twist",
        Reason::Brake => "brake row",
        Reason::Offset => "common offset",
        Reason::AlreadyOver => "limit that is crossed",
        Reason::Event => "event",
    }
}

/// Mean of a row less the common offset with its 95 % interval, such as `+2.1 (+1.2 to +3.0)`.
pub(super) fn row_interval(row: &RowTrim, common_mm: f64) -> String {
    interval(&row.mean_interval_mm(common_mm), 1)
}

/// Differences of the rows of the whole wing with their 95 % intervals, such as `A less C +3.2 (+2.0 to +4.4)`.
pub(super) fn row_differences(trim: &Trim) -> Vec<String> {
    let both = trim.row_differences.iter().filter(|difference| difference.side == "both");
    both.map(|one| format!("{} less {} {}", one.front, one.rear, interval(&one.interval_mm(), 1))).collect()
}

/// Stage of a check in words.
pub(super) const fn stage(stage: Stage) -> &'static str {
    match stage {
        Stage::AsFound => "as found",
        Stage::AsLeft => "as left after adjusting",
    }
}

/// A chance in per cent, without a false nought or certainty: draws that all agree still leave some doubt.
pub(super) fn chance(share: f64) -> String {
    match 100.0 * share {
        small if small < 1.0 => "under 1 %".to_owned(),
        large if large > 99.0 => "over 99 %".to_owned(),
        some => format!("{some:.0} %"),
    }
}

/// When the next check is due, as seen on a day.
pub(super) fn due(row: &DueRow, today: Date) -> String {
    let hours = number(row.due_hours, 0);
    match row.due_date {
        _ if row.reason == Reason::AlreadyOver => "now".to_owned(),
        Some(date) if row.is_due(today) => format!("now (since {date})"),
        Some(date) => format!("{date}, or at {hours} h"),
        None => format!("at {hours} h"),
    }
}

/// State of a wing in one or two sentences: what was measured, what it did to the incidence.
pub(super) fn state(trim: &Trim) -> String {
    let change = &trim.incidence_change_deg;
    let incidence = match (change.value, change.lower, change.upper) {
        (Some(value), Some(lower), Some(upper)) if lower <= 0.0 && upper >= 0.0 => format!(
            " No clear change of incidence ({}\u{b0}, 95 % {} to {}\u{b0}).",
            signed(value, 2),
            signed(lower, 2),
            signed(upper, 2)
        ),
        (Some(value), Some(lower), Some(upper)) => format!(
            " Incidence turned nose-{} by {}\u{b0} (95 % {} to {}\u{b0}).",
            if value > 0.0 { "up" } else { "down" },
            number(value.abs(), 2),
            signed(lower, 2),
            signed(upper, 2)
        ),
        (Some(value), _, _) => format!(" Incidence changed by {}\u{b0}.", signed(value, 2)),
        (None, _, _) => " Incidence cannot be told from this check.".to_owned(),
    };
    format!("{}{incidence}", trim.summary)
}

/// A rate of the wear model in words a workshop reads, or `None` for a term that is not a rate.
pub(super) fn rate(term: &TermRow) -> Option<&'static str> {
    let (kind, _) = term.term.split_once(':')?;
    let clear = term.lower * term.upper > 0.0;
    let shorter = term.estimate < 0.0;
    match (kind, clear, shorter) {
        ("rate", true, true) => Some("shrinks"),
        ("rate", true, false) => Some("grows"),
        ("rate", false, _) => Some("no clear drift"),
        ("span", true, true) => Some("tip shrinks more"),
        ("span", true, false) => Some("tip grows more"),
        ("span", false, _) => Some("no clear difference"),
        _ => None,
    }
}

/// What every report says before anything else.
pub const CAUTIONS: [&str; 6] = [
    "A change of trim alters how a wing flies and can make it dangerous. The maker's manual and the local rules come first.",
    "Have adjustments done or checked by a qualified workshop, and fly the wing first with plenty of margin.",
    "Length says nothing of the strength of lines or the state of the cloth. These are statements about measured lengths; \
     whether a wing is fit to fly is for the maker, the inspector and the pilot.",
    "Changes of incidence, angle of attack and speed are changes against the maker's table, given as ranges. Nothing is \
     said of an absolute angle of attack, of stall or collapse, or of a turn.",
    "A result is as good as the readings behind it. What lies too close to a tolerance to tell is called undecided: \
     measure it again before adjusting.",
    "The next check is a forecast from a model of this fleet's past. A strong load, sand, salt, heat, water or a repair is \
     a reason to measure earlier.",
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_have_true_signs_and_no_minus_nought() {
        assert_eq!(number(-0.04, 1), "0.0");
        assert_eq!(number(-1.26, 1), "\u{2212}1.3");
        assert_eq!(signed(0.0, 1), "0.0");
        assert_eq!(signed(2.0, 0), "+2");
        assert_eq!(maybe(None, 1), "–");
    }

    #[test]
    fn sizes_are_told_as_one_or_as_a_range() {
        assert_eq!(between([3.02, 2.98].into_iter()), "3.0");
        assert_eq!(between([4.2, 3.0, 3.5].into_iter()), "3.0 to 4.2");
    }

    #[test]
    fn rates_are_told_by_their_interval() {
        let term = |name: &str, estimate: f64, half: f64| TermRow {
            term: name.to_owned(),
            estimate,
            se: half / 1.96,
            lower: estimate - half,
            upper: estimate + half,
            df: 1e6,
            p: 0.5,
        };
        assert_eq!(rate(&term("rate:uhmwpe:C", -1.1, 0.1)), Some("shrinks"));
        assert_eq!(rate(&term("rate:lcp:A", 0.1, 0.2)), Some("no clear drift"));
        assert_eq!(rate(&term("span:A", 0.3, 0.1)), Some("tip grows more"));
        assert_eq!(rate(&term("offset", 1.0, 0.1)), None);
    }
}
