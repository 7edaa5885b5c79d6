//! The `lines`, `rows` and `models` tables.

use std::borrow::Cow;
use std::collections::HashSet;

use polars::prelude::PlHashMap as HashMap;

use super::segments::Cascade;
use crate::fleet::read::fault::FaultList;
use crate::fleet::read::grid::Loaded;
use crate::fleet::schema::{LineRow, ModelRow, RowOfModel};
use crate::wing::{Line, ModelData, Row, RowData, Side};

/// How far a path may be from the nominal length, as a part of it.
const PATH_TOLERANCE: f64 = 0.2;

/// Most lines of one model: some five times those of any wing, and few enough for everything that compares lines in pairs.
const MOST_LINES: usize = 2_000;

/// One record of `lines`.
#[derive(Debug, Clone)]
pub(crate) struct LineEntry {
    pub(crate) model: String,
    pub(crate) version: Option<String>,
    /// The line; its span is not filled in when assumed, its segment never.
    pub(crate) line: Line,
    pub(crate) material: Option<String>,
}

/// Reads `lines`, in table order, and holds them against the cascades.
pub(crate) fn read_lines(
    loaded: &Loaded,
    cascades: &HashMap<String, Cascade>,
    faults: &mut FaultList,
) -> Vec<LineEntry> {
    let mut lines: Vec<LineEntry> = Vec::new();
    let mut seen: HashSet<(String, Option<String>, String, Side)> = HashSet::new();
    let mut counts: HashMap<(String, Option<String>), usize> = HashMap::default();
    for record in loaded.records() {
        let row = LineRow::read(record, faults);
        let (Some(model), Some(name)) = (row.model, row.line) else { continue };
        let version = row.table_version.map(Cow::into_owned);
        let mut fresh = true;
        for on in Side::BOTH.into_iter().filter(|on| row.side.is_none_or(|only| only == *on)) {
            fresh &= seen.insert((model.to_string(), version.clone(), name.to_string(), on));
        }
        if !fresh {
            record.fault(faults, "line", format_args!("each line once per model, version and side"));
            continue;
        }
        let count = counts.entry((model.to_string(), version.clone())).or_insert(0_usize);
        *count += 1;
        if *count > MOST_LINES {
            // once is enough: the table is refused
            if *count == MOST_LINES + 1 {
                record.fault(faults, "line", format_args!("at most {MOST_LINES} lines of one model"));
            }
            continue;
        }
        if let Some(cascade) = cascades.get(model.as_ref()) {
            match cascade.index.get(name.as_ref()) {
                None if cascade.whole => record.fault(
                    faults,
                    "line",
                    format_args!("a line whose top segment, of the same name, is in `segments` of model `{model}`"),
                ),
                Some(&top) if cascade.sound => {
                    let path_mm = cascade.path_length_mm(top);
                    if row.nominal_mm.is_some_and(|mm| (path_mm - mm).abs() > PATH_TOLERANCE * mm) {
                        let expected = format_args!("within 20 % of its segments' length, {path_mm} mm in all");
                        record.fault(faults, "nominal_mm", expected);
                    }
                }
                _ => {}
            }
        }
        lines.push(LineEntry {
            line: Line {
                name: name.into_owned(),
                row: row.row.unwrap_or(Row::A),
                rank: row.rank.unwrap_or(1),
                nominal_mm: row.nominal_mm.unwrap_or(1.0),
                span: row.span.unwrap_or_default(),
                span_assumed: row.span.is_none(),
                chord: row.chord,
                main: row.main.map(Cow::into_owned),
                tolerance_mm: row.tolerance_mm,
                side: row.side,
                segment: 0,
            },
            material: row.material.map(Cow::into_owned),
            model: model.into_owned(),
            version,
        });
    }
    lines
}

/// Reads `rows`, by model, in table order.
pub(crate) fn read_rows(loaded: &Loaded, faults: &mut FaultList) -> HashMap<String, Vec<RowData>> {
    let mut rows: HashMap<String, Vec<RowData>> = HashMap::default();
    for record in loaded.records() {
        let RowOfModel { model, row, chord, riser_mm, .. } = RowOfModel::read(record, faults);
        let (Some(model), Some(row)) = (model, row) else { continue };
        let known = rows.entry(model.to_string()).or_default();
        if known.iter().any(|data| data.row == row) {
            record.fault(faults, "row", format_args!("each row once per model"));
        } else {
            known.push(RowData { row, chord, riser_mm });
        }
    }
    rows
}

/// Reads `models`, by model.
pub(crate) fn read_models(loaded: &Loaded, faults: &mut FaultList) -> HashMap<String, ModelData> {
    let mut models: HashMap<String, ModelData> = HashMap::default();
    for record in loaded.records() {
        let row = ModelRow::read(record, faults);
        let data = ModelData {
            span_m: row.span_m,
            area_m2: row.area_m2,
            root_chord_m: row.root_chord_m,
            trim_speed_kmh: row.trim_speed_kmh,
            glide: row.glide,
            interval_h: row.interval_h,
            interval_months: row.interval_months,
            inspection_h: row.inspection_h,
            inspection_months: row.inspection_months,
        };
        let Some(model) = row.model else { continue };
        if models.insert(model.into_owned(), data).is_some() {
            record.fault(faults, "model", format_args!("each model once"));
        }
    }
    models
}
