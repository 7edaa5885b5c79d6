//! Fibres of lines, and what load and heat do to their length.

use super::{LineSet, Segment};

/// What is known of a line fibre.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fibre {
    /// Name in the tables' `material` column.
    pub name: &'static str,
    /// Elongation at break, per cent of length.
    pub break_elongation_pct: f64,
    /// Axial expansion per kelvin (negative: shrinks when warmed).
    pub expansion_per_k: f64,
}

// Break elongation: fibre makers' data sheets (UHMWPE 3–4 %, LCP 3.8 %), fibre table of Morgan and Allred 1993 (para-aramid
// copolymer 4.5 %). Expansion: UHMWPE −12e-6 crystal axis; aramid (copolymer) −6e-6 and LCP −4.8e-6 are from memory.
const FIBRES: [Fibre; 3] = [
    Fibre { name: "uhmwpe", break_elongation_pct: 3.5, expansion_per_k: -12.0e-6 },
    Fibre { name: "aramid", break_elongation_pct: 4.5, expansion_per_k: -2.1e-6 },
    Fibre { name: "lcp", break_elongation_pct: 3.8, expansion_per_k: -4.8e-6 },
];

/// Breaking load by level of the cascade from the riser, in newtons, where nothing better is known (common practice).
const BREAK_LOAD_N: [f64; 3] = [1200.0, 800.0, 560.0];

/// The fibre of that name, if it is one of the documented ones.
#[must_use]
pub fn fibre(name: &str) -> Option<&'static Fibre> {
    FIBRES.iter().find(|known| known.name == name)
}

/// Elastic stretch of a whole line per newton of load, mm/N: the sum over its path of
/// `length · break elongation / breaking load`. Segments of an undocumented material count as nothing.
#[must_use]
pub fn stretch_mm_per_n(set: &LineSet, line: usize) -> f64 {
    let path: Vec<&Segment> = set.path(line).collect();
    let levels = path.len();
    path.iter()
        .enumerate()
        .filter_map(|(up, segment)| {
            let known = fibre(&segment.material)?;
            // the path runs from the canopy down, levels count from the riser up
            let level = (levels - 1 - up).min(BREAK_LOAD_N.len() - 1);
            Some(segment.length_mm * known.break_elongation_pct / 100.0 / BREAK_LOAD_N[level])
        })
        .sum()
}

/// Thermal change of a whole line per kelvin, mm/K: the sum over its path of `length · expansion`.
#[must_use]
pub fn thermal_mm_per_k(set: &LineSet, line: usize) -> f64 {
    set.path(line).filter_map(|segment| Some(segment.length_mm * fibre(&segment.material)?.expansion_per_k)).sum()
}
