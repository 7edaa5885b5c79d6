//! Figures and results put into words.

use jiff::civil::Date;

use super::build::Entry;
use crate::check::Stage;
use crate::forecast::{DueRow, Reason};
use crate::trim::{Interval, RowTrim, SideDifference, Trim, TrimState, Verdict};
use crate::wear::TermRow;
use crate::wing::Row;

/// A finite number with a true minus sign; what rounds to zero has no sign.
pub(super) fn number(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(digits) if digits.chars().all(|c| matches!(c, '0' | '.')) => digits.to_owned(),
        Some(digits) => format!("\u{2212}{digits}"),
        None => text,
    }
}

/// A number that always shows its sign, except zero.
pub(super) fn signed(value: f64, decimals: usize) -> String {
    let text = number(value, decimals);
    let zero = text.chars().all(|c| matches!(c, '0' | '.'));
    if zero || text.starts_with('\u{2212}') { text } else { format!("+{text}") }
}

/// A sentence of the library as a page sets it: with true minus signs and apostrophes.
pub(super) fn typeset(text: &str) -> String {
    let mut before = ' ';
    let letters: Vec<char> = text.chars().collect();
    let mut set = String::with_capacity(text.len());
    for (at, &letter) in letters.iter().enumerate() {
        let number = letters.get(at + 1).is_some_and(char::is_ascii_digit) && matches!(before, ' ' | '(');
        set.push(match letter {
            '-' if number => '\u{2212}',
            '\'' if before.is_alphanumeric() => '\u{2019}',
            other => other,
        });
        before = letter;
    }
    set
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

/// A difference of the sides of a main that is worth a word, mm.
const MAIN_APART_MM: f64 = 8.0;

/// Left less right of each row with its 95 % interval, and of the mains that surely differ.
pub(super) fn side_differences(trim: &Trim) -> Vec<String> {
    let words = |one: &SideDifference| {
        let name = one.main.clone().unwrap_or_else(|| one.row.to_string());
        let (value, lower, upper) = (Some(one.difference_mm), Some(one.lower_mm), Some(one.upper_mm));
        format!("{name} {}", interval(&Interval { value, lower, upper }, 1))
    };
    let worth = |one: &&SideDifference| {
        let surely = one.lower_mm * one.upper_mm > 0.0 && one.difference_mm.abs() >= MAIN_APART_MM;
        one.line.is_none() && (one.main.is_none() || surely)
    };
    trim.side_differences.iter().filter(worth).map(words).collect()
}

/// The text with its first letter as a capital.
pub(super) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// A row by its name, such as `Row A` or `Brake`.
pub(super) fn row(row: Row) -> String {
    match row {
        Row::Stabilo => "Stabilo".to_owned(),
        Row::Brake => "Brake".to_owned(),
        row => format!("Row {row}"),
    }
}

/// Stage of a check in words.
pub(super) const fn stage(stage: Stage) -> &'static str {
    match stage {
        Stage::AsFound => "as found",
        Stage::AsLeft => "as left after adjusting",
    }
}

/// A chance in per cent, without a false zero or certainty: draws that all agree still leave some doubt.
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

/// State of a check in words, such as `measure again`.
pub(super) const fn state(state: TrimState) -> &'static str {
    match state {
        TrimState::InTrim => "in trim",
        TrimState::Adjust => "adjust",
        TrimState::MeasureAgain => "measure again",
        TrimState::NotJudged => "not judged",
    }
}

/// How many lines are what, in a sentence.
pub(super) fn counts(trim: &Trim) -> String {
    let counts = trim.counts();
    let part = |n: usize, what: &str| if n == 0 { String::new() } else { format!(", {n} {what}") };
    format!(
        "{} read: {} within tolerance, {} outside{}{}{}.",
        count(counts.read, "line", "lines"),
        counts.within,
        counts.outside,
        part(counts.undecided, "undecided"),
        part(counts.doubted, "doubtful"),
        part(counts.near, "too close to the tolerance to be sure"),
    )
}

/// What a fleet needs, in a sentence or two, the most urgent wings named. The entries come in order of urgency.
pub(super) fn fleet(entries: &[Entry<'_>], today: Date) -> String {
    let with = |state: TrimState| entries.iter().filter(move |one| one.trim.is_some_and(|trim| trim.state == state));
    let due = entries.iter().filter(|one| one.due.is_some_and(|row| row.is_due(today))).count();
    let all = count(entries.len(), "wing", "wings");
    let mut needs = Vec::new();
    for (n, one, many) in [
        (with(TrimState::Adjust).count(), "needs adjusting", "need adjusting"),
        (with(TrimState::MeasureAgain).count(), "must be measured again", "must be measured again"),
        (with(TrimState::NotJudged).count(), "cannot be judged", "cannot be judged"),
        (due, "is due for a check now", "are due for a check now"),
    ] {
        if n > 0 {
            needs.push(format!("{n} {}", if n == 1 { one } else { many }));
        }
    }
    let Some(first) = needs.first_mut() else {
        return format!("Of {all}, none needs adjusting and none is due for a check.");
    };
    *first = format!("Of {all}, {first}");
    let last = needs.pop().unwrap_or_default();
    let needs = if needs.is_empty() { last } else { format!("{} and {last}", needs.join(", ")) };
    let urgent: Vec<&str> =
        entries.iter().take(3).filter(|one| one.needs_something(today)).map(|one| one.wing).collect();
    match urgent.as_slice() {
        [] => format!("{needs}."),
        [one] => format!("{needs}. The most urgent is {one}."),
        [some @ .., last] => format!("{needs}. The most urgent are {} and {last}.", some.join(", ")),
    }
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
    "Length says nothing about the strength of lines or the state of the cloth. These are statements about measured lengths; \
     whether a wing is fit to fly is for the maker, the inspector and the pilot to judge.",
    "Changes of incidence, angle of attack and speed are changes against the maker's table, given as ranges. Nothing is \
     said about an absolute angle of attack, about stall or collapse, or about which way a wing may turn.",
    "A result is only as good as the readings behind it. Measure doubtful readings again, and lines close to their tolerance, \
     before you adjust anything.",
    "The next check is a forecast from this fleet's past. Measure earlier after a strong load, sand, salt, heat, water or a \
     repair.",
];

/// The cautions in one line, with where to read them whole.
pub(super) const CAUTION_LINE: &str = "! A change of trim can make a wing dangerous. Cautions: linedrift help";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_have_true_signs_and_no_minus_zero() {
        assert_eq!(number(-0.04, 1), "0.0");
        assert_eq!(number(-1.26, 1), "\u{2212}1.3");
        assert_eq!(signed(0.0, 1), "0.0");
        assert_eq!(signed(2.0, 0), "+2");
        assert_eq!(maybe(None, 1), "–");
    }

    #[test]
    fn sentences_are_set_with_true_signs() {
        assert_eq!(
            typeset("the maker's -3 mm (-4 to -2), W26-6"),
            "the maker\u{2019}s \u{2212}3 mm (\u{2212}4 to \u{2212}2), W26-6"
        );
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
