//! What a heading says.

use super::words::{LONGEST_PHRASE, Term, folded, term};
use crate::check::sheet::LengthUnit;
use crate::wing::{Row, Side};

/// What a column of values holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub(super) enum Kind {
    Nominal,
    Reading,
    Deviation,
    Expected,
    Last,
    Length,
    Tolerance,
    Span,
    Chord,
    Diameter,
    Riser,
    /// Lengths of the maker for one size among several.
    Size,
    /// A figure that is worked out of others, or a remark.
    Ignored,
}

/// What a column of names and numbers holds that say which line a value is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum Key {
    Line,
    Row,
    Side,
    Main,
    Middle,
    Upper,
    Parent,
    Rank,
    Repeat,
    Operator,
    Material,
    SideOrNominal,
    LineOrNominal,
}

/// A storey of the cascade.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub(super) enum Level {
    Main,
    Middle,
    Upper,
}

impl Level {
    /// The storey whose names a column holds.
    pub(super) fn of(key: Option<Key>) -> Option<Self> {
        match key? {
            Key::Main => Some(Self::Main),
            Key::Middle => Some(Self::Middle),
            Key::Upper | Key::Line => Some(Self::Upper),
            _ => None,
        }
    }
}

/// When a value was read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum When {
    Before,
    After,
}

/// A heading, taken apart.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Heading {
    pub(super) kind: Option<Kind>,
    pub(super) key: Option<Key>,
    pub(super) side: Option<Side>,
    pub(super) row: Option<Row>,
    pub(super) unit: Option<LengthUnit>,
    pub(super) when: Option<When>,
    /// The storey whose length or material it is.
    pub(super) level: Option<Level>,
    /// Its number, where it holds one only: of dates and years nothing is counted.
    pub(super) number: Option<u32>,
    pub(super) is_total: bool,
    /// Words that are known, and words that are not.
    pub(super) known: usize,
    pub(super) unknown: usize,
}

impl Heading {
    /// Takes a heading apart. What is in brackets gives the unit, and nothing else.
    pub(super) fn of(text: &str) -> Self {
        let mut heading = Self { unit: unit_of(text), ..Self::default() };
        let words = folded(&without_brackets(text));
        let words: Vec<&str> = words.split_whitespace().collect();
        let mut terms = Vec::new();
        let mut numbers = Vec::new();
        let mut at = 0;
        while at < words.len() {
            let longest = (1..=LONGEST_PHRASE.min(words.len() - at)).rev();
            let found = longest
                .map(|length| (length, words[at..at + length].join(" ")))
                .find_map(|(length, phrase)| term(&phrase).map(|term| (length, term)));
            if let Some((length, mut term)) = found {
                if words[at] == "der" && at + 1 < words.len() {
                    // the German article, not Spanish for right
                    term = Term::Filler;
                }
                heading.known += usize::from(!matches!(term, Term::Filler | Term::Visit));
                heading.unknown += usize::from(term == Term::Visit);
                terms.push(term);
                at += length;
                continue;
            }
            let word = words[at];
            at += 1;
            if let Ok(number) = word.parse::<u32>() {
                numbers.push(number);
            } else if let Some((side, number)) = numbered_side(word) {
                heading.known += 1;
                numbers.push(number);
                terms.push(Term::Is(side));
            } else {
                heading.unknown += 1;
            }
        }
        // the second check is no second reading
        heading.number = match numbers.as_slice() {
            [number] if !terms.contains(&Term::Visit) => Some(*number),
            _ => None,
        };
        heading.settle(&terms);
        heading
    }

