//! The record of a wing's lengths, before and after adjusting.

use serde::{Deserialize, Serialize};

use crate::check::{Check, History, LineDeviation, Stage, deviations};
use crate::report::ReportError;
use crate::wing::{LineSet, Row, Side};

/// What a protocol says about itself.
pub const PROTOCOL_STATEMENT: &str = "This is a record of measured lengths. It is not a statement of airworthiness: length \
                                      says nothing about the strength of lines or the state of the cloth.";

/// How a protocol is made: the measured lengths of one wing as found, and as left where it was measured again after adjusting,
/// beside the maker's, with a place for the inspector's signature.
///
/// | setter | default | why |
/// |---|---|---|
/// | [`check`](Self::check) | the wing's latest with readings | and the other of the pair found and left |
/// | [`serial_number`](Self::serial_number), [`owner`](Self::owner), [`inspector`](Self::inspector), [`instrument`](Self::instrument) | those of the wing; empty | an empty one is a line to write on |
///
/// ```
/// use linedrift::{report::ProtocolSpec, simulate::FleetSpec};
///
/// let fleet = FleetSpec::default().wings(3).seed(7).run()?.fleet;
/// let history = &fleet.histories()[0];
/// let protocol = ProtocolSpec::default().inspector("M. Moor").run(fleet.line_set(history), history)?;
/// assert!(protocol.html().contains("not a statement of airworthiness"));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct ProtocolSpec {
    check: Option<String>,
    serial_number: String,
    owner: String,
    inspector: String,
    instrument: String,
    demo: bool,
}

impl ProtocolSpec {
    /// The check to record.
    #[must_use]
    pub fn check(mut self, id: &str) -> Self {
        self.check = Some(id.to_owned());
        self
    }

    /// The wing's serial number.
    #[must_use]
    pub fn serial_number(mut self, number: &str) -> Self {
        number.clone_into(&mut self.serial_number);
        self
    }

    /// Who owns the wing.
    #[must_use]
    pub fn owner(mut self, owner: &str) -> Self {
        owner.clone_into(&mut self.owner);
        self
    }

    /// Who measured and signs.
    #[must_use]
    pub fn inspector(mut self, inspector: &str) -> Self {
        inspector.clone_into(&mut self.inspector);
        self
    }

    /// What the lines were measured with.
    #[must_use]
    pub fn instrument(mut self, instrument: &str) -> Self {
        instrument.clone_into(&mut self.instrument);
        self
    }

    /// Marks the protocol as of the bundled invented demo.
    #[must_use]
    pub fn demo(mut self) -> Self {
        self.demo = true;
        self
    }

    /// Gathers the protocol of one wing.
    ///
    /// # Errors
    /// [`ReportError::NoCheck`] when the wing has no such check, or none with readings.
    pub fn run(&self, set: &LineSet, history: &History) -> Result<Protocol, ReportError> {
        let read = |check: &&Check| !check.readings.is_empty();
        let chosen = match &self.check {
            Some(id) => history.checks.iter().filter(read).find(|check| check.id == *id),
            None => history.checks.iter().rfind(read),
        };
        let chosen = chosen
            .ok_or_else(|| ReportError::NoCheck { wing: history.wing.id.clone(), check: self.check.clone() })?;
        let same_hours = |check: &&Check| {
            check.stage != chosen.stage && check.hours_h.total_cmp(&chosen.hours_h).is_eq() && read(check)
        };
        let other = history.checks.iter().rfind(same_hours);
        let (found, left) = match chosen.stage {
            Stage::AsFound => (Some(chosen), other),
            Stage::AsLeft => (other, Some(chosen)),
        };
        let lengths = [found, left].map(|check| check.map_or_else(Vec::new, |check| deviations(set, check)));
        let mut spec = self.clone();
        let wing = &history.wing;
        for (own, known) in [(&mut spec.serial_number, &wing.serial_number), (&mut spec.owner, &wing.owner)] {
            if let (true, Some(known)) = (own.is_empty(), known) {
                own.clone_from(known);
            }
        }
        Ok(Protocol {
            spec,
            wing: history.wing.id.clone(),
            model: history.wing.model.clone(),
            hours_h: chosen.hours_h,
            found: found.map(Conditions::of),
            left: left.map(Conditions::of),
            lines: lines(set, &lengths),
        })
    }
}

