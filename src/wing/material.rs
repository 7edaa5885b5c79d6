//! Fibres of lines, and what load and heat do to their length.

use std::borrow::Cow;
use std::fmt;

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::{LineSet, Segment};

/// How a figure is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Known {
    /// The source's text was read.
    Read,
    /// Read in a text that quotes the source.
    SecondHand,
    /// Worked out.
    Derived,
    /// Recalled, not read.
    Memory,
    /// Common practice.
    Practice,
}

/// A figure with where it comes from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Figure {
    /// The value, in the unit that its field names.
    pub value: f64,
    /// How it is known.
    pub known: Known,
    /// Where it comes from.
    pub source: Cow<'static, str>,
}

/// What is known of a line fibre.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Fibre {
    /// Name in the tables' `material` column.
    pub name: Cow<'static, str>,
    /// Density, kg/m³.
    pub density_kg_m3: Option<Figure>,
    /// Young's modulus along the fibre, `GPa`.
    pub modulus_gpa: Option<Figure>,
    /// Elongation at break, per cent of length.
    pub break_elongation_pct: Figure,
    /// Axial expansion per kelvin (negative: shrinks when warmed).
    pub expansion_per_k: Figure,
}

/// Why a user's fibre cannot be.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum MaterialError {
    /// The text is not a list of fibres.
    #[error("line {line}, column {column}: {message}")]
    Text {
        /// Line of the text, from 1.
        line: usize,
        /// Column of the text, from 1.
        column: usize,
        /// What is wrong.
        message: String,
    },
    /// A figure outside what it can be.
    #[error("material `{material}`: {what} is {value}, expected {expected}")]
    OutOfRange {
        /// The material.
        material: String,
        /// Name of the figure.
        what: &'static str,
        /// Its value.
        value: f64,
        /// What would have been right.
        expected: &'static str,
    },
    /// A material without a name, or one that appears twice.
    #[error("material `{material}`: expected a name, once")]
    Name {
        /// The name given.
        material: String,
    },
}

const fn figure(value: f64, known: Known, source: &'static str) -> Figure {
    Figure { value, known, source: Cow::Borrowed(source) }
}

const SHEETS: &str = "fibre makers' data sheets";
const TABLES: &str = "Morgan, Allred 1993, fibre table, or a fibre maker's data sheet of 2010";
const MIDDLE: &str = "fibre makers' data sheets, 3 to 4 %: the middle";
const CRYSTAL: &str = "expansion of the polyethylene crystal along its axis";
const ORDER: &str = "between the published values of para-aramids, −2.0e-6 and −2.26e-6";

const fn fibre_of(
    name: &'static str,
    density_kg_m3: f64,
    modulus_gpa: f64,
    break_elongation_pct: Figure,
    expansion_per_k: Figure,
) -> Fibre {
    Fibre {
        name: Cow::Borrowed(name),
        density_kg_m3: Some(figure(density_kg_m3, Known::Memory, SHEETS)),
        modulus_gpa: Some(figure(modulus_gpa, Known::Memory, SHEETS)),
        break_elongation_pct,
        expansion_per_k,
    }
}

// `aramid` is what tables say when they do not say which: the copolymer's elongation with the common aramids' expansion.
static FIBRES: [Fibre; 6] = [
    fibre_of("uhmwpe", 970.0, 100.0, figure(3.5, Known::Read, MIDDLE), figure(-12.0e-6, Known::Read, CRYSTAL)),
    fibre_of("aramid", 1430.0, 73.0, figure(4.5, Known::Read, TABLES), figure(-2.1e-6, Known::Derived, ORDER)),
    fibre_of(
        "aramid-standard",
        1440.0,
        70.0,
        figure(4.0, Known::Read, TABLES),
        figure(-2.26e-6, Known::Read, TABLES),
    ),
    fibre_of("aramid-stiff", 1440.0, 112.0, figure(2.8, Known::Read, TABLES), figure(-2.0e-6, Known::Read, TABLES)),
    fibre_of(
        "aramid-copolymer",
        1390.0,
        73.0,
        figure(4.5, Known::Read, TABLES),
        figure(-6.0e-6, Known::Memory, SHEETS),
    ),
    fibre_of("lcp", 1410.0, 75.0, figure(3.8, Known::Read, TABLES), figure(-4.8e-6, Known::Memory, SHEETS)),
];