    /// What the terms together say: the most telling one decides.
    fn settle(&mut self, terms: &[Term]) {
        let has = |wanted: Term| terms.contains(&wanted);
        let (left, right) = (has(Term::Is(Side::Left)), has(Term::Is(Side::Right)));
        self.row = terms.iter().find_map(|term| if let Term::Of(row) = term { Some(*row) } else { None });
        self.unit = self
            .unit
            .or_else(|| terms.iter().find_map(|term| if let Term::In(unit) = term { Some(*unit) } else { None }));
        self.side = match (left, right) {
            (true, false) => Some(Side::Left),
            (false, true) => Some(Side::Right),
            _ => None,
        };
        self.when = if has(Term::After) { Some(When::After) } else { has(Term::Before).then_some(When::Before) };
        self.is_total = has(Term::Total) || has(Term::Mean);
        let kinds = [
            (Term::Deviation, Kind::Deviation),
            (Term::Mean, Kind::Ignored),
            (Term::Total, Kind::Ignored),
            (Term::Tolerance, Kind::Tolerance),
            (Term::Last, Kind::Last),
            (Term::Expected, Kind::Expected),
            (Term::Span, Kind::Span),
            (Term::Chord, Kind::Chord),
            (Term::Diameter, Kind::Diameter),
            (Term::Riser, Kind::Riser),
        ];
        let keys = [
            (Term::Operator, Key::Operator),
            (Term::Material, Key::Material),
            (Term::Repeat, Key::Repeat),
            (Term::Parent, Key::Parent),
            (Term::Main, Key::Main),
            (Term::Middle, Key::Middle),
            (Term::Upper, Key::Upper),
            (Term::Side, Key::Side),
            (Term::Row, Key::Row),
            (Term::Line, Key::Line),
            (Term::SideOrNominal, Key::SideOrNominal),
            (Term::LineOrNominal, Key::LineOrNominal),
            (Term::Rank, Key::Rank),
        ];
        let key = keys.iter().find(|(term, _)| has(*term)).map(|(_, key)| *key);
        if left && right {
            // left less right
            self.kind = Some(Kind::Ignored);
            return;
        }
        if let Some((_, kind)) = kinds.iter().find(|(term, _)| has(*term)) {
            self.kind = Some(*kind);
            return;
        }
        self.kind = match (has(Term::Nominal), has(Term::Reading), has(Term::Measure), has(Term::Length)) {
            (true, true, ..) => None,
            (true, ..) => Some(Kind::Nominal),
            (_, true, ..) | (_, _, true, _) => Some(Kind::Reading),
            (.., true) => Some(Kind::Length),
            _ => None,
        };
        let level = [(Term::Main, Level::Main), (Term::Middle, Level::Middle), (Term::Upper, Level::Upper)];
        let level = level.iter().find(|(term, _)| has(*term)).map(|(_, level)| *level);
        if key == Some(Key::Operator) {
            self.kind = None;
        }
        if self.kind.is_none() && self.when.is_none() && has(Term::Remark) {
            self.kind = Some(Kind::Ignored);
            return;
        }
        // "main length" is the length of a main; "nominal line length" is a length, not a line
        if self.kind.is_none() {
            self.key = key.filter(|key| !(*key == Key::Row && self.row.is_some()));
        }
        if self.kind == Some(Kind::Length) || self.key == Some(Key::Material) {
            self.level = level;
        }
    }

    /// Whether nothing in it is unknown, and something known.
    pub(super) fn is_strict(&self) -> bool {
        self.unknown == 0 && self.known > 0
    }

    /// Whether a title speaks of a check.
    pub(super) fn says_visit(title: &str) -> bool {
        folded(title)
            .split(' ')
            .any(|word| matches!(term(word), Some(Term::Visit | Term::Measure)) || word.contains("vermessung"))
    }

    /// Whether it is more known than unknown.
    pub(super) fn is_good(&self) -> bool {
        self.known > 0 && self.known >= self.unknown && self.says_something()
    }

    /// Whether it is a word of tables, not only a row's letter or a side.
    pub(super) fn is_telling(&self) -> bool {
        self.kind.is_some() || self.key.is_some()
    }

    fn says_something(&self) -> bool {
        self.is_telling() || self.side.is_some() || self.row.is_some()
    }

    /// Whether it can say of which row, side or kind what follows is.
    pub(super) fn is_context(&self) -> bool {
        self.is_strict()
            && !self.is_total
            && matches!(self.key, None | Some(Key::Line | Key::Row | Key::Side | Key::SideOrNominal))
            && (self.side.is_some()
                || self.row.is_some()
                || matches!(self.kind, Some(Kind::Nominal | Kind::Reading | Kind::Deviation)))
    }