/// Under what conditions a check was taken.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Conditions {
    /// The check, without its readings.
    pub check: Check,
    /// How many readings it had.
    pub readings: usize,
}

impl Conditions {
    fn of(check: &Check) -> Self {
        Self { check: Check { readings: Vec::new(), ..check.clone() }, readings: check.readings.len() }
    }
}

/// Lengths of one line on one side.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ProtocolLine {
    /// Side of the wing.
    pub side: Side,
    /// Line name.
    pub line: String,
    /// Row.
    pub row: Row,
    /// The main it hangs on.
    pub main: Option<String>,
    /// The maker's length, mm.
    pub nominal_mm: f64,
    /// Measured minus the maker's length as found, without the datum, at the maker's load and temperature, mm.
    pub found_mm: Option<f64>,
    /// The same as left.
    pub left_mm: Option<f64>,
}

impl ProtocolLine {
    /// The measured length as found, mm.
    #[must_use]
    pub(crate) fn measured_found_mm(&self) -> Option<f64> {
        self.found_mm.map(|mm| self.nominal_mm + mm)
    }

    /// The measured length as left, mm.
    #[must_use]
    pub fn measured_left_mm(&self) -> Option<f64> {
        self.left_mm.map(|mm| self.nominal_mm + mm)
    }
}

/// The record of a wing's lengths.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Protocol {
    spec: ProtocolSpec,
    wing: String,
    model: String,
    hours_h: f64,
    found: Option<Conditions>,
    left: Option<Conditions>,
    lines: Vec<ProtocolLine>,
}

impl Protocol {
    /// Wing id.
    #[must_use]
    pub fn wing(&self) -> &str {
        &self.wing
    }

    /// Model.
    #[must_use]
    pub fn model(&self) -> &str {
        &self.model
    }

    /// Hours flown since new, h.
    #[must_use]
    pub fn hours_h(&self) -> f64 {
        self.hours_h
    }

    /// Conditions of the check as found.
    #[must_use]
    pub fn found(&self) -> Option<&Conditions> {
        self.found.as_ref()
    }

    /// Conditions of the check as left.
    #[must_use]
    pub fn left(&self) -> Option<&Conditions> {
        self.left.as_ref()
    }

    /// Every line of the wing, measured or not, left before right.
    #[must_use]
    pub fn lines(&self) -> &[ProtocolLine] {
        &self.lines
    }

    /// Serial number, owner, inspector and instrument, each with its name; an empty one is for writing by hand.
    #[must_use]
    pub(crate) fn particulars(&self) -> [(&'static str, &str); 4] {
        let spec = &self.spec;
        [
            ("serial_number", &spec.serial_number),
            ("owner", &spec.owner),
            ("inspector", &spec.inspector),
            ("instrument", &spec.instrument),
        ]
    }

    /// Whether the data is the bundled invented demo.
    #[must_use]
    pub fn is_demo(&self) -> bool {
        self.spec.demo
    }

    /// The protocol as one self-contained page for A4.
    #[must_use]
    pub fn html(&self) -> String {
        crate::report::html::protocol(self)
    }
}

fn lines(set: &LineSet, [found, left]: &[Vec<LineDeviation>; 2]) -> Vec<ProtocolLine> {
    let of = |read: &[LineDeviation], side, at| {
        read.iter().find(|one| one.side == side && one.line == at).map(|one| one.deviation_mm)
    };
    Side::BOTH
        .into_iter()
        .flat_map(|side| set.lines().iter().enumerate().map(move |(at, line)| (side, at, line)))
        .filter(|(side, at, _)| set.has(*at, *side))
        .map(|(side, at, line)| ProtocolLine {
            side,
            line: line.name.clone(),
            row: line.row,
            main: line.main.clone(),
            nominal_mm: line.nominal_mm,
            found_mm: of(found, side, at),
            left_mm: of(left, side, at),
        })
        .collect()
}
