//! What is fuzzed, as functions of bytes: readers of text and documents, judging and fitting of arbitrary small fleets, the
//! engine on arbitrary small designs. Used by `fuzz/` and, on the kept inputs, by the test `fuzz_corpus`.
#![allow(
    clippy::type_complexity,
    dead_code,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::missing_panics_doc,
    clippy::too_many_lines,
    missing_docs
)]

use std::sync::LazyLock;

use linedrift::check::doubt::DoubtSpec;
use linedrift::check::sheet::{FilledSheet, SheetSpec};
use linedrift::check::{Action, ActionKind, Check, Fitting, Fleet, History, Reading, Round, RoundEvent, Stage};
use linedrift::forecast::{DueSpec, LimitsTable};
use linedrift::plan::PlanSpec;
use linedrift::stats::mixed::{BlockBuilder, Covariance, Criterion, MixedSpec, OuterTerm, Structure};
use linedrift::wear::{Reduction, SavedFit, WearSpec};
use linedrift::wing::{Planform, read_fibres};
use linedrift::{Date, Line, LineSet, Row, Segment, Side, TrimSpec, Wing};

/// Bytes, taken one after the other; past their end there are zeros.
pub struct Source<'a>(pub &'a [u8]);

impl Source<'_> {
    fn byte(&mut self) -> u8 {
        let (first, rest) = self.0.split_first().map_or((0, self.0), |(first, rest)| (*first, rest));
        self.0 = rest;
        first
    }

    fn below(&mut self, n: usize) -> usize {
        usize::from(self.byte()) % n.max(1)
    }

    fn chance(&mut self, of: usize) -> bool {
        self.below(of) == 0
    }

    /// A number around 0 in units of `scale`, now and then one that is far off.
    fn number(&mut self, scale: f64) -> f64 {
        let (kind, value) = (self.byte(), self.byte());
        let value = (f64::from(value) - 128.0) / 128.0;
        match kind {
            0..=199 => scale * value,
            200..=219 => 0.0,
            220..=229 => scale,
            230..=239 => scale * value * 1e3,
            240..=244 => scale * value * 1e-9,
            245..=249 => 1e9 * value,
            250..=252 => 1e-9,
            _ => scale * value * 1e-3,
        }
    }
}

fn text(bytes: &[u8]) -> std::borrow::Cow<'_, str> {
    String::from_utf8_lossy(bytes)
}

/// Whether the body went into what it is there for, or its input was refused before.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    Refused,
    Accepted,
}

impl Outcome {
    pub fn of(accepted: bool) -> Self {
        if accepted { Self::Accepted } else { Self::Refused }
    }
}

/// The Debug text without what is in quotes: names may be any words.
fn unquoted(shown: &str) -> String {
    let mut out = String::with_capacity(shown.len());
    let mut letters = shown.chars();
    let mut quoted = false;
    while let Some(letter) = letters.next() {
        match letter {
            '\\' if quoted => drop(letters.next()),
            '"' => {
                quoted = !quoted;
                out.push(' ');
            }
            // a quote as a single letter opens nothing
            '\'' if letters.as_str().starts_with("\"'") => drop(letters.nth(1)),
            other if !quoted => out.push(other),
            _ => {}
        }
    }
    out
}

/// The first word of a Debug text that is a number which is not finite.
pub fn not_finite(shown: &str) -> Option<&'static str> {
    let bare = unquoted(shown);
    let mut words = bare.split(|letter: char| !letter.is_alphanumeric() && letter != '_');
    words.find_map(|word| ["NaN", "inf"].into_iter().find(|bad| *bad == word))
}

/// No number that is not finite in whatever a result shows of itself.
pub fn finite(what: &impl std::fmt::Debug) {
    let shown = format!("{what:?}");
    let found = not_finite(&shown);
    assert!(found.is_none(), "{found:?} in {shown}");
}

/// A small line set with a cascade, for the readers that want one.
pub static SET: LazyLock<LineSet> = LazyLock::new(|| {
    let mut bytes = [7_u8; 200];
    for (at, byte) in bytes.iter_mut().enumerate() {
        *byte = u8::try_from(at * 37 % 199).unwrap();
    }
    line_set(&mut Source(&bytes), 6).expect("a fixed set")
});