/// Breaking load by level of the cascade from the riser, in newtons, where nothing better is known (common practice).
const BREAK_LOAD_N: [f64; 3] = [1200.0, 800.0, 560.0];

/// The documented fibres:
///
/// | name | what | density kg/m³ | modulus `GPa` | break elongation % | expansion 1e-6/K |
/// |---|---|---|---|---|---|
/// | `uhmwpe` | polyethylene of ultra-high molar mass | 970 | 100 | 3.5 (3–4) | −12 |
/// | `aramid` | para-aramid, kind not said | 1430 | 73 | 4.5 | −2.1 |
/// | `aramid-standard` | standard para-aramid | 1440 | 70 | 4.0 | −2.26 |
/// | `aramid-stiff` | para-aramid of high modulus | 1440 | 112 | 2.8 | −2.0 |
/// | `aramid-copolymer` | para-aramid copolymer | 1390 | 73 | 4.5 | −6 |
/// | `lcp` | liquid-crystal polyester | 1410 | 75 | 3.8 | −4.8 |
///
/// Each figure carries its source and how it is known. Load and heat corrections use elongation and expansion only.
#[must_use]
pub fn fibres() -> &'static [Fibre] {
    &FIBRES
}

/// The fibre of that name, if it is one of the documented ones.
#[must_use]
pub fn fibre(name: &str) -> Option<&'static Fibre> {
    FIBRES.iter().find(|known| known.name == name)
}

impl Fibre {
    /// A user's fibre: what the corrections need, with its source.
    ///
    /// # Errors
    /// [`MaterialError`] for an empty name, an elongation outside 0 … 100 % or an expansion beyond ±1e-3 per kelvin.
    pub fn new(
        name: &str,
        break_elongation_pct: f64,
        expansion_per_k: f64,
        source: &str,
    ) -> Result<Self, MaterialError> {
        let of = |value| Figure { value, known: Known::Practice, source: Cow::Owned(source.to_owned()) };
        let fibre = Self {
            name: Cow::Owned(name.to_owned()),
            density_kg_m3: None,
            modulus_gpa: None,
            break_elongation_pct: of(break_elongation_pct),
            expansion_per_k: of(expansion_per_k),
        };
        fibre.validate()?;
        Ok(fibre)
    }

    /// The same fibre with density (kg/m³) and modulus (`GPa`), where they are known.
    ///
    /// # Errors
    /// [`MaterialError`] for a density outside 100 … 20,000 kg/m³ or a modulus outside 0.01 … 2,000 `GPa`.
    pub fn with_figures(
        mut self,
        density_kg_m3: Option<f64>,
        modulus_gpa: Option<f64>,
        source: &str,
    ) -> Result<Self, MaterialError> {
        let of = |value| Figure { value, known: Known::Practice, source: Cow::Owned(source.to_owned()) };
        self.density_kg_m3 = density_kg_m3.map(of);
        self.modulus_gpa = modulus_gpa.map(of);
        self.validate()?;
        Ok(self)
    }

    fn validate(&self) -> Result<(), MaterialError> {
        if self.name.trim().is_empty() {
            return Err(MaterialError::Name { material: self.name.clone().into_owned() });
        }
        let within = |what, figure: &Figure, low: f64, high: f64, expected| {
            if figure.value >= low && figure.value <= high {
                Ok(())
            } else {
                Err(MaterialError::OutOfRange {
                    material: self.name.clone().into_owned(),
                    what,
                    value: figure.value,
                    expected,
                })
            }
        };
        within("break_elongation_pct", &self.break_elongation_pct, 0.0, 100.0, "0 to 100 %")?;
        within("expansion_per_k", &self.expansion_per_k, -1e-3, 1e-3, "−1e-3 to 1e-3 per kelvin")?;
        if let Some(figure) = &self.density_kg_m3 {
            within("density_kg_m3", figure, 100.0, 20_000.0, "100 to 20,000 kg/m³")?;
        }
        if let Some(figure) = &self.modulus_gpa {
            within("modulus_gpa", figure, 0.01, 2000.0, "0.01 to 2,000 GPa")?;
        }
        Ok(())
    }
}

