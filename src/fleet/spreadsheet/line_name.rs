//! What a line's name says of its row and its side.

use super::words::{Term, folded, term};
use crate::wing::{Row, Side};

/// The row that a name begins with, such as `A1`, `stab 2`, `K-03`, `BR1`.
pub(super) fn row_of(name: &str) -> Option<Row> {
    let folded = folded(name);
    let start = folded.trim_start_matches(|letter: char| letter.is_ascii_digit() || letter == ' ');
    let letters: String = start.chars().take_while(|letter| letter.is_alphabetic()).collect();
    let row = |word: &str| match term(word) {
        Some(Term::Of(row)) => Some(row),
        _ => None,
    };
    row(&letters).or_else(|| {
        // the mains and middle lines of a row: AM1, BR2; a tier's small letter: Aa1
        let first = letters.chars().next()?;
        let rest = letters.get(first.len_utf8()..)?;
        let is_row = matches!(first, 'a'..='d') || (first == 's' || first == 'k' || first == 'f');
        (is_row && matches!(rest, "m" | "r" | "u" | "t" | "i" | "ii" | "iii" | "iv" | "v"))
            .then(|| row(&first.to_string()))
            .flatten()
    })
}

/// The number of a line: what its name ends with, else what it begins with (`1A`).
pub(super) fn number_of(name: &str) -> Option<u32> {
    let name = name.trim();
    let digits: String = name.chars().rev().take_while(char::is_ascii_digit).collect();
    digits.chars().rev().collect::<String>().parse().ok().or_else(|| {
        let digits = name.find(|letter: char| !letter.is_ascii_digit()).unwrap_or(name.len());
        name.get(..digits)?.parse().ok()
    })
}

/// A name and what is in brackets after it, such as the main in `A1 (AI)`.
pub(super) fn with_brackets(name: &str) -> Option<(&str, &str)> {
    let (outer, inner) = name.trim().strip_suffix([')', ']'])?.split_once(['(', '['])?;
    Some((outer.trim(), inner.trim())).filter(|(outer, inner)| !outer.is_empty() && !inner.is_empty())
}

/// Whether a name has the form of a main or middle line of a row: `AI`, `BM1`, `C-main 2`.
pub(super) fn is_piece(name: &str) -> bool {
    let folded = folded(name);
    let mut words = folded.split(' ');
    let says_main = folded.split(' ').any(|word| matches!(term(word), Some(Term::Main | Term::Middle)));
    let first = words.next().unwrap_or_default().trim_end_matches(|letter: char| letter.is_ascii_digit());
    let mut letters = first.chars();
    let starts = letters.next().is_some_and(|letter| matches!(letter, 'a'..='d'));
    let rest = letters.as_str();
    let mark = if rest.is_empty() { words.next().unwrap_or_default() } else { rest };
    says_main
        || starts
            && matches!(
                mark.trim_end_matches(|letter: char| letter.is_ascii_digit()),
                "i" | "ii" | "iii" | "iv" | "v" | "m"
            )
}

/// The main that a title above some lines names: `AI (A1-A3)`, `Main A2`, `BII`.
pub(super) fn main_in_title(text: &str) -> Option<String> {
    let text = text.trim().trim_end_matches(':').trim_end();
    let (name, brackets) = with_brackets(text).unwrap_or((text, ""));
    let holds_lines = brackets
        .split(['-', '–', ',', '…', ' '])
        .any(|part| row_of(part).is_some() && part.ends_with(|letter: char| letter.is_ascii_digit()));
    let is_short = name.chars().count() <= 24;
    (is_short && row_or_main(name) && (holds_lines || is_piece(name))).then(|| name.to_owned())
}

fn row_or_main(name: &str) -> bool {
    row_of(name).is_some() || folded(name).split(' ').any(|word| row_of(word).is_some())
}

/// Whether a text may be the name of a line at all: short, and with a row or only a number.
pub(super) fn may_be_name(text: &str) -> bool {
    let text = text.trim();
    !text.is_empty() && text.chars().count() <= 24 && (row_of(text).is_some() || text.parse::<u32>().is_ok())
}

/// How names of one sheet say the side.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Mark {
    /// `A1L`, `A1 links`
    Behind,
    /// `LA1`, `left A1`
    Before,
    /// `AL1`
    Within,
}

/// Pairs of letters for left and right, by language.
const LETTERS: [(&str, &str); 12] = [
    ("l", "r"),
    ("g", "d"),
    ("i", "d"),
    ("sx", "dx"),
    ("s", "d"),
    ("left", "right"),
    ("links", "rechts"),
    ("li", "re"),
    ("gauche", "droite"),
    ("izq", "der"),
    ("izquierda", "derecha"),
    ("sinistra", "destra"),
];