pub fn sheet(bytes: &[u8]) -> Outcome {
    let text = text(bytes);
    let mut accepted = false;
    if let Ok(read) = FilledSheet::read(&SET, &text) {
        finite(&read);
        assert!(
            read.readings.iter().all(|reading| reading.line < SET.lines().len() && reading.reading_mm.is_finite())
        );
        accepted |= !read.readings.is_empty();
    }
    Outcome::of(accepted)
}

pub fn limits(bytes: &[u8]) -> Outcome {
    let Ok(table) = LimitsTable::from_toml(&text(bytes)) else { return Outcome::Refused };
    table.validate().expect("what is read is valid");
    finite(&table);
    Outcome::Accepted
}

pub fn saved_fit(bytes: &[u8]) -> Outcome {
    let Ok(saved) = SavedFit::from_json(&text(bytes)) else { return Outcome::Refused };
    for hours in [0.0, 1.0, 500.0] {
        for row in Row::ALL {
            // a fit of other materials says nothing of this set
            if let Some(drift) = saved.fit().row_drift(&SET, row, hours) {
                finite(&drift);
            }
        }
    }
    assert_eq!(SavedFit::from_json(&saved.to_json().unwrap()).unwrap(), saved);
    Outcome::Accepted
}

pub fn fibres(bytes: &[u8]) -> Outcome {
    let mut accepted = false;
    if let Ok(fibres) = read_fibres(&text(bytes)) {
        finite(&fibres);
        accepted |= !fibres.is_empty();
    }
    if let Ok(planform) = serde_json::from_slice::<Planform>(bytes) {
        for span in [0.0, 0.3, 1.0] {
            assert!(planform.chord_m(span).is_finite());
        }
        accepted = true;
    }
    Outcome::of(accepted)
}

pub fn document(bytes: &[u8]) -> Outcome {
    let mut accepted = false;
    if let Ok(fleet) = serde_json::from_slice::<Fleet>(bytes) {
        accepted |= judge(&fleet);
    }
    if let Ok(reduction) = serde_json::from_slice::<Reduction>(bytes) {
        finite(&reduction.readings());
        if let Ok(fit) = WearSpec::default().fit_reduced(&reduction) {
            finite(&fit.terms());
            finite(&fit.spread());
            assert!(fit.deviance().is_finite());
            accepted = true;
        }
    }
    Outcome::of(accepted)
}

pub fn round(bytes: &[u8]) -> Outcome {
    let wing = Wing::new("7", "Heron");
    let history = History { wing, line_set: 0, checks: Vec::new(), actions: Vec::new(), fittings: Vec::new() };
    let check = Check::new("a", Date::constant(2024, 1, 1), 10.0);
    let sheet = SheetSpec::default().run(&SET, None);
    let mut round = Round::new(&SET, &history, &check, &sheet, None);
    let mut accepted = false;
    for line in bytes.split(|byte| *byte == b'\n') {
        match line {
            b"on" => round.on(),
            b"back" => round.back(),
            b"again" => round.repeat(),
            b"open" => round.to_open(),
            _ => {
                if let Ok(event) = serde_json::from_slice::<RoundEvent>(line) {
                    accepted |= round.apply(&event).is_ok();
                }
            }
        }
        finite(&round.place());
    }
    let made = round.check();
    finite(&made);
    assert!(round.lines_read() + round.unread().len() <= 2 * SET.lines().len());
    if let Ok(doubts) = round.doubts() {
        finite(&doubts);
    }
    Outcome::of(accepted)
}