impl fmt::Display for Fibre {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{}: breaks at {} %, expands {:.2}e-6 per kelvin",
            self.name,
            self.break_elongation_pct.value,
            1e6 * self.expansion_per_k.value
        )
    }
}

/// One fibre of a user's file.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct OwnFibre {
    material: String,
    density_kg_m3: Option<f64>,
    modulus_gpa: Option<f64>,
    break_elongation_pct: f64,
    expansion_per_k: f64,
    source: String,
}

/// Reads a user's fibres from JSON text: a list of objects with `material`, `break_elongation_pct`, `expansion_per_k`,
/// `source`, and where known `density_kg_m3` and `modulus_gpa`. Give them to [`LineSet::with_fibres`].
///
/// ```
/// use linedrift::wing::read_fibres;
///
/// let own = read_fibres(
///     r#"[{"material": "blend", "break_elongation_pct": 3.9, "expansion_per_k": -5e-6, "source": "maker's sheet"}]"#,
/// )?;
/// assert_eq!(own[0].name, "blend");
/// # Ok::<(), linedrift::wing::MaterialError>(())
/// ```
///
/// # Errors
/// [`MaterialError`] with line and column when the text is no such list; for a name that is empty or appears twice; for a
/// figure out of its range.
pub fn read_fibres(text: &str) -> Result<Vec<Fibre>, MaterialError> {
    let own: Vec<OwnFibre> = serde_json::from_str(text).map_err(|fault| MaterialError::Text {
        line: fault.line(),
        column: fault.column(),
        message: fault.to_string(),
    })?;
    let mut fibres: Vec<Fibre> = Vec::with_capacity(own.len());
    for one in own {
        if fibres.iter().any(|known| known.name == one.material) {
            return Err(MaterialError::Name { material: one.material });
        }
        let fibre = Fibre::new(&one.material, one.break_elongation_pct, one.expansion_per_k, &one.source)?;
        fibres.push(fibre.with_figures(one.density_kg_m3, one.modulus_gpa, &one.source)?);
    }
    Ok(fibres)
}

/// Elastic stretch of a whole line per newton of load, mm/N: the sum over its path of
/// `length · break elongation / breaking load`, with the set's own fibres before the documented ones. Segments of an
/// undocumented material count as nothing.
#[must_use]
pub fn stretch_mm_per_n(set: &LineSet, line: usize) -> f64 {
    let path: Vec<&Segment> = set.path(line).collect();
    let levels = path.len();
    path.iter()
        .enumerate()
        .filter_map(|(up, segment)| {
            let known = set.fibre(&segment.material)?;
            // the path runs from the canopy down, levels count from the riser up
            let level = (levels - 1 - up).min(BREAK_LOAD_N.len() - 1);
            Some(segment.length_mm * known.break_elongation_pct.value / 100.0 / BREAK_LOAD_N[level])
        })
        .sum()
}

