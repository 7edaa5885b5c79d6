//! What is said of the check, the wing and its model beside the tables: a label, and a value behind it.

use jiff::civil::Date;

use super::day::{WrittenDay, written_day, written_hours};
use super::entry::LevelMaterial;
use super::grid::{Cell, Grid, place};
use super::heading::{Heading, Key, unit_of};
use super::quantity::{Marks, Written, without_sign};
use super::words::folded;
use crate::check::sheet::LengthUnit;

/// What a label names.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Label {
    Date,
    Hours,
    Wing,
    Model,
    Datum,
    Load,
    Temperature,
    Operator,
    Mass,
    FirstFlight,
    HoursPerYear,
    Span,
    Area,
    RootChord,
    TrimSpeed,
    Glide,
    IntervalHours,
    IntervalMonths,
    Tolerance,
    Serial,
    Owner,
    /// German for the date, English for where a length is measured from: the value tells.
    DateOrDatum,
}

/// Labels in five languages, folded.
#[rustfmt::skip] // a table: one meaning a line
const LABELS: &[(Label, &[&str])] = &[
    (Label::Date, &["date", "date of check", "check date", "date of measurement", "measured on", "day", "prufdatum", "messdatum", "gemessen am", "date du controle", "date de mesure", "date de controle", "fecha", "fecha de revision", "fecha de medicion", "data", "data del controllo", "data misura"]),
    (Label::DateOrDatum, &["datum"]),
    (Label::Hours, &["hours", "hours flown", "flight hours", "flying hours", "airtime", "flugstunden", "stunden", "betriebsstunden", "heures", "heures de vol", "nb d heures", "nb d heures de vol", "nombre d heures", "horas", "horas de vuelo", "ore", "ore di volo"]),
    (Label::Wing, &["wing", "wing no", "wing number", "wing id", "schirm", "schirm nr", "schirmnummer", "voile", "voile no", "voile n", "vela", "vela no", "vela n", "ala"]),
    (Label::Serial, &["serial", "serial no", "serial number", "serial nr", "s n", "seriennummer", "serien nr", "seriennr", "numero de serie", "no de serie", "n de serie", "numero di serie", "n di serie", "matricola"]),
    (Label::Owner, &["owner", "pilot", "customer", "halter", "eigentumer", "besitzer", "kunde", "proprietaire", "pilote", "client", "propietario", "piloto", "cliente", "proprietario", "pilota"]),
    (Label::Model, &["model", "modell", "modele", "modelo", "modello", "muster", "type of wing", "typ"]),
    (Label::Datum, &["datum offset", "offset", "instrument offset", "zero offset", "nullpunkt", "versatz", "decalage", "desfase", "riferimento zero", "datum mm"]),
    (Label::Load, &["load", "measuring load", "tension", "zuglast", "messlast", "last", "charge", "tension de mesure", "carga", "carico"]),
    (Label::Temperature, &["temperature", "temperatur", "temperatura"]),
    (Label::Operator, &["operator", "measured by", "inspector", "prufer", "gemessen von", "operateur", "mesure par", "controleur", "operador", "medido por", "operatore", "misurato da", "controllore", "revisor"]),
    (Label::Mass, &["mass", "all up mass", "all up weight", "take off weight", "take off mass", "startgewicht", "abfluggewicht", "abflugmasse", "poids total", "ptv", "poids total volant", "peso total", "peso total en vuelo", "peso in volo", "peso totale", "peso totale in volo"]),
    (Label::FirstFlight, &["first flight", "first flown", "erstflug", "premier vol", "primer vuelo", "primo volo"]),
    (Label::HoursPerYear, &["hours per year", "hours a year", "stunden pro jahr", "stunden im jahr", "heures par an", "horas por ano", "ore all anno", "ore anno"]),
    (Label::Span, &["flat span", "span", "spannweite", "spannweite ausgelegt", "envergure", "envergure a plat", "envergadura", "envergadura en plano", "apertura", "apertura alare"]),
    (Label::Area, &["flat area", "area", "flache", "flache ausgelegt", "surface", "surface a plat", "area en plano", "superficie", "superficie piana"]),
    (Label::RootChord, &["root chord", "centre chord", "center chord", "chord at the centre", "profiltiefe mitte", "corde centrale", "corde maxi", "corde max", "cuerda central", "corda centrale"]),
    (Label::TrimSpeed, &["trim speed", "trimmgeschwindigkeit", "vitesse bras hauts", "vitesse trim", "velocidad trim", "velocita trim"]),
    (Label::Glide, &["glide", "glide ratio", "gleitzahl", "finesse", "planeo", "efficienza"]),
    (Label::IntervalHours, &["interval hours", "check interval hours", "prufintervall stunden", "intervalle heures", "intervalo horas", "intervallo ore"]),
    (Label::IntervalMonths, &["interval months", "check interval months", "prufintervall monate", "intervalle mois", "intervalo meses", "intervallo mesi"]),
    (Label::Tolerance, &["tolerance", "toleranz", "tolerancia", "tolleranza"]),
];