fn line_set(source: &mut Source<'_>, most: usize) -> Option<LineSet> {
    let count = 1 + source.below(most);
    let mut segments: Vec<Segment> = Vec::new();
    let mut lines: Vec<Line> = Vec::new();
    let materials = ["uhmwpe", "aramid", "lcp", "other"];
    for at in 0..source.below(4) {
        segments.push(Segment {
            name: format!("M{at}"),
            parent: if at > 0 && source.chance(3) { Some(source.below(at)) } else { None },
            material: materials[source.below(4)].to_owned(),
            length_mm: 2500.0 + source.number(2000.0).abs(),
            diameter_mm: if source.chance(2) { Some(0.1 + source.number(2.0).abs()) } else { None },
            can_loop: [None, Some(true), Some(false)][source.below(3)],
        });
    }
    let mains = segments.len();
    for at in 0..count {
        let top = segments.len();
        let length_mm = 3000.0 + source.number(2000.0).abs();
        segments.push(Segment {
            name: format!("L{at}"),
            parent: if mains > 0 { Some(source.below(mains)) } else { None },
            material: materials[source.below(4)].to_owned(),
            length_mm,
            diameter_mm: None,
            can_loop: None,
        });
        lines.push(Line {
            name: format!("L{at}"),
            row: Row::ALL[source.below(6)],
            rank: 1 + u32::from(source.byte()),
            nominal_mm: 6000.0 + source.number(1000.0).clamp(-5999.0, 1e6),
            span: f64::from(source.byte()) / 255.0,
            span_assumed: source.chance(2),
            chord: if source.chance(4) { None } else { Some(f64::from(source.byte()) / 255.0) },
            main: None,
            tolerance_mm: if source.chance(3) { Some(1.0 + source.number(20.0).abs()) } else { None },
            side: [None, None, Some(Side::Left), Some(Side::Right)][source.below(4)],
            segment: top,
        });
    }
    LineSet::new("Heron", None, lines, segments).ok()
}

pub fn arbitrary_fleet(source: &mut Source<'_>) -> Option<Fleet> {
    let set = line_set(source, 8)?;
    let mut histories = Vec::new();
    for wing in 0..=source.below(4) {
        let mut about = Wing::new(&format!("W{wing}"), "Heron");
        about.mass_kg = if source.chance(2) { Some(60.0 + source.number(40.0).abs()) } else { None };
        about.hours_per_year = if source.chance(2) { Some(source.number(80.0).abs()) } else { None };
        about.interval_h = if source.chance(3) { Some(1e-6 + source.number(100.0).abs()) } else { None };
        let mut hours_h = 0.0;
        let mut checks = Vec::new();
        for at in 0..source.below(5) {
            hours_h += source.number(60.0).abs();
            let day = 1 + i8::try_from(source.below(27)).unwrap();
            let year = 2020 + i16::try_from(at).unwrap();
            let mut check = Check::new(&format!("{wing}-{at}"), Date::new(year, 1, day).unwrap(), hours_h);
            check.stage = if source.chance(5) { Stage::AsLeft } else { Stage::AsFound };
            check.datum_mm = if source.chance(3) { source.number(500.0) } else { 0.0 };
            check.load_n = if source.chance(5) { source.number(50.0).abs() } else { 50.0 };
            for line in 0..set.lines().len() {
                for side in Side::BOTH {
                    if !set.has(line, side) || source.chance(6) {
                        continue;
                    }
                    let off = source.number(20.0);
                    let reading_mm = (set.lines()[line].nominal_mm + check.datum_mm + off).max(0.0);
                    for repeat in 1..=1 + u32::from(source.chance(9)) {
                        check.readings.push(Reading { side, line, reading_mm, repeat, operator: None });
                    }
                }
            }
            checks.push(check);
        }
        let segments = set.segments().len();
        let actions = (0..source.below(3))
            .map(|_| Action {
                date: Date::constant(2021, 1, 1),
                hours_h: source.number(100.0).abs(),
                side: Side::BOTH[source.below(2)],
                segment: Some(source.below(segments)),
                kind: ActionKind::ALL[source.below(6)],
                change_mm: source.number(15.0),
                turns: if source.chance(2) { Some(f64::from(source.byte() % 4)) } else { None },
                check: None,
            })
            .collect();
        let fittings = (0..source.below(3))
            .map(|_| Fitting {
                side: Side::BOTH[source.below(2)],
                segment: source.below(segments),
                turns: Some(f64::from(source.byte() % 4)),
                spare_mm: Some(source.number(30.0).abs()),
                can_loop: None,
                link_diameter_mm: Some(3.0 + source.number(2.0).abs()),
                step_mm: None,
            })
            .collect();
        histories.push(History { wing: about, line_set: 0, checks, actions, fittings });
    }
    Fleet::new(vec![set], histories).ok()
}