/// Thermal change of a whole line per kelvin, mm/K: the sum over its path of `length · expansion`, with the set's own fibres
/// before the documented ones.
#[must_use]
pub fn thermal_mm_per_k(set: &LineSet, line: usize) -> f64 {
    set.path(line)
        .filter_map(|segment| Some(segment.length_mm * set.fibre(&segment.material)?.expansion_per_k.value))
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wing::{Line, Row};

    /// The branch of T11 and T12: a main of 3.994 m, a middle of 1.958 m, an upper of 0.361 m.
    fn branch(material: &str) -> LineSet {
        let segment = |name: &str, parent, length_mm| Segment {
            name: name.to_owned(),
            parent,
            material: material.to_owned(),
            length_mm,
            diameter_mm: None,
            can_loop: None,
        };
        let segments =
            vec![segment("main", None, 3994.0), segment("middle", Some(0), 1958.0), segment("A1", Some(1), 361.0)];
        let line = Line {
            name: "A1".to_owned(),
            row: Row::A,
            rank: 1,
            nominal_mm: 6313.0,
            span: 0.1,
            span_assumed: false,
            chord: None,
            main: None,
            tolerance_mm: None,
            side: None,
            segment: 2,
        };
        LineSet::new("x", None, vec![line], segments).unwrap()
    }

    /// Stretch under 50 N: known: derived from data-sheet elongations, to the digits given.
    #[test]
    fn a_branch_stretches_under_the_measuring_load() {
        for (material, stretch_mm) in [("uhmwpe", 11.2), ("aramid", 14.5), ("lcp", 12.2)] {
            let per_n = stretch_mm_per_n(&branch(material), 0);
            approx::assert_abs_diff_eq!(50.0 * per_n, stretch_mm, epsilon = 0.06);
            assert!((0.22..=0.29).contains(&per_n), "{material}: {per_n}");
        }
    }

    /// Ten kelvin: known: crystal and fibre expansions, read or memory, to the digits given.
    #[test]
    fn a_branch_shrinks_when_warmed() {
        for (material, change_mm, digits) in [("uhmwpe", -0.758, 5e-4), ("aramid", -0.13, 5e-3), ("lcp", -0.30, 5e-3)]
        {
            approx::assert_abs_diff_eq!(10.0 * thermal_mm_per_k(&branch(material), 0), change_mm, epsilon = digits);
        }
    }

    /// Expansions (1e-6/K) and break elongations (%): known: as the figures themselves say.
    #[test]
    fn the_table_is_as_published() {
        for (name, expansion, elongation, known) in [
            ("aramid-standard", -2.26, 4.0, Known::Read),
            ("aramid-stiff", -2.0, 2.8, Known::Read),
            ("uhmwpe", -12.0, 3.5, Known::Read),
            ("aramid-copolymer", -6.0, 4.5, Known::Memory),
            ("lcp", -4.8, 3.8, Known::Memory),
        ] {
            let fibre = fibre(name).unwrap();
            approx::assert_relative_eq!(1e6 * fibre.expansion_per_k.value, expansion, max_relative = 1e-12);
            assert_eq!(fibre.expansion_per_k.known, known);
            assert_eq!(fibre.break_elongation_pct.value, elongation);
            assert_eq!(fibre.break_elongation_pct.known, Known::Read);
        }
        for fibre in fibres() {
            assert_eq!(fibre.validate(), Ok(()));
        }
        assert!(super::fibre("silk").is_none());
    }

    #[test]
    fn users_add_and_override() {
        let text = r#"[
            {"material": "uhmwpe", "break_elongation_pct": 7.0, "expansion_per_k": -6e-6, "source": "own test"},
            {"material": "silk", "break_elongation_pct": 20, "expansion_per_k": 1e-5, "source": "x", "modulus_gpa": 10}
        ]"#;
        let own = read_fibres(text).unwrap();
        let set = branch("uhmwpe");
        let before = stretch_mm_per_n(&set, 0);
        let set = set.with_fibres(own.clone());
        approx::assert_relative_eq!(stretch_mm_per_n(&set, 0), 2.0 * before, max_relative = 1e-12);
        approx::assert_relative_eq!(10.0 * thermal_mm_per_k(&set, 0), -0.379, max_relative = 1e-3);
        assert!(stretch_mm_per_n(&branch("silk").with_fibres(own), 0) > 1.0);
        assert_eq!(stretch_mm_per_n(&branch("silk"), 0), 0.0);
    }

    #[test]
    fn senseless_fibres_are_refused() {
        assert!(matches!(read_fibres("[{]"), Err(MaterialError::Text { line: 1, .. })));
        let of = |elongation: &str| {
            read_fibres(&format!(
                r#"[{{"material": "a", "break_elongation_pct": {elongation}, "expansion_per_k": 0, "source": ""}}]"#
            ))
        };
        assert!(of("3").is_ok());
        assert!(matches!(of("-3"), Err(MaterialError::OutOfRange { what: "break_elongation_pct", .. })));
        assert!(matches!(of("3, \"colour\": 1"), Err(MaterialError::Text { .. })));
        assert!(matches!(Fibre::new(" ", 3.0, 0.0, ""), Err(MaterialError::Name { .. })));
        assert!(Fibre::new("a", f64::NAN, 0.0, "").is_err());
    }
}
