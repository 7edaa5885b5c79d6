//! The cascade of a model, from names that are indented, a column per level, or a column that names the piece below.

use std::collections::HashMap;

use super::line::{SheetLine, SheetPiece, plain};
use crate::wing::Segment;

/// The pieces of a cascade, and which of the sheet's lines are lines, not pieces below them.
#[derive(Debug, Clone, Default)]
pub(super) struct Cascade {
    pub(super) segments: Vec<Segment>,
    /// Names of entries that are pieces below others.
    pub(super) pieces: Vec<String>,
    /// Whether every piece has a length of its own.
    pub(super) has_lengths: bool,
}

impl Cascade {
    /// The cascade of lines that say what they hang on; `None` where none does so beyond its main, and mains have neither
    /// lengths nor materials.
    pub(super) fn of(lines: &[SheetLine]) -> Option<Self> {
        let says = |piece: &SheetPiece| piece.length_mm.is_some() || piece.material.is_some();
        let has_levels =
            lines.iter().any(|line| line.middle.name.is_some() || line.main.name.is_some() && says(&line.main));
        let has_parents = lines.iter().any(|line| line.parent.is_some());
        if !(has_levels || has_parents) {
            return None;
        }
        let by_name: HashMap<String, &SheetLine> = lines.iter().map(|line| (plain(&line.name), line)).collect();
        let mut made = Self { has_lengths: true, ..Self::default() };
        let mut index: HashMap<String, usize> = HashMap::new();
        let parents: Vec<String> = lines.iter().filter_map(|line| line.parent.as_deref()).map(plain).collect();
        for line in lines {
            if parents.contains(&plain(&line.name)) {
                made.pieces.push(line.name.clone());
            }
        }
        for line in lines {
            if made.pieces.contains(&line.name) {
                continue;
            }
            // from the riser up
            let mut chain: Vec<SheetPiece> = Vec::new();
            if has_parents {
                let mut at = line.parent.clone();
                while let Some(name) = at {
                    if chain.iter().flat_map(|known| &known.name).any(|known| plain(known) == plain(&name)) {
                        break;
                    }
                    let own = by_name.get(&plain(&name));
                    at = own.and_then(|piece| piece.parent.clone());
                    chain.push(SheetPiece {
                        name: Some(name),
                        material: own.and_then(|piece| piece.material.clone()),
                        length_mm: own.and_then(|piece| piece.piece_mm.or(piece.nominal_mm[0])),
                    });
                }
                chain.reverse();
            } else {
                chain.extend([line.main.clone(), line.middle.clone()]);
            }
            let mut parent = None;
            let mut below_mm = 0.0;
            for piece in chain {
                let Some(name) = piece.name else { continue };
                made.has_lengths &= piece.length_mm.is_some();
                let at = *index.entry(plain(&name)).or_insert_with(|| {
                    made.segments.push(Segment {
                        name,
                        parent,
                        material: material_name(piece.material.as_deref()),
                        length_mm: piece.length_mm.unwrap_or(0.0),
                        diameter_mm: None,
                        can_loop: None,
                    });
                    made.segments.len() - 1
                });
                below_mm += made.segments[at].length_mm;
                parent = Some(at);
            }
            let whole = line.nominal_mm[0].or(line.nominal_mm[1]);
            // where pieces have no lengths the line's own piece is the whole
            let own_mm = match (line.piece_mm, whole) {
                (Some(piece), _) => piece,
                (None, Some(whole)) => (whole - below_mm).max(0.0),
                (None, None) => 0.0,
            };
            made.segments.push(Segment {
                name: line.name.clone(),
                parent,
                material: material_name(line.material.as_deref()),
                length_mm: own_mm,
                diameter_mm: None,
                can_loop: None,
            });
        }
        Some(made)
    }
}

/// A material as tables name it: small letters; `unknown` where nothing is said.
pub(super) fn material_name(said: Option<&str>) -> String {
    said.map(|text| text.trim().to_lowercase())
        .filter(|text| !text.is_empty())
        .unwrap_or_else(|| "unknown".to_owned())
}
