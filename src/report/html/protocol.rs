//! The protocol as a page to print and sign.

use maud::{Markup, html};

use super::document::{demo, document};
use crate::report::build::{Conditions, PROTOCOL_STATEMENT, Protocol, ProtocolLine};
use crate::report::words::{self, CAUTIONS, number, signed};
use crate::wing::{Row, Side};

const PROTOCOL_CSS: &str = include_str!("protocol.css");

/// The page.
pub(in crate::report) fn protocol(protocol: &Protocol) -> String {
    let title = format!("Protocol of line lengths: wing {}", protocol.wing());
    let body = html! {
        main {
            h1 { (title) }
            @if protocol.is_demo() { (demo()) }
            p .says { (PROTOCOL_STATEMENT) }
            (particulars(protocol))
            (conditions(protocol))
            p .says {
                "Lengths in mm. Measured: the mean of the readings minus the datum, at the maker\u{2019}s load and temperature. \
                 Deviation: measured minus the maker\u{2019}s length; plus is longer."
            }
            div .lines { @for row in Row::ALL { (of_row(row, protocol)) } }
            (sign())
            ul .cautions { @for caution in CAUTIONS { li { (caution) } } }
        }
    };
    document(&title, &[PROTOCOL_CSS], &body)
}

fn particulars(protocol: &Protocol) -> Markup {
    let hours = format!("{} h", number(protocol.hours_h(), 0));
    let named = protocol.particulars().map(|(name, value)| (name.replace('_', " "), value));
    html! {
        dl .particulars {
            div { dt { "Wing" } dd { (protocol.wing()) } }
            div { dt { "Model" } dd { (protocol.model()) } }
            div { dt { "Hours flown" } dd { (hours) } }
            @for (name, value) in &named { div { dt { (words::capital(name)) } dd { (value) } } }
        }
        "\n"
    }
}

fn conditions(protocol: &Protocol) -> Markup {
    let stages = [("As found", protocol.found()), ("As left", protocol.left())];
    let heads = ["Check", "Date", "Readings", "Load", "Datum", "Temperature", "Lines", "Brake setting"];
    html! {
        div .wide tabindex="0" role="group" aria-label="Conditions" {
            table .conditions {
                caption { "Conditions" }
                thead { tr { td {} @for head in heads { th scope="col" { (head) } } } }
                tbody { @for (stage, conditions) in stages { (condition_row(stage, conditions)) } }
            }
        }
        "\n"
    }
}

fn condition_row(stage: &str, conditions: Option<&Conditions>) -> Markup {
    let Some(Conditions { check, readings }) = conditions else {
        return html! { tr { th scope="row" { (stage) } td colspan="8" { "not measured" } } };
    };
    let own_datum = check.risers.iter().any(|riser| riser.datum_mm.is_some());
    html! {
        tr {
            th scope="row" { (stage) }
            td { (check.id) }
            td { (check.date) }
            td { (readings) }
            td { (number(check.load_n, 0)) " N" }
            td { (number(check.datum_mm, 1)) " mm" @if own_datum { ", some rows their own" } }
            td { (number(check.temperature_c, 0)) " \u{b0}C" }
            td { (check.condition.map_or("\u{2013}", crate::check::Condition::name)) }
            td { @match check.brake_setting_mm { Some(mm) => { (number(mm, 0)) " mm" }, None => "\u{2013}" } }
        }
    }
}

/// A line's name with what was measured left and right.
struct Pair<'a> {
    name: &'a str,
    main: &'a str,
    sides: [Option<&'a ProtocolLine>; 2],
}

fn pairs(row: Row, protocol: &Protocol) -> Vec<Pair<'_>> {
    let mut pairs: Vec<Pair<'_>> = Vec::new();
    for line in protocol.lines().iter().filter(|line| line.row == row) {
        let at = pairs.iter().position(|pair| pair.name == line.line).unwrap_or_else(|| {
            let main = line.main.as_deref().unwrap_or_default();
            pairs.push(Pair { name: &line.line, main, sides: [None, None] });
            pairs.len() - 1
        });
        pairs[at].sides[line.side.index()] = Some(line);
    }
    pairs
}

fn of_row(row: Row, protocol: &Protocol) -> Markup {
    let pairs = pairs(row, protocol);
    let stages: &[(&str, Stage)] = match (protocol.found(), protocol.left()) {
        (Some(_), Some(_)) => &[("found", Stage::Found), ("left", Stage::Left)],
        (None, Some(_)) => &[("left", Stage::Left)],
        _ => &[("found", Stage::Found)],
    };
    let span = 2 * stages.len();
    html! {
        @if !pairs.is_empty() {
            div .wide tabindex="0" role="group" aria-label=(words::row(row)) {
                table {
                    caption { (words::row(row)) }
                    thead {
                        tr {
                            td colspan="3" {}
                            @for side in Side::BOTH { th scope="colgroup" colspan=(span) { (words::capital(side.name())) } }
                        }
                        tr {
                            th scope="col" { "Line" } th scope="col" { "Main" } th scope="col" { "Maker\u{2019}s" }
                            @for side in Side::BOTH { @for (stage, _) in stages {
                                th scope="col" aria-label=(format!("{side}, as {stage}, measured")) { (stage) }
                                th scope="col" aria-label=(format!("{side}, as {stage}, deviation")) { "dev." }
                            } }
                        }
                    }
                    tbody { @for pair in &pairs {
                        tr {
                            th scope="row" { (pair.name) }
                            td .k { (pair.main) }
                            td { (nominal(pair)) }
                            @for side in Side::BOTH { @for (_, stage) in stages { (lengths(pair.sides[side.index()], *stage)) } }
                        }
                    } }
                }
            }
            "\n"
        }
    }
}

/// Before or after adjusting.
#[derive(Debug, Clone, Copy)]
enum Stage {
    Found,
    Left,
}

fn nominal(pair: &Pair<'_>) -> String {
    match pair.sides.map(|line| line.map(|line| number(line.nominal_mm, 0))) {
        [Some(left), Some(right)] if left != right => format!("{left} / {right}"),
        [Some(one), _] | [None, Some(one)] => one,
        [None, None] => "\u{2013}".to_owned(),
    }
}

fn lengths(line: Option<&ProtocolLine>, stage: Stage) -> Markup {
    let of = |line: &ProtocolLine| match stage {
        Stage::Found => Some((line.measured_found_mm()?, line.found_mm?)),
        Stage::Left => Some((line.measured_left_mm()?, line.left_mm?)),
    };
    html! {
        @match line.and_then(of) {
            Some((measured, deviation)) => { td { (number(measured, 1)) } td .off { (signed(deviation, 1)) } },
            None => td colspan="2" .no { "\u{2013}" },
        }
    }
}

fn sign() -> Markup {
    html! {
        div .sign {
            @for place in ["Place and date", "Inspector\u{2019}s signature"] { div { (place) } }
        }
        "\n"
    }
}