/// Facts that stand beside the tables; `None` is one that is not there.
#[derive(Debug, Clone, Default, PartialEq)]
#[non_exhaustive]
pub struct Facts {
    /// Day of the check, and what is in the cell.
    pub date: Option<WrittenDay>,
    /// The day as it is in the file.
    pub date_text: String,
    /// Hours flown since new, h.
    pub hours_h: Option<f64>,
    /// The wing's number.
    pub wing: Option<String>,
    /// Its model.
    pub model: Option<String>,
    /// What the instrument shows beyond the maker's length, mm.
    pub datum_mm: Option<f64>,
    /// Measuring load, N.
    pub load_n: Option<f64>,
    /// Temperature, °C.
    pub temperature_c: Option<f64>,
    /// Who read the lines.
    pub operator: Option<String>,
    /// All-up mass, kg.
    pub mass_kg: Option<f64>,
    /// Day of the first flight.
    pub first_flight: Option<Date>,
    /// Hours flown per year, h.
    pub hours_per_year: Option<f64>,
    /// Flat span, m.
    pub span_m: Option<f64>,
    /// Flat area, m².
    pub area_m2: Option<f64>,
    /// Chord at the centre, m.
    pub root_chord_m: Option<f64>,
    /// Trim speed, km/h.
    pub trim_speed_kmh: Option<f64>,
    /// Glide ratio.
    pub glide: Option<f64>,
    /// The maker's interval between checks, h.
    pub interval_h: Option<f64>,
    /// The maker's interval between checks, months.
    pub interval_months: Option<f64>,
    /// One tolerance for all lines, mm.
    pub tolerance_mm: Option<f64>,
    /// Serial number.
    pub serial_number: Option<String>,
    /// Owner.
    pub owner: Option<String>,
    /// Unit of all lengths, where the sheet says it in a sentence.
    pub unit: Option<LengthUnit>,
    /// Labels whose value was not understood, with that value.
    pub unread: Vec<String>,
    /// Materials of storeys.
    pub(super) materials: Vec<LevelMaterial>,
}

/// Places of numbers in rows of no table that nothing labels.
pub(super) fn unlabelled(grid: &Grid, inside: &[bool]) -> Vec<String> {
    let mut found = Vec::new();
    for (row, cells) in grid.rows.iter().enumerate().filter(|(row, _)| !inside[*row]) {
        for (column, cell) in cells.iter().enumerate() {
            let below_label = row > 0 && grid.cell(row - 1, column).text().is_some_and(is_label);
            let labelled = below_label || (0..column).any(|left| grid.cell(row, left).text().is_some());
            if matches!(cell, Cell::Number(_)) && !labelled {
                found.push(place(row, column));
            }
        }
    }
    found
}

/// Whether a text is a label of a fact.
pub(super) fn is_label(text: &str) -> bool {
    label(text).is_some()
}

fn label(text: &str) -> Option<Label> {
    let plain = text.split([':', '(', '[', '=']).next().unwrap_or(text);
    let folded = folded(plain);
    LABELS.iter().find(|(_, words)| words.contains(&folded.as_str())).map(|(label, _)| *label)
}

/// Whether a row holds labels alone, and the row below a value for each.
fn is_label_row(grid: &Grid, row: usize) -> bool {
    let filled = |row: usize| (0..grid.width()).filter(move |column| !grid.cell(row, *column).is_empty());
    let is_label_at = |row: usize, column: usize| grid.cell(row, column).text().is_some_and(is_label);
    filled(row).count() >= 2
        && filled(row).all(|column| is_label_at(row, column))
        && filled(row + 1).next().is_some()
        && filled(row + 1).all(|column| !is_label_at(row + 1, column) && !grid.cell(row, column).is_empty())
}

