//! Numbers and lengths as people write them.

use crate::check::sheet::LengthUnit;

/// A number in a cell, and the unit where the cell itself names it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Amount {
    pub(super) value: f64,
    pub(super) unit: Option<LengthUnit>,
}

/// What a text that should be a number says.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Written {
    /// Not measured.
    Missing,
    Amount(Amount),
    /// It may be two numbers.
    Either(String),
    /// No number.
    Not,
}

/// The mark before decimals in a file, as far as its numbers tell.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Marks {
    point: bool,
    comma: bool,
}

/// What people write where nothing was measured.
const NOTHING: &[&str] = &[
    "-",
    "--",
    "---",
    "–",
    "—",
    "−",
    "/",
    "//",
    ".",
    "..",
    "...",
    "…",
    "x",
    "n/a",
    "na",
    "n.a.",
    "#n/a",
    "nan",
    "null",
    "none",
    "nil",
    "missing",
    "k.a.",
    "ka",
    "fehlt",
    "keine",
    "nicht gemessen",
    "manque",
    "absent",
    "non mesuré",
    "no medido",
    "falta",
    "non misurato",
    "manca",
    "not measured",
    "not read",
];

impl Marks {
    /// Looks at one more text of the file.
    pub(super) fn see(&mut self, text: &str) {
        let Some((plain, _)) = taken_apart(text) else { return };
        let points = plain.matches('.').count();
        let commas = plain.matches(',').count();
        let last = plain.rfind(['.', ',']);
        let Some(last) = last else { return };
        let after = plain.len() - last - 1;
        let mark = &plain[last..=last];
        let decimal = (points > 0 && commas > 0) || (points + commas == 1 && (after != 3 || plain.starts_with('0')));
        if decimal {
            self.point |= mark == ".";
            self.comma |= mark == ",";
        }
    }

    /// Whether both marks stand before decimals.
    pub(super) fn disagree(self) -> bool {
        self.point && self.comma
    }

    /// The number in a text. `unit` is what the heading says.
    pub(super) fn read(self, text: &str, unit: Option<LengthUnit>) -> Written {
        let small = text.trim().to_lowercase();
        if small.is_empty() || NOTHING.contains(&small.as_str()) {
            return Written::Missing;
        }
        let Some((plain, own)) = taken_apart(text) else { return Written::Not };
        let unit = own.or(unit);
        let number = |text: &str| match text.parse::<f64>() {
            Ok(value) if value.is_finite() => Written::Amount(Amount { value, unit: own }),
            _ => Written::Not,
        };
        let points = plain.matches('.').count();
        let commas = plain.matches(',').count();
        match (points, commas) {
            (0, 0) => number(&plain),
            // the last one is the decimal mark, the others part the thousands
            (1, 1..) | (1.., 1) if points > 0 && commas > 0 => {
                let last = plain.rfind(['.', ',']).unwrap_or(0);
                let (whole, rest) = plain.split_at(last);
                let thousands = if rest.starts_with(',') { '.' } else { ',' };
                if !well_parted(whole, thousands) {
                    return Written::Not;
                }
                number(&format!("{}.{}", whole.replace(thousands, ""), &rest[1..]))
            }
            (1, 0) | (0, 1) => {
                let mark = if points == 1 { '.' } else { ',' };
                let decimal = plain.replace(mark, ".");
                let (whole, rest) = plain.split_once(mark).unwrap_or((&plain, ""));
                let digits = whole.trim_start_matches(['+', '-']);
                let may_be_thousands = rest.len() == 3 && (1..=3).contains(&digits.len()) && digits != "0";
                let is_known_decimal = if mark == '.' { self.point } else { self.comma };
                match unit {
                    Some(LengthUnit::Millimetre) if may_be_thousands && is_known_decimal => {
                        Written::Either(format!("{digits}{rest} mm, or {digits}.{rest} mm"))
                    }
                    Some(LengthUnit::Millimetre) if may_be_thousands => number(&plain.replace(mark, "")),
                    _ => number(&decimal),
                }
            }
            (2.., 0) if well_parted(&plain, '.') => number(&plain.replace('.', "")),
            (0, 2..) if well_parted(&plain, ',') => number(&plain.replace(',', "")),
            _ => Written::Not,
        }
    }
}