    /// What it does not say itself, from the heading above it.
    pub(super) fn under(mut self, above: &Self) -> Self {
        self.side = self.side.or(above.side);
        self.row = self.row.or(above.row);
        self.unit = self.unit.or(above.unit);
        self.when = self.when.or(above.when);
        self.number = self.number.or(above.number);
        if self.key.is_none() && matches!(self.kind, None | Some(Kind::Length)) {
            self.kind = above.kind.or(self.kind);
        }
        if self.kind.is_none() && self.key.is_none() && !self.says_something() {
            self.key = above.key;
        }
        self
    }
}

/// `l1`, `r2`: a side and which repeat.
fn numbered_side(word: &str) -> Option<(Side, u32)> {
    let side = match word.chars().next()? {
        'l' => Side::Left,
        'r' => Side::Right,
        _ => return None,
    };
    word.get(1..)?.parse().ok().map(|number| (side, number))
}

/// The unit that a heading names: in brackets, or as its last word.
pub(super) fn unit_of(text: &str) -> Option<LengthUnit> {
    let small = text.to_lowercase();
    let named = |word: &str| match word.trim() {
        "mm" | "millimetre" | "millimeter" => Some(LengthUnit::Millimetre),
        "cm" | "centimetre" | "centimeter" | "zentimeter" => Some(LengthUnit::Centimetre),
        "m" | "metre" | "meter" => Some(LengthUnit::Metre),
        "in" | "inch" | "inches" | "\"" => Some(LengthUnit::Inch),
        _ => None,
    };
    let bracketed = small.split(['[', '(', '{']).skip(1).filter_map(|part| part.split([']', ')', '}']).next());
    let mut bracketed = bracketed.filter_map(|part| named(part).or_else(|| named(part.trim_start_matches("in "))));
    if let Some(unit) = bracketed.next() {
        return Some(unit);
    }
    let last = small.rsplit([' ', '_', '/', ',']).next().unwrap_or("");
    match last {
        "mm" | "cm" => named(last),
        "m" if small.contains("in m") || small.contains("/m") || small.contains("_m") || small.contains(", m") => {
            named(last)
        }
        _ => None,
    }
}

fn without_brackets(text: &str) -> String {
    let mut depth = 0_u32;
    let mut out = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '[' | '(' | '{' => depth += 1,
            ']' | ')' | '}' => depth = depth.saturating_sub(1),
            _ if depth == 0 => out.push(letter),
            _ => {}
        }
    }
    // a heading that is all brackets is what they hold
    if out.trim().is_empty() { text.replace(['[', ']', '(', ')', '{', '}'], " ") } else { out }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headings_are_understood_in_five_languages() {
        let says = |text: &str| {
            let heading = Heading::of(text);
            (heading.kind, heading.key, heading.side, heading.row, heading.unit)
        };
        let mm = Some(LengthUnit::Millimetre);
        for text in [
            "Nominal [mm]",
            "nominal_mm",
            "Soll (mm)",
            "Sollmaß [mm]",
            "Longueur théorique (mm)",
            "Lunghezza nominale [mm]",
            "Longitud nominal, mm",
        ] {
            assert_eq!(says(text), (Some(Kind::Nominal), None, None, None, mm), "{text}");
        }
        for text in ["Left", "links", "Gauche", "Izquierda", "sinistra", "Mesure gauche", "Ist links", "L"] {
            let (kind, key, side, ..) = says(text);
            assert!(matches!(kind, None | Some(Kind::Reading)) && key.is_none(), "{text}");
            assert_eq!(side, Some(Side::Left), "{text}");
        }
        for text in ["Line", "Leine", "Suspente", "Línea", "Cordino", "Line name", "Leinen-Nr."] {
            assert_eq!(says(text).1, Some(Key::Line), "{text}");
        }
        assert_eq!(says("Diff. links").0, Some(Kind::Deviation));
        assert_eq!(says("L − R").0, Some(Kind::Ignored));
        assert_eq!(says("A-Leinen").3, Some(Row::A));
        assert_eq!(says("Stammleine").1, Some(Key::Main));
        assert_eq!(Heading::of("Left 2").number, Some(2));
        assert!(!Heading::of("Line check of wing 17").is_strict());
    }
}
