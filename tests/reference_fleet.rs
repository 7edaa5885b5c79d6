//! The invented reference fleets as `Fleet`s, read without the frames feature.

use std::collections::HashMap;

use linedrift::check::{Action, Check, Fleet, History, Reading};
use linedrift::wing::{Line, LineSet, Segment, Wing};

use crate::support::Table;

fn optional(table: &Table, row: usize, column: &str) -> Option<f64> {
    let text = table.text(row, column);
    (!text.is_empty()).then(|| text.parse().unwrap())
}

pub fn read(name: &str) -> Fleet {
    let table = |file: &str| Table::read(&format!("{name}/{file}.csv"));
    let (lines, segments) = (table("lines"), table("segments"));
    let mut models: Vec<String> = (0..lines.rows()).map(|row| lines.text(row, "model").to_owned()).collect();
    models.dedup();
    let sets: Vec<LineSet> = models.iter().map(|model| line_set(model, &lines, &segments)).collect();
    let wings = table("wings");
    let mut histories: Vec<History> = (0..wings.rows())
        .map(|row| History {
            wing: Wing::new(wings.text(row, "wing"), wings.text(row, "model")),
            line_set: models.iter().position(|model| model == wings.text(row, "model")).unwrap(),
            checks: Vec::new(),
            actions: Vec::new(),
            fittings: Vec::new(),
        })
        .collect();
    let checks = table("checks");
    let mut of_check: HashMap<String, (usize, usize)> = HashMap::new();
    for row in 0..checks.rows() {
        let wing = histories.iter().position(|h| h.wing.id == checks.text(row, "wing")).unwrap();
        let id = checks.text(row, "check");
        let date = checks.text(row, "date").parse().unwrap();
        let mut check = Check::new(id, date, checks.number(row, "hours"));
        check.stage = checks.text(row, "stage").parse().unwrap();
        of_check.insert(id.to_owned(), (wing, histories[wing].checks.len()));
        histories[wing].checks.push(check);
    }
    let readings = table("readings");
    for row in 0..readings.rows() {
        let (wing, check) = of_check[readings.text(row, "check")];
        let side = readings.text(row, "side").parse().unwrap();
        let set = &sets[histories[wing].line_set];
        let reading = Reading {
            side,
            line: set.find(readings.text(row, "line"), side).unwrap(),
            reading_mm: readings.number(row, "reading_mm"),
            repeat: 1,
            operator: None,
        };
        histories[wing].checks[check].readings.push(reading);
    }
    if name == "fleet-adjusted" {
        let actions = table("actions");
        for row in 0..actions.rows() {
            let wing = histories.iter().position(|h| h.wing.id == actions.text(row, "wing")).unwrap();
            let set = &sets[histories[wing].line_set];
            let action = Action {
                date: actions.text(row, "date").parse().unwrap(),
                hours_h: actions.number(row, "hours"),
                side: actions.text(row, "side").parse().unwrap(),
                segment: Some(set.find_segment(actions.text(row, "segment")).unwrap()),
                kind: actions.text(row, "action").parse().unwrap(),
                change_mm: actions.number(row, "change_mm"),
                turns: optional(&actions, row, "turns"),
                check: Some(actions.text(row, "check").to_owned()),
            };
            histories[wing].actions.push(action);
        }
    }
    Fleet::new(sets, histories).unwrap()
}

fn line_set(model: &str, lines: &Table, segments: &Table) -> LineSet {
    let rows: Vec<usize> = (0..segments.rows()).filter(|row| segments.text(*row, "model") == model).collect();
    let place = |name: &str| rows.iter().position(|row| segments.text(*row, "segment") == name);
    let pieces = rows
        .iter()
        .map(|&row| Segment {
            name: segments.text(row, "segment").to_owned(),
            parent: place(segments.text(row, "parent")),
            material: segments.text(row, "material").to_owned(),
            length_mm: segments.number(row, "length_mm"),
            diameter_mm: optional(segments, row, "diameter_mm"),
            can_loop: None,
        })
        .collect();
    let lines = (0..lines.rows())
        .filter(|row| lines.text(*row, "model") == model)
        .map(|row| Line {
            name: lines.text(row, "line").to_owned(),
            row: lines.text(row, "row").parse().unwrap(),
            rank: lines.text(row, "rank").parse().unwrap(),
            nominal_mm: lines.number(row, "nominal_mm"),
            span: lines.number(row, "span"),
            span_assumed: false,
            chord: optional(lines, row, "chord"),
            main: None,
            tolerance_mm: None,
            side: None,
            segment: place(lines.text(row, "line")).unwrap(),
        })
        .collect();
    LineSet::new(model, None, lines, pieces).unwrap()
}