/// A name without its side.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Sided {
    pub(super) name: String,
    pub(super) side: Side,
}

/// The names without their sides, where every one of them says its side in the same way and each line is there on both
/// sides.
pub(super) fn sided(names: &[&str]) -> Option<Vec<Sided>> {
    for letters in LETTERS {
        for mark in [Mark::Behind, Mark::Before, Mark::Within] {
            let all: Option<Vec<Sided>> = names.iter().map(|name| side_in(name, letters, mark)).collect();
            let Some(all) = all else { continue };
            let lefts = all.iter().filter(|one| one.side == Side::Left).count();
            let paired = all
                .iter()
                .filter(|one| all.iter().any(|other| other.side != one.side && other.name == one.name))
                .count();
            if lefts > 0 && paired * 2 >= all.len() && all.iter().all(|one| row_of(&one.name).is_some()) {
                return Some(all);
            }
        }
    }
    None
}

fn side_in(name: &str, (left, right): (&str, &str), mark: Mark) -> Option<Sided> {
    let trimmed = name.trim();
    let small = trimmed.to_lowercase();
    let parts = [' ', '-', '_', '.', '/', '(', ')'];
    for (letters, side) in [(left, Side::Left), (right, Side::Right)] {
        let rest = match mark {
            Mark::Behind => {
                small.trim_end_matches(')').strip_suffix(letters).and_then(|rest| trimmed.get(..rest.len()))
            }
            Mark::Before => small.strip_prefix(letters).and_then(|rest| trimmed.get(trimmed.len() - rest.len()..)),
            Mark::Within => {
                let (first, rest) = small.split_at_checked(1)?;
                let Some(tail) = rest.strip_prefix(letters) else { continue };
                if !tail.starts_with(|letter: char| letter.is_ascii_digit()) {
                    return None;
                }
                let name = format!("{}{}", trimmed.get(..first.len())?, trimmed.get(trimmed.len() - tail.len()..)?);
                return Some(Sided { name, side });
            }
        };
        let Some(rest) = rest else { continue };
        let rest = rest.trim_matches(parts);
        let ends_well = match mark {
            // the side stands behind a number
            Mark::Behind => rest.ends_with(|letter: char| letter.is_ascii_digit()),
            _ => rest.starts_with(char::is_alphabetic) && rest.ends_with(|letter: char| letter.is_ascii_digit()),
        };
        if ends_well {
            return Some(Sided { name: rest.to_owned(), side });
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_are_seen_in_names() {
        for (name, row) in [
            ("A1", Row::A),
            ("b-12", Row::B),
            ("C 3", Row::C),
            ("1D4", Row::D),
            ("S1", Row::Stabilo),
            ("Stab 2", Row::Stabilo),
            ("K10", Row::Brake),
            ("BR1", Row::Brake),
            ("F3", Row::Brake),
            ("Bremse 4", Row::Brake),
            ("Frein 2", Row::Brake),
            ("AM1", Row::A),
        ] {
            assert_eq!(row_of(name), Some(row), "{name}");
        }
        for name in ["X1", "Pilot", "Summe", "12", "E4", "Abs"] {
            assert_eq!(row_of(name), None, "{name}");
        }
        assert_eq!(number_of("A-07"), Some(7));
        assert_eq!(number_of("12A"), Some(12));
        for (title, main) in
            [("AI (A1-A3)", "AI"), ("Main A2", "Main A2"), ("BII:", "BII"), ("Stammleine C1", "Stammleine C1")]
        {
            assert_eq!(main_in_title(title).as_deref(), Some(main));
        }
        for title in ["A1", "Row A", "A (front)", "read by Ann (A)", "Stabilo"] {
            assert_eq!(main_in_title(title), None, "{title}");
        }
    }

    #[test]
    fn sides_are_seen_in_names_only_when_all_say_them() {
        for (left, right) in [
            ("A1L", "A1R"),
            ("A1 links", "A1 rechts"),
            ("LA1", "RA1"),
            ("AL1", "AR1"),
            ("A1 G", "A1 D"),
            ("A1 (left)", "A1 (right)"),
        ] {
            let found = sided(&[left, right]).unwrap();
            assert_eq!(found[0], Sided { name: "A1".to_owned(), side: Side::Left }, "{left}");
            assert_eq!(found[1], Sided { name: "A1".to_owned(), side: Side::Right }, "{right}");
        }
        assert!(sided(&["A1", "B1"]).is_none());
        assert!(sided(&["A1L", "B1"]).is_none());
        assert!(sided(&["A1L", "A2L"]).is_none());
    }
}