/// A day that lost its format: days since the end of 1899, or 20260314.
fn day_of_number(number: f64) -> Option<WrittenDay> {
    if number.fract() != 0.0 {
        return None;
    }
    if (20_000.0..80_000.0).contains(&number) {
        let days = jiff::Span::new().try_days(format!("{number:.0}").parse::<i64>().ok()?).ok()?;
        return Date::constant(1899, 12, 30).checked_add(days).ok().map(WrittenDay::Day);
    }
    Some(written_day(&number.to_string())).filter(|day| *day != WrittenDay::Not)
}

impl Facts {
    /// Takes the facts of one more sheet; what an earlier sheet said stays.
    pub(super) fn read(&mut self, grid: &Grid) {
        for (row, cells) in grid.rows.iter().enumerate() {
            self.material(cells);
            for (column, cell) in cells.iter().enumerate() {
                let Some(text) = cell.text() else { continue };
                self.sentence(text);
                let Some(label) = label(text) else { continue };
                let inside =
                    text.split_once([':', '=']).map(|(_, value)| value.trim()).filter(|value| !value.is_empty());
                if let Some(value) = inside {
                    self.set(label, text, &Cell::Text(value.to_owned()));
                    continue;
                }
                if is_label_row(grid, row) {
                    self.set(label, text, grid.cell(row + 1, column));
                    continue;
                }
                let beside = (column + 1..column + 4).map(|at| grid.cell(row, at)).find(|cell| !cell.is_empty());
                if let Some(value) = beside.filter(|value| !value.text().is_some_and(is_label)) {
                    self.set(label, text, value);
                }
            }
        }
    }

    /// `Material main: aramid`, alone in its row.
    fn material(&mut self, cells: &[Cell]) {
        let mut filled = cells.iter().filter(|cell| !cell.is_empty()).filter_map(Cell::text);
        let (Some(label), value, None) = (filled.next(), filled.next(), filled.next()) else { return };
        let (label, value) = match (label.split_once(':'), value) {
            (Some((label, value)), None) => (label, value.trim()),
            (_, Some(value)) => (label, value),
            _ => return,
        };
        let heading = Heading::of(label);
        if heading.key == Some(Key::Material)
            && heading.is_strict()
            && !value.is_empty()
            && !Heading::of(value).is_good()
        {
            self.materials.push(LevelMaterial { level: heading.level, material: value.to_owned() });
        }
    }

    /// The day that a title above the tables says, where no label does: `Line check of 14/03/2026`.
    pub(super) fn day_of_a_title(&mut self, grids: &[&Grid], notes: &mut Vec<String>) {
        if self.date.is_some() {
            return;
        }
        let titles = grids.iter().flat_map(|grid| grid.rows.iter().take(12).flatten()).filter_map(Cell::text);
        let mut found: Option<(WrittenDay, &str, &str)> = None;
        for title in titles.filter(|title| Heading::says_visit(title)) {
            for part in title.split(' ').filter(|part| part.chars().filter(char::is_ascii_digit).count() >= 4) {
                let part = part.trim_matches([',', ';', ':', '(', ')']);
                match (written_day(part), found) {
                    (WrittenDay::Not, _) => {}
                    (day, None) => found = Some((day, part, title)),
                    (day, Some((other, ..))) if day == other => {}
                    // two days: neither is taken
                    (_, Some(_)) => return,
                }
            }
        }
        if let Some((day, part, title)) = found {
            self.date = Some(day);
            part.clone_into(&mut self.date_text);
            notes.push(format!("the day of the check is from the title `{title}`"));
        }
    }

    /// `all lengths in cm`
    fn sentence(&mut self, text: &str) {
        let words = folded(text);
        let speaks = [
            "length", "lange", "mass", "longueur", "cote", "medida", "longitud", "lunghezz", "misur", "values",
            "werte", "angaben", "unit", "einheit", "unite", "unidad", "unita",
        ]
        .iter()
        .any(|word| words.contains(word));
        let is_sentence = words.split(' ').count() >= 3 || words.starts_with("unit") || words.starts_with("einheit");
        if speaks && is_sentence && self.unit.is_none() {
            let last = words.rsplit(' ').next().unwrap_or("");
            self.unit = unit_of(text).or(match last {
                "mm" => Some(LengthUnit::Millimetre),
                "cm" => Some(LengthUnit::Centimetre),
                "m" | "metres" | "meter" | "metri" | "metros" => Some(LengthUnit::Metre),
                _ => None,
            });
        }
    }