/// A text without the signs that stand before a tolerance: `± 10 mm`.
pub(super) fn without_sign(text: &str) -> &str {
    let text = text.trim().trim_start_matches(['±', '<', '≤', ' ']);
    ["+/-", "+/−", "+-"].iter().find_map(|sign| text.strip_prefix(sign)).unwrap_or(text).trim_start()
}

/// Whether groups of three digits stand between the marks.
fn well_parted(text: &str, mark: char) -> bool {
    let mut groups = text.trim_start_matches(['+', '-']).split(mark);
    let first = groups.next().unwrap_or("");
    (1..=3).contains(&first.len()) && groups.all(|group| group.len() == 3)
}

/// The digits and marks of a number, without blanks and apostrophes between the thousands, and its unit.
fn taken_apart(text: &str) -> Option<(String, Option<LengthUnit>)> {
    let mut text = text.trim();
    let mut unit = None;
    let small = text.to_lowercase();
    for (name, one) in [
        ("mm", LengthUnit::Millimetre),
        ("cm", LengthUnit::Centimetre),
        ("m", LengthUnit::Metre),
        ("\"", LengthUnit::Inch),
    ] {
        if let Some(rest) = small.strip_suffix(name).filter(|_| unit.is_none()) {
            text = text.get(..rest.len())?.trim_end();
            unit = Some(one);
        }
    }
    let mut out = String::new();
    let letters: Vec<char> = text.chars().collect();
    for (at, letter) in letters.iter().enumerate() {
        match letter {
            '0'..='9' | '.' | ',' => out.push(*letter),
            '+' | '-' | '−' | '–' if at == 0 => out.push(if *letter == '+' { '+' } else { '-' }),
            ' ' | '\u{a0}' | '\u{2009}' | '\u{202f}' | '\u{2007}' | '\u{2002}' | '\'' | '’' | '_' => {
                // only between a digit and three more
                let before =
                    at.checked_sub(1).and_then(|before| letters.get(before)).is_some_and(char::is_ascii_digit);
                let group = letters.get(at + 1..at + 4).is_some_and(|group| group.iter().all(char::is_ascii_digit));
                let ends = letters.get(at + 4).is_none_or(|next| !next.is_ascii_digit());
                if !(before && group && ends) {
                    return None;
                }
            }
            _ => return None,
        }
    }
    out.chars().any(|letter| letter.is_ascii_digit()).then_some((out, unit))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_read_as_people_write_them() {
        let read = |text: &str, unit| match Marks::default().read(text, unit) {
            Written::Amount(amount) => Some((amount.value, amount.unit)),
            _ => None,
        };
        let mm = Some(LengthUnit::Millimetre);
        for (text, unit, value) in [
            ("6520", mm, 6520.0),
            ("6520,5", mm, 6520.5),
            ("6.520,5", mm, 6520.5),
            ("6,520.5", mm, 6520.5),
            ("6\u{202f}520,5", mm, 6520.5),
            ("6’520.5", mm, 6520.5),
            ("6.520", mm, 6520.0),
            ("6,520", Some(LengthUnit::Metre), 6.52),
            ("6,520", None, 6.52),
            ("652,0", Some(LengthUnit::Centimetre), 652.0),
            ("−4,5", mm, -4.5),
            ("+3", mm, 3.0),
        ] {
            assert_eq!(read(text, unit).map(|(value, _)| value), Some(value), "{text}");
        }
        assert_eq!(read("652,5 cm", mm), Some((652.5, Some(LengthUnit::Centimetre))));
        for text in ["6520?", "65 20", "6..5", "A1", "6,52,0", "1e3", "6520 6521"] {
            assert_eq!(Marks::default().read(text, mm), Written::Not, "{text}");
        }
        for text in ["-", "–", "n/a", " ", "nicht gemessen"] {
            assert_eq!(Marks::default().read(text, mm), Written::Missing, "{text}");
        }
        let mut marks = Marks::default();
        marks.see("6520,5");
        assert!(matches!(marks.read("6,520", mm), Written::Either(_)));
        marks.see("651.25");
        assert!(marks.disagree());
    }
}