/// Every check of a fleet through vetting, trim and plan; whether some check had an answer of each.
fn judge(fleet: &Fleet) -> bool {
    let (mut vetted, mut trimmed, mut planned) = (false, false, false);
    let plan = PlanSpec::default().most_states(500);
    for history in fleet.histories() {
        let set = fleet.line_set(history);
        for (at, check) in history.checks.iter().enumerate() {
            if let Ok(doubts) = DoubtSpec::default().run(set, history, at, None) {
                finite(&doubts);
                vetted = true;
            }
            if let Ok(trim) = TrimSpec::default().run(set, &history.wing, check) {
                finite(&trim);
                assert!(!trim.to_string().is_empty());
                trimmed = true;
            }
            if let Ok(plan) = plan.run(set, history, check, &[]) {
                finite(&plan);
                assert!(!plan.to_string().is_empty());
                planned = true;
            }
        }
    }
    vetted && trimmed && planned
}

/// Accepted is what had a fit and a due table.
pub fn fleet(bytes: &[u8]) -> Outcome {
    let Some(fleet) = arbitrary_fleet(&mut Source(bytes)) else { return Outcome::Refused };
    let judged = judge(&fleet);
    let Ok(fit) = WearSpec::default().fit(&fleet) else { return Outcome::Refused };
    finite(&fit.terms());
    finite(&fit.spread());
    assert!(fit.deviance().is_finite());
    let Ok(table) = DueSpec::default().draws(10).run(&fleet, &fit) else { return Outcome::Refused };
    finite(&table);
    assert!(!table.to_string().is_empty());
    Outcome::of(judged)
}

pub fn engine(bytes: &[u8]) -> Outcome {
    let mut source = Source(bytes);
    let inner = source.chance(2);
    let outer: Vec<OuterTerm> = (0..source.below(3))
        .map(|at| OuterTerm {
            name: format!("t{at}"),
            width: 1 + source.below(2),
            covariance: if source.chance(2) { Covariance::Full } else { Covariance::Diagonal },
        })
        .collect();
    let fixed = 1 + source.below(4);
    let names = (0..fixed).map(|at| format!("b{at}")).collect();
    let structure =
        Structure { inner: inner.then(|| "line".to_owned()), outer, fixed: names, ..Structure::default() };
    let scale = [1e-9, 1e-3, 1.0, 1e3, 1e6][source.below(5)];
    let mut blocks = Vec::new();
    for _ in 0..=source.below(6) {
        let copies: Vec<usize> = structure.outer.iter().map(|_| 1 + source.below(2)).collect();
        let mut builder = BlockBuilder::new(&structure, &copies);
        let levels = 1 + source.below(4);
        if inner && source.chance(4) {
            builder.unpenalise(source.below(levels));
        }
        for _ in 0..source.below(12) {
            let mut row: Vec<(usize, f64)> = Vec::new();
            for (term, copies) in copies.iter().enumerate() {
                let copy = source.below(*copies);
                for effect in 0..structure.outer[term].width {
                    let value = if effect == 0 { 1.0 } else { source.number(scale) };
                    row.push((builder.outer_column(&structure, term, copy, effect), value));
                }
            }
            for at in 0..fixed {
                let value = if at == 0 { 1.0 } else { source.number(scale) };
                row.push((builder.fixed_column(at), value));
            }
            let level = inner.then(|| source.below(levels));
            let (count, mean) = (1.0 + f64::from(source.byte() % 3), source.number(scale));
            let spread = if count > 1.0 { source.number(scale) } else { 0.0 };
            builder.add(level, &row, count, count * mean, count * mean * mean + spread * spread);
        }
        blocks.push(builder.finish());
    }
    let mut accepted = false;
    for criterion in [Criterion::Reml, Criterion::Ml] {
        if let Ok(fit) = MixedSpec::default().criterion(criterion).evaluation_cap(200).fit(&structure, &blocks) {
            assert!(fit.deviance().is_finite());
            finite(&fit.theta());
            for effect in fit.fixed() {
                assert!(effect.estimate.is_finite() && effect.se.is_finite() && effect.se >= 0.0, "{effect:?}");
            }
            assert!(fit.sigma().is_finite() && fit.sigma() > 0.0);
            finite(&fit.outer());
            accepted = true;
        }
    }
    Outcome::of(accepted)
}

/// Every target by name.
pub const TARGETS: [(&str, fn(&[u8]) -> Outcome); 8] = [
    ("sheet", sheet),
    ("limits", limits),
    ("saved_fit", saved_fit),
    ("fibres", fibres),
    ("document", document),
    ("round", round),
    ("fleet", fleet),
    ("engine", engine),
];