    fn set(&mut self, label: Label, text: &str, cell: &Cell) {
        let number = || match cell {
            Cell::Number(value) | Cell::Hours(value) => Some(*value),
            Cell::Text(text) => plain_number(text),
            _ => None,
        };
        let unit = unit_of(text).or_else(|| cell.text().and_then(unit_of));
        let mm = |small: LengthUnit| number().map(|value| value * unit.unwrap_or(small).mm());
        let word = || Some(cell.shown()).filter(|word| !word.is_empty());
        let day = || match cell {
            Cell::Day(day) => Some(WrittenDay::Day(*day)),
            Cell::Number(number) => day_of_number(*number),
            Cell::Text(text) => Some(written_day(text)).filter(|day| *day != WrittenDay::Not),
            _ => None,
        };
        let positive = |value: Option<f64>| value.filter(|value| value.is_finite() && *value > 0.0);
        let taken = match label {
            Label::Date => put_day(&mut self.date, &mut self.date_text, day(), cell),
            Label::DateOrDatum => match day() {
                Some(day) => put_day(&mut self.date, &mut self.date_text, Some(day), cell),
                None => put(&mut self.datum_mm, mm(LengthUnit::Millimetre)),
            },
            Label::Hours => {
                let hours = match cell {
                    Cell::Number(value) | Cell::Hours(value) if *value >= 0.0 => Some(*value),
                    Cell::Text(text) => written_hours(text),
                    _ => None,
                };
                put(&mut self.hours_h, hours)
            }
            Label::Wing => put(&mut self.wing, word()),
            Label::Serial => put(&mut self.serial_number, word()),
            Label::Owner => put(&mut self.owner, word()),
            Label::Model => put(&mut self.model, word()),
            Label::Datum => put(&mut self.datum_mm, mm(LengthUnit::Millimetre)),
            Label::Load => {
                let in_kg = text.to_lowercase().contains("kg")
                    || cell.text().is_some_and(|text| text.to_lowercase().contains("kg"));
                // the weight of a kilogram, N
                put(&mut self.load_n, positive(number()).map(|load| if in_kg { load * 9.806_65 } else { load }))
            }
            Label::Temperature => put(&mut self.temperature_c, number()),
            Label::Operator => put(&mut self.operator, cell.text().map(str::to_owned)),
            Label::Mass => put(&mut self.mass_kg, positive(number())),
            Label::FirstFlight => {
                let day = day().and_then(|day| if let WrittenDay::Day(day) = day { Some(day) } else { None });
                put(&mut self.first_flight, day)
            }
            Label::HoursPerYear => put(&mut self.hours_per_year, positive(number())),
            Label::Span => put(&mut self.span_m, positive(mm(LengthUnit::Metre)).map(|mm| mm / 1e3)),
            Label::Area => put(&mut self.area_m2, positive(number())),
            Label::RootChord => put(&mut self.root_chord_m, positive(mm(LengthUnit::Metre)).map(|mm| mm / 1e3)),
            Label::TrimSpeed => put(&mut self.trim_speed_kmh, positive(number())),
            Label::Glide => put(&mut self.glide, positive(number())),
            Label::IntervalHours => put(&mut self.interval_h, positive(number())),
            Label::IntervalMonths => put(&mut self.interval_months, positive(number())),
            Label::Tolerance => put(&mut self.tolerance_mm, positive(mm(LengthUnit::Millimetre))),
        };
        let is_heading = cell.text().is_some_and(|text| Heading::of(text).is_good());
        if !taken && !is_heading {
            self.unread.push(format!("`{text}`: `{}`", cell.shown()));
        }
    }
}

/// A number with what may stand around it: `± 10 mm`, `95 kg`, `50 N`.
fn plain_number(text: &str) -> Option<f64> {
    let digits = without_sign(text);
    let end = digits
        .find(|letter: char| !(letter.is_ascii_digit() || matches!(letter, '.' | ',' | '-' | '−')))
        .unwrap_or(digits.len());
    let mut marks = Marks::default();
    marks.see(digits.get(..end)?);
    match marks.read(digits.get(..end)?, None) {
        Written::Amount(amount) => Some(amount.value),
        _ => None,
    }
}

fn put<T>(place: &mut Option<T>, value: Option<T>) -> bool {
    let is_some = value.is_some();
    if place.is_none() {
        *place = value;
    }
    is_some
}

fn put_day(place: &mut Option<WrittenDay>, text: &mut String, day: Option<WrittenDay>, cell: &Cell) -> bool {
    if place.is_none() && day.is_some() {
        *text = cell.shown();
    }
    put(place, day)
}
